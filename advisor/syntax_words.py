"""What a YAML parser could not read, in plain words, at the place that is meant.

Works on the error objects of the YAML library; imports no library itself. The C parser and the
plain one word some problems differently, so the table goes by what both say.
"""

from __future__ import annotations

from re import compile as compile_pattern

from advisor.errors import quoted

TYPE_CHECKING = False  # the literal name is enough for a type checker, and saves importing typing
if TYPE_CHECKING:
    from typing import Any

    from advisor.errors import Collector

# Part of the parser's context; part of its problem; `^` if the place is that of the context (where
# something was opened); what is wrong; the remedy. The first line that fits holds.
_TABLE = """
quoted scalar; end of stream; ^; the quote opened here is never closed; close it, or leave it out
quoted scalar; document ; ^; the quote opened here is never closed; close it, or leave it out
quoted scalar; ; ; this is no escape that double quotes know; use single quotes, or write the \
backslash twice
flow sequence; expected ','; ^; the list opened here is not closed; close it with `]`, and put a \
comma between two items
flow mapping; expected ','; ^; the mapping opened here is not closed; close it with `}`, and put a \
comma between two pairs
; mapping values are not allowed; ; a colon stands where none can be; mend the indentation of this \
line, or the missing colon of the line above
; unexpected ':'; ; a colon stands where none can be; put a space after it, or quotes round \
the text
; mapping keys are not allowed; ; a question mark stands where none can be; put the text in quotes
simple key; expected ':'; ^; a colon is missing after this name; write `name: value`, with a space \
after the colon
block mapping; expected; ; this does not fit the lines above; indent it like its neighbours, and \
put text that holds quotes inside quotes of the other kind
block collection; expected; ; this does not fit the list above; begin each item with a dash and a \
space, all equally far in
; sequence entries are not allowed; ; a dash stands where no list can begin; begin the list on the \
next line, or write it as [one, two]
; undefined alias; ; this alias has no anchor above it; put text that begins with `*` in quotes
; second occurrence; ; this anchor stands above already; give it a name of its own
an alias; ; ^; `*` begins an alias here, without a name; put text that begins with `*` in quotes
an anchor; ; ^; `&` begins an anchor here, without a name; put text that begins with `&` in quotes
; tag handle; ; this is a tag, and tags are not read here; leave it out, or put text that begins \
with `!` in quotes
a tag; ; ^; this is a tag, and tags are not read here; leave it out, or put text that begins with \
`!` in quotes
block scalar; ; ; only a comment can follow `|` or `>` on its line; begin the text on the next \
line, indented
directive; ; ^; a line that begins with `%` is not read here; leave it out
; directive; ; a line that begins with `%` is not read here; leave it out
; incompatible YAML; ; this asks for another version of YAML; leave the line out
; another document; ; a second document begins here; keep one document to a file, and leave out \
the line of three dashes
; document start; ; something stands here after the end; look for a bracket too many, or for text \
beside what is already complete
; node content; ; a value is missing here; write it, or put text that holds brackets or commas in \
quotes
; maximum nesting; ; this is nested too deeply; write it flatter
"""


def tell_syntax(path: str, text: str, error: Any, collector: Collector) -> None:
    """Add what `error` says of `text`: one fault, or one for each line indented with a tab."""
    mark = error.problem_mark or error.context_mark
    context, problem = error.context or "", error.problem or ""
    if _tell_tabs(path, text, mark, problem, collector):
        return
    letter = text[mark.index : mark.index + 1]
    if "cannot start any token" in problem:
        what, remedy = f"{quoted(letter)} cannot begin a value", "put the text in quotes"
    elif letter and letter in "]}" and "block" in context:
        what, remedy = f"{quoted(letter)} closes nothing here", "leave it out"
    elif "mapping values" in problem and ": " in _line(text, mark)[: mark.column]:
        what = "a second colon stands in this line"
        remedy = "put text that holds a colon and a space in quotes"
    else:
        for line in _TABLE.strip().split("\n"):
            in_context, in_problem, at_context, what, remedy = line.split("; ")
            if in_context in context and in_problem in problem:
                mark = (at_context and error.context_mark) or mark
                break
        else:
            what, remedy = f"this cannot be read: {problem}", "look for a slip on the line above"
    collector.add(path, mark.line + 1, mark.column + 1, what, remedy)


def _tell_tabs(path: str, text: str, mark: Any, problem: str, collector: Collector) -> bool:
    """Tell of every line indented with a tab, if it is a tab that the parser stopped at."""
    tab = compile_pattern(r" *\t(?=.*\S)")
    at_tab = "a tab" in problem or text[mark.index : mark.index + 1] == "\t"
    if not at_tab and not tab.match(_line(text, mark)):
        return False
    matches = enumerate(map(tab.match, text.split("\n")), 1)
    found = [(number, match) for number, match in matches if match]
    for number, match in found:
        what = "a tab stands in the indentation"
        collector.add(path, number, match.end(), what, "indent with spaces")
    if not found:
        collector.add(path, mark.line + 1, mark.column + 1, "a tab stands here", "use spaces")
    return True


def _line(text: str, mark: Any) -> str:
    """Return the line that `mark` stands in."""
    lines = text.split("\n", mark.line + 1)
    return lines[mark.line] if mark.line < len(lines) else ""
