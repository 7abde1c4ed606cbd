"""The page of a history: what got worse, what is due, and past drills and audits.

Flows in: the record. Flows out: HTML text. Must not know: the ledger, where the page is written.
"""

from drill.historyrecord import History
from drill.report.history_text import NOT_PROVED, answer, first_steps, past_and_due, worse
from drill.report.pages.base import say_day
from drill.report.pages.told import Told, told_page

AGAIN = "It reads no copy, so it takes a moment, and no drive has to be plugged in."


def history_page(history: History, *, command: str) -> str:
    """Return the page of a history; `command` shows it again, as it is typed."""
    page = Told(
        title=f"{history.studio}: what drills and audits found so far",
        verdict=answer(history),
        facts=[f"As of {say_day(history.now)}."],
        first=[first_steps(history), worse(history), *past_and_due(history)],
        rest=[],
        not_proved=NOT_PROVED,
        again=AGAIN,
    )
    return told_page(page, command=command)
