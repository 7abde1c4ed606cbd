"""What commands that read copies and write a record share: where they may write, and how the record is delivered.

Flows in: options as typed, a studio, texts. Flows out: mistakes, or files and standard output. Must not know: commands.
"""

import argparse
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from drill.cli.terminal import check_file
from drill.errors import Mistake, Mistakes
from drill.guard import guard_outputs
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


def deliver(text: str, record: Callable[[], str], options: argparse.Namespace) -> None:
    """Print what was found, as JSON where that is asked for; write the record where asked. Errors: Unfinished."""
    if options.json == "-":
        sys.stdout.write(record())
        return
    print(text, end="")
    if options.json is not None:
        swap_in(Path(options.json), record())
