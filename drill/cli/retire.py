"""`drill retire`: may this card be formatted, this drive let go, this cloud cancelled? It deletes nothing."""

import argparse
from pathlib import Path

from drill import clock
from drill.cli.record import check_outputs, deliver
from drill.cli.terminal import (
    FALLS_SHORT,
    OK,
    UNFINISHED,
    Commands,
    add_now,
    columns,
    complain,
    progress,
)
from drill.ledger import Ledger
from drill.report.retire_text import retire_text
from drill.retire import Options, medium_named, retire
from drill.retirerecord import dump
from drill.shelf import needs_scratch
from drill.studio import load_studio

RETIRE_EPILOG = """\
exit codes: 0 yes, it may go; 1 no; 2 the command, the studio file, a manifest or the ledger is wrong; 3 it could not be
finished (interrupted, a copy vanished), so keep it: what was read is kept, and the same command goes on from there.
Nothing is ever deleted: copies are only read.
"""


def add_retire(commands: Commands) -> None:
    """Add the command to the parser."""
    retiring = commands.add_parser(
        "retire",
        help="may this card be formatted, this drive let go, this cloud cancelled?",
        description="Rehearse letting a medium go: is every file on it promised, verified elsewhere, and in enough "
        "places for the targets without it? Answers yes or no, and deletes nothing.",
        epilog=RETIRE_EPILOG,
    )
    add = retiring.add_argument
    add("studio", metavar="STUDIO", type=Path, help="the studio file (TOML)")
    add("medium", metavar="MEDIUM", help="the id of the medium that is to go")
    add("--read", action="store_true", help="read everything now, also what earlier readings have proved")
    add_now(retiring)
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables")
    add("--no-ledger", action="store_true", help="neither use what earlier runs have shown, nor remember this one")
    retiring.set_defaults(call=_retire)


def _retire(options: argparse.Namespace) -> int:
    studio = load_studio(options.studio)
    medium_named(studio, options.medium)
    check_outputs(studio, options, scratch=needs_scratch(studio.copies))
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    now = options.now or clock.now()
    with Ledger.none() if options.no_ledger else Ledger.open(studio.ledger, warn=complain) as ledger:
        record = retire(studio, options.medium, ledger, Options(now, read=options.read, progress=progress))
    progress("")
    if record.unfinished:
        complain(f"drill: not finished: {record.unfinished}")
    deliver(retire_text(record, width=columns()), lambda: dump(record), options)
    if record.may_go is None:
        return UNFINISHED
    return OK if record.may_go else FALLS_SHORT
