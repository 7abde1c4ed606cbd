"""Faults are overlays: data that says what is hit and what a read then gives, laid over the bytes of a copy.

`aim` says which copies a scenario hits in this studio; `draw` turns settings and a seed into places in files;
`overlay` lies over one byte stream; `apply` makes the faulted view of a copy; `worst` finds the worst sector.
Must not know: restore, verdicts.
"""

from drill.faults.aim import Blow, Fate, aim, applies, variants
from drill.faults.apply import Faulted, Worst, lay_over

__all__ = ["Blow", "Fate", "Faulted", "Worst", "aim", "applies", "lay_over", "variants"]
