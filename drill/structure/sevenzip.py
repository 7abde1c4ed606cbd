"""What lies where in a 7z archive, and what the loss of it costs; only headers and chunk headers are read.

Flows in: a stream of the archive's bytes, a password. Flows out: an Anatomy. Must not know: faults, promises. What is
only stored is told to the byte, LZMA2 by its chunks, also behind encryption; of all else it is known which block a
byte belongs to. Facts: 7zFormat.txt (ip7z/7zip); `chunked.py`.

`least` and `most` are what `salvage/sevenzip.py` loses. A byte that is lost counts as lost although a zero may have
stood there. The start header costs nothing at best, as it can be made anew from the end header.
"""

from collections.abc import Iterable, Iterator
from io import SEEK_END, RawIOBase
from typing import cast

from py7zr.exceptions import UnsupportedCompressionMethodError

from drill.copies.raw import Steady, Unreadable
from drill.copies.sevenzip.cipher import GRAIN, Decrypted
from drill.copies.sevenzip.layout import AES, COPY, LZMA, LZMA2, START_HEADER, Block, Layout, open_layout
from drill.copies.sevenzip.password import refuse_wrong_password
from drill.extents import Anatomy, Extent, Members, Part
from drill.model import Entry, Trouble
from drill.structure.chunked import costs_of, follow
from drill.structure.costs import Cost, Places, hull, merged, moved, spread

_BZIP2 = b"\x04\x02\x02"
_BRANCHES = {b"\x03\x03\x01\x03", b"\x03\x03\x02\x05", b"\x03\x03\x04\x01", b"\x03\x03\x05\x01", b"\x03\x03\x07\x01"}
_BRANCHES |= {b"\x03\x03\x08\x05"}  # x86, PPC, IA64, ARM, ARMT, SPARC: each looks at a few bytes around
_AROUND = 256  # bytes that such a filter may spoil beside damage: 5 are usual, the rest is caution
_TAIL = 16  # the last packed bytes may be nothing but a check value or what a coder flushes


def anatomy_of(raw: RawIOBase, size: int, password: str | None, *, kept: bool) -> Anatomy:
    """Return what lies where; `kept`: a copy of the headers is kept elsewhere.

    Errors: Unreadable, as for listing the members, and where blocks lie over each other or beyond the end.
    """
    source = Steady(raw)
    layout = open_layout(source, password)
    if not layout.locked:
        refuse_wrong_password(source, layout, password)
    blocks = sorted(layout.blocks, key=lambda block: block.start)
    _refuse_overlaps(blocks, size)
    members: list[Entry] = []
    costs: list[Cost] = []
    restarts = 0
    for block in blocks:
        places = _places(block, len(members), members)
        found, begins = _block_costs(raw, block, places)
        costs += merged(moved(found, block.start))
        restarts += begins
    members += [m.entry for m in layout.members if m.plain and not m.size]
    bytes_of = [block for block in blocks if block.members]
    return Anatomy(
        size=size,
        members=members,
        extents=_whole(costs, layout, size=size, count=len(members), filled=_filled(blocks), kept=kept),
        stream_size=sum(entry.size or 0 for entry in members),
        packed_size=sum(block.packed for block in blocks),
        restarts=restarts if any(not _stored(block) for block in bytes_of) else None,
        encrypted=layout.locked or any(AES in block.methods for block in blocks),
        kept_elsewhere=kept,
    )


def header_spans(raw: RawIOBase, password: str | None) -> list[tuple[int, int]]:
    """Return where the two headers lie, [from, to). Errors: Unreadable."""
    size = raw.seek(0, SEEK_END)
    raw.seek(0)
    layout = open_layout(Steady(raw), password)
    return [(0, START_HEADER), (layout.headers, min(layout.end, size))]


def _refuse_overlaps(blocks: list[Block], size: int) -> None:
    at = START_HEADER
    for block in blocks:
        if block.start < at or block.start + block.packed > size:
            raise Unreadable(Trouble.DAMAGED, "the archive's header is damaged (its blocks do not fit into it)")
        at = block.start + block.packed


def _places(block: Block, first: int, members: list[Entry]) -> Places:
    """Return where the block's files lie among its bytes, and add them to the members."""
    spans, at = [], 0
    for member in block.members:
        if member.plain and member.size:
            spans.append((at, at + member.size))
            members.append(member.entry)
        at += member.size
    return Places(first, spans)


def _filled(blocks: list[Block]) -> int:
    return sum(1 for block in blocks for member in block.members if member.plain and member.size)


def _stored(block: Block) -> bool:
    return block.streams == 1 and all(method in (AES, COPY) for method in block.methods)


# --- a block ---------------------------------------------------------------------------------------------------------


def _block_costs(source: RawIOBase, block: Block, places: Places) -> tuple[Iterable[Cost], int]:
    """Return what a block's packed bytes cost, from 0 on, and at how many places its decoding can begin anew."""
    locked = block.methods[:1] == (AES,)
    methods = block.methods[1:] if locked else block.methods
    if block.streams != 1 or AES in methods:
        return _unknown(block, places), 1
    found: Iterable[Cost]
    if all(method == COPY for method in methods):
        found, begins = _stored_costs(places, block.packed), 0
    elif methods[0] == LZMA2:
        stream = _decrypted(source, block) if locked else _Window(source, block)
        if stream is None:
            return _unknown(block, places), 1
        chain = follow(stream, block.packed, places)
        found = costs_of(chain, places, packed=block.packed, dictionary=block.dictionary)
        found, begins = _filtered(found, methods[1:], places), max(1, chain.restarts)
    else:
        return _unknown(block, places), 1
    return (spread(found, grain=GRAIN, size=block.packed) if locked else found), begins


def _decrypted(source: RawIOBase, block: Block) -> RawIOBase | None:
    if block.folder.password is None:
        return None
    try:
        return Decrypted(source, block)
    except UnsupportedCompressionMethodError:
        return None


class _Window(RawIOBase):
    """A block's packed bytes as a stream of their own."""

    def __init__(self, source: RawIOBase, block: Block) -> None:
        super().__init__()
        self._source, self._start = source, block.start

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._source.seek(self._start + offset, whence) - self._start

    def readinto(self, buffer: object, /) -> int:
        return self._source.readinto(cast(memoryview, buffer)) or 0


def _stored_costs(places: Places, packed: int) -> Iterator[Cost]:
    at = 0
    for owner in range(*places.all):
        start, end = places.span(owner)
        yield Cost(at, min(start, packed), Part.NOTHING, owner, (owner, owner), (owner, owner))
        yield Cost(min(start, packed), min(end, packed), Part.STORED, owner, (owner, owner + 1), (owner, owner + 1))
        at = min(end, packed)
    none = places.past, places.past
    yield Cost(at, packed, Part.NOTHING, places.past, none, none)


def _filtered(costs: Iterable[Cost], filters: tuple[bytes, ...], places: Places) -> Iterable[Cost]:
    """Widen what may be lost by what a filter behind the chunks carries from one byte to others."""
    if not filters:
        return costs
    if all(method in _BRANCHES for method in filters):
        return (cost._replace(most=_around(cost.most, places)) for cost in costs)
    return (cost._replace(most=(cost.most[0], max(cost.most[1], places.past))) for cost in costs)


def _around(most: Members, places: Places) -> Members:
    if most[0] >= most[1]:
        return most
    start, end = places.span(most[0])[0], places.span(most[1] - 1)[1]
    return hull(most, places.over(max(0, start - _AROUND), end + _AROUND))


def _unknown(block: Block, places: Places) -> Iterator[Cost]:
    """Yield the cost of a block whose inside is not known: one member is lost surely, several only at most."""
    locked = AES in block.methods
    part = Part.ENCRYPTED if locked else Part.COMPRESSED
    first, past = places.all
    ends = block.streams == 1 and any(method in block.methods for method in (LZMA, LZMA2, _BZIP2))
    surely = (past - 1, past) if past - first == 1 or (ends and past > first) else (first, first)
    tail = max(0, block.packed - _TAIL - GRAIN * locked)
    yield Cost(0, tail, part, first, surely, (first, past))
    yield Cost(tail, block.packed, part, first, (first, first), (first, past))


# --- the whole -------------------------------------------------------------------------------------------------------


def _whole(costs: list[Cost], layout: Layout, *, size: int, count: int, filled: int, kept: bool) -> list[Extent]:
    """Return the extents of the whole file: headers, blocks and what lies between them."""
    everything, none = (0, count), (count, count)
    ends = layout.end == size  # else the end header cannot be found from behind
    start = Cost(0, START_HEADER, Part.HEADERS, 0, none, none if kept or ends else everything, "the start header")
    least, most = (none, none) if kept else _without_headers(layout, filled, count)
    tail = Cost(layout.headers, min(layout.end, size), Part.HEADERS, 0, least, most, "the end header")
    extents: list[Extent] = []
    at = 0
    for cost in (start, *costs, tail):
        if at < cost.start:
            extents.append(Extent(at, cost.start, Part.NOTHING, cost.stops, none, none))
        if cost.start < cost.end:
            extents.append(cost.extent)
        at = max(at, cost.end)
    if at < size:
        extents.append(Extent(at, size, Part.NOTHING, count, none, none))
    return extents


def _without_headers(layout: Layout, filled: int, count: int) -> tuple[Members, Members]:
    """Return what is lost with the end header: a block of one file and of LZMA2 alone still comes, without its name."""
    whole = [
        block.methods == (LZMA2,) and len(block.members) == 1 and block.members[0].plain
        for block in layout.blocks
        if block.members
    ]
    if all(whole) and not layout.locked:
        return (filled, count), (filled, count)
    return ((filled, count) if any(whole) else (0, count)), (0, count)
