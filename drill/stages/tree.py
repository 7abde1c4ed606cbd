"""What takes a shoot in one stage of its life: a fault tree over its copies, and the smallest sets of events.

Flows in: a span and its studio. Flows out: a tree for `faulttree`, cut sets. Must not know: how likely an event is,
what comes before or after. The shoot is lost when every copy is. A copy on a medium is lost by:

- `medium:x`, `place:x`, `account:x`: of the medium itself and, to the end, of each one that it needs. What is carried
  is also lost with the home while nobody is away.
- `deleted:x`: on the medium itself or one that it mirrors without keeping versions, where that one is attached;
  `rot:x`: the same, attached or not; `attack`: one event for all that is attached, as in a drill also through a medium
  that it needs.
- `bad-source:x`: the bytes were bad on x when they were copied from there. It takes every copy that came through x
  and was not verified since it was made, and what is on x unless that was verified after the last such copy was made.
  It is an event only where a copy that is there came through x; elsewhere it would be `rot:x` twice.
"""

from collections.abc import Iterable, Mapping
from itertools import islice, product
from math import prod

from drill.errors import BadTree
from drill.faulttree import minimal_cut_sets, smallest
from drill.model import Studio
from drill.stages.ground import CutSets, Ground, Reach, ground
from drill.timeline import Held, Span

FAILURES = ("medium", "place", "account")  # what counts as a failure for `further_failures`, as in a drill
MOST_LISTED = 100

Gates = dict[str, tuple[str | int, tuple[str, ...]]]


def stage_tree(span: Span, studio: Studio) -> tuple[str, Gates]:
    """Return the top ("lost") and the gates of a span's fault tree, as `faulttree` takes them.

    Errors: ValueError for a span without copies; what is lost already has no tree.
    """
    if not span.copies:
        raise ValueError("on no copy: lost already, so there is no tree")
    events = _by_copy(span, ground(studio))
    gates: Gates = {f"copy:{medium}": ("or", found) for medium, found in events.items()}
    return "lost", {"lost": ("and", tuple(gates)), **gates}


def cut_sets(span: Span, on: Studio | Ground, *, kinds: Iterable[str] | None = None) -> CutSets:
    """Return a span's minimal cut sets, exact; with `kinds` ("medium", "place" …) only of events of these kinds.

    Spans with equal copies are worked out once when the same Ground is given for all. FAILURES as `kinds` gives the
    further failures of a drill. Events that take the same copies are worked out as one, and told apart again after.
    """
    here = ground(on)
    wanted = None if kinds is None else frozenset(kinds)
    events = _by_copy(span, here, wanted)
    key = tuple(events.items())
    if key not in here.cuts:
        here.cuts[key] = _cut_sets(events)
    return here.cuts[key]


def survivable(span: Span, here: Ground) -> int:
    """Return how many further failures a span survives, whichever they are; -1 where it is on no copy."""
    events = _by_copy(span, here, frozenset(FAILURES))
    if not events:
        return -1
    gates, _ = _tree_of(events)
    return smallest("lost", gates, most=1)[0] - 1


def _by_copy(span: Span, here: Ground, kinds: frozenset[str] | None = None) -> Reach:
    """Return the events that take each copy, by medium."""
    sources = tuple((held.medium, _sources(held, span.copies)) for held in span.copies)
    key = (span.away, kinds, sources)
    if key not in here.by_copy:
        reach = here.away if span.away else here.at_home
        found = {medium: (*reach[medium], *(f"bad-source:{each}" for each in bad)) for medium, bad in sources}
        if kinds is not None:
            found = {m: tuple(e for e in events if e.partition(":")[0] in kinds) for m, events in found.items()}
        here.by_copy[key] = found
    return here.by_copy[key]


def _sources(held: Held, copies: Iterable[Held]) -> tuple[str, ...]:
    """Return the media whose bytes, bad when they were copied from there, would be the ones of this copy."""
    through = () if held.verified else held.made_from
    last = max((other.since for other in copies if held.medium in other.made_from), default=None)
    itself = last is not None and (held.verified is None or held.verified < last)
    return (*through, held.medium) if itself else through


def _cut_sets(events: Mapping[str, tuple[str, ...]]) -> CutSets:
    if not events:
        return CutSets(((),), ((0, 1),))
    gates, classes = _tree_of(events)
    try:
        found = [tuple(sorted(each)) for each in minimal_cut_sets("lost", gates)]
    except BadTree:  # more than anybody looks at, or too tangled to have all
        found = smallest("lost", gates, most=MOST_LISTED)[1]
    minimal = sorted(found, key=lambda each: (len(each), each))
    numbers: dict[int, int] = {}
    for each in minimal:
        numbers[len(each)] = numbers.get(len(each), 0) + prod(len(classes[event]) for event in each)
    return CutSets(_listed(minimal, classes), tuple(numbers.items()))


def _tree_of(events: Mapping[str, tuple[str, ...]]) -> tuple[Gates, Mapping[str, list[str]]]:
    """Return the gates of "lost", where events that take the same copies are one, and these events by that one.

    Copies that share events stand side by side: the other way round a diagram of 30 copies in 15 places takes minutes.
    """
    alike: dict[frozenset[str], list[str]] = {}
    for event in sorted({event for found in events.values() for event in found}):
        alike.setdefault(frozenset(medium for medium, found in events.items() if event in found), []).append(event)
    classes = {found[0]: found for found in alike.values()}
    takes = {found[0]: len(media) for media, found in alike.items()}
    gates: Gates = {f"copy:{m}": ("or", tuple(e for e in found if e in classes)) for m, found in events.items()}

    def shared(copy: str) -> list[tuple[int, str]]:
        return sorted((takes[event], event) for event in gates[copy][1] if takes[event] > 1)

    return {**gates, "lost": ("and", tuple(sorted(gates, key=shared)))}, classes


def _listed(minimal: Iterable[tuple[str, ...]], classes: Mapping[str, list[str]]) -> tuple[tuple[str, ...], ...]:
    told = (tuple(sorted(events)) for found in minimal for events in product(*(classes[event] for event in found)))
    return tuple(sorted(islice(told, MOST_LISTED), key=lambda events: (len(events), events)))
