"""A promise's mark: one short value that changes whenever what is promised of a shoot does.

Flows in: promised files. Flows out: a hexadecimal text. Must not know: who keeps it, files, copies. The mark depends on
every name, digest and class, and not on the order of the lists. It tells whether two promises are the same, and
proves nothing of any bytes.
"""

from collections.abc import Sequence
from hashlib import sha256

from drill.columns import classes_of, digests_of, paths_of
from drill.model import Promised

_BITS = 256


def mark_of(promise: Sequence[Promised]) -> str:
    """Return the mark of a promise: the sum of the SHA-256 of each file's line, so that no order has to be kept."""
    total = 0
    for path, digests, kind in zip(paths_of(promise), digests_of(promise), classes_of(promise), strict=True):
        line = "\0".join([path, kind, *sorted(f"{digest.kind}:{digest.hex}" for digest in digests)])
        total += int.from_bytes(sha256(line.encode("utf-8", "surrogatepass"), usedforsecurity=False).digest(), "big")
    return f"{total % 2**_BITS:064x}"
