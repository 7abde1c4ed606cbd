"""`drill survey --write-manifests`: the lists that are missing, made by reading each such copy once."""

import argparse
import codecs
import os
from pathlib import Path

from drill import clock
from drill.cli.new import DIGESTS, digest_kind
from drill.cli.terminal import complain, progress
from drill.enlist import MANIFESTS, Made, MadeList, make_lists, with_manifest_keys
from drill.errors import Mistake, Mistakes, Unfinished
from drill.guard import guard_copies
from drill.ledger import Ledger, ledger_files
from drill.manifests import suffix
from drill.model import Studio
from drill.report.files import swap_in_bytes
from drill.studio import load_studio
from drill.units import say_size, say_span

LIST_IN_COPY = "checksums"


def add_list_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that make lists."""
    parser.add_argument(
        "--write-manifests",
        action="store_true",
        help="first read every copy that has no list, once, and write one into the manifests folder beside the studio "
        "file; the studio file gets a line for each. Interrupted, it goes on where it was",
    )
    parser.add_argument(
        "--digest",
        type=digest_kind,
        metavar="KIND",
        help="of these lists; default xxh128, the fastest, or the promises' own kind where they lack that; sha256 for "
        "what clients are shown",
    )
    parser.add_argument(
        "--into-copies",
        action="store_true",
        help="with --write-manifests: also put each list into its copy's own folder, as a new file "
        f"({LIST_IN_COPY}.KIND). The one thing this program ever writes in a copy",
    )


def write_lists(studio: Studio, options: argparse.Namespace) -> tuple[Studio, bool]:
    """Make the missing lists; return the studio with them, and whether something could not be read or written.

    Errors: Mistakes, Unfinished, KeyboardInterrupt; what was read is kept for the next try.
    """
    if not options.write_manifests:
        if options.into_copies:
            what = "means nothing without --write-manifests"
            raise Mistakes([Mistake("drill survey", "--into-copies", what, "add --write-manifests")])
        return studio, False
    home = studio.file.parent
    guard_copies(
        studio.copies, [home / MANIFESTS, *ledger_files(studio.ledger), studio.file], where="--write-manifests"
    )
    try:
        now = clock.now()
        with Ledger.open(studio.ledger, warn=complain) as ledger:
            run = ledger.begin_run("lists", now=now)
            made = make_lists(studio, kind=options.digest, ledger=ledger, now=now, progress=progress)
            ledger.end_run(run, complete=True)
    except KeyboardInterrupt:
        progress("")
        complain(f"what was read so far is kept in {studio.ledger}; the same command goes on from there")
        raise
    progress("")
    for said in made.passed_over:
        complain(f"no list for {said}")
    written = [_write(home, one, options) for one in made.lists]
    _warn_of_kinds(studio, made)
    return _name_them(studio, made), not all(written) or any(one.unread for one in made.lists)


def _warn_of_kinds(studio: Studio, made: Made) -> None:
    theirs = {one.kind for one in made.lists}
    for shoot in studio.shoots:
        ours = {digest.kind for file in shoot.promise for digest in file.digests}
        usable = [kind for kind in DIGESTS if kind in ours]
        if theirs and not ours & theirs:
            complain(
                f"warning: the lists have {', '.join(theirs)}, the promises have {', '.join(sorted(ours))}: files are "
                f"then matched by name alone{f'; --digest {usable[0]} makes lists that say more' if usable else ''}"
            )
            return


def _write(home: Path, one: MadeList, options: argparse.Namespace) -> bool:
    """Write one list; say whether all was written that was asked for."""
    try:
        (home / MANIFESTS).mkdir(exist_ok=True)
    except OSError as error:
        raise Unfinished(f"{home / MANIFESTS} cannot be made: {error.strerror}") from error
    swap_in_bytes(home / one.key, one.content)
    complain(f"wrote {one.key}: {one.files:,} files, {say_size(one.bytes)}")
    for path in one.unread:
        complain(f"  not listed, for it could not be read: {path}")
    if options.into_copies and one.at is not None:
        return _write_in_copy(one.at / f"{LIST_IN_COPY}{suffix(one.kind)}", one.content)
    return True


def _write_in_copy(path: Path, content: bytes) -> bool:
    """Make a new file in a copy, as was asked for; nothing that is there is ever replaced, no half of one is left."""
    try:
        with path.open("xb") as file:
            try:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            except BaseException:
                path.unlink(missing_ok=True)
                raise
    except FileExistsError:
        complain(f"  {path} is there already and stays as it is")
        return True
    except OSError as error:
        complain(f"  {path} cannot be written: {error.strerror}")
        return False
    complain(f"  wrote {path}")
    return True


def _name_them(studio: Studio, made: Made) -> Studio:
    """Name the new lists in the studio file and read it again; where that cannot be done, say which lines to add."""
    if made.took_s and made.bytes_read:
        rate = say_size(round(made.bytes_read / made.took_s))
        complain(f"read {say_size(made.bytes_read)} in {say_span(made.took_s)}, {rate}/s")
    if not made.lists:
        return studio
    before = studio.file.read_bytes()
    mark = codecs.BOM_UTF8 if before.startswith(codecs.BOM_UTF8) else b""
    changed = with_manifest_keys(before.decode("utf-8-sig"), studio.copies, made.lists)
    if changed is None:
        for one in made.lists:
            complain(f'add to the copy {one.copy} in {studio.file}: manifest = "{one.key}"')
        return studio
    swap_in_bytes(studio.file, mark + changed.encode())
    names = ", ".join(one.copy for one in made.lists)
    complain(f"{studio.file}: added manifest to {names}")
    return load_studio(studio.file, in_columns=True)
