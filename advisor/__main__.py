"""`python -m advisor`, and the `advisor` command."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    import gc

    # One command lives for a tenth of a second: collecting cycles in it is time lost.
    gc.disable()
    from advisor.cli import app

    app(prog_name="advisor")


if __name__ == "__main__":
    main()
