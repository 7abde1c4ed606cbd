"""The exhaustive search: the fewest mishaps after which a shoot is lost, proved by trying all there are.

Flows in: legs, the state at the first picture, how many mishaps at most. Flows out: levels: how many mishaps it takes,
until when the first of them may come, and all the different stories of so many. Must not know: names of media, times.

Breadth first, along the legs: for each state before a leg the fewest mishaps that lead to it. That is all that matters
of what was before, so each (leg, state) is gone on from once. With one mishap more allowed each time, the first number
that loses is the least there is. Going back from the loss, the states that lie on a shortest story are marked, and
along these all such stories are gathered, as one where the same mishaps come at other times.
One mishap is often enough at first, and two or three later on. So once the least is known, the search is made again for
stories that begin later than any of these; such a number is the least from there on.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from drill import clock
from drill.odds.statuses import LOST_STATE
from drill.search.legs import Leg, Stretch

Layer = dict[int, int]  # state → the fewest mishaps that lead to it
Mark = tuple["Mark | None", int, str]  # what came before, the leg, the mishap


_MOST_PAIRS = 20_000_000  # of leg and state, kept at once: some 800 MB


class _TooMuch(Exception):
    """The time allowed is over, or there are too many states; what was completed before stands."""


@dataclass(frozen=True, slots=True)
class Way:
    """Stories of the same mishaps: the legs of the earliest and of the latest first mishap, and one of them."""

    earliest: int
    latest: int
    first: int
    mark: Mark | None


Ways = dict[int, dict[tuple[str, ...], Way]]  # by state, then by the names of the mishaps, sorted


@dataclass(frozen=True, slots=True)
class Level:
    """From leg `start` on it takes `mishaps`; the first of them may come on leg `last` at the latest. `ways` are all
    different stories: the names of the mishaps, and one of each as (leg, mishap) in order with its range. `openings`
    are all legs on which the first mishap of one may come."""

    mishaps: int
    start: int
    last: int
    ways: tuple[tuple[tuple[str, ...], Way], ...]
    openings: tuple[int, ...]


@dataclass(slots=True)
class Searched:
    """What a search came to: its levels; `complete` mishaps were tried in full (-1: not even none); the states gone on
    from, and how many pairs of leg and state."""

    levels: list[Level] = field(default_factory=list)
    complete: int = -1
    states: set[int] = field(default_factory=set)
    pairs: int = 0
    beyond: int = 0  # the leg from which on no story of up to `complete` mishaps begins
    interrupted: bool = False


def search(
    legs: Sequence[Leg],
    state: int,
    *,
    depth: int,
    start: int = 0,
    until_s: float | None = None,
    progress: Callable[[str], None] = lambda text: None,
) -> Searched:
    """Return the least number of mishaps that loses what begins in `state`, none of them before leg `start`, and what
    it takes later on, up to `depth` mishaps; `until_s` is a reading of the clock's ticks after which it ends."""
    found = Searched(beyond=start)
    for most in range(depth + 1):
        progress(f"all stories of up to {most} mishaps")
        try:
            level = _level(legs, state, most, found, until_s)
        except _TooMuch:
            break
        except KeyboardInterrupt:
            found.interrupted = True
            break
        found.complete = most
        if level is not None:
            found.levels.append(level)
            found.beyond = level.last + 1
            if not most:
                break  # the plan alone loses it: no mishap is needed, and none can be the first
    return found


def _level(legs: Sequence[Leg], state: int, most: int, found: Searched, until_s: float | None) -> Level | None:
    start = found.beyond
    layers = _forward(legs, state, most, start, until_s)
    found.pairs += sum(len(layer) for layer in layers)
    found.states.update(*layers)
    if layers[-1].get(LOST_STATE) is None:
        return None
    needed = _backward(legs, layers, start, until_s)
    ways = _gather(legs, layers, needed, start, until_s)
    openings = _openings(legs, state, layers, needed, start)
    return Level(most, start, max(way.latest for way in ways.values()), tuple(ways.items()), openings)


def _forward(legs: Sequence[Leg], state: int, most: int, start: int, until_s: float | None) -> list[Layer]:
    layers = [{state: 0}]
    pairs = 0
    for number, leg in enumerate(legs):
        _check(until_s)
        before = layers[-1]
        allowed = most if number >= start else 0
        after = _befall(before, leg, allowed) if isinstance(leg, Stretch) else _turn(before, leg, allowed)
        if after == before:
            layers.append(before)  # what stays the same is kept once
            continue
        layers.append(after)
        pairs += len(after)
        if pairs > _MOST_PAIRS:
            raise _TooMuch
    return layers


def _befall(before: Layer, leg: Stretch, most: int) -> Layer:
    """Let up to `most` mishaps, those before among them, come in a stretch."""
    if not most:
        return before
    after = dict(before)
    rings: list[list[int]] = [[] for _ in range(most + 1)]
    for state, mishaps in before.items():
        rings[mishaps].append(state)
    for mishaps in range(most):
        for state in rings[mishaps]:
            if after[state] == mishaps:
                for made in leg.hits.targets(state):
                    if after.get(made, most + 1) > mishaps + 1:
                        after[made] = mishaps + 1
                        rings[mishaps + 1].append(made)
    return after


def _turn(before: Layer, leg: Leg, most: int) -> Layer:
    """Let a step be done, or forgotten where it would have changed something."""
    assert not isinstance(leg, Stretch)
    after: Layer = {}
    for state, mishaps in before.items():
        made = leg.change[state]
        if after.get(made, mishaps + 1) > mishaps:
            after[made] = mishaps
        if made != state and leg.forgotten and mishaps < most and after.get(state, most + 1) > mishaps + 1:
            after[state] = mishaps + 1
    return after


def _backward(legs: Sequence[Leg], layers: Sequence[Layer], start: int, until_s: float | None) -> list[set[int]]:
    """Return, for each layer, the states on a shortest story."""
    needed = [{LOST_STATE}]
    for number in range(len(legs) - 1, -1, -1):
        _check(until_s)
        leg, before, after, to = legs[number], layers[number], layers[number + 1], needed[-1]
        if isinstance(leg, Stretch):
            to |= _led_in(leg, after, to) if number >= start else set()
            needed.append({state for state in to if before.get(state) == after[state]})
            continue
        found = set()
        for state, mishaps in before.items():
            made = leg.change[state]
            goes_on = made in to and after[made] == mishaps
            stays = made != state and bool(leg.forgotten) and number >= start
            if goes_on or (stays and state in to and after[state] == mishaps + 1):
                found.add(state)
        needed.append(found)
    return needed[::-1]


def _led_in(leg: Stretch, after: Layer, to: set[int]) -> set[int]:
    """Return the states from which mishaps of a stretch lead to some that are on a shortest story."""
    most = max(after[state] for state in to) if to else 0
    found = set(to)
    for mishaps in range(most - 1, -1, -1):
        for state, so_far in after.items():
            if so_far == mishaps and state not in found:
                for made in leg.hits.targets(state):
                    if made in found and after[made] == mishaps + 1:
                        found.add(state)
                        break
    return found


def _openings(
    legs: Sequence[Leg], state: int, layers: Sequence[Layer], needed: Sequence[set[int]], start: int
) -> tuple[int, ...]:
    """Return the legs on which a mishap leads from the plan, which begins in `state`, to a shortest story."""
    found = []
    for number, leg in enumerate(legs):
        after, to = layers[number + 1], needed[number + 1]
        if isinstance(leg, Stretch):
            opens = number >= start and any(made in to and after[made] == 1 for made in leg.hits.targets(state))
        else:
            made = leg.change[state]
            opens = number >= start and bool(leg.forgotten) and made != state and state in to and after[state] == 1
            state = made
        found += [number] if opens else []
    return tuple(found)


def _gather(
    legs: Sequence[Leg], layers: Sequence[Layer], needed: Sequence[set[int]], start: int, until_s: float | None
) -> dict[tuple[str, ...], Way]:
    """Return all shortest stories that differ in their mishaps."""
    here: Ways = {state: {(): Way(-1, -1, -1, None)} for state in needed[0]}
    for number, leg in enumerate(legs):
        _check(until_s)
        before, after, keep = layers[number], layers[number + 1], needed[number + 1]
        there: Ways = {}
        for state, ways in here.items():
            made = state if isinstance(leg, Stretch) else leg.change[state]
            if made in keep and after[made] == before[state]:
                _merge(there, made, ways)
            may_be_left = not isinstance(leg, Stretch) and leg.forgotten if number >= start else ""
            if may_be_left and made != state and state in keep and after[state] == before[state] + 1:
                _merge(there, state, _with(ways, number, may_be_left))
        if isinstance(leg, Stretch) and number >= start:
            _gather_in(leg, number, after, keep, there)
        here = there
    return here[LOST_STATE]


def _gather_in(leg: Stretch, number: int, after: Layer, keep: set[int], there: Ways) -> None:
    """Add what mishaps of one stretch lead to, those with fewer mishaps first."""
    rings: dict[int, list[int]] = {}
    for state in keep:
        rings.setdefault(after[state], []).append(state)
    for mishaps in sorted(rings):
        for state in rings[mishaps]:
            if state in there:
                for made, name in leg.hits.named(state):
                    if made in keep and after[made] == mishaps + 1:
                        _merge(there, made, _with(there[state], number, name))


def _with(ways: dict[tuple[str, ...], Way], number: int, name: str) -> dict[tuple[str, ...], Way]:
    """Return stories with one mishap more, on a leg."""
    found = {}
    for names, way in ways.items():
        range_ = (way.earliest, way.latest, way.first) if names else (number, number, number)
        found[tuple(sorted((*names, name)))] = Way(*range_, (way.mark, number, name))
    return found


def _merge(into: Ways, state: int, ways: dict[tuple[str, ...], Way]) -> None:
    known = into.get(state)
    if known is None:
        into[state] = dict(ways)
        return
    for names, way in ways.items():
        other = known.get(names)
        known[names] = way if other is None else _either(other, way, lost=state == LOST_STATE)


def _either(one: Way, other: Way, *, lost: bool) -> Way:
    """Return two stories of the same mishaps as one: told is the one whose mishaps lie closest together, the first of
    these. On the way that is the one that begins later; once lost each has its length."""
    is_better = _long(other) < _long(one) if lost else other.first > one.first
    better = other if is_better else one
    return Way(min(one.earliest, other.earliest), max(one.latest, other.latest), better.first, better.mark)


def _long(way: Way) -> int:
    return way.mark[1] - way.first if way.mark else 0


def marks(way: Way) -> list[tuple[int, str]]:
    """Return the mishaps of a story in order, each with its leg."""
    found = []
    mark = way.mark
    while mark is not None:
        found.append((mark[1], mark[2]))
        mark = mark[0]
    return found[::-1]


def _check(until_s: float | None) -> None:
    if until_s is not None and clock.ticks_s() > until_s:
        raise _TooMuch
