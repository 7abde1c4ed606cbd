"""The bottom of every copy: bytes of one file, handed to a receiver, with every failure put into words.

Flows in: raw streams (real ones, or real ones under a fault's overlay). Flows out: begin, data and end calls, and
Problems. Must not know: folders, archive formats, servers, faults. No stream here has a `.name`: a library that
finds one may re-open the real file behind an overlay's back.
"""

import errno
import io
import os
import stat
from collections.abc import Callable, Iterator, Sequence
from io import RawIOBase

from drill.errors import CannotReach, CannotRead, DrillError
from drill.model import Entry, Problem, Receiver, Store, Trouble
from drill.quick import FILE_FLAGS, NO_FOLLOW, forget_cached

BLOCK = 128 * 1024  # more gains nothing when reading, and costs when the receiver writes

Explain = Callable[[Exception, int], Problem]


class BrokenOff(OSError):
    """A stream that ended before all its bytes had come; the text says how many did."""


class Unreadable(CannotRead):
    """A copy that gives nothing as a whole, with the kind of trouble for each of its files."""

    def __init__(self, trouble: Trouble, detail: str) -> None:
        super().__init__(detail)
        self.trouble = trouble


class FileBytes(RawIOBase):
    """One regular file, opened for reading only.

    Errors: OSError; also for what is no regular file. With `follow` off a symbolic link gives OSError(ELOOP).
    """

    def __init__(self, path: str | os.PathLike[str], *, follow: bool = True) -> None:
        super().__init__()
        self._fd = -1
        if not follow and not NO_FOLLOW and os.path.islink(path):  # noqa: PTH114 - a Path costs more than the call
            raise OSError(errno.ELOOP, "is a symbolic link")
        self._fd = os.open(path, FILE_FLAGS | (0 if follow else NO_FOLLOW))
        if not stat.S_ISREG(os.fstat(self._fd).st_mode):
            self.close()
            raise OSError(errno.EINVAL, "is not a regular file")

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._fd

    def readinto(self, buffer: memoryview | bytearray, /) -> int:  # type: ignore[override]
        if hasattr(os, "readv"):
            return os.readv(self._fd, [buffer])
        chunk = os.read(self._fd, len(buffer))
        buffer[: len(chunk)] = chunk
        return len(chunk)

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        return os.lseek(self._fd, offset, whence)

    def tell(self) -> int:
        return os.lseek(self._fd, 0, io.SEEK_CUR)

    def close(self) -> None:
        if self._fd >= 0:
            fd, self._fd = self._fd, -1
            os.close(fd)
        super().close()


class Steady(RawIOBase):
    """A stream whose `read(n)` gives n bytes unless it ends or fails: archive libraries take short reads for an end.

    Good bytes before a failure are given first; `trouble` keeps the failure until the next read that goes well, so
    that a library's complaint about a short read can be told from real damage.
    """

    def __init__(self, raw: RawIOBase) -> None:
        super().__init__()
        self._raw = raw
        self.trouble: OSError | DrillError | None = None

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return self._raw.seekable()

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        return self._raw.seek(offset, whence)

    def tell(self) -> int:
        return self._raw.tell()

    def readinto(self, buffer: memoryview | bytearray, /) -> int:  # type: ignore[override]
        try:
            got = self._raw.readinto(buffer)
        except (OSError, DrillError) as error:
            self.trouble = error
            raise
        self.trouble = None
        return got or 0

    def read(self, size: int | None = -1, /) -> bytes:
        if size is None or size < 0:
            return self.readall()
        blocks: list[bytes] = []
        while size > 0:
            buffer = bytearray(min(size, BLOCK))
            try:
                got = self.readinto(buffer)
            except (OSError, DrillError):
                if not blocks:
                    raise
                break
            if not got:
                break
            blocks.append(bytes(buffer[:got]) if got < len(buffer) else bytes(buffer))
            size -= got
        return blocks[0] if len(blocks) == 1 else b"".join(blocks)


def explain(error: Exception, at: int) -> Problem:  # noqa: PLR0911 - one line for each kind of failure
    """Put a failure of a plain read, after `at` good bytes, into words."""
    match error:
        case Unreadable():
            return Problem(error.trouble, str(error))
        case CannotReach():
            return Problem(Trouble.UNREACHABLE, str(error))
        case CannotRead():
            return Problem(Trouble.REFUSED, str(error))
        case BrokenOff():
            return Problem(Trouble.DAMAGED, str(error))
        case FileNotFoundError() | NotADirectoryError():
            return Problem(Trouble.MISSING, "is not there")
        case PermissionError():
            return Problem(Trouble.REFUSED, "the system does not allow reading it")
        case OSError(errno=errno.EIO):
            return Problem(Trouble.IO, f"I/O error at byte {at}")
        case OSError():
            return Problem(Trouble.IO, f"I/O error at byte {at} ({error.strerror or type(error).__name__})")
        case MemoryError():
            return Problem(Trouble.UNSUPPORTED, "asks for more memory than there is")
    return Problem(Trouble.DAMAGED, f"damaged at byte {at} ({error or type(error).__name__})")


def send(entry: Entry, receiver: Receiver, chunks: Iterator[bytes | memoryview], *, why: Explain) -> Problem | None:
    """Hand `chunks` to the receiver as the bytes of `entry`, between one begin and one end; return what went wrong.

    What `chunks` raises becomes a Problem by `why`; what the receiver raises propagates. Never gives more bytes than
    the entry's known size.
    """
    receiver.begin(entry)
    done, problem = 0, None
    limit = entry.size
    while True:
        try:
            chunk = next(chunks, None)
        except Exception as error:
            problem = why(error, done)
            break
        if chunk is None:
            break
        if limit is not None and done + len(chunk) > limit:
            receiver.data(chunk[: limit - done])
            done = limit
            problem = Problem(Trouble.DAMAGED, f"has more than the {limit} bytes it should have")
            break
        receiver.data(chunk)
        done += len(chunk)
    if problem is None and limit is not None and done < limit:
        problem = Problem(Trouble.DAMAGED, f"ends after {done} of {limit} bytes")
    receiver.end(entry, problem)
    return problem


def blocks(raw: RawIOBase, buffer: bytearray) -> Iterator[memoryview]:
    """Read `raw` to its end through one reused buffer."""
    view = memoryview(buffer)
    while got := raw.readinto(buffer):
        yield view[:got]


def pump(raw: RawIOBase, entry: Entry, receiver: Receiver, buffer: bytearray | None = None) -> Problem | None:
    """Deliver `raw` as the bytes of `entry`; return what went wrong. `buffer` may be shared between calls."""
    return send(entry, receiver, blocks(raw, buffer or bytearray(BLOCK)), why=explain)


def fail(entries: Sequence[Entry], receiver: Receiver, problem: Problem) -> None:
    """Deliver each of `entries` as nothing but `problem`."""
    for entry in entries:
        receiver.begin(entry)
        receiver.end(entry, problem)


def forget(store: Store, entry: Entry) -> bool:
    """Have the system's cache let go of a file of a store, or of an archive; say whether it did (`forget_cached`)."""
    try:
        with store.open(entry) as raw:
            return forget_cached(raw.fileno())
    except (OSError, CannotReach, CannotRead):  # an OSError also where the stream is no file of this system
        return False


def deliver_file(store: Store, entry: Entry, receiver: Receiver, buffer: bytearray | None = None) -> None:
    """Open one file of a store and deliver it."""
    try:
        raw = store.open(entry)
    except (OSError, CannotReach, CannotRead) as error:
        fail([entry], receiver, explain(error, 0))
        return
    with raw:
        pump(raw, entry, receiver, buffer)


class Waiting:
    """What is still to be delivered out of an archive, by the number of its stream of bytes and its path."""

    def __init__(self, wanted: Sequence[Entry]) -> None:
        self._by_index: dict[int, list[Entry]] = {}
        self.back(wanted)

    def __bool__(self) -> bool:
        return bool(self._by_index)

    def __contains__(self, index: int) -> bool:
        return index in self._by_index

    def indices(self) -> frozenset[int]:
        """Return the numbers of all that is waiting."""
        return frozenset(self._by_index)

    def take(self, index: int, path: str) -> Entry | None:
        """Return and strike off one wanted entry of that stream under that path."""
        entries = self._by_index.get(index, [])
        for number, entry in enumerate(entries):
            if entry.path == path:
                del entries[number]
                if not entries:
                    del self._by_index[index]
                return entry
        return None

    def back(self, entries: Sequence[Entry]) -> None:
        """Put back what was struck off and is not delivered yet."""
        for entry in entries:
            self._by_index.setdefault(entry.index, []).append(entry)

    def rest(self) -> list[Entry]:
        """Return and strike off all that is left."""
        left = [entry for entries in self._by_index.values() for entry in entries]
        self._by_index.clear()
        return left
