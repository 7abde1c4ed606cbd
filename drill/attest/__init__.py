"""Attest: what can be said to a client of their shoots, from the last drill and audit in the ledger.

    ledger → drills of the shoot ─┐
    ledger → readings of copies ──┼→ shortfalls → refused, or → checksums (read now where none is known) → proof
    studio → promise ─────────────┘

Flows in: a studio, shoots of one client, the ledger, the moment that counts as now. Flows out: the record of a proof,
with everything that stands against it. Must not know: letters, keys, terminals. Copies are read for checksums alone,
and only once nothing stands against the proof, or it is wanted as it is.

`drills` finds what the last drills came to, `audits` which media were read and when, `checksums` the SHA-256 of what
was delivered, `client` whose shoots they are; `run` is the conductor.
"""

from drill.attest.client import shoots_of
from drill.attest.run import Options, attest

__all__ = ["Options", "attest", "shoots_of"]
