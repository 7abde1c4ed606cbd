"""The terminal: its width, the progress line, what is said on standard error; options that many commands have.

Flows in: texts. Flows out: the terminal. Must not know: commands.
"""

import argparse
import shutil
import sys
from datetime import datetime
from pathlib import Path
from typing import TypeAlias

from drill import clock
from drill.errors import Mistake, Mistakes
from drill.report.words import fitted, safe

OK, FALLS_SHORT, MISTAKEN, UNFINISHED = 0, 1, 2, 3
EPILOG = """\
exit codes: 0 everything comes back and every target is met; 1 something falls short; 2 the command, the studio file, a
scenario or a manifest is wrong, and nothing was run or written; 3 it could not be finished. Copies are only ever read.
"""
Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def columns() -> int:
    """Return the columns a report may take."""
    return max(40, min(120, shutil.get_terminal_size((80, 24)).columns))


def progress(text: str) -> None:
    """Show what is going on, on one line, when somebody is looking."""
    if sys.stderr.isatty():
        width = columns() - 1
        sys.stderr.write("\r" + fitted(safe(text), width) + ("\r" if not text else ""))
        sys.stderr.flush()


def complain(text: str) -> None:
    """Say something on standard error."""
    print(safe(text), file=sys.stderr)


def whole(text: str) -> int:
    """Read a whole number from 0 for argparse."""
    if not text.isdigit():
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 0")
    return int(text)


def moment(text: str) -> datetime:
    """Read a time for argparse."""
    try:
        return clock.parse_time(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no time such as 2026-09-12T19:30:00Z or 2026-09-12") from None


def add_now(parser: argparse.ArgumentParser) -> None:
    """Add what counts as now."""
    text = "what counts as now (RFC 3339); default: the clock"
    parser.add_argument("--now", type=moment, metavar="TIME", help=text)


def add_page(parser: argparse.ArgumentParser) -> None:
    """Add the page."""
    parser.add_argument("--html", metavar="FILE", help="write it as a page to look at, print or hand round")


def check_file(target: Path, *, option: str) -> None:
    """Refuse a file to write that cannot be there. Errors: Mistakes."""
    try:
        if not target.absolute().parent.is_dir():
            raise Mistakes([Mistake(option, str(target), "its folder is not there", "make the folder first")])
        if target.is_dir():
            raise Mistakes([Mistake(option, str(target), "is a folder", "name a file in it")])
    except OSError as error:
        raise Mistakes([Mistake(option, str(target), f"cannot be written: {error.strerror}")]) from None
