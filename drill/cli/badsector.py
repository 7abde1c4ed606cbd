"""`drill bad-sector`: what one unreadable sector of an archive costs, wherever it lies."""

import argparse
import os
from pathlib import Path

from drill.cli.record import deliver
from drill.cli.terminal import OK, Commands, check_file, columns, complain, progress
from drill.copies import ARCHIVES, Unreadable, archive_format, file_store
from drill.copies.raw import explain
from drill.copies.tarred import is_complete
from drill.errors import CannotReach, CannotRead, Mistake, Mistakes
from drill.extents import Anatomy
from drill.guard import falls_in
from drill.model import Store, Trouble
from drill.radius import measure
from drill.report.files import swap_in_bytes
from drill.report.sectors_picture import sectors_png, sectors_svg
from drill.report.sectors_text import sectors_text
from drill.sectorrecord import dump
from drill.structure import anatomy

PICTURES = {".svg": sectors_svg, ".png": sectors_png}
BAD_SECTOR_EPILOG = """\
exit codes: 0 told; 2 the command is wrong, or the file is no archive that can be read; 3 it could not be finished.
The archive is only read, and of it only what says where its files lie; a compressed tar has to be unpacked for that,
twice.
"""


def add_badsector(commands: Commands) -> None:
    """Add the command to the parser."""
    telling = commands.add_parser(
        "bad-sector",
        help="what one unreadable sector of an archive costs, and where it hurts most",
        description="Tell, from how an archive is built, how many files one unreadable sector costs, where it hurts "
        "most, and what to do about it.",
        epilog=BAD_SECTOR_EPILOG,
    )
    add = telling.add_argument
    add("archive", metavar="ARCHIVE", type=Path, help=f"the archive ({' '.join(sorted(ARCHIVES))})")
    add("--password-env", metavar="NAME", help="the environment variable that holds the archive's password")
    add("--sector-size", type=_sector_size, default=4096, metavar="BYTES", help="of the drive; default 4096")
    add("--picture", metavar="FILE", help="draw a map of the archive (.svg or .png)")
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables")
    telling.set_defaults(call=_bad_sector)


def _sector_size(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 1 << 30:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of bytes, such as 512 or 4096")
    return int(text)


def _bad_sector(options: argparse.Namespace) -> int:
    archive: Path = options.archive
    _check_outputs(options)
    progress(f"looking at how {archive.name} is built")
    built = _anatomy(archive, _password(options.password_env))
    progress("")
    found = measure(built, archive=archive.name, sector_size=options.sector_size)
    deliver(sectors_text(found, width=columns()), dump(found), options)
    if options.picture is not None:
        swap_in_bytes(Path(options.picture), PICTURES[Path(options.picture).suffix.lower()](found))
        complain(f"the map is in {options.picture}")
    return OK


def _check_outputs(options: argparse.Namespace) -> None:
    """Refuse to write where nothing can be written, or over the archive. Errors: Mistakes."""
    outputs = {"--json": options.json} if options.json not in (None, "-") else {}
    if options.picture is not None:
        outputs["--picture"] = options.picture
        if Path(options.picture).suffix.lower() not in PICTURES:
            what = "a map is drawn as .svg or .png"
            raise Mistakes([Mistake("--picture", options.picture, what, "name a file that ends so")])
    for option, file in outputs.items():
        check_file(Path(file), option=option)
        if falls_in(Path(file), options.archive):
            raise Mistakes([Mistake(option, file, "is the archive itself, which is only read", "name another file")])
    if len(outputs) == 2 and Path(options.json).absolute() == Path(options.picture).absolute():
        raise Mistakes([Mistake("--picture", options.picture, "is the file of --json too", "name another file")])


def _password(name: str | None) -> str | None:
    """Return the password that an environment variable holds. Errors: Mistakes."""
    if name is None:
        return None
    password = os.environ.get(name)
    if not password:
        what = "no environment variable of that name holds anything"
        raise Mistakes([Mistake("--password-env", name, what, "set it to the archive's password")])
    return password


def _anatomy(archive: Path, password: str | None) -> Anatomy:
    """Return the archive's structure. Errors: Mistakes."""
    where = str(archive)
    kind = archive_format(archive.name)
    if archive.is_dir():
        raise Mistakes([Mistake(where, "", "is a folder", "name an archive: in a folder a bad sector costs one file")])
    if kind is None:
        known = ", ".join(sorted(ARCHIVES))
        raise Mistakes([Mistake(where, "", "its name does not say which kind of archive it is", f"known: {known}")])
    if not archive.exists():
        raise Mistakes([Mistake(where, "", "is not there", "look at the path, and whether the drive is plugged in")])
    store = file_store(archive)
    try:
        if kind.startswith(".tar"):
            _refuse_cut_tar(store, kind)
        return anatomy(store, kind, password)
    except Unreadable as error:
        raise Mistakes([Mistake(where, "", str(error), _advice(error.trouble))]) from None
    except (CannotReach, CannotRead) as error:
        raise Mistakes([Mistake(where, "", str(error), "look at the drive and its permissions")]) from None


def _refuse_cut_tar(store: Store, kind: str) -> None:
    """Refuse a tar without its end: it has no table of contents that would miss what is cut off. Errors: Unreadable."""
    for file in store.files():
        try:
            with store.open(file) as raw:
                complete = is_complete(kind, raw)
        except CannotRead:
            raise
        except Exception as error:  # whatever damage makes of a library
            problem = explain(error, 0)
            raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})") from None
        if not complete:
            raise Unreadable(Trouble.DAMAGED, "it is no tar, or it is damaged or cut short")


def _advice(trouble: Trouble) -> str:
    match trouble:
        case Trouble.REFUSED:
            return "name the variable that holds its password with --password-env"
        case Trouble.UNSUPPORTED:
            return "it may be whole, only it cannot be told here"
        case Trouble.IO:
            return "its drive fails already: copy what can be copied off it, then drill recover"
    return "a map needs a whole archive; what can be got out of a damaged one, drill recover tells"
