"""Links: files behind URLs, as streams, as a store, or fetched whole.

Flows in: URLs, names, a session. Flows out: raw streams, Stores; CannotReach (nobody answers, or not now), CannotRead
(refused, gone, expired). Must not know: manifests, faults, how a server is asked. `asking` is loaded by the first link:
most runs meet none, and the library behind it takes a tenth of a start.
User info, queries and fragments of a URL are secrets (a signature is one): no text made here holds them.
"""

import os
from collections.abc import Sequence
from contextlib import suppress
from io import RawIOBase
from pathlib import Path

from drill.copies.address import link_url, server_of, shown_url
from drill.copies.raw import BLOCK, BrokenOff, Unreadable
from drill.copies.session import LinkSession
from drill.errors import CannotRead
from drill.model import Entry, Store, Trouble


def open_link(url: str, *, session: LinkSession) -> RawIOBase:
    """Open the file behind a URL as a stream that goes forwards only.

    Errors: CannotReach, CannotRead; while reading also BrokenOff.
    """
    from drill.copies import asking  # noqa: PLC0415

    return asking.LinkBytes(url, session)


def link_store(base: str, names: Sequence[str], *, session: LinkSession) -> Store:
    """Return the store of the files named below a base URL; their sizes are not known."""
    return Store(
        lambda: [Entry(name, None) for name in names],
        lambda entry: open_link(link_url(base, entry.path), session=session),
    )


def probe_link(url: str, *, session: LinkSession) -> None:
    """Ask for the first byte of a file: it is behind the link and would be given. Errors: CannotReach, CannotRead.

    A server that sends the whole file for its first byte is asked for the head alone from then on; where it refuses
    that, a signed link being for GET only, it is asked for the first byte again.
    """
    from drill.copies import asking  # noqa: PLC0415

    server = server_of(url)
    if server in session.sends_whole:
        with suppress(CannotRead):
            asking.ask(url, session, first_byte=True, method="HEAD").close()
            return
    response = asking.ask(url, session, first_byte=True)
    if response.status == 200:
        session.sends_whole.add(server)
    response.close()


def fetch_link(url: str, into: Path, *, session: LinkSession) -> int:
    """Download a whole file to `into`, which must not exist yet; return its size.

    Errors: CannotReach, CannotRead; OSError of the disk (ENOSPC, EEXIST) as it is. What came is left in `into`.
    """
    with open_link(url, session=session) as stream:
        fd = os.open(into, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        with os.fdopen(fd, "wb", buffering=0) as file:
            buffer, size = bytearray(BLOCK), 0
            while got := _next(stream, buffer, url):
                size += got
                _write(file, memoryview(buffer)[:got])
    return size


def _next(stream: RawIOBase, buffer: bytearray, url: str) -> int:
    try:
        return stream.readinto(buffer) or 0
    except BrokenOff as error:
        raise Unreadable(Trouble.DAMAGED, f"{shown_url(url)}: {error}") from None


def _write(file: RawIOBase, view: memoryview) -> None:
    while view:
        view = view[file.write(view) or 0 :]
