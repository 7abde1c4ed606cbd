"""`drill new`: from a pile of media to a first studio file, and a second look at a grown collection."""

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from drill import clock, units
from drill.cli.terminal import FALLS_SHORT, OK, Commands, columns, complain, progress
from drill.errors import Mistake, Mistakes, Unfinished
from drill.guard import guard_copies
from drill.intake.additions import added_files
from drill.intake.draft import MANIFESTS, STUDIO_FILE, Change, first_files
from drill.intake.media import Given, check_known, copies_on, medium_for, read_given
from drill.intake.run import Look, look
from drill.ledger import Ledger, ledger_files
from drill.manifests import kind_named
from drill.model import Copy, Medium, Studio
from drill.proposal import Proposal
from drill.report.files import swap_in_bytes
from drill.report.intake_text import changes_text, paragraphs, proposal_text
from drill.report.typed import typed
from drill.report.words import safe
from drill.studio import LEDGER, load_studio

DEFAULT_GAP = "6 h"
DIGESTS = ("xxh128", "sha256", "sha512", "blake2b", "sha1", "md5", "xxh64", "xxh3")


NEW_EPILOG = """\
exit codes: 0 what was found is written, or proposed; 1 it is, and an archive is damaged: what it lost is promised
nowhere; 2 the command or a file is wrong, and nothing was written; 3 it
could not be finished; what was read is kept in FOLDER/ledger.sqlite (or the studio file's ledger), and the same command
goes on from there. Media are only ever read.
"""


def add_new(commands: Commands) -> None:
    """Add the command to the parser."""
    new = commands.add_parser(
        "new",
        help="look at your cards and drives, and write a first studio file with its lists",
        description="Look at cards, drives, folders and archives: find the shoots on them, which copies hold the same "
        "one, and what to promise; write FOLDER/studio.toml and lists in FOLDER/manifests. Every file is read once. "
        "Where a studio file is there already, what has been added since is proposed as a patch; --add writes it.",
        epilog=NEW_EPILOG,
    )
    new.add_argument("folder", metavar="FOLDER", type=Path, help="where the studio file is, or is to be; in no medium")
    new.add_argument(
        "--medium",
        action="append",
        default=[],
        metavar="KIND=PATH",
        help="a medium and its folder or archive (card=/media/card-1); repeatable; tablet= for one that cannot be read "
        "from here. KIND: card, tablet, phone, computer, ssd, hard-disk, network-storage, optical, tape, cloud",
    )
    new.add_argument(
        "--gap",
        type=_gap,
        default=_gap(DEFAULT_GAP),
        metavar="SPAN",
        help=f'loose pictures are another shoot after a pause this long; default "{DEFAULT_GAP}"',
    )
    new.add_argument(
        "--digest",
        type=digest_kind,
        metavar="KIND",
        help=f"of the lists: {', '.join(DIGESTS)}; default: the promises' own, else {DIGESTS[0]}; sha256 for what "
        "clients are shown",
    )
    new.add_argument("--name", metavar="NAME", help="the studio's name; default: the folder's")
    new.add_argument("--add", action="store_true", help="write what a second look proposes")
    new.add_argument(
        "--relist",
        action="append",
        default=[],
        metavar="COPY",
        help="with --add: make this copy's list anew from what is there now; repeatable",
    )
    new.set_defaults(call=_new)


def _gap(text: str) -> float:
    try:
        gap_s = units.parse_span(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'{text!r} is not written like "6 h" or "2 days"') from None
    if gap_s <= 0:
        raise argparse.ArgumentTypeError("must be longer than nothing")
    return gap_s


def digest_kind(text: str) -> str:
    """Read a digest kind for argparse."""
    kind = kind_named(text)
    if kind not in DIGESTS:
        raise argparse.ArgumentTypeError(f"{text!r} is none of {', '.join(DIGESTS)}")
    return kind


@dataclass(frozen=True, slots=True)
class _Pile:
    """The media to look at: all, those that are new to the studio file, those whose place is assumed, all copies."""

    media: dict[str, Medium]
    new: dict[str, Medium]
    assumed: frozenset[str]
    copies: list[Copy]


def _new(options: argparse.Namespace) -> int:
    _check_names(options)
    given = read_given(options.medium)
    studio_file: Path = options.folder / STUDIO_FILE
    studio = load_studio(studio_file) if studio_file.exists() else None
    if studio is None and not given:
        what = "no medium is named, so there is nothing to look at"
        raise Mistakes([Mistake("drill new", "--medium", what, "add --medium card=/path/to/card and so on")])
    lists = _stems(options.folder / MANIFESTS)
    pile = _gather(given, studio, lists)
    known = [copy.id for copy in studio.copies if copy.at] if studio else []
    for id_ in options.relist:
        if id_ not in known:
            what = f"no copy that can be read is called {id_!r}"
            raise Mistakes([Mistake("drill new", "--relist", what, "copies: " + (", ".join(known) or "none yet"))])
    ledger = studio.ledger if studio else options.folder / LEDGER
    outputs = [options.folder / name for name in ("", STUDIO_FILE, MANIFESTS)]
    guard_copies(pile.copies, [*outputs, *ledger_files(ledger)], where="drill new")
    try:
        proposal = _look(options, pile, studio, lists, ledger)
    except KeyboardInterrupt:
        progress("")
        complain(f"what was read so far is kept in {ledger}; the same command goes on from there")
        raise
    progress("")
    print(proposal_text(proposal, width=columns()), end="")
    if studio is None:
        _write_first(options, proposal, pile)
    else:
        _propose(options, proposal, pile, studio)
    return FALLS_SHORT if any(copy.is_damaged for copy in proposal.copies) else OK


def _check_names(options: argparse.Namespace) -> None:
    """Refuse names that no file and no studio file can have. Errors: Mistakes."""
    for where, text in (("FOLDER", str(options.folder)), ("--name", options.name or "")):
        try:
            text.encode("utf-8")
        except UnicodeEncodeError:
            raise Mistakes([Mistake("drill new", where, "is no valid text", "give it a plain name")]) from None
    try:
        if options.folder.exists() and not options.folder.is_dir():
            what, advice = "is a file; the studio file and its lists go into a folder", f"name {options.folder.parent}"
            raise Mistakes([Mistake("drill new", str(options.folder), what, advice)])
    except OSError as error:
        what = f"cannot be a folder: {error.strerror}"
        raise Mistakes([Mistake("drill new", str(options.folder), what, "name another folder")]) from None


def _stems(manifests: Path) -> frozenset[str]:
    """Return the names, without endings, of lists that lie there: their ids are taken, whoever made them."""
    return frozenset(path.name.rpartition(".")[0] for path in manifests.glob("*.*"))


def _gather(given: Sequence[Given], studio: Studio | None, lists: frozenset[str]) -> _Pile:
    media = dict(studio.media) if studio else {}
    copies = [copy for copy in studio.copies if copy.at is not None] if studio else []  # no link is downloaded again
    before = list(copies)
    # A list that was left behind is of another copy, or of a card as it was: it is never added to under its old name.
    taken = {copy.id for copy in studio.copies} if studio else set()
    taken |= {stem.removeprefix("on-") for stem in lists if stem.startswith("on-")} if studio else set()
    known = [copy.at for copy in copies if copy.at is not None]
    new: dict[str, Medium] = {}
    assumed: set[str] = set()
    for copy in before:
        if copy.form == "folder" and copy.at is not None and copy.at.is_dir():
            found = copies_on(Given(media[copy.on].kind, copy.at), media[copy.on], taken=taken, known=known)
            copies += found
            known += [one.at for one in found if one.at is not None]
    for one in given:
        if check_known(one, before):
            continue
        medium, guess = medium_for(one, taken=media, ask=_ask if sys.stdin.isatty() and sys.stderr.isatty() else None)
        media[medium.id] = new[medium.id] = medium
        assumed |= {medium.id} if guess else set()
        copies += copies_on(one, medium, taken=taken, known=known)
    return _Pile(media, new, frozenset(assumed), copies)


def _ask(question: str, assumed: str) -> str:
    sys.stderr.write(safe(f"{question} [{assumed}]: "))
    sys.stderr.flush()
    return sys.stdin.readline().strip() or assumed


def _look(
    options: argparse.Namespace, pile: _Pile, studio: Studio | None, lists: frozenset[str], file: Path
) -> Proposal:
    now = clock.now()
    with (
        tempfile.TemporaryDirectory(prefix="drill-new-", ignore_cleanup_errors=True) as scratch,
        Ledger.open(file, warn=complain) as ledger,
    ):
        run = ledger.begin_run("new", now=now)
        proposal = look(
            Look(
                media=pile.media,
                copies=pile.copies,
                assumed=pile.assumed,
                gap_s=options.gap,
                digest=options.digest or _usual(studio),
                now=now,
                scratch=Path(scratch),
                ledger=ledger,
                progress=progress,
                promised=studio.shoots if studio else (),
                reserved=lists if studio else frozenset(),
            )
        )
        ledger.end_run(run, complete=True)
    return proposal


def _usual(studio: Studio | None) -> str:
    """Return the digest kind that most promised files have, so that a second look can add to the same lists."""
    promised = [file for shoot in studio.shoots for file in shoot.promise] if studio else []
    kinds = Counter(digest.kind for file in promised for digest in file.digests if digest.kind in DIGESTS)
    return max(kinds, key=lambda kind: (kinds[kind], -DIGESTS.index(kind)), default=DIGESTS[0])


def _write_first(options: argparse.Namespace, proposal: Proposal, pile: _Pile) -> None:
    if not proposal.shoots:
        what = "no picture was found on any medium that can be read, so there is nothing to promise"
        raise Mistakes([Mistake("drill new", "--medium", what, "name the folders that hold your pictures")])
    name = options.name or options.folder.absolute().name or "My studio"
    changes = first_files(options.folder, proposal, name=name, media=pile.media, copies=pile.copies)
    _check_free(changes)
    _write(changes)
    file = options.folder / STUDIO_FILE
    print(f"\nWritten: {safe(str(file))} and its lists; {LEDGER} beside it remembers what was read, for a second look.")
    survey, run = (safe(typed(["drill", command, file])) for command in ("survey", "run"))
    print(f"Read {STUDIO_FILE}, mend what is assumed, then:\n\n  {survey}\n  {run}")


def _check_free(changes: Sequence[Change]) -> None:
    """Refuse to write over anything; what an interrupted run of the same command wrote is the same, byte for byte."""
    mistakes = [
        Mistake("drill new", str(change.path), "is there already, and no studio file says what it is", "move it away")
        for change in changes
        if change.path.exists() and (not change.path.is_file() or change.path.read_bytes() != change.content)
    ]
    if mistakes:
        raise Mistakes(mistakes)


def _propose(options: argparse.Namespace, proposal: Proposal, pile: _Pile, studio: Studio) -> None:
    known = frozenset(copy.id for copy in studio.copies)
    changes, notes = added_files(
        studio.file,
        proposal,
        media=pile.new,
        copies=pile.copies,
        known_copies=known,
        promised={digest for shoot in studio.shoots for file in shoot.promise for digest in file.digests},
        relist=options.relist,
    )
    print(paragraphs(["", *notes], width=columns()), end="")
    if not changes:
        print("\nNothing to add: every picture that is there is promised and listed already.")
        return
    print("\n" + changes_text((c.path, c.is_new, c.added) for c in changes), end="")
    if not options.add:
        print("\nNothing was written. Add --add to write this.")
        return
    _write(changes)
    load_studio(studio.file)
    print("\nWritten.")


def _write(changes: Sequence[Change]) -> None:
    for change in changes:
        try:
            change.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Unfinished(f"{change.path.parent} cannot be made: {error.strerror}") from error
        swap_in_bytes(change.path, change.content)
