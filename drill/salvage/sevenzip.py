"""What can still be had of a damaged 7z archive: past bad sectors, failed check values and lost headers.

Flows in: a stream of the archive's bytes that fails where they cannot be read, a password, what is wanted. Flows out:
Entries; begin, data, hole and end calls. Must not know: promises; nothing is accepted here, whatever its check value.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from io import RawIOBase
from itertools import chain

from drill.copies.crc import crc32
from drill.copies.raw import Steady, Unreadable, Waiting, fail
from drill.copies.sevenzip.layout import Block, Layout, Member, open_layout
from drill.copies.sevenzip.unpack import why
from drill.extents import Kept
from drill.model import Collector, Entry, Problem, Trouble
from drill.salvage.patched import Around, Patched, Range, add_range
from drill.salvage.sevenzip_blocks import Salvaged, holes_in, salvaged
from drill.salvage.sevenzip_start import start_headers
from drill.salvage.sevenzip_unnamed import salvaged_block, unnamed_blocks

_ZEROS = bytes(64 * 1024)
_TIGHTEST = 8192  # no more zeros than this for each packed byte stand in for what is lost, whatever a header claims


def list_members(raw: RawIOBase, size: int, password: str | None) -> list[Entry]:
    """List what can be named; where both headers are lost, blocks without a name, at negative indices.

    Errors: Unreadable where nothing is left, and for a missing or a wrong password.
    """
    around = Around(raw)
    found = _open(around, size, password)
    if isinstance(found, Layout):
        return [member.entry for member in found.members if member.plain]
    blocks = [block.entry for block in unnamed_blocks(around, size)]
    if not blocks:
        raise found
    return blocks


def deliver_members(raw: RawIOBase, size: int, password: str | None, waiting: Waiting, collector: Collector) -> None:
    """Deliver all that can be had of what is waiting. Errors: Unreadable, as for `list_members`."""
    around = Around(raw)
    found = _open(around, size, password)
    if not isinstance(found, Layout):
        _deliver_unnamed(around, size, waiting, collector)
        return
    for member in found.without_bytes():
        entry = waiting.take(member.index, member.path)
        if entry is not None:
            _give(_Part(entry, 0, 0, None), Salvaged(iter(()), lambda: ()), collector, unread=lambda: False)
    for block in sorted(found.blocks, key=lambda block: block.start):
        wanted = [m for m in block.members if m.plain and m.index in waiting]
        if wanted:
            members = block.members[: block.members.index(wanted[-1]) + 1]
            _deliver_block(around, block, members, waiting=waiting, collector=collector)


def _open(around: Around, size: int, password: str | None) -> Layout | Unreadable:
    """Read the header, by way of a start header made anew if need be; else return why that cannot be."""
    try:
        return open_layout(Steady(around), password)
    except Unreadable as error:
        if error.trouble in (Trouble.REFUSED, Trouble.UNSUPPORTED):
            raise
        first = error
    for piece in start_headers(around, size):
        try:
            return open_layout(Steady(_Over(around, Kept(size, (piece,)))), password)
        except Unreadable as error:
            if error.trouble in (Trouble.REFUSED, Trouble.UNSUPPORTED):
                raise
    return first


class _Over(Patched):
    """Pieces laid over a stream that is read on: when this is let go of it closes, and must not close what is below."""

    def close(self) -> None:
        RawIOBase.close(self)


# --- members ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Part:
    """A member to be given: where its bytes lie among its block's, and their check value."""

    entry: Entry
    start: int
    size: int
    crc: int | None


def _deliver_block(
    around: Around, block: Block, members: Sequence[Member], *, waiting: Waiting, collector: Collector
) -> None:
    wanted = [(member, waiting.take(member.index, member.path) if member.plain else None) for member in members]
    try:
        source = salvaged(around, block)
    except Exception as error:
        fail([entry for _, entry in wanted if entry is not None], collector, why(error, 0, block=block))
        return
    unread = holes_in(around, block.start)
    fill = block.size <= _TIGHTEST * (block.packed + 1)
    at = 0
    for number, (member, entry) in enumerate(wanted):
        if entry is None:
            source.skip(member.size)
        else:
            part = _Part(entry, at, member.size, member.crc)
            if not _give(part, source, collector, unread=lambda: bool(unread(0, block.packed)), fill=fill):
                waiting.back([entry for _, entry in wanted[number:] if entry is not None])
                return
        at += member.size


def _give(
    part: _Part, source: Salvaged, collector: Collector, *, unread: Callable[[], bool], fill: bool = True
) -> bool:
    """Give a member's bytes, zeros and holes; say whether anything of it came: else it is not begun."""
    chunks = source.take(part.size)
    first = next(chunks, None)
    if first is None and part.size:
        return False
    most = part.size if part.entry.size is None else min(part.size, part.entry.size)
    collector.begin(part.entry)
    crc = came = 0
    for chunk in chain((first,) if first is not None else (), chunks):
        crc = crc32(chunk, crc)
        if came < most:
            collector.data(chunk[: most - came])
        came += len(chunk)
    whole = crc == part.crc if part.crc is not None else None
    holes = [] if whole else _doubts(source, part)
    add_range(holes, (came, part.size))
    while fill and came < most:
        zeros = _ZEROS[: most - came]
        collector.data(zeros)
        came += len(zeros)
    for start, end in holes:
        if start < most:
            collector.hole(start, min(end, most))
    collector.end(part.entry, _problem(part, holes, whole=whole, unread=unread))
    return True


def _doubts(source: Salvaged, part: _Part) -> list[Range]:
    """Return which of a member's bytes are in doubt, in its own offsets."""
    past = part.start + part.size
    found: list[Range] = []
    doubts = source.doubts()
    for start, end in doubts[bisect_right(doubts, part.start, key=lambda doubt: doubt[1]) :]:
        if start >= past:
            break
        add_range(found, (max(0, start - part.start), min(part.size, end - part.start)))
    return found


def _problem(part: _Part, holes: Sequence[Range], *, whole: bool | None, unread: Callable[[], bool]) -> Problem | None:
    if part.entry.size is not None and part.entry.size != part.size:
        return Problem(Trouble.DAMAGED, f"has {part.size} bytes in the archive and should have {part.entry.size}")
    if holes:
        lost = sum(end - start for start, end in holes)
        if unread():
            return Problem(Trouble.IO, f"{lost} of its {part.size} bytes are lost to a bad sector or in doubt")
        return Problem(Trouble.DAMAGED, f"{lost} of its {part.size} bytes are damaged or in doubt")
    if whole is False:
        return Problem(Trouble.CHECK_VALUE, "its check value in the archive differs")
    return None


# --- blocks without a name -------------------------------------------------------------------------------------------


def _deliver_unnamed(around: Around, size: int, waiting: Waiting, collector: Collector) -> None:
    for block in unnamed_blocks(around, size):
        entry = waiting.take(block.entry.index, block.entry.path)
        if entry is not None:
            part = _Part(entry, 0, block.entry.size or 0, None)
            unread = holes_in(around, block.start)
            packed = block.packed
            _give(part, salvaged_block(around, block), collector, unread=lambda: bool(unread(0, packed)))  # noqa: B023
        if not waiting:
            return
