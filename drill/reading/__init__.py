"""Reading: many files of several copies, each byte at most once, as fast as the media allow.

Flows in: jobs (a file on an opened copy), the digest kinds wanted, the ledger of earlier readings. Flows out: for
each job what the file showed (`Seen`), or the Problem its reading ran into; and what the reading cost. Must not know:
promises, faults, verdicts. Nothing is written but the ledger.

`onepass` is one pass over one file's bytes; `lanes` what each medium has to give; `crew` the workers on the media;
`run` the calling thread: it alone touches the ledger and calls back.
"""

from drill.reading.lanes import Job, JobKey
from drill.reading.run import (
    ENDS_PROOF,
    MediumRead,
    Readings,
    is_lasting,
    link_root,
    note_listing,
    read_files,
    root_of,
)

__all__ = [
    "ENDS_PROOF",
    "Job",
    "JobKey",
    "MediumRead",
    "Readings",
    "is_lasting",
    "link_root",
    "note_listing",
    "read_files",
    "root_of",
]
