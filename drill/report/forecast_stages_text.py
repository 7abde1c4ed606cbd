"""The stages of a shoot's first year as text: when each begins, what changes then, what its copies amount to.

Flows in: the record of a forecast. Flows out: text. Must not know: calendars, engines, terminals.
On a wide terminal it is a table with all counts, on a usual one with those that matter most, on a narrow one a list.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise

from drill.forecastrecord import Forecast, LifeThen, Stage
from drill.report.forecast_words import say_local, span_words, where
from drill.report.sections import Section, Table, filled, items, paragraphs

LEAST = 10  # columns that what changes takes in a table at the least
MOST_WAYS = 3  # ways to lose a shoot of several things each that are written out for a stage; single things all are

LEGEND = (
    "+ and -: a copy more, a copy less; away, home: where you are from then on. Survives: how many failures of a "
    "medium, a place or an account it survives, whichever they are. One takes it: how many things can each take it all "
    "alone (!), a mistake, an attack and damage that nobody notices among them."
)
CHECKED = " Checked: copies that were read and compared with the list."


def stages(found: Forecast, *, width: int) -> list[Section]:
    """Return the stages of each life, in `width` columns, and what their words mean."""
    told = [_stages(life, found.zone, width) for life in found.lives]
    missing = [paragraphs(_never(life, found.planned)) for life in found.lives]
    return filled([*told, paragraphs(LEGEND + CHECKED), *missing])


def ways(found: Forecast) -> list[Section]:
    """Return, for each stage, the smallest ways to lose the shoot; a stage as the one before is told with it."""
    return [_ways(life, found.zone) for life in found.lives]


def _stages(life: LifeThen, zone: str | None, width: int) -> Section:
    title = f"The first year of a shoot made {where(life)} on {life.day}, stage by stage"
    longest = max(len(word) for _, changes in _with_changes(life) for word in " ".join(changes).split(" "))
    columns = next((some for some in _CHOICES if width - _room(some) >= max(longest, LEAST)), None)
    if columns is None:
        said = [
            f"{say_local(life, stage.begins_s, zone)} ({_after(stage)}): {', '.join(changes)}. {_counts(stage)}"
            for stage, changes in _with_changes(life)
        ]
        return items(title, said)
    rows = [
        [say_local(life, stage.begins_s, zone), _after(stage), " ".join(changes), *(say(stage) for _, say in columns)]
        for stage, changes in _with_changes(life)
    ]
    headers = ["From", "After", "What changes", *(head for head, _ in columns)]
    return Section(title, (Table(headers, rows, right=range(3, len(headers)), firm=(0, 1), whole=(2,)),))


def _after(stage: Stage) -> str:
    return "at once" if stage.begins_s <= 0 else span_words(stage.begins_s)


def _with_changes(life: LifeThen) -> list[tuple[Stage, list[str]]]:
    """Return each stage with what is other than in the one before."""
    first = life.stages[0]
    found = [(first, ["away" if first.away else "home", *(f"+{copy.medium}" for copy in first.copies)])]
    return [*found, *((now, _changes(before, now)) for before, now in pairwise(life.stages))]


def _changes(before: Stage, now: Stage) -> list[str]:
    had, has = ({copy.medium: copy.verified for copy in stage.copies} for stage in (before, now))
    said = ["away" if now.away else "home"] if now.away != before.away else []
    said += [f"+{id_}" for id_ in has if id_ not in had]
    said += [f"-{id_}" for id_ in had if id_ not in has]
    said += [f"{id_} checked" for id_ in has if has[id_] and not had.get(id_)]
    return said or ["a check is out of date"]


def _counts(stage: Stage) -> str:
    """Write what matters most of a stage, for a terminal without room for a table."""
    if not stage.copies:
        return "No copy is left !"
    copies = f"{stage.distinct} {'copy' if stage.distinct == 1 else 'copies'}"
    alone = f"; each of {stage.alone} things alone takes it !" if stage.alone > 1 else ""
    alone = "; one thing alone takes it !" if stage.alone == 1 else alone
    return f"{copies}, {stage.offsite or 'none'} off-site; survives {_survives(stage)}{alone}"


def _survives(stage: Stage) -> str:
    return "lost" if stage.survivable < 0 else str(stage.survivable)


_Column = tuple[str, Callable[[Stage], str]]
_ALL: tuple[_Column, ...] = (
    ("Copies", lambda stage: str(stage.distinct or "none")),
    ("Kinds", lambda stage: str(stage.kinds)),
    ("Places", lambda stage: str(stage.places)),
    ("Off-site", lambda stage: str(stage.offsite or "-")),
    ("Checked", lambda stage: str(stage.verified or "-")),
    ("Survives", _survives),
    ("One takes it", lambda stage: f"{stage.alone} !" if stage.alone else "-"),
)
_CHOICES = (_ALL, (_ALL[0], _ALL[3], *_ALL[5:]))
_TIMES = 17 + 2 + 11 + 2  # columns of "Thu 31 Dec, 22:46" and "10 h 45 min" with the gaps behind them


def _room(columns: Sequence[_Column]) -> int:
    """Return the columns that a table takes beside what changes, its headers folded between words."""
    return _TIMES + sum(2 + max(map(len, head.replace("-", " ").split())) + head.count("-") for head, _ in columns)


def _never(life: LifeThen, planned: Sequence[str]) -> str:
    """Return the sentence on media that the plan writes to and that never come to hold the shoot."""
    held = {copy.medium for stage in life.stages for copy in stage.copies}
    empty = [id_ for id_ in planned if id_ not in held]
    if not empty:
        return ""
    return (
        f"The plan copies to {', '.join(empty)} too, but no copy of a shoot made {where(life)} on {life.day} ever gets "
        "there in its first year: that step is not due then, or what it copies from does not hold the shoot. !"
    )


def _ways(life: LifeThen, zone: str | None) -> Section:
    lines = []
    before: object = None
    for stage in life.stages:
        if stage.cut_sets == before:
            continue
        before = stage.cut_sets
        told = [
            way for way, events in zip(stage.ways, stage.cut_sets, strict=True) if len(events) == len(stage.cut_sets[0])
        ]
        told = told if stage.alone else told[:MOST_WAYS]
        more = stage.in_all - len(told)
        other = f" ({more:,} other combination{'s' if more > 1 else ''} would take it too)" if more else ""
        said = "; or ".join(told) + other
        when = f"{say_local(life, stage.begins_s, zone)} ({_after(stage)})"
        lines.append(f"From {when}: {said or 'no copy is left'}.")
    return items(f"What it takes to lose it ({where(life)}), the fewest things first", lines)
