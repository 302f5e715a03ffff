"""`python -m advisor`, and the `advisor` command."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Run the command line."""
    import gc

    # One command lives for a tenth of a second: collecting cycles in it, and taking everything
    # apart at its end, is time lost. Results are flushed where they are written.
    gc.disable()
    from advisor.cli import app

    try:
        app(prog_name="advisor")
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else int(end.code is not None)
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:
                stream.flush()
        os._exit(status)


if __name__ == "__main__":
    main()
