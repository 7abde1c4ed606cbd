"""Mending: which copies have wrong files today, without any scenario, and which other copy could give them anew.

Flows in: claims and fault-free reads, shoot by shoot. Flows out: values of the record. Must not know: scenarios, words.
A copy that was not read says nothing: what it is only said to hold is counted apart from what was read and is right.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from drill.coverage import Claim
from drill.model import Entry, Promised, Trouble
from drill.record import Mend
from drill.rehearse.findings import Wanting
from drill.rehearse.holdings import Claims
from drill.rehearse.reads import Read
from drill.shelf import OpenCopy, State


@dataclass(slots=True)
class _Wrong:
    """A wrong file on a copy, and the other copies that have every promised file it may be: `right` were read in this
    run and are, of `had` it is right or was not read."""

    failed: bool
    right: frozenset[str]
    had: frozenset[str]


class Mending:
    """What is wrong on each copy, in files of that copy, and how many of these each other copy has."""

    def __init__(self) -> None:
        self._wrong: dict[str, dict[str, _Wrong]] = defaultdict(dict)  # by copy and by path on it
        self._sets: dict[frozenset[str], frozenset[str]] = {}  # one of each, as thousands of files share a few

    def note(
        self,
        files: Sequence[tuple[Promised, Claims]],
        wanting: Wanting,
        *,
        read_of: Callable[[str, Entry], Read | None],
        is_here: Callable[[str], bool],
    ) -> None:
        """Add a shoot's files, as far as they were read; `wanting` has what is wrong of what the copies offer.

        Cameras use names again, so one file may be offered for several promised ones; it is counted once.
        """
        wrong_copies = {id_ for id_, _ in wanting}
        for file, claims in files:
            if not wrong_copies & claims.keys():
                continue
            reads = {id_: _reads(id_, claims[id_], read_of) for id_ in claims if is_here(id_)}
            right = {id_ for id_, made in reads.items() if any(read is not None and read.gives(file) for read in made)}
            bad = {id_ for id_ in claims if any((id_, claim.path) in wanting for claim in claims[id_])} - right
            unread = {id_ for id_, made in reads.items() if None in made} - right - bad
            for id_ in bad:
                for claim in claims[id_]:
                    if (id_, claim.path) in wanting:
                        self._add(id_, claim, right=right, unread=unread, read_of=read_of)

    def _add(
        self,
        id_: str,
        claim: Claim,
        *,
        right: set[str],
        unread: set[str],
        read_of: Callable[[str, Entry], Read | None],
    ) -> None:
        read = None if claim.entry is None else read_of(id_, claim.entry)
        failed = read is None or read.finding is None or read.finding.looks_like_page
        known = self._wrong[id_].setdefault(claim.path, _Wrong(failed, frozenset(right), frozenset(right | unread)))
        known.right, known.had = self._one(known.right & right), self._one(known.had & (right | unread))

    def _one(self, ids: frozenset[str]) -> frozenset[str]:
        return self._sets.setdefault(ids, ids)

    def mends(self, copies: Mapping[str, OpenCopy], also: Iterable[str]) -> tuple[Mend, ...]:
        """Return every copy with wrong files, the most first; `also` are known to have some without being read."""
        damaged = [id_ for id_, found in copies.items() if _is_damaged(found)]
        ids = dict.fromkeys((*(id_ for id_ in copies if self._wrong.get(id_)), *damaged, *also))
        return tuple(sorted((self._mend(id_, copies) for id_ in ids), key=lambda one: -(one.failed + one.other)))

    def _mend(self, id_: str, copies: Mapping[str, OpenCopy]) -> Mend:
        files = list(self._wrong.get(id_, {}).values())
        failed, own = sum(file.failed for file in files), copies[id_].medium.id
        right = Counter(other for file in files for other in file.right)
        had = Counter(other for file in files for other in file.had)

        def worth(one: str) -> tuple[bool, bool, int, int, bool]:
            is_right, has_all = right[one] == len(files), had[one] == len(files)
            return is_right, has_all, right[one], had[one], copies[one].medium.id != own

        source = max((one for one in copies if had[one]), key=worth, default=None)
        good, said = (0, 0) if source is None else (right[source], had[source] - right[source])
        return Mend(id_, failed, len(files) - failed, source, good, said, copies[id_].is_archive)


def _is_damaged(found: OpenCopy) -> bool:
    if found.state is State.HERE:
        return bool(found.reason)
    return found.state is State.REFUSES and found.is_archive and found.trouble in (Trouble.DAMAGED, Trouble.IO)


def _reads(id_: str, offered: Sequence[Claim], read_of: Callable[[str, Entry], Read | None]) -> list[Read | None]:
    """Return the reads of what a copy offers for a promised file, None for what was not read."""
    return [read_of(id_, claim.entry) for claim in offered if claim.entry is not None]
