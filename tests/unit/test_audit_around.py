"""Around: the ranges of a file that cannot be read, over streams that fail as a disk does."""

import errno
import hashlib
from io import SEEK_END, SEEK_SET, RawIOBase
from pathlib import Path

import pytest

from drill.audit import around
from drill.audit.around import BLOCK, merged, read_around, say_ranges
from drill.copies import LinkSession
from drill.model import Copy, Entry, Medium, Store
from drill.shelf import OpenCopy, State, open_copy

DATA = bytes(range(256)) * 4096  # 1 MiB


class Failing(RawIOBase):
    """Bytes of which some blocks give an I/O error, after the good ones before them, as the kernel does."""

    def __init__(self, data: bytes, bad: set[int]) -> None:
        super().__init__()
        self._data, self._bad, self._at = data, bad, 0

    def seek(self, offset: int, whence: int = SEEK_SET) -> int:
        self._at = len(self._data) + offset if whence == SEEK_END else offset
        return self._at

    def readinto(self, buffer: memoryview, /) -> int:  # type: ignore[override]
        end = min(self._at + len(buffer), len(self._data))
        for block in range(self._at // BLOCK, -(-end // BLOCK)):
            if block in self._bad:
                if block * BLOCK <= self._at:
                    raise OSError(errno.EIO, "Input/output error")
                end = block * BLOCK
                break
        got = self._data[self._at : end]
        buffer[: len(got)] = got
        self._at += len(got)
        return len(got)


def found_with(data: bytes, bad: set[int]) -> OpenCopy:
    store = Store(lambda: [Entry("reed.dng", len(data))], lambda entry: Failing(data, bad))
    copy = Copy("drive", "drive", Path("x"), None, "folder", None, None)
    return OpenCopy(copy, Medium("drive", "ssd", "home", False, False, False), State.HERE, store=store)


@pytest.mark.parametrize(
    ("bad", "ranges"),
    [
        ({3}, ((3 * BLOCK, 4 * BLOCK),)),
        ({0, 1, 2, 70}, ((0, 3 * BLOCK), (70 * BLOCK, 71 * BLOCK))),
        ({256}, ((256 * BLOCK, 256 * BLOCK + 100),)),  # the last, which is no whole block
    ],
)
def test_bad_blocks_are_told_and_joined(bad: set[int], ranges: tuple[tuple[int, int], ...]) -> None:
    data = DATA + b"x" * 100
    seen = read_around(found_with(data, bad), Entry("reed.dng", len(data)), kinds=["sha256"])
    assert seen is not None
    assert (seen.seen, seen.ranges, seen.size, seen.stopped_at) == (None, ranges, len(data), None)
    assert f"{ranges[0][0]} to {ranges[0][1] - 1}" in say_ranges(seen)


def test_what_comes_whole_at_the_second_try_is_digested() -> None:
    seen = read_around(found_with(DATA, set()), Entry("reed.dng", len(DATA)), kinds=["sha256"])
    assert seen is not None
    assert seen.seen is not None
    assert [digest.hex for digest in seen.seen.digests] == [hashlib.sha256(DATA).hexdigest()]


def test_a_file_that_is_bad_all_over_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(around, "MOST_BAD_BLOCKS", 10)
    seen = read_around(found_with(DATA, set(range(256))), Entry("reed.dng", len(DATA)), kinds=["sha256"])
    assert seen is not None
    assert seen.ranges == ((0, 10 * BLOCK),)
    assert seen.stopped_at == 10 * BLOCK
    late = read_around(found_with(DATA, {0}), Entry("reed.dng", len(DATA)), kinds=["sha256"], most_s=-1.0)
    assert late is not None
    assert late.stopped_at == 0


def test_merged_keeps_places_apart() -> None:
    assert merged([0, BLOCK, 4 * BLOCK], 10 * BLOCK) == ((0, 2 * BLOCK), (4 * BLOCK, 5 * BLOCK))


def test_what_cannot_be_opened_gives_nothing(tmp_path: Path) -> None:
    (tmp_path / "here").mkdir()
    (tmp_path / "here" / "heron.dng").write_bytes(b"heron")
    copy = Copy("drive", "drive", tmp_path / "here", None, "folder", None, None)
    with LinkSession() as session:
        found = open_copy(
            copy, Medium("drive", "ssd", "home", False, False, False), session=session, downloads=tmp_path
        )
    assert read_around(found, Entry("gone.dng", 5), kinds=["sha256"]) is None
