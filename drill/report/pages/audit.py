"""The page of an audit: whether the bytes are still right, what to do first, copy by copy, and what is damaged.

Flows in: the record. Flows out: HTML text. Must not know: files, copies, where the page is written.
"""

from drill.auditrecord import Audit
from drill.report.audit_text import answer, tell
from drill.report.pages.base import fits, say_day
from drill.report.pages.told import Told, told_page

_NAMED = (100, 30, 10, 3, 1)  # damaged files of a copy that are named: as many as a page has room for
AGAIN = (
    "Plug in every drive and card first. What an audit that was cut short has read it does not read again; with --all "
    "it does."
)


def audit_page(audit: Audit, *, command: str) -> str:
    """Return the page of an audit; `command` audits again, as it is typed."""
    page = ""
    for most in _NAMED:
        page = _page(audit, command, most)
        if fits(page):
            break
    return page


def _page(audit: Audit, command: str, most: int) -> str:
    told = tell(audit, most=most)
    page = Told(
        title=f"{audit.studio}: are the copies still right?",
        verdict=answer(audit),
        facts=[f"As of {say_day(audit.now)}.", *told.about[1:]],
        first=[told.first_steps, *told.by_copy],
        rest=[*told.damage, told.to_know],
        not_proved=told.not_proved,
        again=AGAIN,
    )
    return told_page(page, command=command)
