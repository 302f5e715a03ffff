"""A page of plain text: eighty columns, headings, indented paragraphs, columns of two."""

from __future__ import annotations

from textwrap import wrap

from advisor.decision import RuleBaseName

WIDTH = 80
INDENT = 7


class Page:
    """Lines of text, wrapped and indented."""

    def __init__(self, colour: bool) -> None:
        self.lines: list[str] = []
        self.colour = colour

    def paint(self, text: str, code: str) -> str:
        """Colour a text, if colour is wanted."""
        return f"\x1b[{code}m{text}\x1b[0m" if self.colour else text

    def head(self, text: str, code: str = "1") -> None:
        """Put a heading, an empty line before it."""
        if self.lines and self.lines[-1]:
            self.lines.append("")
        self.lines.append(self.paint(text, code))

    def put(self, text: str, indent: int = INDENT, hang: int = 0) -> None:
        """Put a text, wrapped."""
        self.lines += wrap(
            text,
            WIDTH,
            initial_indent=" " * indent,
            subsequent_indent=" " * (indent + hang),
            break_on_hyphens=False,
            break_long_words=False,
        )

    def pair(self, label: str, text: str, indent: int, width: int) -> None:
        """Put a label in a column and the text beside it, wrapped under itself."""
        lead = " " * indent + label
        column = indent + width
        if len(lead) >= column:
            self.lines.append(lead)
            lead = ""
        self.lines += wrap(
            text,
            WIDTH,
            initial_indent=lead.ljust(column),
            subsequent_indent=" " * column,
            break_on_hyphens=False,
            break_long_words=False,
        )

    def text(self) -> str:
        """Return all that was put."""
        return "\n".join(self.lines) + "\n"

    def title(self, left: str, base: RuleBaseName) -> None:
        """Put what this is on the left and the rule base on the right, or under it."""
        under = "".join(f" over {layer}" for layer in reversed(base.layers[:-1]))
        right = f"{base.name} {base.version}{under}, digest {base.digest[:12]}"
        if len(left) + len(right) + 2 > WIDTH:
            self.lines += [self.paint(left, "1"), right]
        else:
            gap = " " * (WIDTH - len(left) - len(right))
            self.lines.append(self.paint(left, "1") + gap + right)
