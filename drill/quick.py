"""Quick: all the bytes of small files, by as few calls to the system as there can be; and the system's cache.

Flows in: a folder, the names in it with their listed sizes. Flows out: the bytes, or None for whatever is not as it was
listed: what is the matter, only a careful reading can tell. Must not know: copies, digests, threads.
Kept apart from `drill.copies`, and importing nothing: other processes that read begin with this, and begin soon.
"""

import os
import sys
from collections.abc import Iterator, Sequence

# O_NONBLOCK: opening a pipe must not wait for its writer. O_NOFOLLOW: a link is judged before it is followed.
FILE_FLAGS = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)
NO_FOLLOW: int = getattr(os, "O_NOFOLLOW", 0)

FORGETS = hasattr(os, "posix_fadvise")
"""Whether the system can be told to let go of what it has cached of a file (Linux, FreeBSD)."""

_BY_FOLDER = os.open in os.supports_dir_fd and bool(NO_FOLLOW)
_FEW = 4  # names for which opening their folder costs more than it saves

Named = tuple[str, int | None]  # a file's name in its folder, and its listed size


def can_be_quick(*, from_medium: bool) -> bool:
    """Say whether this system has what `contents` needs."""
    return bool(NO_FOLLOW) and (FORGETS or not from_medium)


def contents(place: str, files: Sequence[Named], *, from_medium: bool) -> Iterator[bytes | None]:
    """Yield all the bytes of each file in a folder (`place` ends in a separator) that is as it was listed.

    None for everything else, links and errors among it (a bad sector is asked for once more then). As many bytes as
    were listed, with room for more, are all there are. With `from_medium` the system's cache lets go of a file first;
    None where it cannot be told to.
    """
    if not can_be_quick(from_medium=from_medium) or not place:
        yield from [None] * len(files)
        return
    folder = _opened(place) if len(files) >= _FEW else None
    before = place if folder is None else ""
    try:
        for name, size in files:
            yield _content(before + name, folder, size, from_medium=from_medium) if size else None
    finally:
        if folder is not None:
            os.close(folder)


def forget_cached(fd: int) -> bool:
    """Have the system's cache let go of an open file, so that its medium is read; say whether it could be told.

    What is not on the medium yet stays (it is about to be written, which this only hurries). Source: POSIX.1-2008,
    posix_fadvise, POSIX_FADV_DONTNEED.
    """
    if sys.platform == "win32" or sys.platform == "darwin":
        return False
    try:
        os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)
    except OSError:
        return False
    return True


def _content(path: str, folder: int | None, size: int, *, from_medium: bool) -> bytes | None:
    try:
        fd = os.open(path, FILE_FLAGS | NO_FOLLOW, dir_fd=folder)
        try:
            if from_medium and not forget_cached(fd):
                return None
            content = os.read(fd, size + 1)
        finally:
            os.close(fd)
    except (OSError, ValueError):
        return None
    return content if len(content) == size else None


def _opened(place: str) -> int | None:
    """Open a folder, so that names in it need not be looked up from the top; None where that cannot be."""
    if not _BY_FOLDER:
        return None
    try:
        return os.open(place, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_CLOEXEC", 0))
    except (OSError, ValueError):
        return None
