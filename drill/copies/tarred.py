"""Tar archives, plain or compressed: list the members, deliver some of them, go on after a damaged header.

Flows in: a raw stream of the archive's bytes, what is wanted. Flows out: Entries; begin, data and end calls. Must
not know: where the stream comes from. A compressed tar is read once, from its start to the last wanted member.
"""

import tarfile
from collections.abc import Callable, Iterator
from io import RawIOBase

import zstandard

from drill.copies.raw import BLOCK, BrokenOff, Unreadable, Waiting, explain, fail, send
from drill.copies.tape import Tape, Unpacked, tape_of
from drill.copies.tarwalk import TooHollow, Walk, stretches
from drill.errors import DrillError
from drill.model import Entry, Listing, Problem, Receiver, Trouble

_List = Callable[[RawIOBase, str | None], Listing]
_Deliver = Callable[[RawIOBase, str | None, Waiting, Receiver], None]


def reader(kind: str) -> tuple[_List, _Deliver]:
    """Return the two functions that list and deliver a tar of that kind; they ignore the password: a tar has none."""

    def list_members(raw: RawIOBase, password: str | None) -> Listing:
        return _list(tape_of(kind, raw))

    def deliver_members(raw: RawIOBase, password: str | None, waiting: Waiting, receiver: Receiver) -> None:
        links = _deliver(tape_of(kind, raw), waiting, receiver)
        while links:
            raw.seek(0)
            links = _deliver_again(tape_of(kind, raw), links, waiting=waiting, receiver=receiver)

    return list_members, deliver_members


def is_complete(kind: str, raw: RawIOBase) -> bool:
    """Say whether all headers make sense up to the mark of the end, and only zeros follow. Errors: those of reading."""
    walk = Walk(tape_of(kind, raw))
    for _ in walk.headers():
        pass
    return not walk.doubt()


def _list(tape: Tape) -> Listing:
    """List the regular files to the end. Errors: Unreadable when not one header can be read."""
    walk = Walk(tape)
    entries: list[Entry] = []
    before_mark = 0
    for entry, _ in walk.members():
        entries.append(entry)
        before_mark += walk.marked is None
    if not entries and walk.broken:
        if isinstance(tape.trouble, DrillError):
            raise tape.trouble
        if tape.trouble is not None:
            problem = explain_tar(tape.trouble, 0)
            raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})")
        raise Unreadable(Trouble.DAMAGED, "the archive has no readable tar header")
    return Listing(entries, damage=walk.doubt(), others=before_mark if before_mark < len(entries) else None)


def _deliver(tape: Tape, waiting: Waiting, receiver: Receiver) -> list[Entry]:
    """Deliver what is waiting; return the hard links to bytes that had gone by. Those are waiting still."""
    links: list[Entry] = []
    walk = Walk(tape)
    for entry, info in walk.members():
        wanted = waiting.take(entry.index, entry.path)
        if wanted is not None and isinstance(tape, Unpacked) and tape.tell() > info.offset_data:
            links.append(wanted)
        elif wanted is not None:
            send(wanted, receiver, bytes_of(tape, entry, info), why=explain_tar)
        if not waiting:
            break
    if waiting and isinstance(tape, Unpacked) and tape.trouble is not None:
        trouble = explain_tar(tape.trouble, 0).trouble
        fail(waiting.rest(), receiver, Problem(trouble, "comes after the damage in the archive"))
    elif waiting and walk.unread:
        fail(waiting.rest(), receiver, Problem(Trouble.IO, "not found: I/O errors where the archive's headers lie"))
    waiting.back(links)
    return links


def _deliver_again(tape: Tape, links: list[Entry], *, waiting: Waiting, receiver: Receiver) -> list[Entry]:
    """Deliver one link to each file; return those left for another pass, none when this one got nowhere."""
    left = list(links)
    for entry, info in Walk(tape).members():
        link = next((link for link in left if link.index == entry.index), None)
        if link is not None and tape.tell() <= info.offset_data:
            left.remove(link)
            waiting.take(link.index, link.path)
            send(link, receiver, bytes_of(tape, entry, info), why=explain_tar)
        if not left:
            break
    return left if len(left) < len(links) else []


def bytes_of(tape: Tape, entry: Entry, info: tarfile.TarInfo) -> Iterator[bytes]:
    """Yield a member's bytes, zeros in the holes of a sparse one. Errors: TooHollow, those of the tape."""
    if entry.size is None:
        raise TooHollow
    tape.seek(info.offset_data)
    done = 0
    for start, size in [*stretches(info), (info.size, 0)]:
        while done < start:
            hole = bytes(min(BLOCK, start - done))
            done += len(hole)
            yield hole
        end = start + size
        while done < end:
            chunk = tape.read(min(BLOCK, end - done))
            if not chunk:
                raise BrokenOff(f"the archive ends after {done} of its {info.size} bytes")
            done += len(chunk)
            yield chunk


def explain_tar(error: Exception, at: int) -> Problem:
    """Put a failure of reading a tar, after `at` good bytes of a member, into words."""
    match error:
        case zstandard.ZstdError() if "memory" in str(error):
            return Problem(Trouble.UNSUPPORTED, "is packed with a window larger than can be read here")
        case TooHollow():
            return Problem(Trouble.UNSUPPORTED, "a sparse file: the archive says it has more zeros than is believed")
        case OSError() | DrillError() | MemoryError():
            return explain(error, at)
    return Problem(Trouble.DAMAGED, f"cannot be unpacked from byte {at} on")
