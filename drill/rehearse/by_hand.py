"""The restore by hand: for each file the first copy that is said to hold it, opens and reads to the end, believed.

Flows in: the cases of a drill, the stage, a way to read. Flows out: how many come back right, silently wrong, not at
all. Must not know: digests of claims: a person looks at names and lists. By hand, an archive ends at its first I/O
error, and a tar at the first mark of its end, as GNU tar, 7-Zip and Python's tarfile take zeros for it.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress

from drill.coverage import Claim
from drill.errors import DrillError
from drill.faults import Faulted
from drill.globs import fold, shared_ending
from drill.model import Entry, Problem, Promised, Trouble
from drill.record import Unchecked
from drill.rehearse.reads import Read
from drill.restore import Key
from drill.shelf import OpenCopy

Look = Callable[[str, Iterable[Entry]], Mapping[Key, Read]]


def by_hand(
    files: Sequence[tuple[Promised, Mapping[str, Sequence[Claim]]]],
    *,
    shoot: str,
    copies: Mapping[str, OpenCopy],
    usable: Mapping[str, Faulted],
    look: Look,
) -> Unchecked:
    """Return what a restore by hand brings back; copies are asked in the studio file's order.

    Where a copy has several files of that name that match equally well, a person takes the one in a folder named after
    the shoot.
    """
    pending = dict.fromkeys(range(len(files)))
    right = wrong = 0
    for id_ in copies:
        if id_ not in usable:
            continue
        turns = {n: _entries(*files[n], shoot=shoot, id_=id_, faulted=usable[id_]) for n in pending}
        comes_out = _comes_out(copies[id_], usable[id_], look) if any(turns.values()) else _everything
        while any(turns.values()):
            reads = look(id_, [entries[0] for entries in turns.values() if entries])
            for number in [n for n, entries in turns.items() if entries]:
                entry = turns[number].pop(0)
                read = reads[entry.path, entry.index]
                if not read.believed or not comes_out(entry):
                    continue
                right, wrong = (right + 1, wrong) if read.gives(files[number][0]) else (right, wrong + 1)
                del pending[number], turns[number]
    return Unchecked(right, wrong, len(pending))


def _entries(
    file: Promised, claims: Mapping[str, Sequence[Claim]], *, shoot: str, id_: str, faulted: Faulted
) -> list[Entry]:
    named = [c.entry for c in claims.get(id_, ()) if c.by_hand and c.entry is not None and not faulted.hides(c.entry)]
    if len(named) > 1:  # the order is kept where neither the path nor the folder tells
        named.sort(
            key=lambda e: (-shared_ending(file.path, e.path), fold(shoot) not in fold(e.path.rpartition("/")[0]))
        )
    return named


def _everything(entry: Entry) -> bool:
    return True


def _comes_out(found: OpenCopy, faulted: Faulted, look: Look) -> Callable[[Entry], bool]:
    """Return which members of an archive come out before its mark of the end, or the first I/O error, ends the work."""
    if not found.is_archive:
        return _everything
    if not (faulted.has_bad_sectors or _fails_by_itself(found, look)):
        if found.others is None:
            return _everything
        listed = {(entry.path, entry.index) for entry in found.entries[: found.others]}
        return lambda entry: (entry.path, entry.index) in listed
    receiver = _UntilFirstError()
    with suppress(_Ended):
        faulted.view.deliver(found.entries[: found.others], receiver)
    return lambda entry: (entry.path, entry.index) in receiver.whole


def _fails_by_itself(found: OpenCopy, look: Look) -> bool:
    """Say whether the archive, as it lies there, has shown an I/O error in the reads so far."""
    reads = look(found.copy.id, ())
    return any(read.problem is not None and read.problem.trouble is Trouble.IO for read in reads.values())


class _Ended(DrillError):
    """The work by hand ends here."""


class _UntilFirstError:
    """A receiver that notes which files come whole, and stops at the first I/O error."""

    def __init__(self) -> None:
        self.whole: set[Key] = set()

    def begin(self, entry: Entry) -> None:
        """Get ready for nothing."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        """Keep nothing."""

    def end(self, entry: Entry, problem: Problem | None) -> None:
        if problem is None:
            self.whole.add((entry.path, entry.index))
        elif problem.trouble is Trouble.IO:
            raise _Ended("the archive ends at its first I/O error")
