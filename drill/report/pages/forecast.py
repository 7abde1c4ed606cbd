"""The page of a forecast: what is in danger, what would help, the life of a shoot as a picture and in tables.

Flows in: the record. Flows out: HTML text. Must not know: calendars, engines, where the page is written.
"""

from drill.forecastrecord import Forecast
from drill.report import compare_text
from drill.report.forecast_odds_text import event_measures
from drill.report.forecast_picture import MEASURE, life_inline, life_title
from drill.report.forecast_text import NO_SCHEME, NOT_PROVED, advice, headline, leads, of_plan, rests_on
from drill.report.pages.base import say_day
from drill.report.pages.told import Figure, Told, told_page
from drill.report.sections import paragraphs
from drill.report.standing_text import stands

ROOM = 1000  # columns: a page has room for every table, as a wide one scrolls in its own frame
AGAIN = "No picture is read for it, so it takes a moment. Without --now it is told from the day on which it is run."
IN_TABLES = "The same in words stands below, stage by stage and scenario by scenario."


def forecast_page(found: Forecast, *, command: str, measures: bool = False) -> str:
    """Return the page of a forecast, or of a comparison of two; `command` makes it again, as it is typed.

    `measures`: how much each event matters too, in the measures of fault trees.
    """
    return told_page(_compared(found) if found.comparison is not None else _told(found, measures), command=command)


def _told(found: Forecast, measures: bool) -> Told:
    today = [] if found.standing is None else stands(found.standing)
    first = found.standing is not None and found.standing.falls_short
    return Told(
        title=f"{found.studio}: what could take a shoot, and when",
        verdict=headline(found),
        facts=[
            f"As of {say_day(found.now)}",
            *([f"the shoot shown is of {say_day(found.day)}"] if found.lives else []),
        ],
        first=[*map(paragraphs, leads(found)), *(today if first else []), *advice(found)],
        figures_title="The first year of a shoot",
        figures=_figures(found),
        rest=[*(of_plan(found, width=ROOM) if found.lives else []), *([] if first else today)],
        basis_title="What this rests on",
        basis=[*rests_on(found), *(event_measures(found) if measures else [])] if found.lives else [],
        not_proved=NOT_PROVED if found.lives else NO_SCHEME,
        again=AGAIN,
    )


def _compared(found: Forecast) -> Told:
    assert found.comparison is not None
    return Told(
        title=f"{found.studio}: two ways of keeping copies side by side",
        verdict=headline(found),
        facts=[f"As of {say_day(found.now)}", f"the shoot is of {say_day(found.day)}"],
        first=compare_text.compared(found.comparison),
        rest=[],
        not_proved=compare_text.NOT_PROVED,
        again=AGAIN,
    )


def _figures(found: Forecast) -> list[Figure]:
    return [
        Figure(life_title(life), life_inline(life, found, id_=f"life-{number}"), f"{MEASURE} {IN_TABLES}")
        for number, life in enumerate(found.lives, 1)
    ]
