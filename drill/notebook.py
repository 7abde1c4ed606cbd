"""The notebook: what readings of files taught, kept beside the studio file so that nothing is read twice.

Flows in: where a file lies, its entry, what its reading showed. Flows out: the same again, as long as path, size and
modified time are what they were; Mistakes for a file that is no notebook, Unfinished where it cannot be written or is
in use. Must not know: copies, how files are read, what is promised.

A text file that only grows: a header, then one JSON array a line, [check value, key, value]. The tabs between the
three are the only ones in a line (JSON escapes a tab inside a text), so a line is taken apart without being parsed.
A line whose check value (CRC-32) does not fit was torn or damaged: it is skipped, and its file read again. Later
lines win.
"""

import json
import os
import sys
import zlib
from base64 import b64decode, b64encode
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BufferedReader
from pathlib import Path
from typing import Any, Self

from drill import clock
from drill.errors import Mistake, Mistakes, Unfinished
from drill.model import Digest, Entry, Seen, Taken

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_HEADER = b'{"format": "restore-notebook/1"}\n'
_FLAGS = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
_LONGEST_LINE = 1 << 20
_FLUSH_EVERY_S = 1.0
_LOCKED_BYTE = 1 << 40  # Windows locks bytes against reading too, so one where no line will ever be


@dataclass(frozen=True, slots=True)
class Root:
    """Where a copy lies: the real path of its folder or archive file, and the medium it is on.

    The medium counts because two drives may take turns at one path. For an archive its own size and modified time
    count too. Without `archive` it is a folder.
    """

    path: str
    on: str = ""
    archive: bool = False
    size: int | None = None
    modified: datetime | None = None


class Notebook:
    """Readings by place, kept in `path`, or only in memory without one. For one thread at a time.

    Errors: Mistakes (no notebook, or of another version), Unfinished (not writable, or another run has it open).
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._known: dict[bytes, bytes] = {}
        self._pending: list[bytes] = []
        self._fd = -1
        self._torn = False
        self._synced_s = clock.ticks_s()
        self._unsynced = False
        self.locked = path is None
        """Whether another run is kept out (some network file systems have no locks)."""
        if path is not None:
            self._open(path)

    def get(self, root: Root, entry: Entry) -> Seen | None:
        """Return what a reading of that file showed, if it is unchanged since by path, size and modified time."""
        key = _key(root, entry)
        value = None if key is None else self._known.get(key)
        return None if value is None else _seen(value)

    def put(self, root: Root, entry: Entry, seen: Seen) -> None:
        """Remember what a reading showed; a file without a known time, or not of its listed size, is not remembered."""
        key = _key(root, entry)
        if key is None or seen.size != entry.size:
            return
        value = _value(seen)
        if self._known.get(key) == value:
            return
        self._known[key] = value
        if self._path is not None:
            self._pending.append(_line(key, value))
            self.tick()

    def tick(self) -> None:
        """Hand lines to the system and, once a second, to the disk. For a reader to call while it waits."""
        due = clock.ticks_s() - self._synced_s >= _FLUSH_EVERY_S
        if due:
            self.flush()
        elif len(self._pending) >= 64:
            self._write()

    def flush(self) -> None:
        """Write every line and have the disk take it. Errors: Unfinished."""
        self._write()
        if self._fd >= 0 and self._unsynced:
            try:
                os.fsync(self._fd)
            except OSError as error:
                raise self._failed(error) from error
        self._unsynced = False
        self._synced_s = clock.ticks_s()

    def close(self) -> None:
        """Flush, and let the next run have it."""
        try:
            if self._fd >= 0:
                self.flush()
        finally:
            if self._fd >= 0:
                fd, self._fd = self._fd, -1
                os.close(fd)

    @property
    def count(self) -> int:
        """Return how many readings it holds, those of files as they were before among them."""
        return len(self._known)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _open(self, path: Path) -> None:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._fd = os.open(path, _FLAGS, 0o666)
        except OSError as error:
            raise self._failed(error) from error
        try:
            self.locked = self._lock()
            self._load()
        except BaseException as error:
            os.close(self._fd)
            self._fd = -1
            if isinstance(error, OSError):
                raise self._failed(error) from error
            raise

    def _lock(self) -> bool:
        """Keep other runs out; say whether the system could. Errors: Unfinished when another run is in."""
        try:
            if sys.platform == "win32":
                os.lseek(self._fd, _LOCKED_BYTE, os.SEEK_SET)
                msvcrt.locking(self._fd, msvcrt.LK_NBLCK, 1)
                os.lseek(self._fd, 0, os.SEEK_SET)
            else:
                fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            why = "another run is reading with the notebook"
            raise Unfinished(f"{why} {self._path}; wait until it has ended and run again") from None
        except OSError:
            return False
        return True

    def _load(self) -> None:
        with open(self._fd, "rb", closefd=False) as file:
            header = file.readline(len(_HEADER) + 1)
            if header != _HEADER:
                if not _HEADER.startswith(header):
                    raise Mistakes([self._mistake()])
                os.truncate(self._fd, 0)  # empty, or its first run was killed at its first line
                self._pending.append(_HEADER)
                self._write()
                return
            for line in _lines(file):
                self._torn = not line.endswith(b"\n")
                fields = line.rstrip(b"\n").split(b"\t")
                if len(fields) == 3 and fields[0] == _check(fields[1], fields[2]):
                    self._known[fields[1][:-1]] = fields[2][:-1]

    def _write(self) -> None:
        if not self._pending or self._fd < 0:
            return
        left = memoryview((b"\n" if self._torn else b"") + b"".join(self._pending))
        try:
            while left:
                self._torn = self._unsynced = True  # a write that fails may have left a part
                left = left[os.write(self._fd, left) :]
        except OSError as error:
            raise self._failed(error) from error
        self._torn = False
        self._pending.clear()

    def _mistake(self) -> Mistake:
        what = "this is no notebook of readings, or one of another version"
        return Mistake(str(self._path), "line 1", what, "move it away; what it knew is read again")

    def _failed(self, error: OSError) -> Unfinished:
        reason = error.strerror or type(error).__name__
        return Unfinished(f"the notebook of readings {self._path} cannot be written: {reason}")


def _lines(file: BufferedReader) -> Iterator[bytes]:
    """Yield the lines, a longer one than any of ours in pieces."""
    while line := file.readline(_LONGEST_LINE):
        yield line


def _key(root: Root, entry: Entry) -> bytes | None:
    """Return the key as it stands in a line; None for what is never remembered."""
    modified = entry.modified or (root.modified if root.archive else None)
    if modified is None or entry.size is None or (root.archive and (root.modified is None or root.size is None)):
        return None
    archive = [root.size, _utc(root.modified)] if root.archive and root.modified else []
    where = [root.path, root.on, *archive]
    return _json([where, entry.path, entry.index, entry.size, _utc(entry.modified) if entry.modified else None])


def _utc(when: datetime) -> str:
    return when.astimezone(UTC).isoformat(timespec="microseconds")


def _value(seen: Seen) -> bytes:
    value: dict[str, Any] = {"size": seen.size, "digests": {digest.kind: digest.hex for digest in seen.digests}}
    if seen.parts:
        value["parts"] = b64encode(seen.parts).decode("ascii")
    if seen.captured:
        value["captured"] = True
    if seen.whole is not None:
        value["whole"] = seen.whole
    if seen.taken is not None:
        value["taken"] = {"when": seen.taken.when.isoformat(), "camera": seen.taken.camera}
    return _json(value)


def _seen(value: bytes) -> Seen | None:
    with suppress(ValueError, TypeError, KeyError, AttributeError):
        found = json.loads(value)
        taken = found.get("taken")
        return Seen(
            found["size"],
            tuple(Digest(kind, hex_) for kind, hex_ in found["digests"].items()),
            b64decode(found.get("parts", "")),
            None if taken is None else Taken(datetime.fromisoformat(taken["when"]), taken["camera"]),
            found.get("captured", False) is True,
            found.get("whole"),
        )
    return None


def _json(value: object) -> bytes:
    return json.dumps(value, ensure_ascii=True, separators=(",", ":")).encode("ascii")


def _check(key: bytes, rest: bytes) -> bytes:
    """Return the first field of a line whose other two are given; the last one has the closing bracket."""
    return b'["%08x",' % zlib.crc32(rest, zlib.crc32(key))


def _line(key: bytes, value: bytes) -> bytes:
    key, rest = key + b",", value + b"]"
    return b"%b\t%b\t%b\n" % (_check(key, rest), key, rest)
