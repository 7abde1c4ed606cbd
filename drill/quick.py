"""Quick: all the bytes of small files, by as few calls to the system as there can be; and the system's cache.

Flows in: a folder, the names in it with their listed sizes. Flows out: the bytes, or None for whatever is not as it was
listed: what is the matter, only a careful reading can tell. Must not know: copies, digests, threads.
Kept apart from `drill.copies`, and importing nothing: other processes that read begin with this, and begin soon.
"""

import os
import sys
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import suppress
from time import time

# O_NONBLOCK: opening a pipe must not wait for its writer. O_NOFOLLOW: a link is judged before it is followed.
FILE_FLAGS = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)
NO_FOLLOW: int = getattr(os, "O_NOFOLLOW", 0)

FORGETS = hasattr(os, "posix_fadvise")
"""Whether the system can be told to let go of what it has cached of a file (Linux, FreeBSD)."""

_BY_FOLDER = os.open in os.supports_dir_fd and bool(NO_FOLLOW)
_LATELY_S = 600.0  # Linux writes after 30 s (sysctl vm.dirty_expire_centisecs); a slow drive's queue takes minutes
_ASK_EVERY = 8  # small files of one folder
_FEW = 4  # names for which opening their folder costs more than it saves

Named = tuple[str, int | None]  # a file's name in its folder, and its listed size


def can_be_quick(*, from_medium: bool) -> bool:
    """Say whether this system has what `contents` needs."""
    return bool(NO_FOLLOW) and (FORGETS or not from_medium)


def contents(place: str, files: Sequence[Named], *, from_medium: bool, ahead: int = 0) -> Iterator[bytes | None]:
    """Yield all the bytes of each file in a folder (`place` ends in a separator) that is as it was listed.

    None for everything else, links and errors among it (a bad sector is asked for once more then). As many bytes as
    were listed, with room for more, are all there are. With `from_medium` the system's cache lets go of a file first;
    None where it cannot be told to, or does not: see `forget_cached`, which waits until it does.

    While a file's bytes are taken, so many of the files after it are already asked `ahead` of their medium, where the
    system can be told and the last of them is not at hand: a medium that answers several at once is kept busy, and
    nobody waits for each (measured: 100,000 files on an SSD, cold, half the time of eight threads that wait, and half
    the system's work). To ask whether one is at hand begins its reading, so who else asks had better take the first.
    """
    if not can_be_quick(from_medium=from_medium) or not place:
        yield from [None] * len(files)
        return
    folder = _opened(place) if len(files) >= _FEW else None
    before = place if folder is None else ""
    forget = _Forgetting() if from_medium else None
    try:
        if ahead and FORGETS and (from_medium or not is_cached(place + files[-1][0])):
            yield from _contents_ahead(before, folder, files, forget, ahead)
            return
        for name, size in files:
            yield _content(before + name, folder, size, forget) if size else None
    finally:
        if folder is not None:
            os.close(folder)


def forget_cached(fd: int) -> bool:
    """Have the system's cache let go of an open file, so that its medium is read; say whether it did.

    What is not on the medium yet stays until it is, so that is waited for: fsync writes what was pending anyway, and
    nothing of ours. False where the system cannot be told, or still has the file at hand afterwards. Where it does not
    say what it has, having told it counts (a file system in memory alone is its own medium). Source: POSIX.1-2008,
    posix_fadvise, POSIX_FADV_DONTNEED; fsync(2), preadv2(2).
    """
    if _was_changed_lately(fd):
        _write_out(fd)
    for _ in range(2):
        if not _tell_to_forget(fd):
            return False
        if not is_at_hand(fd):
            return True
        _write_out(fd)
    return False


def is_at_hand(fd: int) -> bool | None:
    """Say whether the system has an open file's first byte in its cache; None where it does not say.

    The question itself has the system begin to read (measured: ext4, Linux 6.18), so it may say yes soon after.
    Source: preadv2(2), RWF_NOWAIT; file systems that do not know it answer with another error.
    """
    if sys.platform != "linux":
        return None
    try:
        return os.preadv(fd, [bytearray(1)], 0, os.RWF_NOWAIT) == 1
    except BlockingIOError:
        return False
    except OSError:
        return None


def is_cached(path: str) -> bool:
    """Say whether the system has a file's first byte at hand; False where it does not say, or cannot open it."""
    try:
        fd = os.open(path, FILE_FLAGS | NO_FOLLOW)
        try:
            return is_at_hand(fd) is True
        finally:
            os.close(fd)
    except (OSError, ValueError):
        return False


def _tell_to_forget(fd: int) -> bool:
    if sys.platform == "win32" or sys.platform == "darwin":
        return False
    try:
        os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)
    except OSError:
        return False
    return True


def _write_out(fd: int) -> None:
    with suppress(OSError):  # nothing is pending then, or nobody can hurry it
        os.fsync(fd)


def _was_changed_lately(fd: int) -> bool:
    """Say whether a file may have bytes that are still to be written, by when it was last changed or moved here."""
    try:
        return abs(time() - os.fstat(fd).st_ctime) < _LATELY_S
    except OSError:
        return True


class _Forgetting:
    """Has the cache let go of small files one after the other, and says of each whether it may be read here.

    To ask of each file whether it is gone would cost a tenth more: one in some is asked about, and all as soon as one
    is not, as what was copied lately stays until it is written.
    """

    def __init__(self) -> None:
        self._told, self._stays = 0, False

    def __call__(self, fd: int) -> bool:
        if not _tell_to_forget(fd):
            return False
        asks = self._stays or self._told % _ASK_EVERY == 0
        self._told += 1
        if not asks:
            return True
        at_hand = is_at_hand(fd)
        stays = _was_changed_lately(fd) if at_hand is None else at_hand
        self._stays |= stays
        return not stays


def _content(path: str, folder: int | None, size: int, forget: _Forgetting | None) -> bytes | None:
    try:
        fd = os.open(path, FILE_FLAGS | NO_FOLLOW, dir_fd=folder)
        try:
            if forget is not None and not forget(fd):
                return None
            content = os.read(fd, size + 1)
        finally:
            os.close(fd)
    except (OSError, ValueError):
        return None
    return content if len(content) == size else None


def _contents_ahead(
    before: str, folder: int | None, files: Sequence[Named], forget: _Forgetting | None, ahead: int
) -> Iterator[bytes | None]:
    asked: deque[tuple[int | None, int]] = deque()
    try:
        for name, size in files:
            asked.append((_asked_for(before + name, folder, size, forget) if size else None, size or 0))
            if len(asked) > ahead:
                yield _come(*asked.popleft())
        while asked:
            yield _come(*asked.popleft())
    finally:
        for fd, _ in asked:
            if fd is not None:
                os.close(fd)


def _asked_for(path: str, folder: int | None, size: int, forget: _Forgetting | None) -> int | None:
    """Open a file and have the system begin to read it; None where it is not to be read here."""
    if sys.platform == "win32" or sys.platform == "darwin":
        return None
    try:
        fd = os.open(path, FILE_FLAGS | NO_FOLLOW, dir_fd=folder)
    except (OSError, ValueError):
        return None
    try:
        if forget is None or forget(fd):
            os.posix_fadvise(fd, 0, size, os.POSIX_FADV_WILLNEED)
            return fd
    except OSError:  # a pipe, say
        pass
    os.close(fd)
    return None


def _come(fd: int | None, size: int) -> bytes | None:
    """Return the bytes of a file that was asked for, and close it."""
    if fd is None:
        return None
    try:
        content = os.read(fd, size + 1)
    except OSError:
        return None
    finally:
        os.close(fd)
    return content if len(content) == size else None


def _opened(place: str) -> int | None:
    """Open a folder, so that names in it need not be looked up from the top; None where that cannot be."""
    if not _BY_FOLDER:
        return None
    try:
        return os.open(place, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_CLOEXEC", 0))
    except (OSError, ValueError):
        return None
