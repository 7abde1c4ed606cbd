"""How the shoots of today stand, as text: the shoot most in danger first, then scenario by scenario, shoot by shoot.

Flows in: the record. Flows out: text. Must not know: engines, copies, terminals (the width is given).
"""

from drill import units
from drill.report.forecast_odds_text import say_share
from drill.report.sections import NOTHING, Paragraph, Section, Table, filled, paragraphs
from drill.standingrecord import Fall, ScenarioTakes, ShootStands, Standing

MOST_SHOOTS = 20
MOST_SCENARIOS = 12
TITLE = "The shoots that are there today, on paper"
PERHAPS = (
    "In doubt: the only copies left are damaged somewhere, and this cannot tell where. A drill (drill run) lays the "
    "damage over the real files and finds out."
)
NOT_KNOWN = (
    "Where you are today is not known: a fire at home is taken to find what you carry there too wherever that makes a "
    "chance worse, while a scenario takes only what its file says, the house alone or the bag alone. Nothing was read "
    "for this: it goes by lists, by what lies there under its name, and by what readings found wrong. Only a drill "
    "proves that a copy is whole. The chances are for a year in which nothing is copied, checked or replaced, and take "
    "events as independent that may not be: one flood, one bad batch of drives, one mistake made twice. They say "
    "nothing of what a contract or the law asks you to keep."
)


def stands(found: Standing) -> list[Section]:
    """Return how all shoots stand."""
    head = Section(TITLE, (Paragraph(answer(found)),))
    away = f"Could not be looked into, on paper alone: {', '.join(found.away)}." if found.away else ""
    return filled([head, _scenarios(found), _shoots(found), paragraphs(away), paragraphs(NOT_KNOWN)])


def answer(found: Standing) -> str:
    """Return in a sentence or two how many shoots stand badly, and which one worst."""
    if not found.shoots:
        return "There is no shoot in the studio file yet."
    first = found.shoots[0]
    gone = [shoot for shoot in found.shoots if shoot.on_no_copy]
    hit = [shoot for shoot in found.shoots if any(fall.lost_files for fall in shoot.falls)]
    said = f"Of {_many(len(found.shoots), 'shoot')}, "
    if gone:
        said += f"{len(gone)} {'has' if len(gone) == 1 else 'have'} files that no copy holds already; "
    said += f"{len(hit) or 'none'} would lose pictures in one of the scenarios tried."
    return f"{said} Most in danger: {first.shoot}, {_why(first)}."


def _why(shoot: ShootStands) -> str:
    if shoot.on_no_copy:
        return f"{_many(shoot.on_no_copy, 'file')} of it {'is' if shoot.on_no_copy == 1 else 'are'} on no copy"
    copies = _many(len(shoot.fewest), "copy", "copies")
    way = f"; each of these alone takes that: {'; '.join(shoot.alone)}" if shoot.alone else ""
    few = f"some of it on {copies} ({', '.join(shoot.fewest)}){way}"
    return f"{few}. Lost within a year: {shoot.chance.words} that stand like this"


def _many(number: int, one: str, more: str = "") -> str:
    return f"{number} {one if number == 1 else more or one + 's'}"


# --- scenario by scenario ----------------------------------------------------------------------------------------


def _scenarios(found: Standing) -> Section:
    hit = [one for one in found.scenarios if one.lost_files or one.doubtful_files]
    if not hit:
        return paragraphs("No scenario that applies would take a file." if found.scenarios else "")
    rows = [_scenario(one) for one in hit[:MOST_SCENARIOS]]
    body = Table(["Scenario", "Shoots hit", "Lost", "In doubt"], rows, right=(1, 2, 3))
    more = len(hit) - MOST_SCENARIOS
    said = [f"… and {more} more that would take less"] if more > 0 else []
    rest = len(found.scenarios) - len(hit)
    said += [f"{_many(rest, 'other')} would take nothing."] if rest else []
    said += [PERHAPS] if any(one.doubtful_files for one in hit) else []
    return Section("What each scenario would take", (body, *map(Paragraph, said)), level=2)


def _scenario(one: ScenarioTakes) -> list[str]:
    name = one.scenario if one.variant is None else f"{one.scenario}, {one.variant}"
    return [name, str(one.shoots_hit), *_taken(one)]


def _taken(one: ScenarioTakes | Fall) -> list[str]:
    return [
        f"{_many(files, 'file')}{f', {units.say_size(size)}' if size else ''}" if files else "-"
        for files, size in ((one.lost_files, one.lost_bytes), (one.doubtful_files, one.doubtful_bytes))
    ]


# --- shoot by shoot ----------------------------------------------------------------------------------------------


def _shoots(found: Standing) -> Section:
    rows = [_shoot(shoot) for shoot in found.shoots[:MOST_SHOOTS]]
    if not rows:
        return NOTHING
    headers = ["Shoot", "Files", "Weakest part is on", "Failures it survives", "Lost by", "Lost within a year"]
    body = Table(headers, rows, right=(1, 3), firm=(0,))
    more = len(found.shoots) - MOST_SHOOTS
    said = [f"… and {_many(more, 'shoot')} less in danger; all of them are in the JSON"] if more > 0 else []
    return Section("Shoot by shoot, most in danger first", (body, *map(Paragraph, said)), level=2)


def _shoot(shoot: ShootStands) -> list[str]:
    lost_by = dict.fromkeys(fall.scenario for fall in shoot.falls if fall.lost_files)
    chance = shoot.chance
    missed = shoot.target is not None and shoot.survivable < shoot.target
    return [
        shoot.shoot,
        str(shoot.files),
        ", ".join(shoot.fewest) or "no copy",
        f"{max(shoot.survivable, 0)}{f' (target {shoot.target})' if missed else ''}",
        _few(list(lost_by)),
        "some are already" if shoot.on_no_copy else f"{say_share(chance.low)} to {say_share(chance.high)}",
    ]


def _few(names: list[str]) -> str:
    rest = len(names) - 3
    return (", ".join(names[:3]) + (f" and {_many(rest, 'more', 'more')}" if rest > 0 else "")) or "none tried"
