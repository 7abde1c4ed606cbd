"""What commands that read copies and write a record share: where they may write, and how the record is delivered.

Flows in: options as typed, a studio, texts. Flows out: mistakes, or files and standard output. Must not know: commands.
"""

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from drill.cli.terminal import check_file
from drill.enlist import MANIFESTS
from drill.errors import Mistake, Mistakes, Unfinished
from drill.guard import falls_in, guard_outputs, scratch_of
from drill.insurance import headers_folder
from drill.ledger import ledger_files
from drill.model import Studio
from drill.report.files import swap_in
from drill.report.latest import in_a_report


def check_outputs(
    studio: Studio, options: argparse.Namespace, *, scratch: bool, files: Sequence[str] = ("json",)
) -> None:
    """Refuse to write inside a copy, or where nothing can be written. `files` are options. Errors: Mistakes."""
    outputs = scratch_of(studio) if scratch else {}
    if not options.no_ledger:
        outputs["[studio] ledger"] = studio.ledger
    asked = files_asked(options, *files)
    check_files(asked)
    spare_ledger(studio, asked)
    spare_reports([studio], asked)
    guard_outputs(studio, outputs | asked)


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
    """Refuse files to write where lists, kept headers, the ledger and reports of a studio lie. Errors: Mistakes."""
    spare_reports(studios, outputs)
    for option, file in outputs.items():
        for studio in studios:
            kept = (studio.file.parent / MANIFESTS, headers_folder(studio.ledger), *ledger_files(studio.ledger))
            if any(falls_in(file, one) for one in kept):
                what = "is where lists and readings are kept"
                raise Mistakes([Mistake(option, str(file), what, "name another file")])


def spare_ledger(studio: Studio, outputs: Mapping[str, Path]) -> None:
    """Refuse files to write where the ledger is kept, also through a link. Errors: Mistakes."""
    for option, file in outputs.items():
        if any(falls_in(file, kept) for kept in ledger_files(studio.ledger)):
            raise Mistakes([Mistake(option, str(file), "is where the ledger is kept", "name another file")])


def spare_reports(studios: Sequence[Studio], outputs: Mapping[str, Path]) -> None:
    """Refuse files to write in the folder of a report of `drill run`. Errors: Mistakes."""
    for option, file in outputs.items():
        if any(in_a_report(file, studio.reports) for studio in studios):
            what = "is in the folder of an earlier report, which stays as it was"
            raise Mistakes([Mistake(option, str(file), what, "name a file elsewhere")])


def deliver(
    text: str, record: Callable[[], str], options: argparse.Namespace, *, page: Callable[[], str] | None = None
) -> None:
    """Print what was found, as JSON where that is asked for; write the record and the page where asked.

    Errors: Unfinished, once all that can be written is.
    """
    if options.json == "-":
        sys.stdout.write(record())
    else:
        print(text, end="")
    writes = {"json": record} if page is None else {"json": record, "html": page}
    failed = []
    for option, file in files_asked(options, *writes).items():
        try:
            swap_in(file, writes[option.removeprefix("--")]())
        except Unfinished as error:
            failed.append(str(error))
    if failed:
        raise Unfinished("; ".join(failed))
