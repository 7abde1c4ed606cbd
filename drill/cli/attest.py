"""`drill attest`: a letter of proof for one client, sealed; and the check of one."""

import argparse
from pathlib import Path

from drill import clock
from drill.attest import Options, attest, shoots_of
from drill.cli.attest_check import add_check_options, check_command
from drill.cli.record import keep_clear
from drill.cli.terminal import FALLS_SHORT, OK, Commands, add_now, columns, complain, progress
from drill.errors import Mistake, Mistakes
from drill.guard import check_scratch, guard_outputs, scratch_of
from drill.ledger import Ledger
from drill.model import Studio
from drill.report.attest_text import refused_text, written_text
from drill.report.proof_folder import write_proof
from drill.scenario import load_scenarios
from drill.seal import KEY_FILE, grouped, keys_folder, signing_key
from drill.shelf import needs_scratch
from drill.studio import load_studio

ATTEST_EPILOG = """\
exit codes: 0 the letter was written and nothing falls short, or a checked folder is as it was sealed; 1 something falls
short (without --as-is nothing was written), or a checked folder is not as it was sealed; 2 the command, the studio
file, a manifest, the ledger or the key is wrong; 3 it could not be finished, and nothing was written. Copies are only
ever read.
"""


def add_attest(commands: Commands) -> None:
    """Add the command to the parser."""
    attesting = commands.add_parser(
        "attest",
        help="a letter for one client: what was drilled of their pictures, and what came back; sealed",
        description="From the last drill and audit: a letter for one client with checksums of what was delivered, "
        "signed with your key. It names no copy, no place and nobody else's shoots.",
        epilog=ATTEST_EPILOG,
    )
    add = attesting.add_argument
    add("studio", metavar="STUDIO", type=Path, nargs="?", help="the studio file (TOML)")
    whose = attesting.add_mutually_exclusive_group()
    whose.add_argument("--client", metavar="NAME", help="all shoots of this client, as the studio file names them")
    whose.add_argument("--shoot", action="append", default=[], metavar="ID", help="only this shoot; repeatable")
    add("--out", metavar="FOLDER", type=Path, help="a new or empty folder for the letter and all that goes with it")
    add("--as-is", action="store_true", help="write it also when something falls short, and say that first in it")
    add_now(attesting)
    add_check_options(attesting)
    attesting.set_defaults(call=_attest)


def _attest(options: argparse.Namespace) -> int:
    if options.check is not None:
        _check_alone(options)
        return check_command(options)
    _check_asked(options)
    studio = load_studio(options.studio)
    shoots = shoots_of(studio, options.client, options.shoot)
    _check_out(studio, options.out)
    for warning in studio.warnings:
        complain(f"warning: {warning}")
    titles = {scenario.name: scenario.title for scenario in load_scenarios([])}
    settings = Options(options.now or clock.now(), as_is=options.as_is, progress=progress)
    with Ledger.read(studio.ledger) as ledger:
        proof = attest(studio, shoots, ledger, settings)
    progress("")
    named = str(options.studio)
    if not proof.checksums or (proof.falls_short and not options.as_is):
        print(refused_text(proof, studio=named, titles=titles, width=columns()), end="")
        return FALLS_SHORT
    file = keys_folder() / KEY_FILE
    is_new = not file.exists()
    key = signing_key(file.parent, studio=studio)
    sealed = write_proof(options.out, proof, key, titles=titles)
    text = written_text(
        proof,
        studio=named,
        out=str(options.out),
        fingerprint=grouped(sealed.fingerprint),
        titles=titles,
        width=columns(),
        new_key=str(file) if is_new else "",
    )
    print(text, end="")
    return FALLS_SHORT if proof.falls_short else OK


def _check_alone(options: argparse.Namespace) -> None:
    """Refuse what makes a letter beside --check. Errors: Mistakes."""
    given = {"STUDIO": options.studio, "--client": options.client, "--out": options.out, "--now": options.now}
    given |= {"--shoot": options.shoot or None, "--as-is": options.as_is or None}
    mistakes = [
        Mistake(name, "", "makes a letter, and --check looks at one", "leave one of the two out")
        for name, value in given.items()
        if value is not None
    ]
    if mistakes:
        raise Mistakes(mistakes)


def _check_asked(options: argparse.Namespace) -> None:
    """Refuse a command without what a letter needs, and with what only a check does. Errors: Mistakes."""
    advice = "drill attest STUDIO --client NAME --out FOLDER, or drill attest --check FOLDER"
    lacking = []
    if options.studio is None:
        lacking.append(Mistake("STUDIO", "", "is missing", advice))
    if options.client is None and not options.shoot:
        lacking.append(Mistake("--client", "", "is missing: whose pictures is the letter about?", advice))
    if options.out is None:
        lacking.append(Mistake("--out", "", "is missing: where is the letter to be written?", advice))
    for name in ("fingerprint", "against"):
        if getattr(options, name) is not None:
            lacking.append(Mistake(f"--{name}", "", "belongs to --check", advice))
    if lacking:
        raise Mistakes(lacking)


def _check_out(studio: Studio, out: Path) -> None:
    """Refuse a folder that holds something, cannot be there, or lies where nothing is written. Errors: Mistakes."""
    try:
        if not out.absolute().parent.is_dir():
            raise Mistakes([Mistake("--out", str(out), "the folder it should be in is not there", "make that first")])
        if out.is_symlink() or (out.exists() and not out.is_dir()):
            raise Mistakes([Mistake("--out", str(out), "is there, and no folder", "name a new folder")])
        if out.is_dir() and out.samefile(Path.cwd()):  # it is put in its place whole: this one would be gone
            raise Mistakes([Mistake("--out", str(out), "is the current folder", "name a new one, in it or elsewhere")])
        if out.is_dir() and any(out.iterdir()):
            raise Mistakes([Mistake("--out", str(out), "is not empty", "name a new or an empty folder")])
    except OSError as error:
        raise Mistakes([Mistake("--out", str(out), f"cannot be used: {error.strerror}", "name another")]) from None
    guard_outputs(studio, {"--out": out} | (scratch_of(studio) if needs_scratch(studio.copies) else {}))
    keep_clear([studio], {"--out": out})
    check_scratch(studio)
