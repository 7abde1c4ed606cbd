"""Contents: what is known of the bytes of one copy's files, by earlier readings and by those of this run.

Flows in: a copy as found, the ledger, results of reading. Flows out: digests by file, and which promised files they
prove. Must not know: what is at stake, terminals. An earlier reading counts as long as the file is unchanged by path,
size and modified time; behind a link nothing tells that, so nothing counts there but what was read just now.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from drill.coverage import WEAK, same_content
from drill.evidence import Promises, still_known
from drill.ledger import Ledger
from drill.model import Digest, Entry, Problem, Promised, Seen, Trouble
from drill.naming import dropping
from drill.reading import root_of
from drill.shelf import OpenCopy, State

Key = tuple[str, int]  # a file's path on its copy, and its index there
Fresh = Callable[[int, datetime], bool]


@dataclass(frozen=True, slots=True)
class Shown:
    """What a reading of a file showed: its digests, its size in bytes, and when; `now` in this very run."""

    digests: tuple[Digest, ...]
    size: int
    at: datetime
    now: bool

    def tells(self, kinds: Iterable[str]) -> bool:
        """Say whether it has every one of these digest kinds."""
        return set(kinds) <= {digest.kind for digest in self.digests}


@dataclass(frozen=True, slots=True)
class Proof:
    """A promised file was read whole on a copy and is the promised one: under which path, when."""

    path: str
    at: datetime
    now: bool


def is_promised(file: Promised, digests: Iterable[Digest]) -> bool:
    """Say whether these are the promised bytes: every promised digest is there and agrees, not only a weak one."""
    known = dict(digests)
    return all(known.get(kind) == text for kind, text in file.digests) and not is_weak(file)


def is_weak(file: Promised) -> bool:
    """Say whether a promise has no digest that could prove anything."""
    return all(digest.kind in WEAK for digest in file.digests)


def left_behind(path: str, promises: Promises) -> bool:
    """Say whether a file lies in a trash or the like, or bears a name that systems give and nobody promised."""
    above = path.rpartition("/")[0]
    if above and dropping(f"{above}/x") is not None:
        return True
    return dropping(path) is not None and not promises.named_like(path)


class Contents:
    """One copy's files as far as their bytes are known. `fresh` says whether a proof of that time still counts."""

    def __init__(self, found: OpenCopy, ledger: Ledger, promises: Promises, fresh: Fresh) -> None:
        self.found = found
        self.shown: dict[Key, Shown] = {}
        self.problems: dict[Key, Problem] = {}
        self.proofs: dict[int, Proof] = {}
        self.holding: dict[int, list[Entry]] = defaultdict(list)  # by any reading, however old
        self.vanished: str | None = None
        self._promises, self._fresh = promises, fresh
        self.remembered: dict[int, datetime] = {}  # of a copy that is not here: what it was seen to hold, and when
        if found.state is State.HERE:
            for entry, known in still_known(ledger, root_of(found), found.entries):
                self._learn(entry, Shown(known.digests, entry.size or 0, known.read_at, now=False))
        elif found.state is State.AWAY:
            for known in ledger.evidence_of_copy(found.copy.id, found.copy.on).values():
                for number in promises.holding(known.digests, path=known.path, size=known.size):
                    self.remembered[number] = max(known.read_at, self.remembered.get(number, known.read_at))

    @property
    def id(self) -> str:
        """Return the copy's id."""
        return self.found.copy.id

    @property
    def can_be_read(self) -> bool:
        """Say whether it is here and stayed so."""
        return self.found.state is State.HERE and self.vanished is None

    def was_read(self, entry: Entry) -> bool:
        """Say whether a file was read in this run, or tried."""
        key = entry.path, entry.index
        return key in self.problems or (key in self.shown and self.shown[key].now)

    def take(self, entry: Entry, result: Seen | Problem, now: datetime) -> None:
        """Note what a reading of this run came to; what an earlier one of that file proved counts no more."""
        for number in self.numbers(entry):
            proof = self.proofs.get(number)
            if proof is not None and proof.path == entry.path and not proof.now:
                del self.proofs[number]
        if isinstance(result, Problem):
            self.shown.pop((entry.path, entry.index), None)
            self.problems[entry.path, entry.index] = result
            if result.trouble is Trouble.UNREACHABLE:
                self.vanished = result.detail
            return
        self._learn(entry, Shown(result.digests, result.size, now, now=True))

    def numbers(self, entry: Entry) -> list[int]:
        """Return the promised files whose content a file is known to have."""
        shown = self.shown.get((entry.path, entry.index))
        if shown is None:
            return []
        return list(self._promises.holding(shown.digests, path=entry.path, size=shown.size))

    def is_another(self, entry: Entry, file: Promised) -> bool:
        """Say whether a file is known to have other bytes than a promised one."""
        shown = self.shown.get((entry.path, entry.index))
        if shown is None:
            return (entry.path, entry.index) in self.problems
        return same_content(file, shown.digests, path=entry.path, size=shown.size) is False

    def _learn(self, entry: Entry, shown: Shown) -> None:
        self.shown[entry.path, entry.index] = shown
        for number in self._promises.holding(shown.digests, path=entry.path, size=shown.size):
            self.holding[number].append(entry)
            if not is_promised(self._promises.files[number], shown.digests):
                continue
            before = self.proofs.get(number)
            if (shown.now or self._fresh(number, shown.at)) and (before is None or before.at <= shown.at):
                self.proofs[number] = Proof(entry.path, shown.at, shown.now)
