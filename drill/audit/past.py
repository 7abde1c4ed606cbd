"""Past: what the ledger knows of the copies, as far as it still counts.

Flows in: the ledger, copies as found. Flows out: earlier readings of unchanged files, who is proven to hold which
bytes, whether an audit was cut short, and how fast media were. Must not know: lists, verdicts, how anything is read.
"""

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from statistics import median

from drill.coverage import WEAK
from drill.ledger import Evidence, Ledger, Root, unchanged
from drill.model import Digest, Entry, Medium, Seen
from drill.reading import root_of
from drill.shelf import OpenCopy

RESUME_WITHIN = timedelta(days=7)
_LAST_RATES = 5


@dataclass(frozen=True, slots=True)
class Past:
    """Earlier readings of one copy's files. Without a root (a link) nothing is remembered."""

    root: Root | None = None
    evidence: Mapping[tuple[str, int], Evidence] = field(default_factory=dict)

    def of(self, entry: Entry) -> Evidence | None:
        """Return the last reading of a file, if the file is unchanged since."""
        known = self.evidence.get((entry.path, entry.index))
        return known if known is not None and self.root is not None and unchanged(known, self.root, entry) else None

    def digests(self, entry: Entry) -> tuple[Digest, ...]:
        """Return what the last reading of an unchanged file showed; nothing where it ran into a problem."""
        known = self.of(entry)
        return () if known is None or known.problem is not None else known.digests


def past_of(found: OpenCopy, ledger: Ledger) -> Past:
    """Return what the ledger knows of an opened copy."""
    root = root_of(found)
    return Past() if root is None else Past(root, ledger.evidence(root))


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
        since = min(run.started, run.now)  # readings are dated by what counted as now, where that was earlier
        if run.complete:
            found = None
        elif now - since <= RESUME_WITHIN:
            found = CutShort(min(found.since, since) if found else since, run.seed)
    return found


def carried_on(
    entries: Iterable[Entry], past: Past, since: datetime, kinds: Mapping[tuple[str, int], Sequence[str]]
) -> dict[tuple[str, int], Seen]:
    """Return what was read of these files since then, with all the digest kinds that are wanted of each.

    What ran into a problem is not taken over: it is read again.
    """
    seen: dict[tuple[str, int], Seen] = {}
    for entry in entries:
        known = past.of(entry)
        if known is None or known.problem is not None or known.read_at < since or known.size is None:
            continue
        key = entry.path, entry.index
        if {digest.kind for digest in known.digests} >= set(kinds[key]):
            seen[key] = Seen(known.size, known.digests)
    return seen


def measured_bps(ledger: Ledger, medium: Medium) -> float | None:
    """Return a medium's rate in bytes a second, as the last readings showed that came from the medium for sure."""
    rates = [rate for rate in ledger.rates(medium.id) if not rate.maybe_cached and rate.bytes and rate.took_s > 0]
    return median(rate.bytes / rate.took_s for rate in rates[-_LAST_RATES:]) if rates else None
