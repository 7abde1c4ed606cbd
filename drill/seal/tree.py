"""The root of a Merkle tree: one digest that stands for a whole list, line by line.

Flows in: the lines. Flows out: 32 bytes. Must not know: files, keys, what a line says.
Source: RFC 9162, section 2.1.1, with SHA-256.
"""

import hashlib
from collections.abc import Iterable

_LEAF, _NODE = b"\x00", b"\x01"  # kept apart, so that no line can be passed off as a part of the tree


def merkle_root(entries: Iterable[bytes]) -> bytes:
    """Return the Merkle tree hash of the entries, in their order: 32 bytes.

    Entries are taken one by one, and only one digest for each height of the tree is held. No entries: SHA-256 of
    nothing. The RFC splits n entries at the largest power of two below n; full trees joined as soon as two are of one
    size, and what is left over at the end joined from the right, are the same tree.
    """
    full: list[bytes | None] = []  # full[h]: the root of a full tree of 2**h entries that waits for its right-hand one
    for entry in entries:
        node, height = hashlib.sha256(_LEAF + entry).digest(), 0
        while height < len(full) and (left := full[height]) is not None:
            node, full[height] = _joined(left, node), None
            height += 1
        if height == len(full):
            full.append(None)
        full[height] = node
    waiting = [node for node in full if node is not None]
    if not waiting:
        return hashlib.sha256(b"").digest()
    root = waiting[0]
    for left in waiting[1:]:
        root = _joined(left, root)
    return root


def _joined(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(_NODE + left + right).digest()
