"""Mending: which copies have wrong files today, without any scenario, and which other copy could give them anew.

Flows in: claims and fault-free reads, shoot by shoot. Flows out: values of the record. Must not know: scenarios, words.
A copy that was not read says nothing: what it is only said to hold is counted apart from what was read and is right.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence

from drill.model import Entry, Promised, Trouble
from drill.record import Mend
from drill.rehearse.findings import Wanting
from drill.rehearse.holdings import Claims
from drill.rehearse.reads import Read
from drill.shelf import OpenCopy, State


class Mending:
    """What is wrong on each copy, in promised files, and how many of these each other copy has."""

    def __init__(self) -> None:
        self._failed: Counter[str] = Counter()
        self._other: Counter[str] = Counter()
        self._right: dict[str, Counter[str]] = defaultdict(Counter)
        self._said: dict[str, Counter[str]] = defaultdict(Counter)

    def note(
        self,
        files: Sequence[tuple[Promised, Claims]],
        wanting: Wanting,
        *,
        read_of: Callable[[str, Entry], Read | None],
        is_here: Callable[[str], bool],
    ) -> None:
        """Add a shoot's files, as far as they were read; `wanting` has what is wrong of what the copies offer."""
        wrong_copies = {id_ for id_, _ in wanting}
        for file, claims in files:
            if not wrong_copies & claims.keys():
                continue
            states = {id_: _state(file, id_, claims, read_of, wanting) for id_ in claims if is_here(id_)}
            for id_, state in states.items():
                if state not in ("failed", "other"):
                    continue
                (self._failed if state == "failed" else self._other)[id_] += 1
                self._right[id_].update(other for other, found in states.items() if found == "right")
                self._said[id_].update(other for other, found in states.items() if found == "unread")

    def mends(self, copies: Mapping[str, OpenCopy], also: Iterable[str]) -> tuple[Mend, ...]:
        """Return every copy with wrong files, the most first; `also` are known to have some without being read."""
        damaged = [id_ for id_, found in copies.items() if _is_damaged(found)]
        ids = dict.fromkeys((*(id_ for id_ in copies if self._failed[id_] or self._other[id_]), *damaged, *also))
        return tuple(sorted((self._mend(id_, copies) for id_ in ids), key=lambda one: -(one.failed + one.other)))

    def _mend(self, id_: str, copies: Mapping[str, OpenCopy]) -> Mend:
        right, said, own = self._right[id_], self._said[id_], copies[id_].medium.id
        failed, other = self._failed[id_], self._other[id_]
        wrong = failed + other

        def worth(one: str) -> tuple[bool, bool, int, int, bool]:
            whole = right[one] + said[one] == wrong
            return right[one] == wrong, whole, right[one], said[one], copies[one].medium.id != own

        source = max((one for one in copies if right[one] + said[one]), key=worth, default=None)
        return Mend(id_, failed, other, source, right[source or ""], said[source or ""], copies[id_].is_archive)


def _is_damaged(found: OpenCopy) -> bool:
    if found.state is State.HERE:
        return bool(found.reason)
    return found.state is State.REFUSES and found.is_archive and found.trouble in (Trouble.DAMAGED, Trouble.IO)


def _state(
    file: Promised, id_: str, claims: Claims, read_of: Callable[[str, Entry], Read | None], wanting: Wanting
) -> str:
    """Say how a copy has a promised file: right, failed (no bytes), other (bytes), unread."""
    found = "unread"
    for claim in claims[id_]:
        read = None if claim.entry is None else read_of(id_, claim.entry)
        if read is not None and read.gives(file):
            return "right"
        if (id_, claim.path) in wanting and found != "other":
            nothing = read is None or read.finding is None or read.finding.looks_like_page
            found = "failed" if nothing else "other"
    return found
