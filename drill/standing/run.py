"""Run: every shoot under every scenario, counted by masks.

Flows in: a studio, scenarios, the moment that counts as now, the ledger. Flows out: the record. Nothing is written, no
picture is read. Must not know: terminals, schemes.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from functools import reduce

from drill.further import further_failures
from drill.ledger import Ledger
from drill.masks import NOTHING, Count, Held, Toll, counted, named, planes, tolls, weakest
from drill.model import Scenario, Shoot, Studio
from drill.record import FurtherFailures
from drill.stages import cut_words, event_words
from drill.standing.chances import Chances
from drill.standing.left import Aimed, aimed
from drill.standingrecord import Fall, ScenarioTakes, ShootStands, Standing
from drill.survey import whereabouts

YEARS = 1


def standing(
    studio: Studio,
    scenarios: Sequence[Scenario],
    *,
    now: datetime,
    ledger: Ledger | None = None,
    progress: Callable[[str], None] = lambda text: None,
) -> Standing:
    """Say how each shoot stands, on paper: what each scenario would take of it, its weakest files, its chances."""
    found = whereabouts(studio, now=now, ledger=ledger, progress=progress)
    progress("counting")
    laid = planes(found.holds)
    held = [counted(laid, found.sizes, found.spans[shoot.id]) for shoot in studio.shoots]
    tried = aimed(studio, scenarios)
    there = [
        {mask: count for mask, count in masks.items() if mask} for masks in held
    ]  # what is lost already, nothing takes
    taken = tolls(there, [one.left for one in tried])
    scale = _Scale(studio)
    stands = [
        _shoot_stands(
            shoot, masks, toll, tried=tried, scale=scale, unknown=found.sizes[found.spans[shoot.id]].count(-1)
        )
        for shoot, masks, toll in zip(studio.shoots, held, taken, strict=True)
    ]
    applicable = {one.scenario.name for one in tried}
    return Standing(
        years=YEARS,
        shoots=tuple(sorted(stands, key=_danger)),
        scenarios=tuple(sorted(_scenarios(tried, taken), key=lambda s: (-s.lost_files, -s.doubtful_files))),
        not_applicable=tuple(scenario.name for scenario in scenarios if scenario.name not in applicable),
        away=found.away,
    )


def _danger(shoot: ShootStands) -> tuple[float, int, int, str]:
    """Sort the shoot most in danger first."""
    return -shoot.chance.middle, shoot.survivable, -shoot.files, shoot.shoot


class _Scale:
    """What sets of copies stand; equal sets are weighed once."""

    def __init__(self, studio: Studio) -> None:
        self.studio = studio
        self.ids = [copy.id for copy in studio.copies]
        self._on = {copy.id: copy.on for copy in studio.copies}
        self.chances = Chances(studio, years=YEARS)
        self._further: dict[tuple[int, ...], FurtherFailures] = {}

    def further(self, masks: tuple[int, ...]) -> FurtherFailures:
        """Return the failures that these files survive; the target is the shoot's own matter."""
        if masks not in self._further:
            holders = [frozenset(named(mask, self.ids)) for mask in masks]
            self._further[masks] = further_failures(holders, self.studio, None)
        return self._further[masks]

    def alone(self, masks: tuple[int, ...]) -> tuple[str, ...]:
        """Return in words what by itself takes some of these files."""
        there = " while what you carry is there"
        events = self.chances.alone(self.media(masks))
        return tuple(event_words(event, self.studio) + (there if at_home else "") for event, at_home in events)

    def media(self, masks: tuple[int, ...]) -> tuple[frozenset[str], ...]:
        """Return the media of each mask; two copies on one medium are gone together."""
        sets = {frozenset(self._on[id_] for id_ in named(mask, self.ids)) for mask in masks}
        return tuple(sorted(sets, key=sorted))


def _shoot_stands(
    shoot: Shoot, masks: Held, toll: Mapping[int, Toll], *, tried: Sequence[Aimed], scale: _Scale, unknown: int
) -> ShootStands:
    weak = weakest(masks)
    further = scale.further(weak)
    total = reduce(Count.plus, masks.values(), NOTHING)
    fewest = min(weak, key=lambda mask: (mask.bit_count(), -masks[mask].files, mask), default=0)
    return ShootStands(
        shoot=shoot.id,
        date=shoot.date.isoformat(),
        files=total.files,
        bytes=total.bytes,
        unknown_files=unknown,
        on_no_copy=masks.get(0, NOTHING).files,
        fewest=named(fewest, scale.ids),
        survivable=further.survivable,
        target=shoot.targets.further_failures,
        weakest=further.weakest,
        weakest_words=cut_words(further.weakest[0], scale.studio) if further.weakest else "",
        chance=scale.chances.of(scale.media(weak)),
        falls=tuple(_fall(tried[number], one) for number, one in toll.items()),
        alone=scale.alone(weak),
    )


def _fall(one: Aimed, toll: Toll) -> Fall:
    return Fall(one.scenario.name, one.variant, *toll.lost, *toll.doubtful)


def _scenarios(tried: Sequence[Aimed], taken: Sequence[Mapping[int, Toll]]) -> Iterable[ScenarioTakes]:
    for number, one in enumerate(tried):
        hit = [toll[number] for toll in taken if number in toll]
        lost = reduce(Count.plus, (toll.lost for toll in hit), NOTHING)
        doubtful = reduce(Count.plus, (toll.doubtful for toll in hit), NOTHING)
        yield ScenarioTakes(one.scenario.name, one.variant, one.scenario.title, len(hit), *lost, *doubtful)
