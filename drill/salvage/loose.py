"""Loose files read around: what a failing medium still gives of a file, with zeros and holes for the rest.

Flows in: a store, entries. Flows out: begin, data, hole and end calls. Must not know: promises, archives.
"""

from collections.abc import Iterator, Sequence
from io import RawIOBase

from drill.copies import BLOCK
from drill.copies.raw import explain, fail
from drill.errors import CannotReach, CannotRead, DrillError
from drill.model import Collector, Entry, Problem, Store, Trouble
from drill.salvage.patched import Around, Patience


def deliver_around(store: Store, entries: Sequence[Entry], collector: Collector) -> None:
    """Deliver files of a folder or behind links; what cannot be read comes as zeros and is told as holes.

    What can only be read forwards, as a server sends it, ends where reading fails.
    """
    buffer, patience = bytearray(BLOCK), Patience()
    for entry in entries:
        try:
            raw = store.open(entry)
        except (OSError, CannotReach, CannotRead) as error:
            fail([entry], collector, explain(error, 0))
            continue
        with raw:
            collector.begin(entry)
            collector.end(entry, _deliver(raw, entry, collector, buffer, patience=patience))


def _deliver(
    raw: RawIOBase, entry: Entry, collector: Collector, buffer: bytearray, *, patience: Patience
) -> Problem | None:
    around = Around(raw, patience=patience) if raw.seekable() else None
    done = 0
    try:
        for chunk in _chunks(around or raw, buffer, entry.size):
            collector.data(chunk)
            done += len(chunk)
    except _Failed as failed:
        return explain(failed.error, done)
    lost = 0
    for start, end in around.holes if around is not None else ():
        collector.hole(start, min(end, done))
        lost += end - start
    if lost:
        return Problem(Trouble.IO, f"I/O error: {lost} of {done} bytes cannot be read")
    if entry.size is not None and done < entry.size:
        return Problem(Trouble.DAMAGED, f"ends after {done} of {entry.size} bytes")
    return None


class _Failed(Exception):
    """The stream itself failed, not the collector."""

    def __init__(self, error: Exception) -> None:
        super().__init__()
        self.error = error


def _chunks(raw: RawIOBase, buffer: bytearray, limit: int | None) -> Iterator[memoryview]:
    view, done = memoryview(buffer), 0
    while limit is None or done < limit:
        wanted = len(view) if limit is None else min(len(view), limit - done)
        try:
            got = raw.readinto(view[:wanted])
        except (OSError, DrillError) as error:
            raise _Failed(error) from None
        if not got:
            return
        done += got
        yield view[:got]
