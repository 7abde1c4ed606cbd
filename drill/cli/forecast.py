"""`drill forecast`: what the backup scheme does to a shoot, from its first picture on, before anybody trusts it."""

import argparse
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from drill import clock
from drill.cli.again import again
from drill.cli.planned import add_scheme, add_shoot, away_of, day_of, no_scheme
from drill.cli.record import check_files, deliver, files_asked, keep_clear
from drill.cli.terminal import FALLS_SHORT, OK, Commands, add_now, add_page, columns, complain, progress
from drill.errors import Mistake, Mistakes
from drill.forecast.advised import with_advice, with_comparison
from drill.forecast.run import Options, forecast, unplanned
from drill.forecastrecord import dump
from drill.guard import guard_outputs
from drill.ledger import Ledger
from drill.model import Scenario, Studio
from drill.report.files import swap_in_bytes
from drill.report.forecast_picture import forecast_png, forecast_svg
from drill.report.forecast_text import forecast_text
from drill.report.pages.forecast import forecast_page
from drill.scenario import check_selectors, load_scenarios, scheme_path
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
    add_scheme(looking)
    add(
        "--scenario",
        action="append",
        default=[],
        metavar="NAME-or-FILE",
        help="a shipped scenario by name, or a scenario file; repeatable; default: all shipped",
    )
    add_shoot(looking, which="the shoot that is shown")
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
    add_page(looking)
    add_now(looking)
    looking.set_defaults(call=_forecast)


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
        day=day_of(options, now),
        away=away_of(options),
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
    page = partial(forecast_page, found, command=again(options.typed), measures=options.measures)
    text = forecast_text(found, width=columns(), measures=options.measures)
    deliver(text, lambda: dump(found), options, page=page)
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
                mistakes += [no_scheme(studio)] if studio.scheme is None and needs_one else []
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


def _check_outputs(studios: Sequence[Studio], scenarios: Sequence[Scenario], options: argparse.Namespace) -> None:
    """Refuse to write inside a copy, over what is read, or where nothing can be written. Errors: Mistakes."""
    outputs = files_asked(options, "json", "html", "picture")
    if options.picture is not None and Path(options.picture).suffix.lower() not in PICTURES:
        what = "the picture is drawn as .svg or .png"
        raise Mistakes([Mistake("--picture", str(options.picture), what, "name a file that ends so")])
    for studio in studios:
        guard_outputs(studio, outputs, also={f"the scenario {s.name}": Path(s.file) for s in scenarios})
    check_files(outputs)
    keep_clear(studios, outputs)
