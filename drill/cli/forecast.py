"""`drill forecast`: what the backup scheme does to a shoot, from its first picture on, before anybody trusts it."""

import argparse
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

from drill import clock
from drill.cli.record import deliver
from drill.cli.terminal import FALLS_SHORT, OK, Commands, check_file, columns, complain, moment, progress
from drill.enlist import MANIFESTS
from drill.errors import Mistake, Mistakes
from drill.forecast.advised import with_advice, with_comparison
from drill.forecast.run import Options, forecast, unplanned
from drill.forecastrecord import dump
from drill.guard import falls_in, guard_outputs
from drill.insurance import headers_folder
from drill.ledger import Ledger, ledger_files
from drill.model import Scenario, Studio
from drill.report.files import swap_in_bytes
from drill.report.forecast_picture import forecast_png, forecast_svg
from drill.report.forecast_text import forecast_text
from drill.scenario import check_selectors, load_scenarios, scheme_path, shipped_folder, shipped_schemes
from drill.standing import standing
from drill.studio import load_studio

PICTURES = {".svg": forecast_svg, ".png": forecast_png}
FORECAST_EPILOG = """\
exit codes: 0 once everything planned is done, every target that is set is met, no scenario takes the shoot and the
plan itself leaves a copy of the shoots of every day; 1 something falls short; 2 the command, the studio file or a
scenario is wrong; 3 it could not be finished.
No picture is read: a scheme is reckoned from the studio file alone; of the shoots that are there today, copies are
listed, lists and the ledger are read. Without a scheme in the studio file these are all that is told.
"""


def add_forecast(commands: Commands) -> None:
    """Add the command to the parser."""
    looking = commands.add_parser(
        "forecast",
        help="rehearse the backup scheme over the calendar: when is a shoot in danger, from what, how likely",
        description="Lay the steps of the scheme in the studio file over the calendar, for a shoot made on each day of "
        "a year, away and at home: which copies there are when, what would take it, how likely, what would help.",
        epilog=FORECAST_EPILOG,
    )
    add = looking.add_argument
    add("studio", metavar="STUDIO", help=f"the studio file (TOML), or a shipped scheme: {', '.join(shipped_schemes())}")
    add(
        "--scenario",
        action="append",
        default=[],
        metavar="NAME-or-FILE",
        help="a shipped scenario by name, or a scenario file; repeatable; default: all shipped",
    )
    add("--day", type=_day, metavar="DATE", help="when the shoot that is shown is made; default: the day after now")
    where = looking.add_mutually_exclusive_group()
    where.add_argument("--away", action="store_true", help="only a shoot away from home")
    where.add_argument("--home", action="store_true", help="only a shoot at home")
    add("--no-shoots", action="store_true", help="leave out how the shoots that are there today stand")
    add("--no-advice", action="store_true", help="leave out which single change would help most")
    add(
        "--compare",
        metavar="OTHER",
        help="set another studio file's scheme, or a shipped one, beside it: no more is told",
    )
    add("--measures", action="store_true", help="also how much each event matters, in the measures of fault trees")
    add("--picture", metavar="FILE", help="draw the life of the shoot (.svg or .png)")
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables")
    add("--now", type=moment, metavar="TIME", help="what counts as now (RFC 3339); default: the clock")
    looking.set_defaults(call=_forecast)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no day such as 2026-09-12") from None


def _day_after(now: datetime) -> date:
    """Return the day after a moment. Errors: Mistakes where the calendar ends."""
    try:
        return now.astimezone().date() + timedelta(days=1)
    except OverflowError:
        what = "the calendar has no day after it"
        raise Mistakes([Mistake("--now", now.isoformat(), what, "name an earlier moment, or --day")]) from None


def _forecast(options: argparse.Namespace) -> int:
    studio, other, scenarios = _read(options)
    _check_outputs([studio] if other is None else [studio, other], scenarios, options)
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    started = clock.now()
    now = options.now or started
    settings = Options(
        started=started,
        now=now,
        day=options.day or _day_after(now),
        away=(True, False) if options.away is options.home else (bool(options.away),),
        progress=progress,
    )
    found = unplanned(studio, settings) if studio.scheme is None else forecast(studio, scenarios, settings)
    if other is not None:
        found = with_comparison(found, studio, other, scenarios, settings)
    elif not options.no_advice:
        progress("trying changes")
        found = with_advice(found, studio)
    if studio.shoots and not options.no_shoots and other is None:
        with Ledger.read(studio.ledger) as ledger:
            found = replace(found, standing=standing(studio, scenarios, now=now, ledger=ledger, progress=progress))
    progress("")
    deliver(forecast_text(found, width=columns(), measures=options.measures), lambda: dump(found), options)
    if options.picture is not None:
        swap_in_bytes(Path(options.picture), PICTURES[Path(options.picture).suffix.lower()](found))
        complain(f"the picture is in {options.picture}")
    return FALLS_SHORT if found.falls_short else OK


def _read(options: argparse.Namespace) -> tuple[Studio, Studio | None, tuple[Scenario, ...]]:
    """Read the studio files and the scenarios, and raise the mistakes of all together. Errors: Mistakes."""
    mistakes: list[Mistake] = []
    studios: list[Studio] = []
    scenarios: tuple[Scenario, ...] = ()
    for name in (options.studio, options.compare):
        try:
            if name is not None:
                studio = load_studio(scheme_path(name), in_columns=True)
                studios.append(studio)
                needs_one = options.no_shoots or options.picture or options.compare or not studio.shoots
                mistakes += [_no_scheme(studio)] if studio.scheme is None and needs_one else []
        except Mistakes as error:
            mistakes.extend(error.mistakes)
    try:
        scenarios = load_scenarios(options.scenario)
        for studio in studios:
            check_selectors(scenarios, studio)
    except Mistakes as error:
        mistakes.extend(error.mistakes)
    if mistakes:
        raise Mistakes(mistakes)
    return studios[0], studios[1] if options.compare is not None else None, scenarios


def _no_scheme(studio: Studio) -> Mistake:
    examples = ", ".join(shipped_schemes())
    folder = shipped_folder() / "schemes"
    advice = f"add [scheme] and [[steps]]; examples to forecast and to copy from, in {folder}: {examples}"
    return Mistake(str(studio.file), "scheme", "it does not say how copies are made over time", advice)


def _check_outputs(studios: Sequence[Studio], scenarios: Sequence[Scenario], options: argparse.Namespace) -> None:
    """Refuse to write inside a copy, over what is read, or where nothing can be written. Errors: Mistakes."""
    named = {"--json": None if options.json == "-" else options.json, "--picture": options.picture}
    outputs = {option: Path(file) for option, file in named.items() if file is not None}
    if options.picture is not None and Path(options.picture).suffix.lower() not in PICTURES:
        what = "the picture is drawn as .svg or .png"
        raise Mistakes([Mistake("--picture", str(options.picture), what, "name a file that ends so")])
    kept: list[Path] = []
    for studio in studios:
        guard_outputs(studio, outputs, also={f"the scenario {s.name}": Path(s.file) for s in scenarios})
        kept += [studio.file.parent / MANIFESTS, headers_folder(studio.ledger), *ledger_files(studio.ledger)]
    for option, file in outputs.items():
        check_file(file, option=option)
        if any(falls_in(file, one) for one in kept):
            what = "is where lists and readings are kept"
            raise Mistakes([Mistake(option, str(file), what, "name another file")])
    if len(outputs) == 2 and outputs["--json"].absolute() == outputs["--picture"].absolute():
        raise Mistakes([Mistake("--picture", options.picture, "is the file of --json too", "name another file")])
