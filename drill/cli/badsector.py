"""`drill bad-sector`: what one unreadable sector of an archive costs, wherever it lies."""

import argparse
import os
from functools import partial
from pathlib import Path

from drill.cli.again import again
from drill.cli.record import check_files, deliver, files_asked
from drill.cli.terminal import OK, Commands, add_page, columns, complain, progress
from drill.copies import ARCHIVES, Unreadable, archive_format, file_store
from drill.copies.raw import explain
from drill.copies.tarred import is_complete
from drill.errors import CannotReach, CannotRead, Mistake, Mistakes
from drill.extents import Anatomy, Kept
from drill.guard import falls_in, guard_outputs
from drill.insurance import headers_folder, kept_headers
from drill.model import Copy, Store, Trouble
from drill.radius import measure
from drill.report.files import swap_in_bytes
from drill.report.pages.sectors import sectors_page
from drill.report.sectors_picture import sectors_png, sectors_svg
from drill.report.sectors_text import sectors_text
from drill.sectorrecord import dump
from drill.structure import anatomy
from drill.studio import load_studio

FILES = ("json", "html", "picture")  # options that name a file to write
PICTURES = {".svg": sectors_svg, ".png": sectors_png}
SMALLEST, LARGEST = 512, 1 << 30  # bytes of a sector
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
    add("--studio", metavar="FILE", type=Path, help="its studio file: headers kept beside the ledger count as kept")
    add("--sector-size", type=_sector_size, default=4096, metavar="BYTES", help="of the drive; default 4096")
    add("--picture", metavar="FILE", help="draw a map of the archive (.svg or .png)")
    add("--json", metavar="FILE", help="write the record as JSON; - for standard output, without tables")
    add_page(telling)
    telling.set_defaults(call=_bad_sector)


def _sector_size(text: str) -> int:
    size = int(text) if text.isascii() and text.isdigit() and len(text) < 12 else 0
    if not SMALLEST <= size <= LARGEST or size & (size - 1):
        what = f"no sector of a drive has {text!r} bytes: 512, 4096, or another power of two from 512 on"
        raise argparse.ArgumentTypeError(what)
    return size


def _bad_sector(options: argparse.Namespace) -> int:
    archive: Path = options.archive
    _check_archive(archive)
    _check_outputs(options)
    password = _password(options.password_env)
    kept = None
    if options.studio is not None:
        copy, kept = _as_copy(options)
        password = password or copy.password
    progress(f"looking at how {archive.name} is built")
    built = _anatomy(archive, password, kept)
    progress("")
    found = measure(built, archive=archive.name, sector_size=options.sector_size)
    page = partial(sectors_page, found, command=again(options.typed))
    deliver(sectors_text(found, width=columns()), lambda: dump(found), options, page=page)
    if options.picture is not None:
        swap_in_bytes(Path(options.picture), PICTURES[Path(options.picture).suffix.lower()](found))
        complain(f"the map is in {options.picture}")
    return OK


def _check_archive(archive: Path) -> None:
    """Refuse a name under which nothing can be looked for, such as one too long. Errors: Mistakes."""
    try:
        archive.is_dir()
    except OSError as error:
        what = f"cannot be looked at ({error.strerror or type(error).__name__})"
        raise Mistakes([Mistake(str(archive), "", what, "look at the path and its permissions")]) from None


def _check_outputs(options: argparse.Namespace) -> None:
    """Refuse to write where nothing can be written, or over the archive. Errors: Mistakes."""
    outputs = files_asked(options, *FILES)
    if options.picture is not None and Path(options.picture).suffix.lower() not in PICTURES:
        what = "a map is drawn as .svg or .png"
        raise Mistakes([Mistake("--picture", str(options.picture), what, "name a file that ends so")])
    check_files(outputs)
    for option, file in outputs.items():
        if falls_in(Path(file), options.archive):
            raise Mistakes(
                [Mistake(option, str(file), "is the archive itself, which is only read", "name another file")]
            )


def _as_copy(options: argparse.Namespace) -> tuple[Copy, Kept | None]:
    """Return the archive as a copy of the studio, and the headers of it that are kept. Errors: Mistakes."""
    studio = load_studio(options.studio)
    guard_outputs(studio, files_asked(options, *FILES))
    here = os.path.realpath(options.archive)
    copy = next((copy for copy in studio.copies if copy.at is not None and os.path.realpath(copy.at) == here), None)
    if copy is None:
        what = f"no copy in {options.studio} is {options.archive}"
        raise Mistakes(
            [Mistake("--studio", str(options.studio), what, "name the studio file that has it, or leave it out")]
        )
    held = kept_headers(copy.id, headers_folder(studio.ledger))
    for warning in held.warnings:
        complain(f"warning: {warning}")
    size = options.archive.stat().st_size if options.archive.is_file() else -1
    kept = next((one for one in held.headers if one.size == size), None)
    if kept is None and not held.warnings:
        what = "headers of this archive as it is now are" if held.headers else f"headers of {copy.id} are"
        complain(f"no {what} kept beside the ledger: drill survey keeps them")
    return copy, kept


def _password(name: str | None) -> str | None:
    """Return the password that an environment variable holds. Errors: Mistakes."""
    if name is None:
        return None
    password = os.environ.get(name)
    if not password:
        what = "no environment variable of that name holds anything"
        raise Mistakes([Mistake("--password-env", name, what, "set it to the archive's password")])
    return password


def _anatomy(archive: Path, password: str | None, kept: Kept | None) -> Anatomy:
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
        return anatomy(store, kind, password, kept=kept)
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
