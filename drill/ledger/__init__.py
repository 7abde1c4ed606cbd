"""The ledger: what readings of files showed and what drills and audits found, remembered in one SQLite file.

Flows in: where a file lies, its entry, what its last reading showed or ran into; the results of runs. Flows out: the
same again. Must not know: what is promised, how files are read, terminals. It holds readings and never verdicts: a
reading whose digests are those promised is a proof as old as the reading, one with other digests or a problem refutes.

`schema` is the tables and the steps from one version to the next; `connect` opens the file, safely, and puts SQLite's
errors into words; `rows` turns values into rows and back; `readings` keeps these and `history` the runs; `ledger` is
what others use.
"""

from drill.ledger.connect import ledger_files
from drill.ledger.history import AuditedCopy, DrilledPromise, DrilledScenario, MeasuredRate, PastDrill, PastRun
from drill.ledger.ledger import Ledger
from drill.ledger.rows import Evidence, Root, unchanged

__all__ = [
    "AuditedCopy",
    "DrilledPromise",
    "DrilledScenario",
    "Evidence",
    "Ledger",
    "MeasuredRate",
    "PastDrill",
    "PastRun",
    "Root",
    "ledger_files",
    "unchanged",
]
