"""What a lost stretch of an LZMA2 stream costs, from its chunks' headers alone.

Flows in: a stream of the packed bytes, where the members lie. Flows out: Costs. Must not know: archives, what is in
front of the stream or behind it. Facts: `copies/sevenzip/chunks.py`. What a chunk costs when it cannot be read:

- bytes as they are: the members they belong to; the chunk's header is found again from the next one
- a compressed chunk: all of it may go, what it ends with surely does, and with it the chunks that go on from its state
- at most also what later chunks can copy from there: they reach back a dictionary's length, and what they copied can
  be copied again, but never beyond the next chunk that forgets the dictionary
"""

from __future__ import annotations  # an array takes no type in brackets before Python 3.12

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import RawIOBase

from drill.copies.sevenzip.chunks import HEAD, Chunk, chunk_at
from drill.errors import DrillError
from drill.extents import Part
from drill.structure.costs import Cost, Places

_TAIL = 16  # the last bytes of a compressed chunk may be nothing but what the coder flushes (5 bytes)
_CODER_START = 4  # bytes of the range coder's first five that surely matter; the first is always 0
_CONTINUED = 0x80
_STORED = 0x02
_STORED_HEAD = 3


@dataclass(slots=True)
class Chain:
    """The chunks of one stream in order, runs of alike ones as one; `broken` is where they cannot be followed."""

    control: array[int] = field(default_factory=lambda: array("B"))
    start: array[int] = field(default_factory=lambda: array("Q"))
    unpacked: array[int] = field(default_factory=lambda: array("Q"))
    end: int = 0
    size: int = 0
    restarts: int = 0
    broken: int | None = None

    def __len__(self) -> int:
        return len(self.control)


def follow(stream: RawIOBase, packed: int, places: Places) -> Chain:
    """Read every chunk's header, 6 bytes each, and nothing else.

    Chunks that cost the same as the one before them, as they go on in the same way within the same member, are not
    kept one by one: 100 GB of pictures have 1.6 million.
    """
    chain = Chain()
    head = bytearray(HEAD)
    view = memoryview(head)
    at = size = same_until = 0
    stored = False
    while True:
        try:
            stream.seek(at)
            got = stream.readinto(view if at + HEAD <= packed else view[: max(0, packed - at)]) or 0
        except (OSError, DrillError):
            got = 0
        if got == HEAD and head[0] == _STORED:
            unpacked = (head[1] << 8 | head[2]) + 1
            if stored and size + unpacked <= same_until and at + 3 + unpacked <= packed:
                at += 3 + unpacked
                size += unpacked
                continue
        chunk = chunk_at(view[:got])
        if chunk is None or at + chunk.head + chunk.packed > packed or not (at or chunk.resets_dictionary):
            chain.broken = at
            break
        chain.end = at + chunk.head
        if not chunk.control:
            break
        goes_on = _CONTINUED <= chunk.control < 0xA0 and not stored
        if not goes_on or size + chunk.unpacked > same_until:
            _add(chain, chunk, at, size)
            same_until = _same_until(places, size, size + chunk.unpacked)
            stored = chunk.stored
        at += chunk.head + chunk.packed
        size += chunk.unpacked
    chain.size = size
    return chain


def _same_until(places: Places, start: int, end: int) -> int:
    """Return where the member ends that has all the bytes from start to end, 0 where there is no such member."""
    owners = places.over(start, end)
    if owners[1] - owners[0] != 1:
        return 0
    first, last = places.span(owners[0])
    return last if first <= start and end <= last else 0


def _add(chain: Chain, chunk: Chunk, at: int, size: int) -> None:
    chain.control.append(chunk.control)
    chain.start.append(at)
    chain.unpacked.append(size)
    chain.restarts += chunk.resets_dictionary


def costs_of(chain: Chain, places: Places, *, packed: int, dictionary: int) -> Iterator[Cost]:
    """Yield what each part of the stream costs, in order and without gaps."""
    reach, runs = _reaches(chain, dictionary), _runs(chain)
    for number in range(len(chain)):
        if chain.control[number] < 0x80:
            yield from _stored(chain, number, places=places, reach=reach[number])
        else:
            yield from _compressed(chain, number, places=places, reach=reach[number], run=runs[number])
    if chain.broken is not None:
        lost = places.over(chain.size, 1 << 63)
        why = "a part whose chunks cannot be followed"
        yield Cost(chain.broken, packed, Part.COMPRESSED, lost[0], (lost[0], lost[0]), lost, why)
    else:
        none = places.past, places.past
        yield Cost(chain.end - 1, chain.end, Part.COMPRESSED, places.past, none, none, "the end of a block")
        yield Cost(chain.end, packed, Part.NOTHING, places.past, none, none)


def _end(chain: Chain, number: int) -> int:
    if number + 1 < len(chain):
        return chain.start[number + 1]
    return chain.end - 1 if chain.broken is None else chain.broken


def _unpacked_end(chain: Chain, number: int) -> int:
    return chain.unpacked[number + 1] if number + 1 < len(chain) else chain.size


def _reaches(chain: Chain, dictionary: int) -> array[int]:
    """Return for each chunk how far, in unpacked bytes, what is wrong in it can have been copied on."""
    reach = array("Q", bytes(8 * len(chain)))
    copier: int | None = None  # the next compressed chunk in the same dictionary
    for number in range(len(chain) - 1, -1, -1):
        control, end = chain.control[number], _unpacked_end(chain, number)
        near = copier is not None and chain.unpacked[copier] < end + dictionary
        reach[number] = reach[copier] if copier is not None and near else end
        if control >= 0x80:
            copier = number
        if control == 0x01 or control >= 0xE0:
            copier = None
    return reach


def _runs(chain: Chain) -> array[int]:
    """Return for each chunk where, in unpacked bytes, those end that cannot be decoded once it is lost."""
    runs = array("Q", bytes(8 * len(chain)))
    for number in range(len(chain) - 1, -1, -1):
        goes_on = number + 1 < len(chain) and _CONTINUED <= chain.control[number + 1] < 0xA0
        runs[number] = runs[number + 1] if goes_on else _unpacked_end(chain, number)
    return runs


def _stored(chain: Chain, number: int, *, places: Places, reach: int) -> Iterator[Cost]:
    start, end, first = chain.start[number], _end(chain, number), chain.unpacked[number]
    last = _unpacked_end(chain, number)
    begin = start + _STORED_HEAD
    owners = places.over(first, last)
    past = places.over(first, reach)[1]  # of all that may have copied from here
    if owners[1] - owners[0] == 1 and first and places.over(first - 1, first) == owners:
        begin = start  # what hits the header hits the same member before or after it
    else:
        most = owners[0], max(owners[1], past)
        yield Cost(start, begin, Part.STORED, places.at(first), (owners[0], owners[0]), most, "a chunk's header")
    at = begin
    for owner in range(*owners):
        from_, to = places.span(owner)
        own_start = at if from_ <= first else max(at, end - (last - from_))
        own_end = end - max(0, last - to)
        yield _nobodys(at, own_start, owner)
        most = owner, past if reach > last else owner + 1
        yield Cost(own_start, own_end, Part.STORED, owner, (owner, owner + 1), most)
        at = own_end
    yield _nobodys(at, end, owners[1])


def _nobodys(start: int, end: int, following: int) -> Cost:
    """Return the cost of bytes that belong to a link or the like."""
    none = following, following
    return Cost(start, end, Part.NOTHING, following, none, none)


def _compressed(chain: Chain, number: int, *, places: Places, reach: int, run: int) -> Iterator[Cost]:
    start, end, first = chain.start[number], _end(chain, number), chain.unpacked[number]
    last = _unpacked_end(chain, number)
    owners, stops = places.over(first, last), places.at(first)
    least = places.over(last - 1, run)
    most = owners[0], max(owners[1], places.over(first, reach)[1])
    tail = max(start, end - _TAIL)
    if owners[1] - owners[0] == 1 and places.over(last, last + 1) == owners:
        tail = end  # what hits the tail hits the same member before or after it
    head = min(start + HEAD + _CODER_START, tail)  # without these bytes nothing of it can be decoded
    yield Cost(start, head, Part.COMPRESSED, stops, places.over(first, run), most)
    yield Cost(head, tail, Part.COMPRESSED, stops, least, most)
    yield Cost(tail, end, Part.COMPRESSED, stops, (least[0], least[0]), most)
