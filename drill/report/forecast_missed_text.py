"""What one forgotten time comes to, as a table: which step, when all is as planned again, how much longer what lacks.

Flows in: the record of a life. Flows out: text. Must not know: calendars, engines, terminals (the width is given).
"""

from drill.forecastrecord import LifeThen, Missed
from drill.report.forecast_words import say_moment, span_words, where
from drill.report.sections import NOTHING, Paragraph, Section, Table

TOLD = ("one_failure", "one_copy", "one_place", "one_kind", "nothing_offsite", "nothing_verified")
_BARELY_S = 60.0
LOST = "the plan itself then loses the shoot"


def missed_once(life: LifeThen) -> Section:
    """Return what each step costs when it is forgotten once; nothing where no step can be."""
    rows = [[one.step, say_moment(one.due_s), _again(one), _cost(one)] for one in life.missed if _cost(one)]
    free = [one.step for one in life.missed if not _cost(one)]
    if not rows:
        return NOTHING
    title = f"If a step is forgotten once, and all else is done (a shoot made {where(life)} on {life.day})"
    headers = ["Forgotten", "First due", "As planned again", "Until then, longer"]
    body = Table(headers, rows, firm=(0,))
    said = f"Forgotten once, these make none of these times longer: {', '.join(free)}."
    return Section(title, (body, Paragraph(said)) if free else (body,))


def _again(one: Missed) -> str:
    return "never" if one.apart_until_s is None else say_moment(one.apart_until_s)


def _cost(one: Missed) -> str:
    if one.lost:
        return LOST
    told = [more for more in one.longer if more.name in TOLD and more.more_s >= _BARELY_S]
    return "; ".join(f"{more.what}: {span_words(more.more_s)}" for more in told)
