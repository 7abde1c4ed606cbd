"""The conductor of a forecast: lays the scheme over the calendar and asks every room about it.

Flows in: a studio with a scheme, scenarios, settings. Flows out: the record. Must not know: terminals, files.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from drill.advice.price import shoots_a_year
from drill.bands import LOST, NOT_ABOUT, scenario_bands
from drill.clock import rfc3339
from drill.followers import with_mirrors
from drill.forecast.chances import all_rates, chance_of, later, ranked, rates_told, weights
from drill.forecast.edits import YearOfEdits
from drill.forecast.forgetting import missed
from drill.forecast.lives import life_then, targets_then
from drill.forecast.saying import LACKS, assumptions, unknown, verdict
from drill.forecastrecord import Band, Chance, Day, Forecast, Level, LifeThen, Stretch, Weights
from drill.model import Scenario, Scheme, Studio
from drill.odds import Rates
from drill.stages import Days, Ground, days_of, ground, levels, worst_day
from drill.timeline import Life, Span, horizon, life, spans, usual, within_calendar


@dataclass(frozen=True, slots=True)
class Options:
    """When it was started, what counts as now, the day of the shoot that is shown, away or at home or both."""

    started: datetime
    now: datetime
    day: date
    away: tuple[bool, ...] = (True, False)
    progress: Callable[[str], None] = lambda _: None


def scheme_of(studio: Studio) -> Scheme:
    """Return the scheme of a studio. Errors: ValueError where it has none."""
    if studio.scheme is None:
        raise ValueError("a studio without a scheme has no forecast")
    return studio.scheme


def forecast(studio: Studio, scenarios: Sequence[Scenario], options: Options) -> Forecast:
    """Return what the studio's scheme does to a shoot. Errors: Mistakes for a day too near an end of the calendar."""
    scheme = scheme_of(studio)
    with within_calendar(options.day):
        return _forecast(studio, scheme, scenarios, options)


def unplanned(studio: Studio, options: Options) -> Forecast:
    """Return the forecast of a studio without a scheme: there is nothing to tell but how its shoots stand today."""
    return Forecast(
        studio=studio.name,
        started=rfc3339(options.started),
        now=rfc3339(options.now),
        day=options.day.isoformat(),
        verdict="It has no scheme, so what a new shoot goes through cannot be told.",
        lives=(),
        days=(),
        chances=(),
        weights=(),
        levels=(),
        rates=(),
        assumptions=(),
        unknown=(),
    )


def _forecast(studio: Studio, scheme: Scheme, scenarios: Sequence[Scenario], options: Options) -> Forecast:
    here = ground(studio)
    options.progress("laying the scheme over every day of a year")
    edits = YearOfEdits(studio)
    year = (both for both in days_of(studio, options.day) if both[0].away in options.away)
    days = worst_day(edits.watching(year), here)
    shown = [_first_year(studio, scheme, options.day, away=away) for away in options.away]
    lives = tuple(
        replace(_told(one, held, here, scenarios, days), edits=edits.of(one), never_edited=edits.never_of(one))
        for one, held in shown
    )
    options.progress("reckoning the odds")
    by_level = all_rates(studio)
    size, files = usual(studio)
    shoots, counted = shoots_a_year(studio)
    return Forecast(
        studio=studio.name,
        started=rfc3339(options.started),
        now=rfc3339(options.now),
        day=options.day.isoformat(),
        verdict=verdict(days, lives),
        lives=lives,
        days=tuple(Day(d.lack, LACKS[d.lack], d.away, str(d.worst), d.worst_s, str(d.best), d.best_s) for d in days),
        chances=_chances(days, studio, scheme, by_level),
        weights=_weights(lives[0], *shown[0], studio, by_level["middle"]),
        levels=_levels(*shown[0], here),
        rates=rates_told(studio, by_level),
        assumptions=assumptions(studio, scheme, size=size, files=files),
        unknown=unknown(studio),
        not_applicable=_not_about(lives),
        zone=scheme.zone,
        planned=_planned(studio, scheme),
        shoots_a_year=shoots,
        shoots_counted=counted,
    )


def _planned(studio: Studio, scheme: Scheme) -> tuple[str, ...]:
    """Return the media that the plan writes a shoot to, what mirrors them too."""
    copied_to = [step.target for step in scheme.steps if step.do in ("copy", "move") and step.target]
    written = with_mirrors([*scheme.made_on, *copied_to], studio.media, keeping_versions=True)
    return tuple(id_ for id_ in studio.media if id_ in written)


def _told(
    one: Life, held: Sequence[Span], here: Ground, scenarios: Sequence[Scenario], days: Sequence[Days]
) -> LifeThen:
    """Return a life as it is recorded; its targets are judged by the worst days of the year too."""
    studio = here.studio
    told = life_then(one, held, here, _bands(one, held, studio, scenarios))
    scheme = scheme_of(studio)
    worst = dict.fromkeys(day.worst for day in days if day.away == one.away)
    judged = [*(_first_year(studio, scheme, day, away=one.away) for day in worst), (one, held)]
    return replace(told, targets=targets_then(judged, here, studio.targets), missed=missed(one, held, here))


def _first_year(studio: Studio, scheme: Scheme, day: date, *, away: bool) -> tuple[Life, tuple[Span, ...]]:
    lived = life(studio, day, away=away, until=horizon(scheme, day, 1))
    return lived, spans(lived, studio)


def _bands(one: Life, held: Sequence[Span], studio: Studio, scenarios: Sequence[Scenario]) -> tuple[Band, ...]:
    """Return the scenarios over a life as they are recorded; of those that are about it ever, what has no copy any more
    is lost, whatever they hit."""

    def after_s(moment: datetime) -> float:
        return (moment - one.begins).total_seconds()

    gone = next((span.begins for span in held if not span.copies), one.until)
    found = []
    for band in scenario_bands(held, studio, scenarios):
        is_about = any(stretch.outcome != NOT_ABOUT for stretch in band.stretches)
        told = tuple(
            Stretch(after_s(s.begins), after_s(s.ends), LOST if is_about and s.begins >= gone else s.outcome, s.left)
            for s in band.stretches
        )
        found.append(Band(band.scenario.name, band.variant, band.scenario.title, told))
    return tuple(found)


def _not_about(lives: Sequence[LifeThen]) -> tuple[str, ...]:
    """Return the scenarios that are about no moment of any life."""
    names = dict.fromkeys(band.scenario for life in lives for band in life.bands)
    about = {
        band.scenario
        for life in lives
        for band in life.bands
        if any(stretch.outcome != "not about it" for stretch in band.stretches)
    }
    return tuple(name for name in names if name not in about)


def _chances(days: Sequence[Days], studio: Studio, scheme: Scheme, by_level: Mapping[str, Rates]) -> tuple[Chance, ...]:
    """Return the odds of the shoots of the worst and the best day by how long one failure takes them.

    Ten years take most of the time of a forecast, and once all is done it is the same wherever a shoot was made: they
    are reckoned for the one alone that is likeliest lost in its first year.
    """

    def within(years: int, day: date, *, away: bool) -> Chance:
        lived = life(studio, day, away=away, until=horizon(scheme, day, years))
        return chance_of(lived, studio, by_level, years=years)

    found: list[Chance] = []
    for one in days:
        if one.lack == "one_failure":
            asked = dict.fromkeys((one.worst, one.best))
            found += ranked([within(1, day, away=one.away) for day in asked])
    likeliest = max(found, key=lambda chance: chance.middle)
    in_ten = later(likeliest, within(10, date.fromisoformat(likeliest.day), away=likeliest.away))
    at = found.index(likeliest) + 1
    return (*found[:at], in_ten, *found[at:])


def _weights(told: LifeThen, one: Life, held: Sequence[Span], studio: Studio, middle: Rates) -> tuple[Weights, ...]:
    """Return the importance of events once the shoot has settled, and at its worst moment."""
    worst_at = told.stages[told.worst].begins
    riskiest = next(number for number, span in enumerate(held) if rfc3339(span.begins) >= worst_at)
    stages = {len(held) - 1: "once all is done", riskiest: "at the worst moment"}
    if len(stages) == 1:
        stages = {riskiest: "once all is done, which is the worst moment too"}
    return tuple(
        weights(words, one, held[: number + 1], studio, per_year=middle.per_year) for number, words in stages.items()
    )


def _levels(one: Life, held: Sequence[Span], here: Ground) -> tuple[Level, ...]:
    return tuple(
        Level(
            level.name,
            level.row,
            level.met,
            None if level.since is None else (level.since - one.begins).total_seconds(),
            level.why,
            level.source,
        )
        for level in levels(held, here)
    )
