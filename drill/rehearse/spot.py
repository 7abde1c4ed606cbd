"""The spot check of a drill: which promised files are really restored, where not all of them are.

Flows in: shoots, what copies are said to hold, what reading them costs, what is proven already. Flows out: for each
shoot the promised paths to restore. Must not know: scenarios, verdicts, how files are read.

With a confidence, each shoot's files are drawn by chance alone, so that the outcome says something of the others. With
a budget, those are taken whose reading buys most: no draw, and it says nothing of the others.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from drill.model import Bus, Medium, Promised, Shoot
from drill.record import Sample
from drill.rehearse.holdings import Claims
from drill.sampling import Candidate, Spot, bad_at_most, budget_order, draw, sample_size, size_of_unknown, within_budget
from drill.timing import Load, transfer_s

Proven = Callable[
    [Promised, Claims], Sequence[datetime]
]  # when each copy of a file was last proven, of those that were


@dataclass(frozen=True, slots=True)
class Costs:
    """What reading costs: the medium of each copy that is here, and the buses."""

    media: Mapping[str, Medium]
    buses: Mapping[str, Bus]

    def of(self, claims: Claims, size: int) -> tuple[int, float]:
        """Return the bytes and seconds of reading a file of `size` once on every copy that has it."""
        here = [self.media[id_] for id_ in claims if id_ in self.media]
        return size * len(here), sum(transfer_s(Load(medium, 1, size), self.buses) for medium in here)


def choose(
    spot: Spot,
    shoots: Iterable[Shoot],
    *,
    size_of: Callable[[Promised, Claims], int | None],
    claims_of: Callable[[Promised], Claims],
    costs: Costs,
    proven: Proven,
    seed: int,
    now: datetime,
) -> dict[str, frozenset[str]]:
    """Return the promised paths to restore, by shoot. A budget counts every copy of a file: scenarios ask them all.

    A file of unknown size counts as the largest one whose size is known: a budget is not to be overrun.
    """
    if spot.confidence is not None:
        return {shoot.id: _drawn(shoot, spot.confidence, spot.at_most, seed) for shoot in shoots}
    assert spot.budget is not None
    candidates: dict[str, Candidate] = {}
    places: dict[str, tuple[str, str]] = {}
    shoots = list(shoots)
    rows = [(shoot.id, file, claims_of(file)) for shoot in shoots for file in shoot.promise]
    sizes = {id(file): size_of(file, claims) for _, file, claims in rows}
    unknown = size_of_unknown(sizes.values())
    for id_, file, claims in rows:
        key = f"{id_}\0{file.path}"
        places[key] = id_, file.path
        size = sizes[id(file)]
        candidates[key] = _candidate(key, unknown if size is None else size, file, claims, costs=costs, proven=proven)
    ordered = budget_order(candidates.values(), seed, now=now)
    taken = within_budget(ordered, budget_s=spot.budget.budget_s, budget_bytes=spot.budget.budget_bytes)
    found: dict[str, set[str]] = {shoot.id: set() for shoot in shoots}
    for one in taken:
        id_, path = places[one.key]
        found[id_].add(path)
    return {id_: frozenset(paths) for id_, paths in found.items()}


def _drawn(shoot: Shoot, confidence: Fraction, at_most: Fraction, seed: int) -> frozenset[str]:
    count = sample_size(len(shoot.promise), confidence=confidence, at_most=at_most)
    rooted = draw((f"{shoot.id}\0{file.path}" for file in shoot.promise), count, seed)
    return frozenset(item.partition("\0")[2] for item in rooted)


def _candidate(key: str, size: int, file: Promised, claims: Claims, *, costs: Costs, proven: Proven) -> Candidate:
    total, cost_s = costs.of(claims, size)
    proofs = sorted(proven(file, claims))
    # Of a file with several proven copies, the one proven longest ago is what a drill would renew.
    return Candidate(key, total, cost_s, proofs[0] if proofs else None, max(len(proofs) - 1, 0))


def sample_of(spot: Spot, promised: int, *, chosen: int, not_back: int, left_out: int, known: int) -> Sample:
    """Return what the outcome shows: `not_back` of the `chosen` did not come back, `known` of all surely do not."""
    if spot.confidence is None:
        return Sample(chosen, not_back, left_out, None, None)
    most = max(bad_at_most(promised, chosen, not_back, confidence=spot.confidence), known)
    return Sample(chosen, not_back, left_out, float(spot.confidence), most)
