"""`drill run`: the drill, its tables, its record."""

import argparse
import random
import sys
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from functools import cache
from pathlib import Path

from drill import clock
from drill.cli.again import again
from drill.cli.record import check_files, files_asked, keep_clear
from drill.cli.spot import add_spot, read_spot
from drill.cli.terminal import (
    EPILOG,
    FALLS_SHORT,
    OK,
    UNFINISHED,
    Commands,
    add_now,
    columns,
    complain,
    progress,
    whole,
)
from drill.errors import Mistake, Mistakes, Unfinished
from drill.guard import check_scratch, guard_outputs, scratch_of
from drill.insurance import headers_folder
from drill.ledger import DrilledPromise, DrilledScenario, Ledger
from drill.model import Scenario, Studio
from drill.promisemark import mark_of
from drill.record import Run, dump
from drill.rehearse import Options, rehearse
from drill.report import run_text
from drill.report.files import save_report, swap_in
from drill.report.junit import junit_text
from drill.report.pages import run_page
from drill.scenario import check_selectors, is_shipped, load_scenarios
from drill.studio import load_studio

REPORT_COLUMNS = 120
FILES = ("json", "html", "junit")  # options that name a file to write


def add_run(commands: Commands) -> None:
    """Add the command to the parser."""
    run = commands.add_parser(
        "run",
        help="the drill: what comes back in each scenario, how long it takes, what would be lost",
        description="Take copies away, scenario by scenario; really restore every promised file from what is left; "
        "verify every byte.",
        epilog=EPILOG,
    )
    run.add_argument("studio", metavar="STUDIO", type=Path, help="the studio file (TOML)")
    run.add_argument(
        "--scenario",
        action="append",
        default=[],
        metavar="NAME-or-FILE",
        help="a shipped scenario by name, or a scenario file; repeatable; default: all shipped",
    )
    run.add_argument("--shoot", action="append", default=[], metavar="ID", help="only this shoot; repeatable")
    run.add_argument("--seed", type=whole, metavar="N", help="seed of every draw; default: drawn and printed")
    add_now(run)
    add_spot(run)
    run.add_argument("--json", metavar="FILE", help="write the result as JSON; - for standard output, without tables")
    run.add_argument("--html", metavar="FILE", help="write the result as a page to look at, print or hand round")
    run.add_argument("--junit", metavar="FILE", help="write the result as a test report (JUnit XML)")
    run.add_argument("--no-reports", action="store_true", help="leave nothing in the reports folder")
    run.add_argument(
        "--no-ledger", action="store_true", help="neither use what earlier runs have shown, nor remember this one"
    )
    run.add_argument("--keep", action="store_true", help="leave the restored files in scratch, beside checksum lists")
    run.set_defaults(call=_run)


def _run(options: argparse.Namespace) -> int:
    spot = read_spot(options)
    studio, scenarios = _read(options)
    outputs = scratch_of(studio)
    outputs |= {} if options.no_ledger else {"[studio] ledger": studio.ledger}
    headers = None if options.no_ledger else headers_folder(studio.ledger)
    outputs |= {} if options.no_reports else {"[studio] reports": studio.reports}
    asked = files_asked(options, *FILES)
    guard_outputs(studio, outputs | asked, also={f"the scenario {s.name}": Path(s.file) for s in scenarios})
    guard_outputs(studio, {} if headers is None else {"[studio] ledger": headers})
    check_scratch(studio)
    check_files(asked)
    keep_clear([studio], asked)
    seed = random.SystemRandom().randrange(2**32) if options.seed is None else options.seed
    settings = Options(
        seed=seed,
        now=options.now or clock.now(),
        shoots=tuple(options.shoot),
        keep=options.keep,
        spot=spot,
        headers=headers,
        progress=progress,
    )
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    if options.seed is None:
        complain(f"seed: {seed}")
    with nullcontext(None) if options.no_ledger else Ledger.open(studio.ledger, warn=complain) as ledger:
        run = recorded(studio, scenarios, settings, ledger)
    progress("")
    if run.unfinished:
        complain(f"drill: not finished: {run.unfinished}")
    _deliver(run, studio, options)
    if not run.complete:
        return UNFINISHED
    return FALLS_SHORT if any(drill.falls_short for drill in run.drills) else OK


def recorded(studio: Studio, scenarios: tuple[Scenario, ...], settings: Options, ledger: Ledger | None) -> Run:
    """Drill, and note in the ledger what came of it. Errors: Mistakes, Unfinished."""
    if ledger is None:
        return rehearse(studio, scenarios, settings)
    number = ledger.begin_run("drill", now=settings.now, seed=settings.seed, shoots=settings.shoots)
    run = rehearse(studio, scenarios, replace(settings, ledger=ledger))
    try:
        names = {drill.scenario for drill in run.drills}
        which = [DrilledScenario(one.name, is_shipped(one)) for one in scenarios if one.name in names]
        ledger.add_drills(number, run.drills, _held_to(run, studio), which)
        ledger.end_run(number, complete=run.complete)
    except Unfinished as error:  # what the drill found is still told
        return replace(run, complete=False, unfinished=run.unfinished or str(error))
    return run


def _held_to(run: Run, studio: Studio) -> list[DrilledPromise]:
    """Return what the drills of a run were held against, shoot by shoot."""
    drilled = {drill.shoot for drill in run.drills}
    shoots = [shoot for shoot in studio.shoots if shoot.id in drilled]
    return [DrilledPromise(shoot.id, len(shoot.promise), mark_of(shoot.promise)) for shoot in shoots]


def _read(options: argparse.Namespace) -> tuple[Studio, tuple[Scenario, ...]]:
    """Read the studio file and the scenarios, and raise the mistakes of both together."""
    mistakes: list[Mistake] = []
    studio: Studio | None = None
    scenarios: tuple[Scenario, ...] = ()
    try:
        studio = load_studio(options.studio)
    except Mistakes as error:
        mistakes.extend(error.mistakes)
    try:
        scenarios = load_scenarios(options.scenario)
        if studio is not None:
            check_selectors(scenarios, studio)
    except Mistakes as error:
        mistakes.extend(error.mistakes)
    if mistakes or studio is None:
        raise Mistakes(mistakes)
    return studio, scenarios


def _deliver(run: Run, studio: Studio, options: argparse.Namespace) -> None:
    """Print what was found, then write what was asked for; what cannot be written does not hide the rest."""
    if options.json == "-":
        sys.stdout.write(dump(run))
    else:
        print(run_text(run, width=columns()), end="")
    page = cache(lambda: run_page(run, command=again(options.typed, seed=run.seed, now=run.now)))
    writes: dict[str, Callable[[], str]] = {
        "--json": lambda: dump(run),
        "--html": page,
        "--junit": lambda: junit_text(run),
    }
    failed = []
    for option, path in files_asked(options, *FILES).items():
        try:
            swap_in(path, writes[option]())
        except Unfinished as error:
            failed.append(str(error))
    if not options.no_reports:
        try:
            text = run_text(run, width=REPORT_COLUMNS)
            complain(f"report: {save_report(studio.reports, run, text, page(), warn=complain)}")
        except Unfinished as error:
            failed.append(str(error))
    if failed:
        raise Unfinished("; ".join(failed))
