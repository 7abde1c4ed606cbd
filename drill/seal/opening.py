"""Opening files that anybody may have put there: plain files only, up to a size, read once.

Flows in: a path. Flows out: bytes or a digest, or why there is none. Must not know: what the file is for.
"""

import errno
import hashlib
import os
import stat
from pathlib import Path
from typing import IO

# O_NONBLOCK: a pipe is not waited for. O_NOFOLLOW: a link is no file here; Windows, without it, is asked beforehand.
_FLAGS = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0)
_PIECE = 2**17


class Refused(Exception):
    """Why a file gives no bytes, to be read after its name."""

    def __init__(self, what: str, *, is_missing: bool = False) -> None:
        self.is_missing = is_missing
        super().__init__(what)


def content_of(path: Path, most: int) -> bytes:
    """Return all bytes of a plain file. Errors: Refused for anything else, and for more than `most` bytes."""
    try:
        with _opened(path, most) as file:
            content = file.read(most + 1)
    except OSError as error:
        raise _unreadable(error) from None
    if len(content) > most:
        raise _too_large(most)
    return content


def digest_of(path: Path, most: int | None = None) -> str:
    """Return the SHA-256 of a plain file in hex. Errors: Refused as `content_of`."""
    whole = hashlib.sha256()
    try:
        with _opened(path, most) as file:
            while piece := file.read(_PIECE):
                whole.update(piece)
                if most is not None and file.tell() > most:  # it grew meanwhile
                    raise _too_large(most)
    except OSError as error:
        raise _unreadable(error) from None
    return whole.hexdigest()


def _opened(path: Path, most: int | None) -> IO[bytes]:
    """Errors: OSError, Refused."""
    try:
        about = path.lstat()
        if stat.S_ISLNK(about.st_mode):
            raise Refused("is a link, and no file")
        if not stat.S_ISREG(about.st_mode):
            raise Refused("is no file")
        fd = os.open(path, _FLAGS)
    except ValueError:
        raise Refused("has a name that this computer cannot open") from None
    file = os.fdopen(fd, "rb")
    about = os.fstat(fd)
    if not stat.S_ISREG(about.st_mode) or (most is not None and about.st_size > most):
        file.close()
        raise Refused("is no file") if not stat.S_ISREG(about.st_mode) else _too_large(most or 0)
    return file


def _too_large(most: int) -> Refused:
    return Refused(f"is larger than it can be ({most:,} bytes at most)")


def _unreadable(error: OSError) -> Refused:
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return Refused("is missing", is_missing=True)
    return Refused(f"cannot be read: {error.strerror or error}")
