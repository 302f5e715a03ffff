"""The whole Decision derived anew, by a program of its own: a second opinion on the program.

`advisor recheck` is as small as a reviewer wants it. This one derives every word of a Decision,
questions, premises and notes too, and shares as little with the program: only the YAML reader, the
units, the faults, the shape of a Decision, and the functions of physics with their table.
"""

from tests.rederive.checker import SEALED_ONLY, Checker
from tests.rederive.report import Line
from tests.rederive.rules import read_base, read_stock

__all__ = ["SEALED_ONLY", "Checker", "Line", "read_base", "read_stock"]
