"""Salvage: what can still be had of damaged archives and files, past bad sectors and failed check values.

Flows in: stores, kept headers, what is wanted. Flows out: Entries; begin, data, hole and end calls. Must not know:
promises. Nothing is accepted here: only the judge's digest does that.

`patched` the streams that all salvage reads through; `loose` files of a folder; `sevenzip`, `zipped` and `tarred` one
archive format each.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from io import RawIOBase

from drill.copies import Unreadable
from drill.copies.archive import Guard, kind_of, open_archive
from drill.copies.raw import Waiting, explain, fail
from drill.errors import DrillError
from drill.extents import Kept
from drill.model import Collector, Entry, Problem, Store, Trouble
from drill.salvage.loose import deliver_around
from drill.salvage.patched import Patched, add_range

__all__ = ["add_range", "deliver_around", "salvage", "salvage_entries"]

_List = Callable[[RawIOBase, int, str | None], list[Entry]]
_Deliver = Callable[[RawIOBase, int, str | None, Waiting, Collector], None]


def salvage_entries(store: Store, archive: str, password: str | None, *, kept: Kept | None) -> list[Entry]:
    """List what can be named in a damaged archive; with `kept` headers in the place of its own.

    Members that nothing names any more have invented paths. Errors: Unreadable; CannotReach, CannotRead.
    """
    list_members, _ = _reader(archive)
    try:
        with _open(store, kept) as raw:
            return list_members(raw, _size(raw), password)
    except DrillError:
        raise
    except Exception as error:  # whatever damage makes of a reader: the archive is at fault, not the program
        problem = explain(error, 0)
        raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})") from None


def salvage(
    store: Store,
    archive: str,
    password: str | None,
    wanted: Sequence[Entry],
    collector: Collector,
    *,
    kept: Kept | None,
    listing: Sequence[Entry] | None = None,
) -> None:
    """Deliver all that can be had of the wanted members, each once, in the archive's own order.

    They may come from a listing that was made in good health: one that is not there under its number and path is
    looked for by path and size in `listing`, what `salvage_entries` gives. What cannot be had at all ends with a
    Problem.
    """
    pairs = _meant(list(dict.fromkeys(wanted)), listing or ())
    waiting = Waiting([found for found, _ in pairs])
    if not waiting:
        return
    guard = _Guard(collector, {(found.path, found.index): asked for found, asked in pairs})
    problem = Problem(Trouble.MISSING, "not found in the archive as it can be read now")
    _, deliver_members = _reader(archive)
    try:
        with _open(store, kept) as raw:
            deliver_members(raw, _size(raw), password, waiting, guard)
    except Exception as error:
        if guard.raised:
            raise
        problem = explain(error, 0)
        guard.close(problem)
    fail(waiting.rest(), guard, problem)


def _meant(wanted: Sequence[Entry], listing: Sequence[Entry]) -> list[tuple[Entry, Entry]]:
    """Return each wanted member as the damaged archive has it, beside what was asked for; no two are one."""
    known = {(entry.path, entry.index) for entry in listing}
    pairs = [(entry, entry) for entry in wanted if not known or (entry.path, entry.index) in known]
    taken = {(found.path, found.index) for found, _ in pairs}
    alike = defaultdict(list)
    for entry in listing:
        if (entry.path, entry.index) not in taken:
            alike[entry.path].append(entry)
    for entry in wanted if known else ():
        if (entry.path, entry.index) in known:
            continue
        named = [found for found in alike[entry.path] if entry.size is None or found.size in (None, entry.size)]
        if named:
            alike[entry.path].remove(named[0])
        pairs.append((named[0] if named else entry, entry))
    return pairs


def _reader(archive: str) -> tuple[_List, _Deliver]:
    """Load the format's reader. Only here: the libraries behind it take longer than all else that a start loads."""
    match kind_of(archive):
        case ".7z":
            from drill.salvage import sevenzip  # noqa: PLC0415

            return sevenzip.list_members, sevenzip.deliver_members
        case ".zip":
            from drill.salvage import zipped  # noqa: PLC0415

            return zipped.list_members, zipped.deliver_members
        case ".tar" | ".tar.gz" | ".tar.xz" | ".tar.zst" as kind:
            from drill.salvage import tarred  # noqa: PLC0415

            return (
                lambda raw, size, password: tarred.list_members(kind, raw, size),
                lambda raw, size, password, waiting, to: tarred.deliver_members(kind, raw, size, waiting, to),
            )
    raise AssertionError(archive)


def _open(store: Store, kept: Kept | None) -> RawIOBase:
    raw = open_archive(store)
    return raw if kept is None else Patched(raw, kept)


def _size(raw: RawIOBase) -> int:
    size = raw.seek(0, 2)
    raw.seek(0)
    return size


class _Guard(Guard):
    """Pass everything on under the names that were asked for."""

    def __init__(self, collector: Collector, asked: Mapping[tuple[str, int], Entry]) -> None:
        super().__init__(collector)
        self._collector, self._asked = collector, asked
        self._open: Entry | None = None

    def begin(self, entry: Entry) -> None:
        self._open = entry
        super().begin(self._asked.get((entry.path, entry.index), entry))

    def hole(self, start: int, end: int) -> None:
        self.call(self._collector.hole, start, end)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        self._open = None
        super().end(self._asked.get((entry.path, entry.index), entry), problem)

    def close(self, problem: Problem) -> None:
        """End a member that a failure left open."""
        if self._open is not None:
            self.end(self._open, problem)
