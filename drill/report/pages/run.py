"""The page of a drill: the verdict, shoots × scenarios, what each cell stands for, and how to drill it again.

Flows in: the record. Flows out: HTML text. Must not know: views, faults, where the page is written.
Bars of restore time are lengths in a table's own cells (SVG 1.1 rectangles): every number stays text that can be read
out, copied and printed. Not a chart of a library: pygal 3.1 makes 14 kB of two bars, with a script in it and,
unless told otherwise, another from its own site, and a table would still have to say the same for whoever cannot see
it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from drill import clock, units
from drill.record import Drill, Run
from drill.report.ages_text import AGE_HEADERS, age_row, age_words, is_overdue
from drill.report.pages.base import fits, render
from drill.report.pages.drills import DETAILS, Groups, by_shoot, say_time, shoot_parts
from drill.report.pages.grid import frames, key, order_of_shoots
from drill.report.pages.verdict import in_scenario, run_verdict
from drill.report.saved_text import SAVED_HEADERS, SAVED_MEANING, saved_rows
from drill.report.spot_text import SPOT_HEADERS, spot_meaning, spot_rows
from drill.report.text import NOT_PROVED, all_well, silently_wrong, what_to_do, worst_of_variants

MOST_ROWS = 60  # of a table with a row for each shoot, or for each copy of it; the rest are counted
MOST_SAVED = 20
MOST_AS_ARTICLES = 700  # drills; more can't fit at a kilobyte and a half each, so it is not tried
MOST_SAID = 40  # findings, notes


@dataclass(frozen=True, slots=True)
class TimeRow:
    """The slowest restore of a shoot: bars in percent of the page's longest time, None where there is no target."""

    shoot: str
    where: str
    takes: str
    target: str
    percent: float
    mark: float | None
    too_long_by: str


@dataclass(frozen=True, slots=True)
class HandRow:
    """What a restore by hand would bring back of a shoot in the scenario in which it deceives most."""

    shoot: str
    where: str
    drill: Drill


@dataclass(frozen=True, slots=True)
class Rows:
    """A table of texts: the first rows, and how many more there are."""

    headers: Sequence[str]
    rows: Sequence[Sequence[str]]
    more: int
    words: Sequence[str]


def run_page(run: Run, *, command: str) -> str:
    """Return the page of a run; `command` drills it again, as it is typed.

    It says as much of each drill as fits in a million bytes; of hundreds of shoots less than of a few, of drills that
    bring all back nothing where that is needed.
    """
    lines = worst_of_variants(run.drills)
    shoots = order_of_shoots(lines)
    groups = by_shoot(run.drills, shoots)
    told = {
        "run": run,
        "all_lines": len(lines),
        "frames": frames(lines, shoots, run.titles),
        "key": key(lines),
        "to_do": what_to_do(run, lines),
        "well": all_well(run),
        "silent": silently_wrong(lines),
        "hands": _hands(run, groups),
        "times": _times(run, groups),
        "saved": _saved(run),
        "ages": _ages(run),
        "spot": Rows(SPOT_HEADERS, rows, 0, (spot_meaning(run),)) if (rows := spot_rows(run)) else None,
        "most_said": MOST_SAID,
        "most_rows": MOST_ROWS,
        "not_proved": NOT_PROVED,
    }
    title, verdict, page = f"{run.studio}: restore drill. Would every picture come back?", run_verdict(run), ""
    for detail in DETAILS[len(lines) > MOST_AS_ARTICLES :]:
        parts = shoot_parts(groups, lines, run.titles, detail)
        page = render("run.html", title=title, verdict=verdict, command=command, parts=parts, detail=detail, **told)
        if fits(page):
            break
    return page


def _hands(run: Run, groups: Groups) -> list[HandRow]:
    rows = []
    for shoot, group in groups.items():
        worst = max(group, key=lambda drill: (drill.unchecked.silently_wrong, drill.unchecked.failed))
        rows.append(HandRow(shoot, in_scenario(worst, run.titles), worst))
    return sorted(rows, key=lambda row: (-row.drill.unchecked.silently_wrong, -row.drill.unchecked.failed))


def _times(run: Run, groups: Groups) -> list[TimeRow]:
    slowest = {}
    for shoot, group in groups.items():
        coming = [drill for drill in group if say_time(drill)]
        slowest[shoot] = max(coming, key=lambda drill: drill.seconds.projected, default=None)
    found = [drill for drill in slowest.values() if drill is not None]
    longest_s = max((max(drill.seconds.projected, drill.seconds.target or 0) for drill in found), default=0) or 1
    rows = [_time(shoot, drill, run, longest_s) for shoot, drill in slowest.items()]
    return sorted(rows, key=lambda row: (not row.too_long_by, -row.percent))


def _time(shoot: str, drill: Drill | None, run: Run, longest_s: float) -> TimeRow:
    if drill is None:
        return TimeRow(shoot, "", "nothing came back", "", 0, None, "")
    seconds = drill.seconds
    over_s = 0 if seconds.target is None else seconds.projected - seconds.target
    return TimeRow(
        shoot=shoot,
        where=in_scenario(drill, run.titles),
        takes=say_time(drill),
        target="" if seconds.target is None else units.say_span(seconds.target),
        percent=round(100 * seconds.projected / longest_s, 1),
        mark=None if seconds.target is None else round(min(99.0, 100 * seconds.target / longest_s), 1),
        too_long_by="" if over_s <= 0 else units.say_span(over_s),
    )


def _saved(run: Run) -> Rows | None:
    rows = saved_rows(run.drills)
    return Rows(SAVED_HEADERS, rows[:MOST_SAVED], max(0, len(rows) - MOST_SAVED), (SAVED_MEANING,)) if rows else None


def _ages(run: Run) -> Rows | None:
    """Return how old the proofs are, those that miss their target first, then those with most never verified."""
    now = clock.parse_time(run.now)
    copies = [(shoot, one) for shoot in run.ages for one in shoot.copies]
    copies.sort(key=lambda pair: (not is_overdue(pair[1], pair[0].target_s, now), -pair[1].never))
    rows = [age_row(shoot, one, now) for shoot, one in copies[:MOST_ROWS]]
    return Rows(AGE_HEADERS, rows, max(0, len(copies) - MOST_ROWS), age_words(run.ages)) if rows else None
