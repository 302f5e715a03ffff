"""Print what is expected of cases that say nothing yet: `python -m tests.conformance`.

What it prints is the naive evaluator's word. Read it, agree with it, and write it under `expect`.
"""

from __future__ import annotations

import json

from tests.conformance.kit import naive, read_cases


def main() -> None:
    for case in read_cases():
        if case.expect is None:
            print(f"{case.file}: {case.name}")
            for name, value in naive(case).items():
                print(f"      {name}: {json.dumps(value)}")


if __name__ == "__main__":
    main()
