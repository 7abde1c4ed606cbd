"""Archives and packed files: every member unpacked to its end and held against the archive's own check values.

Flows in: an opened file and its kind. Flows out: Soundness. Must not know: what the members are. The readers are those
of `drill.copies`, which never end quietly. A tar has no check value over its files' bytes; those of gzip, xz and zstd
lie behind the packed bytes, so these are unpacked once more, to the very end. What would unpack to absurdly much is
left alone.
"""

import gzip
import lzma
import zlib
from dataclasses import dataclass, field
from typing import Any

import zstandard

from drill.copies import Unreadable, archive_view
from drill.copies.tarred import is_complete
from drill.model import Entry, Problem, Trouble
from drill.soundness.kinds import Kind
from drill.soundness.outcome import Outcome, Soundness, cannot_check, damaged, opens
from drill.soundness.source import Opener

_SINGLE = frozenset((Kind.GZIP, Kind.XZ, Kind.ZSTD))
_STREAM = {Kind.TAR_GZ: Kind.GZIP, Kind.TAR_XZ: Kind.XZ, Kind.TAR_ZST: Kind.ZSTD}
_TARS = frozenset((Kind.TAR, *_STREAM))
KINDS = frozenset((Kind.ZIP, Kind.SEVEN_ZIP, *_TARS, *_SINGLE))
_MOST_TIMES, _ALWAYS_BYTES = 1000, 10**9  # unpacked: that many times the packed size, and always so much
_LARGEST_WINDOW = 1 << 31
_BLOCK = 1024 * 1024
_FAILED = {
    Trouble.IO: Outcome.UNREADABLE,
    Trouble.UNREACHABLE: Outcome.UNREADABLE,
    Trouble.REFUSED: Outcome.CANNOT_CHECK,  # locked: it needs a password
    Trouble.UNSUPPORTED: Outcome.CANNOT_CHECK,
}
_WORST_FIRST = (Outcome.UNREADABLE, Outcome.DAMAGED, Outcome.CANNOT_CHECK)


@dataclass(slots=True)
class _Judge:
    """A receiver that keeps nothing but what went wrong, with which member."""

    problems: list[tuple[Entry, Problem]] = field(default_factory=list)

    def begin(self, entry: Entry) -> None:
        """Nothing to get ready."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        """Let the bytes go."""

    def end(self, entry: Entry, problem: Problem | None) -> None:
        """Remember what went wrong."""
        if problem is not None:
            self.problems.append((entry, problem))


def look(file: Opener, size: int, kind: Kind) -> Soundness:
    """Unpack an archive, or a single packed file, to its end."""
    if kind in _SINGLE:
        return _drain(file, size, kind)
    view = archive_view(file.store(size), kind.value, None)
    try:
        entries = list(view.entries())
    except Unreadable as error:
        return Soundness(_FAILED.get(error.trouble, Outcome.DAMAGED), str(error))
    if sum(entry.size or 0 for entry in entries) > _bound(size):
        return cannot_check("would unpack to absurdly much")
    judge = _Judge()
    view.deliver(entries, judge)
    if judge.problems:
        return _of_members(judge.problems)
    found = _drain(file, size, _STREAM[kind]) if kind in _STREAM else opens("" if entries else "there is no file in it")
    return _of_tar(file, kind, entries) if kind in _TARS and found.outcome is Outcome.OPENS else found


def _of_tar(file: Opener, kind: Kind, entries: list[Entry]) -> Soundness:
    if not entries:  # an empty tar is nothing but zeros, as is one that was lost
        return damaged("there is no file in it")
    with file.raw() as raw:
        if is_complete(kind.value, raw):
            return opens()
    return damaged("its end is missing, or the headers of some files in it")


def _of_members(problems: list[tuple[Entry, Problem]]) -> Soundness:
    outcomes = [_FAILED.get(problem.trouble, Outcome.DAMAGED) for _, problem in problems]
    worst = next(outcome for outcome in _WORST_FIRST if outcome in outcomes)
    entry, problem = problems[outcomes.index(worst)]
    more = f", and {len(problems) - 1} more in it" if len(problems) > 1 else ""
    return Soundness(worst, f"{entry.path} in it: {problem.detail}{more}")


def _bound(size: int) -> int:
    return size * _MOST_TIMES + _ALWAYS_BYTES


def _drain(file: Opener, size: int, kind: Kind) -> Soundness:
    done = 0
    try:
        with file.buffered() as packed, _unpacking(packed, kind) as stream:
            while chunk := stream.read(_BLOCK):
                done += len(chunk)
                if done > _bound(size):
                    return cannot_check("would unpack to absurdly much")
    except (EOFError, zlib.error, lzma.LZMAError, gzip.BadGzipFile, zstandard.ZstdError) as error:
        if "memory" in str(error):
            return cannot_check("is packed with a window larger than can be read here")
        return damaged(f"does not unpack ({error or 'it ends too early'})")
    return opens()


def _unpacking(packed: Any, kind: Kind) -> Any:
    if kind is Kind.GZIP:
        return gzip.GzipFile(fileobj=packed)
    if kind is Kind.XZ:
        return lzma.LZMAFile(packed)
    unpacker = zstandard.ZstdDecompressor(max_window_size=_LARGEST_WINDOW)
    return unpacker.stream_reader(packed, read_across_frames=True, closefd=False)
