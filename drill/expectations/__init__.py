"""Expectations: what must hold when a studio is drilled, as people write it in a `*.drill.toml` file.

`sheet` reads the file, `demands` its tables; `match` finds what is expected of each exercise; `hold` holds a record
against that and says in words what falls short. A studio file by itself is a sheet too: it expects of every exercise
what exit code 0 of a run means. They open no copy and print nothing.
"""

from drill.expectations.demands import Accepted, Expected
from drill.expectations.hold import shortfall
from drill.expectations.match import Due, Sheet
from drill.expectations.sheet import read_sheet, studio_sheet

__all__ = ["Accepted", "Due", "Expected", "Sheet", "read_sheet", "shortfall", "studio_sheet"]
