"""The forecast as text: what a scheme does to a shoot, stage by stage, and how likely it is lost.

Flows in: the record of a forecast. Flows out: text. Must not know: calendars, engines, terminals (the width is given).
"""

from collections.abc import Sequence

from drill.forecastrecord import Exposure, First, Forecast, Level, LifeThen
from drill.report import compare_text
from drill.report.advice_text import advised
from drill.report.forecast_edits_text import edits
from drill.report.forecast_missed_text import missed_once
from drill.report.forecast_odds_text import chances, event_measures, parts_in_it, rates
from drill.report.forecast_scenarios_text import scenarios_over_time
from drill.report.forecast_stages_text import stages, ways
from drill.report.forecast_words import say_local, span_words, where
from drill.report.sections import NOTHING, Paragraph, Section, Table, items, laid_out, paragraphs
from drill.report.standing_text import TITLE as TODAY
from drill.report.standing_text import answer, stands

WORST = (
    "A shoot fares worst that just misses what is done every so often: it waits for the next time, and for what "
    "follows from that."
)
NO_SCHEME = (
    "How a shoot would fare from its first picture on cannot be told: the studio file does not say how copies are made "
    "over time. Add [scheme] and [[steps]] to it. Examples that you can forecast and copy from: drill forecast --help."
)
NOT_PROVED = (
    "What this does not prove: it is reckoned from the plan in the studio file, not from your copies. No byte was "
    "read. It is right only as far as the steps are really done and the rates are about right; what is on the copies "
    "today, drill survey, drill audit and drill run tell. What you owe a client is in your contract and in local law."
)


def forecast_text(found: Forecast, *, width: int = 80, measures: bool = False) -> str:
    """Return the whole report; where two schemes are compared, the comparison and nothing else. `measures`: how
    much each event matters too, in the measures of fault trees."""
    if found.comparison is not None:
        return compare_text.compare_text(found.comparison, width=width)
    today = [] if found.standing is None else stands(found.standing)
    first = found.standing is not None and found.standing.falls_short
    parts = [*_head(found), *(today if first else [])]
    if found.lives:
        parts += [*in_danger(found, width=width), *rests_on(found)]
        parts += event_measures(found) if measures else []
    parts += [] if first else today
    return laid_out([*parts, paragraphs(NOT_PROVED if found.lives else NO_SCHEME)], width=width)


def headline(found: Forecast) -> str:
    """Return in a sentence or two what is in danger: a shoot of today before one that is not made yet."""
    if found.comparison is not None:
        return compare_text.answer(found.comparison)
    if found.standing is not None and (found.standing.falls_short or not found.lives):
        return answer(found.standing)
    dropped = max((day.worst_s for day in found.days if day.name == "no_copy"), default=0.0)
    danger_s = max((day.worst_s for day in found.days if day.name == "one_failure"), default=0.0)
    if dropped:
        said = "The plan itself lets go of the last copy of a shoot"
    elif danger_s:
        said = f"A new shoot is in danger from one failure alone for up to {span_words(danger_s)} of its first year"
    else:
        return found.verdict  # it says too what is not counted as a failure, and can take a shoot all the same
    most = None if found.advice is None else found.advice.most
    return f"{said}. What would help most: {most.what}" if most is not None else f"{said}."


def leads(found: Forecast) -> list[str]:
    """Return what is said right below the headline: of the plan, and of today where the headline is of the plan."""
    today = found.standing is not None and not found.standing.falls_short and found.lives
    plan = [found.verdict] if headline(found) != found.verdict else []
    return [*plan, *([f"{TODAY}: {answer(found.standing)}"] if today and found.standing is not None else [])]


def in_danger(found: Forecast, *, width: int) -> list[Section]:
    """Return what is in danger when, how likely, and what to do about it."""
    return [*of_plan(found, width=width), *advice(found)]


def of_plan(found: Forecast, *, width: int) -> list[Section]:
    """Return what becomes of a shoot under the plan, and how likely it is lost."""
    parts = [*stages(found, width=width), targets(found.lives), edits(found.lives, found.zone)]
    return [*parts, scenarios_over_time(found), *chances(found)]


def advice(found: Forecast) -> list[Section]:
    """Return what would help, where that was asked."""
    return [] if found.advice is None else advised(found.advice)


def rests_on(found: Forecast) -> list[Section]:
    """Return what that rests on: what a step forgotten does, days, ways to lose a shoot, levels, rates."""
    return [
        *(missed_once(life) for life in found.lives),
        *_days(found),
        *ways(found),
        _firsts(found),
        _exposures(found.lives),
        _levels(found),
        parts_in_it(found),
        rates(found),
        items("Reckoned with", found.assumptions),
        items("What this forecast does not know", found.unknown),
    ]


def _head(found: Forecast) -> list[Section]:
    parts = [f"{found.studio}: {found.verdict}"]
    if found.lives and found.standing is not None:
        first = found.standing.falls_short
        parts.insert(
            0 if first else 1, f"{TODAY}: {answer(found.standing)} More of that {'below' if first else 'at the end'}."
        )
    parts.append(f"Now is {found.now}{f'; the shoot shown is of {found.day}' if found.lives else ''}.")
    return [paragraphs(part) for part in parts]


def _firsts(found: Forecast) -> Section:
    rows = []
    for number, first in enumerate(found.lives[0].firsts):
        rows.append([first.what, *(_first(life.firsts[number], life, found.zone) for life in found.lives)])
    if not rows:
        return NOTHING
    headers = ["It first has", *(f"A shoot {where(life)}" for life in found.lives)]
    return Section("From when on, counted from the first picture", (Table(headers, rows),))


def _first(first: First, life: LifeThen, zone: str | None) -> str:
    if first.after_s is None:
        return "never"
    said = "at once" if first.after_s <= 0 else _after(first.after_s, life, zone)
    if first.for_good_s is None:
        return f"{said}, not for good"
    return said if first.for_good_s == first.after_s else f"{said}, for good {_after(first.for_good_s, life, zone)}"


def _after(after_s: float, life: LifeThen, zone: str | None) -> str:
    return f"after {span_words(after_s)}, {say_local(life, after_s, zone)}"


def targets(lives: Sequence[LifeThen]) -> Section:
    """Return whether the targets are met."""
    rows = []
    for number, target in enumerate(lives[0].targets if lives else ()):
        for life in lives:
            here = life.targets[number]
            rows.append(
                [target.name, target.asked, where(life), "met" if here.met else "missed !", f"{here.why} ({here.day})"]
            )
    if not rows:
        return NOTHING
    body = Table(["Target", "Asks for", "A shoot", "Here", "Why"], rows, firm=(0,))
    return Section("Your targets, on the worst day of the year", (body,))


def _exposures(lives: Sequence[LifeThen]) -> Section:
    gone = any(one.name == "no_copy" and one.total_s for life in lives for one in life.exposures)
    rows = [
        [
            first.what + (", or on none" if gone and first.name == "one_copy" else ""),
            *(_lack(life.exposures[number]) for life in lives),
        ]
        for number, first in enumerate(lives[0].exposures if lives else ())
        if first.name != "no_copy" or any(life.exposures[number].total_s for life in lives)
    ]
    if not rows:
        return NOTHING
    headers = ["In its first year", *(f"A shoot {where(life)}" for life in lives)]
    return Section("For how long", (Table(headers, rows),))


def _lack(one: Exposure) -> str:
    if not one.total_s:
        return "-"
    in_all, longest = span_words(one.total_s), span_words(one.longest_s)
    return in_all if in_all == longest else f"{in_all}, at most {longest} on end"


def _days(found: Forecast) -> list[Section]:
    rows = [
        [
            f"{day.what} ({'away' if day.away else 'at home'})",
            day.worst_day,
            span_words(day.worst_s),
            day.best_day,
            span_words(day.best_s) if day.best_s else "never",
        ]
        for day in found.days
        if day.worst_s > day.best_s
    ]
    alike = [
        f"{day.what} ({'away' if day.away else 'at home'}): {span_words(day.worst_s)}"
        for day in found.days
        if day.worst_s == day.best_s > 0
    ]
    same = items("The same on whatever day of the year it is made", alike)
    if not rows:
        return [same]
    title = "The worst and the best day of the coming year to shoot on"
    body = Table(["How long", "Worst day", "Then", "Best day", "Then"], rows, firm=(1, 3))
    return [Section(title, (body, Paragraph(WORST))), same]


def _levels(found: Forecast) -> Section:
    """Return a line for each set of levels: the highest that is met, and what the next one lacks."""
    ladders: dict[str, list[Level]] = {}
    for level in found.levels:
        ladders.setdefault(level.name, []).append(level)
    rows = [[name, *_ladder(levels)] for name, levels in ladders.items()]
    last = found.lives[0].stages[-1]
    even_so = last.survivable <= 0 and any(level.met for level in found.levels)
    if not rows:
        return NOTHING
    sources = "; ".join(dict.fromkeys(level.source for level in found.levels))
    title = f"Against levels that people quote, for a shoot made {where(found.lives[0])}"
    body = Table(["Level", "Met", "What more it asks"], rows)
    said = "Met, and yet one failure alone can still take it: these levels only count. " if even_so else ""
    said += "Each higher level asks for the lower ones too; --json has them all."
    return Section(title, (body, Paragraph(f"{said} Sources: {sources}.")))


def _ladder(levels: Sequence[Level]) -> list[str]:
    """Return what is met of a set of levels, and what is not: of steps that build on each other the next one alone."""
    met = [level for level in levels if level.met]
    missed = [level for level in levels if not level.met]
    if levels[0].row.startswith("level"):
        met, missed = met[-1:], missed[:1]
    elif len(levels) > 1:  # the last row asks for all the others at once
        met, missed = (met[-1:], []) if levels[-1].met else (met, missed[:-1] or missed)
    since = [f"{level.row}, from {span_words(level.after_s)} on" if level.after_s else level.row for level in met]
    can = [f"{level.row}: {'cannot be told: ' if level.met is None else ''}{level.why}" for level in missed]
    return ["; ".join(since) or "none", "; ".join(can) or "-"]
