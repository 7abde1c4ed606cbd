"""Memory: what the ledger knows for one drill run, and what the run's own readings add to it.

Flows in: the ledger as it stood, opened copies, readings without a fault. Flows out: what copies without a list were
seen to hold, sizes, proofs and their age. Must not know: scenarios, verdicts. What is remembered leads to a file and
never verifies one: a drill reads for itself.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from drill import clock
from drill.coverage import Claim, kinds_of
from drill.evidence import Promises, Standing, proof_age, remembered, standing_of, still_known
from drill.ledger import Ledger, Root
from drill.model import Digest, Entry, Promised, ProofAge, Seen, Shoot, Trouble
from drill.reading import ENDS_PROOF, is_lasting, link_root, note_listing, root_of
from drill.rehearse.holdings import Claims
from drill.rehearse.reads import Read
from drill.shelf import OpenCopy, State


class Memory:
    """The ledger as one run sees it; without one, it knows nothing and keeps nothing."""

    def __init__(self, ledger: Ledger | None, shoots: Sequence[Shoot], *, now: datetime) -> None:
        self._ledger = ledger
        self._now = now
        self._promises = Promises(shoots)
        self._kinds = kinds_of(self._promises.files)
        self._numbers = {id(file): number for number, file in enumerate(self._promises.files)}
        self._begun = clock.now()
        self._roots: dict[str, Root | None] = {}
        self._standings: dict[str, Standing] = {}

    def with_remembered(self, found: OpenCopy) -> OpenCopy:
        """Give a copy without a list that cannot be reached now, as its list, what it was last seen to hold."""
        if self._ledger is None or found.state is not State.AWAY or found.copy.listed is not None:
            return found
        listed = remembered(found.copy, self._ledger, self._promises)
        if not listed:
            return found
        return replace(found, copy=replace(found.copy, listed=listed), remembered=len(listed))

    def look_up(self, copies: Mapping[str, OpenCopy]) -> None:
        """Hold what is known of each copy against the promises; once, before anything is read."""
        for id_, found in copies.items() if self._ledger is not None else ():
            if self._ledger is not None:
                note_listing(found, self._ledger)
            self._roots[id_] = (root_of(found) or link_root(found.copy)) if found.state is State.HERE else None
            self._standings[id_] = self._standing(found)

    def _standing(self, found: OpenCopy) -> Standing:
        if self._ledger is None:
            return Standing()
        copy = replace(found.copy, listed=None) if found.remembered else found.copy
        entries = found.entries if found.state is State.HERE else None
        root = self._roots.get(copy.id)
        return standing_of(
            copy, self._ledger, self._promises, root=root, entries=entries, now=self._now, begun=self._begun
        )

    def learned(self, found: OpenCopy) -> Iterator[tuple[Entry, tuple[Digest, ...]]]:
        """Yield what is known of the unchanged files on a copy without a list, where it tells them from every promised
        file; a copy with a list is known by that."""
        if self._ledger is None or found.copy.listed is not None:
            return
        for entry, known in still_known(self._ledger, self._roots.get(found.copy.id), found.entries):
            if self._kinds <= {digest.kind for digest in known.digests}:
                yield entry, known.digests

    def sizes(self) -> dict[tuple[Digest, ...], int]:
        """Return the sizes of promised files that some reading ever showed."""
        found: dict[tuple[Digest, ...], int] = {}
        for known in self._standings.values():
            for number, size in known.sizes.items():
                found.setdefault(self._promises.files[number].digests, size)
        return found

    def proven(self, file: Promised, claims: Claims) -> list[datetime]:
        """Return when each copy that is said to hold a promised file was last proved to."""
        number = self._numbers[id(file)]
        standings = [self._standings.get(id_, Standing()) for id_ in claims]
        return [known.proven[number] for known in standings if number in known.proven]

    def note(self, found: OpenCopy, entry: Entry, read: Read) -> None:
        """Remember what a reading without a fault showed."""
        root = self._roots.get(found.copy.id)
        if self._ledger is None or root is None:
            return
        copy = found.copy.id
        if read.problem is not None and read.problem.trouble is not Trouble.CHECK_VALUE:
            if read.problem.trouble in ENDS_PROOF:
                self._ledger.put_problem(root, entry, read.problem, took_s=read.took_s, copy=copy)
        elif read.finding is not None and self._is_lasting(found, entry, root):
            self._ledger.put(root, entry, Seen(read.size, read.finding.digests), took_s=read.took_s, copy=copy)

    def _is_lasting(self, found: OpenCopy, entry: Entry, root: Root) -> bool:
        return is_lasting(root, entry, self._begun) and (not root.archive or root_of(found) == root)

    def ages(self, copies: Mapping[str, OpenCopy], shoot: Shoot, claims: Sequence[Claims]) -> list[ProofAge]:
        """Return how old the proofs of a shoot are on each copy that is said to hold some of it."""
        held: dict[str, list[int]] = {}
        for file, having in zip(shoot.promise, claims, strict=True):
            number = self._numbers[id(file)]
            for id_, offered in having.items():
                if self._may_hold(id_, number, offered):
                    held.setdefault(id_, []).append(number)
        ages = [proof_age(id_, held[id_], self._standings.get(id_, Standing())) for id_ in copies if id_ in held]
        return [_unread(age) if copies[age.copy].damaged is not None else age for age in ages]

    def _may_hold(self, id_: str, number: int, offered: Sequence[Claim]) -> bool:
        """Say whether a copy is not known to hold other bytes: a camera uses names again, and a name is a claim."""
        known = self._standings.get(id_, Standing())
        if number in known.proven or number in known.refuted:
            return True
        return not all(c.entry is not None and (c.entry.path, c.entry.index) in known.read for c in offered)


def _unread(age: ProofAge) -> ProofAge:
    """Return the age of an archive that its own headers do not open any more: what is in it is unknown, not wrong."""
    return replace(age, never=age.held - age.proven, refuted=())
