"""`drill recover`: the day it is real. The rehearsed restore, for keeps, into a folder of its own."""

import argparse
from contextlib import nullcontext
from pathlib import Path

from drill import clock
from drill.cli.record import check_outputs, deliver
from drill.cli.terminal import FALLS_SHORT, OK, UNFINISHED, Commands, add_now, columns, complain, progress
from drill.errors import Mistake, Mistakes, Unfinished
from drill.guard import guard_outputs
from drill.insurance import headers_folder
from drill.ledger import Ledger
from drill.model import Shoot, Studio
from drill.recover import (
    LIST_OF_MISSING,
    Options,
    check_into,
    classes_named,
    disk_notes,
    lost_named,
    recover,
    shoots_in_order,
)
from drill.recoverrecord import Recovery, ShootBack, dump
from drill.report.files import swap_in
from drill.report.recover_text import HEADING, missing_text, recover_text
from drill.shelf import needs_scratch
from drill.studio import load_studio

RECOVER_EPILOG = """\
exit codes: 0 everything is back and verified; 1 something is still missing; 2 the command, the studio file, a manifest
or the ledger is wrong, and nothing was written; 3 it could not be finished (interrupted, disk full, a copy vanished):
what is back is kept, and the same command goes on from there. Copies are only ever read.
"""


def add_recover(commands: Commands) -> None:
    """Add the command to the parser."""
    recovering = commands.add_parser(
        "recover",
        help="the day it is real: bring everything back that can be had, verified, into a folder",
        description="Restore for keeps from what is left. Each file gets its name only when its bytes are the promised "
        "ones; nothing that is there is ever overwritten. Run it again to go on.",
        epilog=RECOVER_EPILOG,
    )
    add = recovering.add_argument
    add("studio", metavar="STUDIO", type=Path, help="the studio file (TOML)")
    add(
        "--lost",
        action="append",
        default=[],
        metavar="ID",
        help="a medium, place or account that is lost, and is left alone; repeatable",
    )
    add("--into", required=True, metavar="FOLDER", type=Path, help="a folder of its own for what comes back")
    add("--shoot", action="append", default=[], metavar="ID", help="only this shoot; repeatable, in this order")
    add("--class", action="append", default=[], metavar="NAME", dest="first", help="this class first; repeatable")
    add_now(recovering)
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables")
    add("--no-ledger", action="store_true", help="neither use what earlier runs have shown, nor remember this one")
    recovering.set_defaults(call=_recover)


def _recover(options: argparse.Namespace) -> int:
    studio = load_studio(options.studio)
    lost, shoots, first = _asked(studio, options)
    gone = {id_.partition(":")[2] for id_ in lost if id_.startswith("medium:")}
    check_outputs(studio, options, scratch=needs_scratch(copy for copy in studio.copies if copy.on not in gone))
    headers = None if options.no_ledger else headers_folder(studio.ledger)
    guard_outputs(studio, {} if headers is None else {"[studio] ledger": headers})
    check_into(studio, options.into, shoots, lost)
    for warning in (*studio.warnings, *disk_notes(studio, options.into, lost)):
        complain(f"warning: {warning}")
    now = options.now or clock.now()
    with nullcontext(None) if options.no_ledger else Ledger.open(studio.ledger, warn=complain) as ledger:
        settings = Options(lost, now, first=first, ledger=ledger, headers=headers, progress=progress)
        record = recover(studio, options.into, shoots, settings)
        progress("")
        if record.unfinished:
            complain(f"drill: not finished: {record.unfinished}")
        has_lists = _leave_lists(record, options.into)  # before the ledger is closed, which may fail
        deliver(recover_text(record, width=columns()), lambda: dump(record), options)
    if not record.complete or not has_lists:
        return UNFINISHED
    return OK if record.is_back else FALLS_SHORT


def _asked(studio: Studio, options: argparse.Namespace) -> tuple[tuple[str, ...], list[Shoot], tuple[str, ...]]:
    """Return what is lost, the shoots in order, and the classes that come first. Errors: Mistakes, all of them."""
    mistakes: list[Mistake] = []
    lost: tuple[str, ...] = ()
    shoots: list[Shoot] = []
    first: tuple[str, ...] = ()
    try:
        lost = lost_named(studio, options.lost)
    except Mistakes as error:
        mistakes += error.mistakes
    try:
        shoots = shoots_in_order(studio, options.shoot)
    except Mistakes as error:
        mistakes += error.mistakes
    try:
        first = classes_named(studio, options.first)
    except Mistakes as error:
        mistakes += error.mistakes
    if not options.lost and not options.shoot:
        what = "nothing is said to be lost, and no shoot is named"
        mistakes.append(Mistake("--lost", "", what, "name what is lost, or with --shoot what is to come back"))
    if mistakes:
        raise Mistakes(mistakes)
    return lost, shoots, first


def _leave_lists(record: Recovery, into: Path) -> bool:
    """Leave beside each shoot that was asked for the list of what is missing of it; say whether that could be done.

    A list that is not ours stays; so does the one of a run before where this one has not even looked at the shoot.
    """
    done = True
    for shoot in record.shoots:
        target = into / f"{shoot.shoot}{LIST_OF_MISSING}"
        try:
            if not _is_ours(target):
                complain(f"warning: {target} is no list of ours and stays as it is")
            elif shoot.is_back:
                target.unlink(missing_ok=True)
            elif not (target.exists() and _was_not_looked_at(shoot)):
                swap_in(target, missing_text(record, shoot))
        except (Unfinished, OSError) as error:
            complain(f"drill: not finished: what is missing of {shoot.shoot} cannot be noted: {error}")
            done = False
    return done


def _was_not_looked_at(shoot: ShootBack) -> bool:
    return not shoot.found + shoot.restored and all(file.outcome == "not_tried" for file in shoot.missing)


def _is_ours(target: Path) -> bool:
    if target.is_symlink():
        return False
    try:
        with target.open(encoding="utf-8", errors="replace") as file:
            return file.read(len(HEADING)) == HEADING
    except FileNotFoundError:
        return True
    except OSError:
        return False
