"""What the commands about a scheme share: the shoot that is asked about, as typed.

Flows in: options of a parser, a studio. Flows out: values, mistakes. Must not know: forecasts, searches.
"""

import argparse
from datetime import date, datetime, timedelta

from drill.errors import Mistake, Mistakes
from drill.model import Studio
from drill.scenario import shipped_folder, shipped_schemes


def add_scheme(parser: argparse.ArgumentParser) -> None:
    """Add the studio file, which may be a shipped scheme."""
    names = ", ".join(shipped_schemes())
    parser.add_argument("studio", metavar="STUDIO", help=f"the studio file (TOML), or a shipped scheme: {names}")


def add_shoot(parser: argparse.ArgumentParser, *, which: str) -> None:
    """Add when and where the shoot is made; `which` are the words for that shoot."""
    text = f"when {which} is made; default: the day after now"
    parser.add_argument("--day", type=_day, metavar="DATE", help=text)
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--away", action="store_true", help="only a shoot away from home")
    where.add_argument("--home", action="store_true", help="only a shoot at home")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no day such as 2026-09-12") from None


def day_of(options: argparse.Namespace, now: datetime) -> date:
    """Return the day of the shoot, where none is named the day after now. Errors: Mistakes where the calendar ends."""
    day: date | None = options.day
    try:
        return day or now.astimezone().date() + timedelta(days=1)
    except OverflowError:
        what = "the calendar has no day after it"
        raise Mistakes([Mistake("--now", now.isoformat(), what, "name an earlier moment, or --day")]) from None


def away_of(options: argparse.Namespace) -> tuple[bool, ...]:
    """Return whether the shoot is made away or at home, or both in turn."""
    return (True, False) if options.away is options.home else (bool(options.away),)


def no_scheme(studio: Studio) -> Mistake:
    """Return the mistake of a studio file that has no scheme."""
    examples, folder = ", ".join(shipped_schemes()), shipped_folder() / "schemes"
    advice = f"add [scheme] and [[steps]]; examples to forecast and to copy from, in {folder}: {examples}"
    return Mistake(str(studio.file), "scheme", "it does not say how copies are made over time", advice)
