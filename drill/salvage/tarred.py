"""What can be had of a damaged tar: past broken headers, past bad sectors, from the next unit of a compressed one.

Flows in: a raw stream of the archive, what is waiting. Flows out: Entries; begin, data, hole and end calls. Must not
know: promises. A tar has no check value over its members' bytes: what came without an error is for a judge.
"""

import tarfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from io import RawIOBase

from drill.copies.raw import Unreadable, Waiting
from drill.copies.tarred import explain_tar
from drill.copies.tarwalk import RECORD, TooHollow, Walk, is_header, stretches
from drill.errors import DrillError
from drill.model import Collector, Entry, Problem, Trouble
from drill.salvage.claims import Broken, Claims, Pieces, hand_over
from drill.salvage.patched import Around
from drill.salvage.unrolled import PackedTape, PlainTape

_Tape = PlainTape | PackedTape
_Match = Callable[[Entry, int], Entry | None]


def list_members(kind: str, raw: RawIOBase, size: int) -> list[Entry]:
    """List what the headers that are left name. Errors: Unreadable where none is."""
    walk = _walk(_tape(kind, raw, size))
    entries = [entry for entry, _ in walk.members()]
    if not entries and walk.broken:
        raise Unreadable(Trouble.DAMAGED, "the archive has no readable tar header")
    return entries


def deliver_members(kind: str, raw: RawIOBase, size: int, waiting: Waiting, collector: Collector) -> None:
    """Deliver what can be had of what is waiting; the rest stays waiting."""
    claims = Claims(waiting)
    around = Around(raw)
    try:
        if not claims:
            return
        walked = _walk_through(partial(_tape, kind, raw, size, around), claims, collector)
        if claims and (walked.shifted or walked.sound):
            walked = _pass(_tape(kind, raw, size, around), _anywhere(claims), claims, collector)
        if claims and not walked.shifted:  # a header of zeros looks like the mark of the end: all seems sound then
            _by_place(_tape(kind, raw, size, around), claims, collector)
        for entry in claims.all() if not walked.sound else ():
            if entry.size == 0:  # nothing of it can be lost
                hand_over(claims.strike(entry), iter(()), collector, most_zeros=0, verdict=_lost_header)
    finally:
        claims.back()


def _tape(kind: str, raw: RawIOBase, size: int, around: Around | None = None) -> _Tape:
    around = around or Around(raw)
    return PlainTape(around, size) if kind == ".tar" else PackedTape(kind, around, raw, size)


def _walk(tape: _Tape) -> Walk:
    return Walk(tape, beyond=tape.beyond)


@dataclass(frozen=True, slots=True)
class _Walked:
    """How a walk over the headers went: `passed` hard links whose bytes had gone by, `sound` when all made sense."""

    passed: bool
    sound: bool
    shifted: bool


def _walk_through(new_tape: Callable[[], _Tape], claims: Claims, collector: Collector) -> _Walked:
    """Walk as often as hard links need it, and hand over what lies where the listing has it."""
    while True:
        left = len(claims.all())
        walked = _pass(new_tape(), _in_place(claims), claims, collector)
        if not walked.passed or not claims or len(claims.all()) == left:
            return walked


def _in_place(claims: Claims) -> _Match:
    return lambda entry, index: claims.take(index, [entry.path], entry.size)


def _anywhere(claims: Claims) -> _Match:
    return lambda entry, _: claims.take_elsewhere([entry.path], entry.size)


def _pass(tape: _Tape, match: _Match, claims: Claims, collector: Collector) -> _Walked:
    """Walk over the headers once and hand over what matches."""
    walk = _walk(tape)
    passed = False
    for entry, info in walk.members():
        if tape.forwards_only and tape.tell() > info.offset_data:
            passed = passed or claims.at(info.offset_data)  # to be had at the link's target, the next time
            continue
        wanted = match(entry, info.offset_data)
        if wanted is not None:
            hand_over(wanted, _bytes_of(tape, entry, info), collector, most_zeros=tape.most_zeros, verdict=_no_verdict)
        if not claims:
            break
    return _Walked(passed, not (walk.broken or walk.unread or tape.torn), tape.shifted)


def _no_verdict() -> Problem | None:
    return None


def _bytes_of(tape: _Tape, entry: Entry, info: tarfile.TarInfo) -> Pieces:
    """Yield the bytes of a member, the holes of a sparse one filled with zeros. Errors: Broken."""
    if entry.size is None:
        raise Broken(explain_tar(TooHollow(), 0))
    place, done = info.offset_data, 0
    for start, size in [*stretches(info), (info.size, 0)]:
        while done < start:
            hole = bytes(min(1 << 17, start - done))
            done += len(hole)
            yield hole
        yield from tape.pieces(place, size)
        place, done = place + size, start + size


def _by_place(tape: _Tape, claims: Claims, collector: Collector) -> None:
    """Hand over what an older listing says lies there, its header being lost: always with a problem."""
    for entry in claims.all():
        if not entry.size or (isinstance(tape, PlainTape) and not _fits(tape, entry)):
            continue
        if tape.forwards_only and (tape.tell() > entry.index or tape.seek(entry.index) < entry.index):
            continue
        pieces = tape.pieces(entry.index, entry.size)
        hand_over(claims.strike(entry), pieces, collector, most_zeros=tape.most_zeros, verdict=_lost_header)


def _lost_header() -> Problem:
    return Problem(Trouble.CHECK_VALUE, "its header is lost; these are the bytes where it lay")


def _fits(tape: PlainTape, entry: Entry) -> bool:
    """Say whether the entry's bytes end where a header begins, or the mark of the end, or nothing can be read."""
    assert entry.size is not None
    tape.seek(entry.index + entry.size + -entry.size % RECORD)
    try:
        record = tape.read(RECORD)
    except (OSError, DrillError):
        return True
    return len(record) < RECORD or not record.strip(b"\0") or is_header(record)
