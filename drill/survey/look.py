"""Look: how each copy is found today, by listing a folder, reading an archive's headers, or one small request.

Flows in: copies and media of the studio file, a link session, the moment that counts as now. Flows out: Found values.
Must not know: promises. No file of a folder is opened; what is behind a link is asked for and not downloaded.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from drill.copies import LinkSession, folder_store, link_expiry, link_url, probe_link, reach
from drill.errors import CannotReach, CannotRead
from drill.ledger import Root
from drill.model import Copy, Entry, Medium
from drill.reading import root_of
from drill.shelf import OpenCopy, State, open_copy, say_unlisted


@dataclass(frozen=True, slots=True)
class Found:
    """A copy as found: `state` is here, answers, away, refuses or expired; `entries` is None where nobody looked.

    `unlisted` has the folders of which the entries say nothing, with the reason; `root` is its place in the ledger.
    `opened` is an archive as it was opened, `note` what is worth knowing of it though it is in order.
    """

    copy: Copy
    medium: Medium
    state: str
    reason: str = ""
    entries: Sequence[Entry] | None = None
    expires: datetime | None = None
    unlisted: tuple[str, ...] = ()
    root: Root | None = None
    opened: OpenCopy | None = None
    note: str = ""


def look(copy: Copy, medium: Medium, *, session: LinkSession, now: datetime, times: bool = False) -> Found:
    """Find one copy; with the files' modified times if `times` are asked for, which costs.

    A link whose own date has passed counts as expired, whatever its server still answers.
    """
    if copy.url is not None:
        return _look_behind(copy, medium, copy.url, session=session, now=now)
    if copy.form == "folder" and copy.at is not None:
        try:
            reach(copy.at, archive=False, recognised_by=medium.recognised_by)
            store = folder_store(copy.at, times=times)
            # What cannot even be looked at (a link to nothing, a file in a closed folder) is not there.
            entries = [entry for entry in store.files() if entry.size is not None]
            root = root_of(OpenCopy(copy, medium, State.HERE, store=store))
            return Found(copy, medium, "here", entries=entries, unlisted=say_unlisted(store.unlisted()), root=root)
        except CannotReach as error:
            return Found(copy, medium, "away", str(error))
    opened = open_copy(copy, medium, session=session, downloads=Path())
    listing = opened.entries if opened.state is State.HERE else None
    return Found(
        copy,
        medium,
        opened.state.value,
        opened.reason,
        listing,
        root=root_of(opened),
        opened=opened,
        note="" if opened.is_damaged else opened.note,
    )


def _look_behind(copy: Copy, medium: Medium, url: str, *, session: LinkSession, now: datetime) -> Found:
    expires = link_expiry(url)
    if expires is not None and expires <= now:
        return Found(copy, medium, "expired", "the link's own date has passed", expires=expires)
    reason = ""
    for address in [url] if copy.archive is not None else _few(url, copy):
        try:
            probe_link(address, session=session)
            return Found(copy, medium, "answers", reason, expires=expires)
        except CannotRead as error:
            reason = str(error)
        except CannotReach as error:
            return Found(copy, medium, "away", str(error), expires=expires)
    return Found(copy, medium, "refuses", reason, expires=expires)


def _few(base: str, copy: Copy) -> list[str]:
    """Return the addresses of a list's first, middle and last file: where all three are refused, so is the copy."""
    names = [item.path for item in copy.listed or ()]
    few = dict.fromkeys((names[0], names[len(names) // 2], names[-1])) if names else ()
    return [link_url(base, name) for name in few]
