"""Past: what the ledger knows of the copies, as far as it still counts.

Flows in: the ledger, copies as found. Flows out: earlier readings of unchanged files, who is proven to hold which
bytes, whether an audit was cut short, and how fast media were. Must not know: lists, verdicts, how anything is read.
"""

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from drill.audit.scope import Scope
from drill.coverage import WEAK
from drill.ledger import Evidence, Ledger, Root, unchanged
from drill.model import Digest, Entry, Medium, Seen
from drill.rates import Measurement, Rate, fit

RESUME_WITHIN = timedelta(days=7)
_LAST_RATES = 12


class Past:
    """Earlier readings of one copy's files, asked for only when needed. Without a root (a link) there are none."""

    def __init__(self, root: Root | None = None, ledger: Ledger | None = None) -> None:
        self._root, self._ledger = root, ledger
        self._evidence: Mapping[tuple[str, int], Evidence] | None = None

    def of(self, entry: Entry) -> Evidence | None:
        """Return the last reading of a file, if the file is unchanged since."""
        known = self.ask().get((entry.path, entry.index)) if self._root is not None else None
        return known if known is not None and self._root is not None and unchanged(known, self._root, entry) else None

    def before(self, entry: Entry) -> Sequence[tuple[Digest, ...]]:
        """Return what readings of that path showed, the first and the last, whether the file changed since or not."""
        known = self.ask().get((entry.path, entry.index))
        return () if known is None else (known.before, known.digests)

    def sizes(self) -> Iterator[tuple[str, int, tuple[Digest, ...]]]:
        """Yield path, size and digests of all that was ever read to its end."""
        for known in self.ask().values():
            if known.problem is None and known.size is not None:
                yield known.path, known.size, known.digests

    def ask(self) -> Mapping[tuple[str, int], Evidence]:
        """Ask the ledger, once: what is asked for before the reading stays as it was then."""
        if self._evidence is None:
            self._evidence = {} if self._ledger is None or self._root is None else self._ledger.evidence(self._root)
        return self._evidence

    def digests(self, entry: Entry) -> tuple[Digest, ...]:
        """Return what the last reading of an unchanged file showed; nothing where it ran into a problem."""
        known = self.of(entry)
        return () if known is None or known.problem is not None else known.digests


@dataclass(frozen=True, slots=True)
class Proof:
    """Somebody read these bytes there: the copy, the path, when."""

    copy: str
    path: str
    at: datetime


class Proofs:
    """Who was seen to hold which bytes, by digest: of all, or `only` of the digests that are asked about."""

    def __init__(self, only: Container[Digest] | None = None) -> None:
        self._only = only
        self._by_digest: dict[Digest, list[Proof]] = defaultdict(list)

    def add(self, proof: Proof, digests: Iterable[Digest]) -> None:
        """Note that a reading showed these digests; weak ones prove nothing."""
        for digest in digests:
            if digest.kind not in WEAK and (self._only is None or digest in self._only):
                self._by_digest[digest].append(proof)

    def of(self, digests: Iterable[Digest]) -> list[Proof]:
        """Return every proof of bytes with one of these digests, the last one first."""
        found = {proof for digest in digests for proof in self._by_digest.get(digest, ())}
        return sorted(found, key=lambda proof: (-proof.at.timestamp(), proof.copy, proof.path))

    def copies(self, digests: Iterable[Digest]) -> set[str]:
        """Return the copies that were seen to hold these bytes."""
        return {proof.copy for digest in digests for proof in self._by_digest.get(digest, ())}


@dataclass(frozen=True, slots=True)
class CutShort:
    """Audits that were cut short, one after the other: since when, and the last one's seed."""

    since: datetime
    seed: int | None


def cut_short(ledger: Ledger, *, now: datetime) -> CutShort | None:
    """Return the audits since the last complete one that did not end, as far as they are of the last seven days."""
    found: CutShort | None = None
    for run in ledger.runs():
        if run.kind != "audit":
            continue
        if run.complete:
            found = None
        elif now - run.started <= RESUME_WITHIN:
            found = CutShort(min(found.since, run.started) if found else run.started, run.seed)
    return found


def carried_on(scope: Scope, past: Past, since: datetime) -> dict[tuple[str, int], Seen]:
    """Return what was read of a copy's files since then, with all the digest kinds that are wanted of each.

    What ran into a problem is not taken over: it is read again.
    """
    seen: dict[tuple[str, int], Seen] = {}
    for entry in scope.to_read:
        known = past.of(entry)
        if known is None or known.problem is not None or known.read_at < since or known.size is None:
            continue
        if {digest.kind for digest in known.digests} >= set(scope.kinds_of(entry.path, entry.index)):
            seen[entry.path, entry.index] = Seen(known.size, known.digests)
    return seen


def measured_rate(ledger: Ledger, medium: Medium) -> Rate | None:
    """Return how fast a medium is, by the last readings that came from the medium for sure; None without any."""
    known = [rate for rate in ledger.rates(medium.id) if not rate.maybe_cached]
    return fit([Measurement(rate.files, rate.bytes, rate.took_s) for rate in known[-_LAST_RATES:]])
