"""Choosing: which files an audit reads, all of them, what a budget buys, or a spot check of each copy.

Flows in: scopes, limits, what is known of each file, rates. Flows out: files to read, in portions. Must not know: how
anything is read, verdicts. Media are read side by side, so a span of time is given to each of them; what is on one bus
shares it. The arithmetic is `drill.sampling`'s.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction

from drill.audit.past import Past, Proofs
from drill.audit.promises import Promises
from drill.audit.scope import Scope
from drill.coverage import MANY, same_content
from drill.model import Digest, Entry, Medium, Promised
from drill.reading import JobKey
from drill.sampling import Candidate, budget_order, draw, sample_size, size_of_unknown, within_budget
from drill.units import say_size, say_span

_PORTIONS = 20  # of a budget of time: what comes first is read first, whatever the paths
_LEAST_PORTION_S = 30.0

Contents = tuple[tuple[Digest, ...], ...]


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is read: all; for so many seconds or bytes; or so many files of each copy that a clean sample shows at
    this confidence that at most that share is bad."""

    budget_s: float | None = None
    budget_bytes: int | None = None
    confidence: Fraction | None = None
    at_most: Fraction = Fraction(1, 100)

    @property
    def words(self) -> str:
        """Return what was asked, in words; empty for everything."""
        if self.confidence is not None:
            return f"a spot check at {say_share(self.confidence)} confidence, for at most {say_share(self.at_most)} bad"
        if self.budget_s is not None:
            return f"what {say_span(self.budget_s)} of reading buy"
        return "" if self.budget_bytes is None else f"what {say_size(self.budget_bytes)} of reading buy"


def say_share(share: Fraction) -> str:
    """Write a share as people do: "95 %", "99.5 %"."""
    return f"{float(share * 100):.6g} %"


@dataclass(frozen=True, slots=True)
class Pick:
    """One file to read, of the copy with that id."""

    copy: str
    entry: Entry

    @property
    def key(self) -> JobKey:
        """Return what its result is found under."""
        return self.copy, self.entry.path, self.entry.index


@dataclass(frozen=True, slots=True)
class Choice:
    """What is read, one portion after the other; with a confidence the files that each copy's sample stands for, and
    those that were drawn."""

    portions: Sequence[Sequence[Pick]]
    population: Mapping[str, int] = field(default_factory=dict)
    drawn: Mapping[str, frozenset[JobKey]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Choosing:
    """What a choice is made by: promises, proofs, each copy's past, what a file costs on a medium, the seed, now."""

    promises: Promises
    proofs: Proofs
    pasts: Mapping[str, Past]
    cost_s: Callable[[Medium], Callable[[int], float]]
    seed: int
    now: datetime


def choose(scopes: Sequence[Scope], limits: Limits, by: Choosing, *, done: frozenset[JobKey] = frozenset()) -> Choice:
    """Choose what to read; `done` was read by an audit that was cut short, and costs nothing again."""
    if limits.confidence is not None:
        return _spot_check(scopes, limits, limits.confidence, by, done)
    if limits.budget_s is None and limits.budget_bytes is None:
        every = [pick for scope in scopes for pick in _picks(scope) if pick.key not in done]
        return Choice([every])
    return _by_budget(scopes, limits, by, done)


def _picks(scope: Scope) -> list[Pick]:
    return [Pick(scope.found.copy.id, entry) for entry in scope.to_read]


# --- a spot check ------------------------------------------------------------------------------------------------


def _spot_check(
    scopes: Sequence[Scope], limits: Limits, confidence: Fraction, by: Choosing, done: frozenset[JobKey]
) -> Choice:
    wanted: list[Pick] = []
    population: dict[str, int] = {}
    drawn: dict[str, frozenset[JobKey]] = {}
    for scope in scopes:
        picks = {_name(pick): pick for pick in _picks(scope) if _can_be_bad(scope, pick.entry, by.promises)}
        size = sample_size(len(picks), confidence=confidence, at_most=limits.at_most)
        sample = [picks[name] for name in draw(picks, size, by.seed)]
        population[scope.found.copy.id] = len(picks)
        drawn[scope.found.copy.id] = frozenset(pick.key for pick in sample)
        wanted.extend(pick for pick in sample if pick.key not in done)
    return Choice([wanted], population, drawn)


def _can_be_bad(scope: Scope, entry: Entry, promises: Promises) -> bool:
    """Say whether a file is said to be something: of a copy without a list, by its name."""
    return bool(scope.said) or bool(promises.named_like(entry.path))


def _name(pick: Pick) -> str:
    return f"{pick.copy}\0{pick.entry.path}\0{pick.entry.index}"


# --- a budget ----------------------------------------------------------------------------------------------------


def _by_budget(scopes: Sequence[Scope], limits: Limits, by: Choosing, done: frozenset[JobKey]) -> Choice:
    picks: dict[str, Pick] = {}
    lanes: dict[str, list[Candidate]] = defaultdict(list)
    unknown = size_of_unknown(entry.size for scope in scopes for entry in scope.to_read)
    for scope in scopes:
        medium = scope.found.medium
        lane = (f"bus {medium.bus}" if medium.bus else medium.id) if limits.budget_s is not None else ""
        right, cost_s = _right_contents(scope, by.promises), by.cost_s(medium)
        for pick in _picks(scope):
            if pick.key not in done:
                picks[_name(pick)] = pick
                contents = right[pick.entry.path, pick.entry.index]
                lanes[lane].append(_candidate(pick, cost_s, contents, by, unknown=unknown))
    chosen = [
        within_budget(
            budget_order(candidates, by.seed, now=by.now), budget_s=limits.budget_s, budget_bytes=limits.budget_bytes
        )
        for candidates in lanes.values()
    ]
    archives = {scope.found.copy.id for scope in scopes if scope.found.is_archive}
    return Choice(_portions(chosen, picks, limits.budget_s, archives))


def _right_contents(scope: Scope, promises: Promises) -> dict[tuple[str, int], Contents]:
    """Return for each file that may be read the contents that it may have to have, as their digests."""
    right: dict[tuple[str, int], Contents] = {}
    for said in scope.said:
        if said.entry is not None:
            right[said.entry.path, said.entry.index] = (said.item.digests,)
    for entry in scope.candidates:
        named = promises.named_like(entry.path)[:MANY]
        right[entry.path, entry.index] = tuple(promises.files[number].digests for number in named)
    return right


def _candidate(pick: Pick, cost_s: Callable[[int], float], right: Contents, by: Choosing, *, unknown: int) -> Candidate:
    size = unknown if pick.entry.size is None else pick.entry.size
    known = by.pasts[pick.copy].of(pick.entry) if pick.copy in by.pasts else None
    proven = known is not None and known.problem is None and _is_right(known.digests, right)
    return Candidate(
        key=_name(pick),
        size=size,
        cost_s=cost_s(size),
        verified_at=known.read_at if known is not None and proven else None,
        other_verified=len(by.proofs.copies(digest for content in right for digest in content) - {pick.copy}),
    )


def _is_right(digests: Sequence[Digest], right: Contents) -> bool:
    """Say whether a reading showed one of the contents that the file ought to have."""
    return any(same_content(Promised("", content, None, ""), digests, path="", size=None) for content in right)


def _portions(
    chosen: Sequence[Sequence[Candidate]], picks: Mapping[str, Pick], budget_s: float | None, archives: set[str]
) -> list[list[Pick]]:
    """Cut what is read into portions, so that what comes first is read first; an archive is read in one go."""
    if budget_s is None:
        return [[picks[one.key] for lane in chosen for one in lane]]
    span_s = max(_LEAST_PORTION_S, budget_s / _PORTIONS)
    portions: dict[int, list[Pick]] = defaultdict(list)
    at_of_archive: dict[str, int] = {}
    for lane in chosen:
        spent_s = 0.0
        for one in lane:
            pick, at = picks[one.key], int(spent_s / span_s)
            spent_s += one.cost_s
            portions[at_of_archive.setdefault(pick.copy, at) if pick.copy in archives else at].append(pick)
    return [portions[at] for at in sorted(portions)]
