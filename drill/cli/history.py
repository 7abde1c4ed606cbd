"""`drill history`: past drills and audits, what got worse since the last, when the next drill is due."""

import argparse
from datetime import date, datetime
from functools import partial
from pathlib import Path

from drill import clock
from drill.cli.again import again
from drill.cli.record import check_files, deliver, files_asked, spare_ledger, spare_reports
from drill.cli.terminal import FALLS_SHORT, OK, Commands, add_now, add_page, columns, complain
from drill.duedate import calendar_event
from drill.errors import Mistake, Mistakes
from drill.guard import guard_outputs
from drill.history import look_back
from drill.historyrecord import History, dump
from drill.ledger import Ledger
from drill.model import Studio
from drill.report.files import swap_in_bytes
from drill.report.history_text import due_words, history_text
from drill.report.pages.history import history_page
from drill.studio import load_studio

HISTORY_EPILOG = """\
exit codes: 0 nothing got worse and no drill is due, or there is no history yet; 1 something got worse since the time
before, or a drill is due; 2 the command, the studio file, a manifest or the ledger is wrong; 3 it could not be
finished. No copy is looked at: only the ledger is read.
"""


def add_history(commands: Commands) -> None:
    """Add the command to the parser."""
    looking = commands.add_parser(
        "history",
        help="past drills and audits, what got worse, when the next drill is due",
        description="Show past drills and audits, what got worse since the time before, when the next drill is due.",
        epilog=HISTORY_EPILOG,
    )
    add = looking.add_argument
    add("studio", metavar="STUDIO", type=Path, help="the studio file (TOML)")
    add("--calendar", metavar="FILE", help="write the day of the next drill as an event for your calendar (.ics)")
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables")
    add_page(looking)
    add_now(looking)
    looking.set_defaults(call=_history)


def _history(options: argparse.Namespace) -> int:
    studio = load_studio(options.studio)
    _check_outputs(studio, options)
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    now = options.now or clock.now()
    with Ledger.read(studio.ledger) as ledger:
        history = look_back(studio, ledger, now=now)
    event = None if options.calendar is None else _event(history, now, studio.file)
    page = partial(history_page, history, command=again(options.typed))
    deliver(history_text(history, width=columns()), lambda: dump(history), options, page=page)
    if event is not None:
        swap_in_bytes(Path(options.calendar), event)
    return FALLS_SHORT if history.falls_short else OK


def _check_outputs(studio: Studio, options: argparse.Namespace) -> None:
    """Refuse to write inside a copy, over the ledger, or where nothing can be written. Errors: Mistakes."""
    outputs = files_asked(options, "json", "html", "calendar")
    # Even to read it, SQLite may put files of its own beside the ledger.
    guard_outputs(studio, {"[studio] ledger": studio.ledger, **outputs})
    if options.calendar == "-":
        raise Mistakes([Mistake("--calendar", "-", "only --json can go to standard output", "name a file")])
    check_files(outputs)
    spare_reports([studio], outputs)
    spare_ledger(studio, outputs)


def _event(history: History, now: datetime, file: Path) -> bytes:
    """Return the next drill as a calendar event; what is overdue is for today. Errors: Mistakes where none is due."""
    if history.due.day is None:
        what = "no drill is ever due: the target verified_within of every shoot reaches beyond the calendar"
        raise Mistakes(
            [Mistake(str(file), "targets.verified_within", what, "set a shorter one, or leave --calendar out")]
        )
    day = max(date.fromisoformat(history.due.day), now.astimezone().date())
    words = f"{due_words(history)}\nPlug in every drive and card, then: drill run"
    return calendar_event(history.studio, day, made=now, summary=f"Restore drill: {history.studio}", description=words)
