"""Restore: the only writer of photo bytes. It takes files from a view into scratch, flushes them, and hands them on.

Flows in: a view, files wanted and a path in scratch for each. Flows out: for each, what went wrong or what the judge
found. Must not know: whether the view lies under faults, promises, the plan. `restore` keeps what came whole; `collect`
takes whatever a salvage gives, with its holes.

Writes are 128 KiB (measured: at 256 KiB the same write took up to four times the system time in every second run, at
128 KiB seldom); flushing to disk and reading back run on other threads while the next file is read. Every error of
scratch itself is Unfinished: it says nothing about a copy.
"""

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, Future
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import BoundedSemaphore
from typing import Generic, TypeVar

from drill import clock
from drill.errors import NoRoom, says_full
from drill.model import Collector, Entry, Problem, Trouble, View

T = TypeVar("T")
BLOCK = 128 * 1024
_IN_FLIGHT = 48  # files written and not yet judged: a bound on open files and on dirty pages
_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)

_FORGETS = hasattr(os, "posix_fadvise")  # Linux, FreeBSD

Key = tuple[str, int]  # a file on a copy: its path there and its index


@dataclass(frozen=True, slots=True)
class Restored(Generic[T]):
    """One file as it came: what went wrong, bytes written, seconds taken, what the judge found (None: not judged).

    `holes` are the bytes, [from, to), that did not come and are zeros in its place.
    """

    problem: Problem | None
    size: int
    took_s: float
    found: T | None
    holes: tuple[tuple[int, int], ...] = ()


def restore(
    view: View, wanted: Mapping[Entry, Path], *, flusher: Executor, judge: Callable[[Path], T]
) -> dict[Key, Restored[T]]:
    """Restore the wanted files to their paths; `judge` runs on each flushed file, on the flusher's threads.

    The paths' folders must be there, the paths must not. A file that came whole, or whose archive's own check value
    alone disagrees, is judged; any other is removed. Errors: Unfinished.
    """
    writer = _Writer(wanted, flusher, judge, keeps_parts=False)
    try:
        view.deliver(list(wanted), writer)
    finally:
        writer.close()
    return writer.results()


def collect(
    deliver: Callable[[Sequence[Entry], Collector], None],
    wanted: Mapping[Entry, Path],
    *,
    flusher: Executor,
    judge: Callable[[Path], T],
) -> dict[Key, Restored[T]]:
    """Write all that a salvage gives of the wanted files to their paths, whole or not; as `restore` otherwise.

    Everything of which some bytes came is judged, and stays where it is if the judge leaves it there.
    """
    writer = _Writer(wanted, flusher, judge, keeps_parts=True)
    try:
        deliver(list(wanted), writer)
    finally:
        writer.close()
    return writer.results()


class _Writer(Generic[T]):
    """The receiver: writes one file at a time, hands it to the flusher, keeps the accounts."""

    def __init__(
        self, wanted: Mapping[Entry, Path], flusher: Executor, judge: Callable[[Path], T], *, keeps_parts: bool
    ) -> None:
        self._paths = {(entry.path, entry.index): path for entry, path in wanted.items()}
        self._flusher, self._judge, self._keeps_parts = flusher, judge, keeps_parts
        self._holes: list[tuple[int, int]] = []
        self._fd: int | None = None
        self._path = Path()
        self._size = 0
        self._since_s = clock.ticks_s()
        self._free = BoundedSemaphore(_IN_FLIGHT)
        self._done: dict[Key, tuple[Restored[T], Future[tuple[T, float]] | None]] = {}

    def begin(self, entry: Entry) -> None:
        self._path, self._size, self._holes = self._paths[entry.path, entry.index], 0, []
        try:
            self._fd = os.open(self._path, _FLAGS, 0o600)
        except OSError as error:
            raise _scratch_failed(error) from error

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        assert self._fd is not None
        left = memoryview(chunk)
        self._size += len(left)
        try:
            while left:
                left = left[os.write(self._fd, left[:BLOCK]) :]
        except OSError as error:
            raise _scratch_failed(error) from error

    def hole(self, start: int, end: int) -> None:
        self._holes.append((start, end))

    def end(self, entry: Entry, problem: Problem | None) -> None:
        assert self._fd is not None
        fd, path, self._fd = self._fd, self._path, None
        future = None
        if problem is None or problem.trouble is Trouble.CHECK_VALUE or (self._keeps_parts and self._size):
            self._free.acquire()
            future = self._flusher.submit(self._finish, fd, path)
        else:
            os.close(fd)
            path.unlink()
        now_s = clock.ticks_s()
        came: Restored[T] = Restored(problem, self._size, now_s - self._since_s, None, tuple(self._holes))
        self._done[entry.path, entry.index] = came, future
        self._since_s = now_s

    def close(self) -> None:
        """Let go of a file that an error left open."""
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None

    def results(self) -> dict[Key, Restored[T]]:
        """Wait for every judgement."""
        results: dict[Key, Restored[T]] = {}
        for key, (came, future) in self._done.items():
            if future is None:
                results[key] = came
                continue
            try:
                found, more_s = future.result()
            except OSError as error:
                raise _scratch_failed(error) from error
            results[key] = replace(came, took_s=came.took_s + more_s, found=found)
        return results

    def _finish(self, fd: int, path: Path) -> tuple[T, float]:
        start_s = clock.ticks_s()
        try:
            try:
                os.fsync(fd)
                if _FORGETS:  # elsewhere what is open could not be removed
                    return self._judge(path), clock.ticks_s() - start_s
            finally:
                _forget(fd)
                os.close(fd)
            return self._judge(path), clock.ticks_s() - start_s
        finally:
            self._free.release()


def _forget(fd: int) -> None:
    """Have the system's cache let go of a file, so that what is written next finds room in it at once.

    Source: POSIX.1-2008, posix_fadvise, POSIX_FADV_DONTNEED: advice alone, and what is not on the disk yet stays.
    """
    if sys.platform != "win32" and sys.platform != "darwin":
        with suppress(OSError):
            os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)


def _scratch_failed(error: OSError) -> NoRoom:
    full = says_full(error)
    return NoRoom("is full" if full else f"cannot be written or read: {error.strerror}", is_full=full)
