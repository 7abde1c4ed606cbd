"""`drill survey`: what is promised, where it is, what no copy holds. Lists, and never reads a picture."""

import argparse
from contextlib import nullcontext
from pathlib import Path

from drill import clock
from drill.cli.lists import add_list_options, write_lists
from drill.cli.record import check_files, deliver, files_asked, keep_clear
from drill.cli.terminal import FALLS_SHORT, OK, Commands, add_now, columns, complain, progress
from drill.guard import guard_outputs
from drill.insurance import headers_folder
from drill.inventory import dump
from drill.ledger import Ledger
from drill.model import Studio
from drill.report.survey_text import survey_text
from drill.studio import load_studio, shoots_named
from drill.survey import survey

SURVEY_EPILOG = """\
exit codes: 0 nothing falls short; 1 promised files are on no copy or of unclear size, listed files are missing, of
another size, of other bytes than promised or wrong when last read, an archive is damaged, a link has expired or
refuses, or the target verified_within is missed;
2 the command, the studio file or a manifest is wrong; 3 it could not be finished. The rules that are shown (three
copies, two kinds of media, one off-site; common practice in the field) are advice and change no exit code. Copies are
only listed: no picture is read, unless --write-manifests says so. The headers of an archive in good health, a few kB,
are kept beside the ledger, so that a bad sector in them takes nothing away.
"""


def add_survey(commands: Commands) -> None:
    """Add the command to the parser."""
    taking = commands.add_parser(
        "survey",
        help="take stock: what is promised, which copy holds what, what no copy holds",
        description="Take stock without reading: list every copy and compare it with what is promised.",
        epilog=SURVEY_EPILOG,
    )
    taking.add_argument("studio", metavar="STUDIO", type=Path, help="the studio file (TOML)")
    taking.add_argument("--shoot", action="append", default=[], metavar="ID", help="only this shoot; repeatable")
    add_now(taking)
    taking.add_argument(
        "--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables"
    )
    taking.add_argument(
        "--no-ledger",
        action="store_true",
        help="leave out what earlier readings have proved, and keep no headers of archives",
    )
    add_list_options(taking)
    taking.set_defaults(call=_survey)


def _survey(options: argparse.Namespace) -> int:
    studio = load_studio(options.studio, in_columns=True)
    _check_outputs(studio, options)
    shoots_named(studio, options.shoot)
    studio, unread = write_lists(studio, options)
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    with nullcontext(None) if options.no_ledger else Ledger.read(studio.ledger) as ledger:
        now, shoots = options.now or clock.now(), tuple(options.shoot)
        headers = None if options.no_ledger else headers_folder(studio.ledger)
        found = survey(studio, now=now, ledger=ledger, headers=headers, shoots=shoots, progress=progress)
    progress("")
    deliver(survey_text(found, width=columns()), lambda: dump(found), options)
    return FALLS_SHORT if found.falls_short or unread else OK


def _check_outputs(studio: Studio, options: argparse.Namespace) -> None:
    """Refuse a file to write that lies in a copy or cannot be there, and kept headers that would. Errors: Mistakes."""
    if not options.no_ledger and any(copy.archive is not None for copy in studio.copies):
        guard_outputs(studio, {"[studio] ledger": headers_folder(studio.ledger)})
    outputs = files_asked(options, "json")
    guard_outputs(studio, outputs)
    check_files(outputs)
    keep_clear([studio], outputs)
