"""`drill attest --check`: is a sealed folder as it was sealed, and by whom? It needs no studio, and writes nothing."""

import argparse
import json
from pathlib import Path

from drill.cli.terminal import FALLS_SHORT, OK, columns, progress
from drill.report.proof_folder import RECORD
from drill.report.seal_text import seal_text
from drill.seal import MOST_PART_BYTES, Refused, check, content_of, read_fingerprint


def add_check_options(attesting: argparse.ArgumentParser) -> None:
    """Add the options of a check to the parser of `drill attest`."""
    checking = attesting.add_argument_group("to check one that you were given")
    checking.add_argument(
        "--check", type=Path, metavar="FOLDER", help="say whether everything in it is as it was sealed"
    )
    checking.add_argument(
        "--fingerprint",
        type=_fingerprint,
        metavar="DIGITS",
        help="the key's fingerprint as the photographer's letterhead has it; else it is shown, for you to compare",
    )
    checking.add_argument(
        "--against",
        type=Path,
        metavar="PICTURES",
        help="the folder with your pictures: each is held against the list",
    )


def check_command(options: argparse.Namespace) -> int:
    """Check a sealed folder and say what was found; return the exit code. Errors: Mistakes."""
    found = check(options.check, fingerprint=options.fingerprint, pictures=options.against, progress=progress)
    print(seal_text(found, columns(), record=None if found.faults else _record(options.check)), end="")
    wrong = found.faults or (found.compared is not None and found.compared.faults)
    return FALLS_SHORT if wrong else OK


def _record(folder: Path) -> object:
    """Return the record in a folder as JSON has it; None where there is none that can be read."""
    try:
        return json.loads(content_of(folder / RECORD, MOST_PART_BYTES))
    except (Refused, ValueError, RecursionError):
        return None


def _fingerprint(text: str) -> str:
    try:
        return read_fingerprint(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
