"""The SHA-256 of every delivered file: as it was promised, else read now from a copy that has the promised bytes.

Flows in: a studio, shoots, the ledger, which only says where to look. Flows out: checksums, and how many there are
none of. Must not know: letters, keys. Copies are only read; an archive behind a link is downloaded into a folder of
the run's own, and only where nothing else gives a file.

Never from a fast digest alone: such a one finds accidents, and does not resist forgery. A file that is read is held
against every digest that was promised of it in the same reading that its SHA-256 comes from.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from drill.copies import LinkSession
from drill.coverage import WEAK, Claim, ListIndex, ListingIndex, kinds_of
from drill.evidence import still_known
from drill.ledger import Ledger
from drill.model import Copy, Entry, Promised, Seen, Shoot, Studio
from drill.proofrecord import DELIVERABLES, Checksum
from drill.reading import Job, read_files, root_of
from drill.shelf import OpenCopy, State, open_copy, room_for_downloads
from drill.verify import Finding

_SHA256 = "sha256"

Progress = Callable[[str], None]
Key = tuple[str, str]  # a shoot's id, a promised path
Wanted = Mapping[Key, Promised]


def checksums(
    studio: Studio, shoots: Sequence[Shoot], ledger: Ledger, *, now: datetime, progress: Progress
) -> dict[Key, Checksum | None]:
    """Return the checksum of every delivered file, in the order of shoots and promises; None where none is to be had.

    Errors: Unfinished, KeyboardInterrupt.
    """
    found: dict[Key, Checksum | None] = {}
    wanted: dict[Key, Promised] = {}
    names: dict[Key, str] = {}
    for shoot in shoots:
        for file in shoot.promise:
            if file.kind != DELIVERABLES:
                continue
            key = shoot.id, file.path
            names[key] = listed_name(shoot, file, among=len(shoots))
            known = dict(file.digests).get(_SHA256)
            found[key] = None if known is None else Checksum(names[key], known, "promise")
            if known is None and any(digest.kind not in WEAK for digest in file.digests):
                wanted[key] = file
    for key, hex_ in read_now(studio, wanted, ledger, now=now, progress=progress).items():
        found[key] = Checksum(names[key], hex_, "read")
    return found


def listed_name(shoot: Shoot, file: Promised, *, among: int) -> str:
    """Return a delivered file's name in the client's list: as promised, below the shoot's id where there are more."""
    return file.path if among == 1 else f"{shoot.id}/{file.path}"


def read_now(studio: Studio, wanted: Wanted, ledger: Ledger, *, now: datetime, progress: Progress) -> dict[Key, str]:
    """Read files from the copies until each was read whole once and is the promised one; return their SHA-256."""
    found: dict[Key, str] = {}
    if not wanted:
        return found
    with room_for_downloads(studio.copies, studio.scratch) as folder, LinkSession() as session:
        for copy in sorted(studio.copies, key=_effort):
            left = {key: file for key, file in wanted.items() if key not in found}
            if not left:
                break
            progress(f"opening {copy.id}")
            opened = open_copy(copy, studio.media[copy.on], session=session, downloads=folder)
            if opened.state is State.HERE:
                found |= dict(_read_one(opened, left, ledger, now=now, progress=progress))
    return found


def _effort(copy: Copy) -> tuple[bool, bool]:
    """Sort what is at hand before what is far away, and files before archives."""
    return copy.url is not None, copy.archive is not None


def _read_one(
    opened: OpenCopy, wanted: Wanted, ledger: Ledger, *, now: datetime, progress: Progress
) -> Iterator[tuple[Key, str]]:
    """Yield the SHA-256 of files that are on one copy; of each its likeliest place is tried first."""
    left, places = dict(wanted), _places(opened, wanted, ledger)
    kinds = sorted(kinds_of(wanted.values()) | {_SHA256})
    while jobs := {(job.entry.path, job.entry.index): job for job in _next_jobs(opened, left, places)}:
        done = read_files(
            jobs.values(),
            kinds=kinds,
            ledger=Ledger.none(),
            now=now,
            progress=progress,
            with_capture=False,
            afresh=True,
        )
        for key, file in list(left.items()):
            entry = places[key].pop(0) if places[key] else None
            seen = None if entry is None else done.get(Job(opened, entry).key)
            if isinstance(seen, Seen) and Finding(seen.size, seen.digests).is_promised(file):
                del left[key]
                yield key, dict(seen.digests)[_SHA256]


def _next_jobs(opened: OpenCopy, left: Iterable[Key], places: Mapping[Key, Sequence[Entry]]) -> Iterator[Job]:
    return (Job(opened, places[key][0]) for key in left if places[key])


def _places(opened: OpenCopy, wanted: Wanted, ledger: Ledger) -> dict[Key, list[Entry]]:
    """Return where on a copy each file may be: by what the ledger saw there, by its list, by name."""
    names = ListingIndex(opened.entries)
    for entry, known in still_known(ledger, root_of(opened), opened.entries):
        names.learn(entry, known.digests)
    listed = None if opened.copy.listed is None else ListIndex(opened.copy.listed, opened.entries)
    found: dict[Key, list[Entry]] = {}
    for key, file in wanted.items():
        named = names.claims(file)
        claims: list[Claim] = [claim for claim in named if not claim.by_hand]
        claims += [*(listed.claims(file) if listed is not None else ()), *named]
        entries = [claim.entry for claim in claims if claim.entry is not None]
        found[key] = list({(entry.path, entry.index): entry for entry in entries}.values())
    return found
