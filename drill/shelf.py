"""The shelf: every copy of a studio as it is found now, opened read-only.

Flows in: copies from the studio file. Flows out: OpenCopy values: here (with a listing), away (on paper), or refusing.
Must not know: faults, promises, what will be restored. The only bytes it writes are a downloaded archive link, into a
folder of the run's own scratch.
"""

import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from urllib.parse import unquote, urlsplit

from drill.copies import (
    FolderStore,
    LinkSession,
    Unlisted,
    Unreadable,
    archive_view,
    fetch_link,
    file_store,
    folder_store,
    link_store,
    list_archive,
    plain_view,
    reach,
)
from drill.errors import CannotReach, CannotRead, Unfinished, says_full
from drill.model import Copy, Entry, Listing, Medium, Store, Trouble, View
from drill.naming import dropping


class State(StrEnum):
    """How a copy was found."""

    HERE = "here"
    AWAY = "away"
    REFUSES = "refuses"


@dataclass(frozen=True, slots=True)
class OpenCopy:
    """A copy as found: its state and why, its raw streams, its view and its fault-free listing.

    `trouble` is what kind of reason a copy has that refuses; `damaged` is the raw stream of an archive that cannot be
    listed: a salvage may still find files in it. A copy that is here and has a reason is a damaged archive, of which
    the listing may not name all. Other programs list only the first `others` of its entries; None: all.
    `unlisted` says which folders in it could not be listed and why, such as "wedding (Permission denied)": the listing
    knows nothing of what is in them. `remembered` counts the files that stand in for the list of a copy that has none
    and cannot be reached: what it was seen to hold before. `named` counts the files of such an archive that its kept
    headers name, where nothing else is known of it.
    """

    copy: Copy
    medium: Medium
    state: State
    reason: str = ""
    store: Store | None = None
    view: View | None = None
    entries: tuple[Entry, ...] = ()
    unlisted: tuple[str, ...] = ()
    remembered: int = 0
    named: int = 0
    trouble: Trouble | None = None
    damaged: Store | None = None
    others: int | None = None

    @property
    def is_archive(self) -> bool:
        """Say whether its files come out of one archive file."""
        return self.copy.archive is not None

    @property
    def is_damaged(self) -> bool:
        """Say whether it is an archive that opens and whose listing may not name all that was in it."""
        return self.state is State.HERE and bool(self.reason)

    @property
    def note(self) -> str:
        """Return in words that other programs see less of it than there is, nothing where they do not."""
        if self.others is None:
            return ""
        return (
            f"other programs find only the first {self.others:,} of its {len(self.entries):,} files: a mark of the end "
            "stands behind them (GNU tar goes on with --ignore-zeros)"
        )


def open_copy(copy: Copy, medium: Medium, *, session: LinkSession, downloads: Path) -> OpenCopy:
    """Open one copy; a link to an archive is downloaded whole into `downloads`."""
    found = OpenCopy(copy, medium, State.HERE)
    store: Store | None = None
    try:
        store = _store(copy, medium, session, downloads)
        if copy.archive is not None:
            return _opened(replace(found, store=store), list_archive(store, copy.archive, copy.password))
        view = plain_view(store)
        entries = tuple(view.entries())
        closed = store.unlisted() if isinstance(store, FolderStore) else ()
        return replace(found, store=store, view=view, entries=entries, unlisted=say_unlisted(closed))
    except CannotReach as error:
        return replace(found, state=State.AWAY, reason=str(error))
    except CannotRead as error:
        where = "" if copy.at is None else f"{copy.at}: "
        trouble = error.trouble if isinstance(error, Unreadable) else Trouble.REFUSED
        damaged = None if copy.archive is None else store
        return replace(found, state=State.REFUSES, reason=f"{where}{error}", trouble=trouble, damaged=damaged)


def _opened(found: OpenCopy, listing: Listing) -> OpenCopy:
    """Return an archive as it opened, with what its listing shows."""
    assert found.store is not None and found.copy.archive is not None
    view = archive_view(found.store, found.copy.archive, found.copy.password)
    return replace(found, view=view, entries=tuple(listing.entries), reason=listing.damage, others=listing.others)


def say_unlisted(folders: Iterable[Unlisted]) -> tuple[str, ...]:
    """Return in words the folders that could not be listed, without those that systems keep closed on every drive."""
    return tuple(f"{path} ({reason})" for path, reason in folders if dropping(path) is None)


def _store(copy: Copy, medium: Medium, session: LinkSession, downloads: Path) -> Store:
    if copy.url is not None:
        if copy.archive is None:
            return link_store(copy.url, [item.path for item in copy.listed or ()], session=session)
        try:
            downloads.mkdir(parents=True, exist_ok=True)
            folder = downloads / f"{len(list(downloads.iterdir())):04d}"  # ids may differ in case alone
            folder.mkdir()
            target = folder / _file_name(copy)
            fetch_link(copy.url, target, session=session)
        except OSError as error:
            words = "does not fit in scratch" if says_full(error) else "cannot be written to scratch"
            raise Unfinished(f"the archive behind {copy.id} {words}: {error.strerror}") from error
        return file_store(target)
    if copy.at is None:
        raise CannotReach("the studio file gives no place where it can be read")
    reach(copy.at, archive=copy.archive is not None, recognised_by=medium.recognised_by)
    return folder_store(copy.at) if copy.archive is None else file_store(copy.at)


def modified(copy: Copy, entry: Entry) -> datetime | None:
    """Return the time a file on a copy is from: its own, else the copy's."""
    return entry.modified or copy.made


def _file_name(copy: Copy) -> str:
    """Return the name that an archive behind a link has in its address, which hazards' globs match."""
    name = unquote(urlsplit(copy.url or "").path.rpartition("/")[2])
    plain = name.isprintable() and "\\" not in name and "/" not in name and len(name.encode("utf-8", "replace")) < 200
    return name if plain else f"archive{copy.archive}"


def needs_scratch(copies: Iterable[Copy]) -> bool:
    """Say whether any of the copies is an archive behind a link, which has to be downloaded to be opened."""
    return any(copy.url is not None and copy.archive is not None for copy in copies)


@contextmanager
def room_for_downloads(copies: Iterable[Copy], scratch: Path | None) -> Iterator[Path]:
    """Make a fresh folder in scratch where any of the copies needs it, and remove it afterwards. Errors: Unfinished."""
    if not needs_scratch(copies):
        yield Path()
        return
    with fresh_folder(scratch) as folder:
        yield folder


@contextmanager
def fresh_folder(scratch: Path | None, *, keep: bool = False) -> Iterator[Path]:
    """Make a run's own fresh folder in scratch, and remove it afterwards unless it is kept. Errors: Unfinished."""
    parent = scratch or Path(tempfile.gettempdir())
    try:
        parent.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix="drill-", dir=parent))
    except OSError as error:
        what = f"scratch {parent} cannot be written: {error.strerror}; set scratch to another folder"
        raise Unfinished(what) from None
    try:
        yield folder
    finally:
        if not keep:
            shutil.rmtree(folder, ignore_errors=True)
