"""What becomes of edits, as a table: when they are made, until when one failure takes them, when they are off-site.

Flows in: lives of the record. Flows out: a section. Must not know: calendars, engines, terminals.
"""

from collections.abc import Iterable

from drill.forecastrecord import EditsThen, LifeThen
from drill.report.forecast_words import say_local, span_words, where
from drill.report.sections import NOTHING, Paragraph, Section, Table

_HEADERS = ["Edits", "A shoot", "Made", "One failure takes them", "At worst", "Off-site", "In the end on"]
_BESIDE = (
    "Edits lie beside the pictures, on the medium where they were made, until a copy takes them along: what is told of "
    "the shoot itself is of its pictures alone. One failure: of a medium, a place or an account; mistakes, attacks and "
    "rot are not counted. At worst: of a shoot made on that day. drill search tells what loses the edits."
)


def edits(lives: Iterable[LifeThen], zone: str | None) -> Section:
    """Return what the plan does for edits, and which steps edit nothing; nothing where no step edits."""
    lives = tuple(lives)
    rows = [[one.step, *_cells(one, life, zone)] for life in lives for one in life.edits]
    never = tuple(Paragraph(_never(id_, life)) for life in lives for id_ in life.never_edited)
    if not rows and not never:
        return NOTHING
    title = "Edits, as long as nothing fails and no step is forgotten"
    return Section(title, (*((Table(_HEADERS, rows, firm=(0,)), Paragraph(_BESIDE)) if rows else ()), *never))


def _never(id_: str, life: LifeThen) -> str:
    return (
        f"The step {id_} edits nothing of a shoot made {where(life)} on {life.day} in its first year: it is not due "
        "then, or the medium that it edits on does not hold the shoot."
    )


def _cells(one: EditsThen, life: LifeThen, zone: str | None) -> list[str]:
    risky = _until(one.one_failure_age_s) + (f" ({one.one_failure})" if one.one_failure else "")
    return [where(life), _made(one, life, zone), risky, _worst(one), _offsite(one), _at_last(one)]


def _made(one: EditsThen, life: LifeThen, zone: str | None) -> str:
    return f"{say_local(life, one.made_s, zone)}, on {one.medium}"


def _until(age_s: float | None) -> str:
    if age_s is None:
        return "to the end"
    return f"until {span_words(age_s)} old" if age_s else "none does"


def _worst(one: EditsThen) -> str:
    missed = " !" if one.met is False else ""
    if one.lost_on is not None:
        return f"none left ({one.lost_on}) !"
    return f"{_until(one.worst_age_s)} ({one.worst_day}){missed}"


def _offsite(one: EditsThen) -> str:
    if one.offsite_age_s is None:
        return "never"
    return f"after {span_words(one.offsite_age_s)}" if one.offsite_age_s else "at once"


def _at_last(one: EditsThen) -> str:
    if one.lost_age_s is not None:
        return f"nothing, {span_words(one.lost_age_s)} after !"
    return ", ".join(one.media)
