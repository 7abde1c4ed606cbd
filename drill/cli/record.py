"""What commands that read copies and write a record share: where they may write, and how the record is delivered.

Flows in: options as typed, a studio, texts. Flows out: mistakes, or files and standard output. Must not know: commands.
"""

import argparse
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from drill.cli.terminal import check_file
from drill.enlist import MANIFESTS
from drill.errors import Mistake, Mistakes
from drill.guard import falls_in, guard_outputs
from drill.insurance import headers_folder
from drill.ledger import ledger_files
from drill.model import Studio
from drill.report.files import swap_in


def check_outputs(studio: Studio, options: argparse.Namespace, *, scratch: bool) -> None:
    """Refuse to write inside a copy, or where nothing can be written. Errors: Mistakes."""
    outputs: dict[str, Path] = {}
    if scratch:
        outputs["[studio] scratch"] = studio.scratch or Path(tempfile.gettempdir())
    if not options.no_ledger:
        outputs["[studio] ledger"] = studio.ledger
    if options.json not in (None, "-"):
        outputs["--json"] = Path(options.json)
        check_file(outputs["--json"], option="--json")
        if any(outputs["--json"].absolute() == path.absolute() for path in ledger_files(studio.ledger)):
            raise Mistakes([Mistake("--json", options.json, "is where the ledger is kept", "name another file")])
    guard_outputs(studio, outputs)


def files_asked(options: argparse.Namespace, *names: str) -> dict[str, Path]:
    """Return the files that options ask for, by option; `-`, standard output for a record, is none."""
    given = {f"--{name}": getattr(options, name) for name in names}
    return {
        option: Path(file) for option, file in given.items() if file is not None and (option, file) != ("--json", "-")
    }


def check_files(outputs: Mapping[str, Path]) -> None:
    """Refuse files to write that cannot be there, and two that are one. Errors: Mistakes."""
    seen: dict[Path, str] = {}
    for option, file in outputs.items():
        check_file(file, option=option)
        other = seen.setdefault(file.absolute(), option)
        if other != option:
            raise Mistakes([Mistake(option, str(file), f"is the file of {other} too", "name another file")])


def keep_clear(studios: Sequence[Studio], outputs: Mapping[str, Path]) -> None:
    """Refuse files to write where lists, kept headers and the ledger of a studio lie. Errors: Mistakes."""
    for option, file in outputs.items():
        for studio in studios:
            kept = (studio.file.parent / MANIFESTS, headers_folder(studio.ledger), *ledger_files(studio.ledger))
            if any(falls_in(file, one) for one in kept):
                what = "is where lists and readings are kept"
                raise Mistakes([Mistake(option, str(file), what, "name another file")])


def deliver(text: str, record: Callable[[], str], options: argparse.Namespace) -> None:
    """Print what was found, as JSON where that is asked for; write the record where asked. Errors: Unfinished."""
    if options.json == "-":
        sys.stdout.write(record())
        return
    print(text, end="")
    if options.json is not None:
        swap_in(Path(options.json), record())
