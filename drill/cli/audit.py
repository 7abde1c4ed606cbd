"""`drill audit`: reads the copies' bytes and verifies or refutes them, and remembers it in the ledger."""

import argparse
import random
from functools import partial
from pathlib import Path

from drill import clock
from drill.audit import Limits, Options, audit
from drill.auditrecord import dump
from drill.cli.again import again
from drill.cli.record import check_outputs, deliver
from drill.cli.spot import add_spot, read_spot
from drill.cli.terminal import (
    FALLS_SHORT,
    OK,
    UNFINISHED,
    Commands,
    add_now,
    add_page,
    columns,
    complain,
    progress,
    whole,
)
from drill.errors import Mistake, Mistakes
from drill.insurance import headers_folder
from drill.ledger import Ledger
from drill.model import Studio
from drill.report.audit_text import audit_text
from drill.report.pages.audit import audit_page
from drill.sampling import Budget, Spot
from drill.shelf import needs_scratch
from drill.studio import copies_named, load_studio, shoots_named

FILES = ("json", "html")  # options that name a file to write
AUDIT_EPILOG = """\
exit codes: 0 all that was asked was done and no damage found; 1 files are altered, unreadable or missing, an archive is
damaged, a copy gives nothing or not all, or one named by --copy could not be reached; 2 the command, the studio file, a
manifest or the ledger is wrong; 3 it could not be finished (interrupted, a copy vanished, the ledger cannot be
written): what was read is kept, and the same command goes on from there. Copies are only ever read.
"""


def add_audit(commands: Commands) -> None:
    """Add the command to the parser."""
    auditing = commands.add_parser(
        "audit",
        help="read the copies' bytes: are they still what was promised?",
        description="Read every file that the copies are said to hold, and verify or refute it.",
        epilog=AUDIT_EPILOG,
    )
    add = auditing.add_argument
    add("studio", metavar="STUDIO", type=Path, help="the studio file (TOML)")
    add("--copy", action="append", default=[], metavar="ID", help="only this copy; repeatable")
    add("--shoot", action="append", default=[], metavar="ID", help="only what this shoot promises; repeatable")
    add_spot(auditing)
    add("--all", action="store_true", help="read everything again, also what an audit that was cut short has read")
    add("--look", action="store_true", help="also decode the files of which no digest is known")
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables")
    add_page(auditing)
    add("--seed", type=whole, metavar="N", help="seed of every draw; default: drawn and printed")
    add("--no-ledger", action="store_true", help="neither read nor write the ledger")
    add_now(auditing)
    auditing.set_defaults(call=_audit)


def _audit(options: argparse.Namespace) -> int:
    limits = _limits(read_spot(options))
    studio = load_studio(options.studio, in_columns=True)
    _check_ids(studio, options)
    check_outputs(studio, options, scratch=options.look or needs_scratch(studio.copies), files=FILES)
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    now = options.now or clock.now()
    settings = Options(
        now=now,
        new_seed=random.SystemRandom().randrange(2**32),
        seed=options.seed,
        copies=tuple(options.copy),
        shoots=tuple(options.shoot),
        limits=limits,
        afresh=options.all,
        look=options.look,
        headers=None if options.no_ledger else headers_folder(studio.ledger),
        progress=progress,
    )
    with Ledger.none() if options.no_ledger else Ledger.open(studio.ledger, warn=complain) as ledger:
        found = audit(studio, ledger, settings)
        progress("")
        if options.seed is None:
            complain(f"seed: {found.seed}")
        if found.unfinished:
            complain(f"drill: not finished: {found.unfinished}")
        deliver(
            audit_text(found, width=columns()),
            lambda: dump(found),
            options,
            page=partial(audit_page, found, command=again(options.typed, seed=found.seed)),
        )
    if not found.complete:
        return UNFINISHED
    return FALLS_SHORT if found.falls_short else OK


def _limits(spot: Spot | None) -> Limits:
    if spot is None:
        return Limits()
    budget = spot.budget or Budget(None, None)
    return Limits(budget.budget_s, budget.budget_bytes, spot.confidence, spot.at_most)


def _check_ids(studio: Studio, options: argparse.Namespace) -> None:
    """Refuse ids that nobody has, all at once. Errors: Mistakes."""
    mistakes: list[Mistake] = []
    for look_up, ids in ((copies_named, options.copy), (shoots_named, options.shoot)):
        try:
            look_up(studio, ids)
        except Mistakes as error:
            mistakes += error.mistakes
    if mistakes:
        raise Mistakes(mistakes)
