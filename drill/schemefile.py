"""The scheme in a studio file: how a shoot's copies are made, checked and let go over time, read strictly.

Flows in: the tables [scheme], [[steps]], [risks] and [costs], the media and places of the same file. Flows out: a
Scheme, and every mistake with its key. Must not know: the calendar, what a step comes to. Keys: README, "The scheme".
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date, time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from drill import units
from drill.model import Costs, Medium, Place, Rhythm, Risks, Scheme, Step
from drill.schemeodd import odd_steps
from drill.tables import Table, repeated
from drill.units import DAY_S, YEAR_S

_LONGEST_S = 100 * YEAR_S
_HOME_BY_DEFAULT_S = 3 * DAY_S
_REPLACED_BY_DEFAULT_S = 30 * DAY_S
_NOON_S = DAY_S / 2
_DOING = {"copy": ("from", "to"), "move": ("from", "to"), "verify": ("to",), "erase": ("from",), "edit": ("to",)}
_ONCE = "edits are made once; give each time of editing a step of its own"
_NOT_OF_EDITS = {
    "every": _ONCE,
    "on": _ONCE,
    "at": _ONCE,
    "again": _ONCE,
    "done": "what is not edited cannot be lost: leave it out",
    "only_once_on": "edits wait for no copies: leave it out",
    "minutes": "minutes are those that the copies ask for: leave it out",
}
_EVERY = ("day", "week", "month", "quarter", "year")
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_A_LEAP_YEAR = 2000  # 29 February may be named; a year without one has its last day then
_MOST_FILES = 10**9
MOST_A_YEAR = 10_000.0  # more than once an hour is a slip
_MOST_SPREAD = 1000.0
_RISKS = ("theft", "fire", "lockout", "deletion", "attack", "rot")


def read_scheme(
    top: Table, media: Mapping[str, Medium], places: Mapping[str, Place], kinds: Sequence[str]
) -> tuple[Scheme | None, list[str]]:
    """Read a studio file's scheme, None where it has none, and what in it is odd. Mistakes go to the tables' list."""
    tables = top.tables("steps")
    written = [key for key in ("scheme", "steps", "risks", "costs") if top.raw(key) is not None]
    if not written:
        return None, []
    if not tables:
        top.wrong("steps", "is missing", f"say in [[steps]] what is done with a shoot, or take out [{written[0]}]")
    if not top.has("scheme"):
        top.wrong("scheme", "is missing", 'add [scheme] with made_on = ["card"]: the media that the camera writes to')
    head = top.table("scheme")
    made_on = _media_of(head, "made_on", media, required=top.has("scheme"))
    steps = _steps(tables, media)
    risks, costs = _risks(top.table("risks")), _costs(top.table("costs"), kinds)
    scheme = replace(_scheme(head, places), made_on=made_on, steps=steps, risks=risks, costs=costs)
    return scheme, odd_steps(scheme, media)


def _scheme(head: Table, places: Mapping[str, Place]) -> Scheme:
    """Read [scheme] itself; what the other tables say is still to be added."""
    begins, ends = _time_of_day(head, "begins"), _time_of_day(head, "ends")
    begins_s, ends_s = 9 * 3600.0 if begins is None else begins, 18 * 3600.0 if ends is None else ends
    if ends_s == begins_s:
        head.wrong("ends", "is the same as begins", "a shoot ends later; earlier in the day than begins: the day after")
    elif ends_s < begins_s:
        ends_s += DAY_S  # past midnight
    away_for = _span_s(head, "away_for")
    replaced = _span_s(head, "replaced_within", least_s=DAY_S)
    scheme = Scheme(
        made_on=(),
        steps=(),
        begins_s=begins_s,
        ends_s=ends_s,
        zone=_zone(head),
        away_for_s=_HOME_BY_DEFAULT_S if away_for is None else away_for,
        home=_home(head, places),
        size=head.parsed("size", units.parse_size),
        files=head.whole("files", least=1, most=_MOST_FILES),
        replaced_within_s=_REPLACED_BY_DEFAULT_S if replaced is None else replaced,
        risks=Risks(),
        costs=Costs(),
    )
    if scheme.size == 0:
        head.wrong("size", "must be more than 0")
    head.finish()
    return scheme


def _home(head: Table, places: Mapping[str, Place]) -> str | None:
    home = head.text("home")
    if home is not None and home not in places:
        head.wrong("home", f"no place has the id {home!r}", "places: " + (", ".join(places) or "none yet"))
    elif home is not None and places[home].carried:
        head.wrong("home", f"{home!r} is carried along, so it is no home", "name the place where it is while not away")
    return home


def _zone(head: Table) -> str | None:
    name = head.text("zone")
    if name is None:
        return None
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):  # OSError: the name of a group of zones, such as "Europe"
        head.wrong("zone", f"no time zone is called {name!r}", 'write it like "Europe/Lisbon", or leave it out')
    return name


# --- steps -----------------------------------------------------------------------------------------------------------


def _steps(tables: list[Table], media: Mapping[str, Medium]) -> tuple[Step, ...]:
    steps = [(table, _step(table, media)) for table in tables]
    known = {step.id: step for _, step in steps}
    for table, step in steps:
        if step.follows is not None:
            _check_follows(table, step, known)
    for id_ in repeated(step.id for _, step in steps if step.id):
        table = [table for table, step in steps if step.id == id_][-1]
        table.wrong("id", f"{id_!r} is there twice", "give each step an id of its own")
    return tuple(step for _, step in steps)


def _step(table: Table, media: Mapping[str, Medium]) -> Step:
    do = table.choice("do", tuple(_DOING), required=True)
    done = table.number("done")
    if done is not None and not 0 < done <= 1:
        table.wrong("done", f"must be more than 0 and at most 1, not {done:g}", "0.95: forgotten one time in twenty")
    step = Step(
        id=table.id("id", required=True) or "",
        do=do or "",
        source=_end_of(table, "from", do, media),
        target=_end_of(table, "to", do, media),
        after_s=_span_s(table, "after") or 0.0,
        follows=table.id("follows"),
        rhythm=_rhythm(table),
        only_when=table.choice("only_when", ("away", "home")),
        only_once_on=_media_of(table, "only_once_on", media),
        takes_s=_span_s(table, "takes"),
        done=1.0 if done is None else done,
        again_s=_again_s(table),
        minutes=table.number("minutes") or 0.0,
    )
    _check_ends(table, step)
    if do == "edit":
        for key, advice in _NOT_OF_EDITS.items():
            if table.has(key):
                table.wrong(key, "a step that does 'edit' has none", advice)
    table.finish()
    return step


def _end_of(table: Table, key: str, do: str | None, media: Mapping[str, Medium]) -> str | None:
    """Read from or to, which each kind of step has or has not."""
    wanted = do is not None and key in _DOING[do]
    id_ = table.text(key, required=wanted)
    if id_ is not None and do is not None and not wanted:
        table.wrong(key, f"a step that does {do!r} has none", f"it has {_DOING[do][0]} alone")
    elif id_ is not None and id_ not in media:
        table.wrong(key, f"no medium has the id {id_!r}", "media: " + (", ".join(media) or "none yet"))
    return id_


def _check_ends(table: Table, step: Step) -> None:
    if step.source is not None and step.source == step.target:
        table.wrong("to", f"{step.target!r} is where it comes from", "name another medium")
    if step.do == "copy" and step.target in step.only_once_on:
        table.wrong("only_once_on", f"waits for {step.target!r}, which this step makes", "leave that medium out")
    if step.do == "erase" and step.source in step.only_once_on:
        table.wrong("only_once_on", f"{step.source!r} is what is erased", "name the media that have to hold it as well")


def _again_s(table: Table) -> float | None:
    again_s = _span_s(table, "again")
    if again_s == 0:
        table.wrong("again", "must be more than 0")
    if again_s is not None and table.has("every"):
        table.wrong("again", "and every do not go together", "what comes in a rhythm comes again anyway")
    return again_s


def _check_follows(table: Table, step: Step, known: Mapping[str, Step]) -> None:
    """Check that what a step follows is there, comes to an end, and does not come again under a step with `again`."""
    if step.follows not in known:
        table.wrong("follows", f"no step has the id {step.follows!r}", "steps: " + ", ".join(filter(None, known)))
        return
    chain, at = [step.id], step.follows
    while at is not None and at in known and at not in chain:
        chain.append(at)
        at = known[at].follows
    if at == step.id:
        if step.id == min(chain, key=list(known).index):  # a ring is told once, at its first step
            ring = " follows ".join((*chain, step.id))
            table.wrong("follows", f"goes round in a ring: {ring}", "let one of them come after the shoot instead")
    elif step.again_s is not None and any(known[id_].again_s or known[id_].rhythm for id_ in chain[1:]):
        table.wrong("again", f"{step.id!r} follows a step that comes again, and so comes again itself", "take it out")


def _rhythm(table: Table) -> Rhythm | None:
    every, at_s = table.choice("every", _EVERY), _time_of_day(table, "at")
    if not table.has("every"):
        for key in ("on", "at"):
            if table.raw(key) is not None and table.raw("do") != "edit":  # for edits there is no every to add
                table.wrong(key, "says something only together with every", 'add every = "month" or the like')
        return None
    on = _on(table, every)
    return Rhythm(every or "day", on, _NOON_S if at_s is None else at_s)


def _on(table: Table, every: str | None) -> tuple[int, ...]:
    """Read the days of a rhythm, each once, in order."""
    value = table.raw("on")
    if every is None:
        return ()
    if every == "day":
        if value is not None:
            table.wrong("on", "has no meaning with every day", "leave it out")
        return ()
    parse, default, words = _DAYS[every]
    if value is None:
        return (default,)
    values = value if isinstance(value, list) else [value]
    days = [parse(item) for item in values]
    known = sorted({day for day in days if day is not None})
    if not days or len([day for day in days if day is not None]) < len(days):
        table.wrong("on", f"must be {words}, not {value!r}", "or a list of them")
    return tuple(known)


def _weekday(value: object) -> int | None:
    return _WEEKDAYS.index(value.lower()) if isinstance(value, str) and value.lower() in _WEEKDAYS else None


def _day_of_month(value: object) -> int | None:
    return value if type(value) is int and 1 <= value <= 31 else None


def _day_of_year(value: object) -> int | None:
    """Read "03-31" as 331."""
    if not isinstance(value, str) or not re.fullmatch(r"[0-9]{2}-[0-9]{2}", value):
        return None
    try:
        day = date.fromisoformat(f"{_A_LEAP_YEAR}-{value}")
    except ValueError:
        return None
    return day.month * 100 + day.day


_DAYS: dict[str, tuple[Callable[[object], int | None], int, str]] = {
    "week": (_weekday, 0, 'a day of the week such as "sunday"'),
    "month": (_day_of_month, 1, "a day of the month from 1 to 31"),
    "quarter": (_day_of_month, 1, "a day from 1 to 31 of the quarter's first month"),
    "year": (_day_of_year, 101, 'month and day such as "03-31"'),
}


# --- risks and costs -------------------------------------------------------------------------------------------------


def _risks(table: Table) -> Risks:
    rates = {key: table.number(key, most=MOST_A_YEAR) for key in _RISKS}
    risks = Risks(**rates, spread=table.number("spread", least=1, most=_MOST_SPREAD))
    table.finish()
    return risks


def _costs(table: Table, kinds: Collection[str]) -> Costs:
    lasts_s = _span_s(table, "lasts", least_s=DAY_S)
    costs = Costs(
        currency=table.text("currency") or "",
        hour=table.number("hour") or 0.0,
        buy=_prices(table.table("buy"), kinds),
        yearly=_prices(table.table("yearly"), kinds),
        lasts_s=Costs().lasts_s if lasts_s is None else lasts_s,
    )
    table.finish()
    return costs


def _prices(table: Table, kinds: Collection[str]) -> dict[str, float]:
    prices = {}
    for kind in table.chosen_names():
        price = table.number(kind)
        if kind not in kinds:
            table.wrong(kind, "is no kind of medium", "the kinds are: " + ", ".join(kinds))
        elif price is not None:
            prices[kind] = price
    return prices


# --- what several tables have ----------------------------------------------------------------------------------------


def _span_s(table: Table, key: str, *, least_s: float = 0.0) -> float | None:
    span_s = table.span_s(key)
    if span_s is None:
        return None
    if span_s < least_s:
        table.wrong(key, f"must be at least {units.say_span(least_s)}")
    elif span_s > _LONGEST_S:
        table.wrong(key, "is more than a hundred years", "give a shorter time")
    else:
        return span_s
    return None


def _time_of_day(table: Table, key: str) -> float | None:
    """Read "20:00", or TOML's own 20:00:00, as seconds after midnight by the wall clock."""
    value = table.raw(key)
    if value is None:
        return None
    if isinstance(value, str) and (found := re.fullmatch(r"([01]?[0-9]|2[0-3]):([0-5][0-9])", value.strip())):
        return int(found.group(1)) * 3600.0 + int(found.group(2)) * 60.0
    if isinstance(value, time):
        return value.hour * 3600.0 + value.minute * 60.0 + value.second
    table.wrong(key, f"must be a time of day, not {value!r}", 'write it like "20:00"')
    return None


def _media_of(table: Table, key: str, media: Mapping[str, Medium], *, required: bool = False) -> tuple[str, ...]:
    if required and not table.has(key):
        table.wrong(key, "is missing", f'add {key} = ["card"] with the media of yours')
    if required and table.raw(key) == []:
        table.wrong(key, "names no medium", "the camera writes to one at least: " + (", ".join(media) or "none yet"))
        return ()
    ids = table.texts(key) or ()
    for id_ in repeated(ids):
        table.wrong(key, f"{id_!r} is there twice")
    for id_ in dict.fromkeys(ids):
        if id_ not in media:
            table.wrong(key, f"no medium has the id {id_!r}", "media: " + (", ".join(media) or "none yet"))
    return tuple(dict.fromkeys(ids))
