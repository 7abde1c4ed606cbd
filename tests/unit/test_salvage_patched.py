"""What is laid over a damaged file, and what is read around in it, byte by byte."""

import errno
import io
import random
from collections.abc import Sequence
from io import RawIOBase
from itertools import pairwise

import pytest

from drill import clock
from drill.extents import Kept, Piece
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.model import Entry, Problem, Store, Trouble
from drill.salvage.loose import deliver_around
from drill.salvage.patched import PAGE, Around, Patched, Patience, add_range
from drill.streams import InMemory


def bytes_of(count: int, seed: int = 1) -> bytes:
    return random.Random(seed).randbytes(count)


def damaged(content: bytes, *bad: tuple[int, int]) -> RawIOBase:
    return Overlay(InMemory(content), Damage(bad=set(bad)), len(content))


def test_kept_pieces_stand_where_the_file_cannot_be_read_and_beyond_its_end() -> None:
    whole = bytes_of(20_000)
    raw = damaged(whole[:15_000], (0, 4096), (8192, 4096))
    kept = Kept(20_000, (Piece(0, whole[:5000]), Piece(8192, whole[8192:12_288]), Piece(14_000, whole[14_000:])))
    with Patched(raw, kept) as patched:
        assert patched.seek(0, io.SEEK_END) == 20_000
        patched.seek(0)
        assert patched.readall() == whole


def test_what_no_piece_helps_fails_as_a_bad_sector_does() -> None:
    whole = bytes_of(9000)
    with Patched(InMemory(whole[:5000]), Kept(9000, (Piece(8000, whole[8000:]),))) as patched:
        patched.seek(4990)
        assert patched.read(100) == whole[4990:5000]
        with pytest.raises(OSError) as failed:
            patched.read(1)
        assert failed.value.errno == errno.EIO
        patched.seek(8500)
        assert patched.read(1000) == whole[8500:]
        assert patched.read(1) == b""


@pytest.mark.parametrize("sector", [512, 4096, 100])
def test_reading_around_loses_the_bad_bytes_and_no_others(sector: int) -> None:
    whole = bytes_of(300_000)
    bad = [3 * sector, 4 * sector, 40 * sector, 299_999 // sector * sector]
    with Around(damaged(whole, *((start, sector) for start in bad))) as around:
        got = around.readall() or b""
        assert len(got) == len(whole)
        lost = {at for start in bad for at in range(start, min(start + sector, len(whole)))}
        assert around.holes == [
            (3 * sector, 5 * sector),
            (40 * sector, 41 * sector),
            (bad[-1], min(bad[-1] + sector, 300_000)),
        ]
        assert all(got[at] == (0 if at in lost else whole[at]) for at in range(len(whole)))
        around.seek(3 * sector)
        around.read(10)
        assert len(around.holes) == 3  # read again, told once


class Failing(InMemory):
    """A drive as a simulated clock sees it: a read that touches a bad page fails as a whole, and takes its time to."""

    def __init__(self, content: bytes, bad: Sequence[tuple[int, int]], *, fails_s: float) -> None:
        super().__init__(content)
        self.bad, self.fails_s = bad, fails_s
        self.now_s, self.failed = 0.0, 0

    def readinto(self, buffer: object, /) -> int:
        length = len(self.room(buffer))
        first, last = self.place - self.place % PAGE, -(-(self.place + length) // PAGE) * PAGE
        if length and any(first < end and last > start for start, end in self.bad):
            self.now_s += self.fails_s
            self.failed += 1
            raise OSError(errno.EIO, "Input/output error")
        return super().readinto(buffer)


def read_on(drive: Failing, monkeypatch: pytest.MonkeyPatch, patience: Patience | None = None) -> Around:
    monkeypatch.setattr(clock, "ticks_s", lambda: drive.now_s)
    around = Around(drive, patience=patience)
    while around.read(128 * 1024):
        pass
    return around


@pytest.mark.parametrize("fails_s", [0.0, 0.05, 0.31, 1.0, 5.0, 20.0])
def test_a_stretch_that_fails_takes_its_own_pages_and_not_the_rest_however_slow(
    monkeypatch: pytest.MonkeyPatch, fails_s: float
) -> None:
    drive = Failing(bytes_of(8_000_000), [(1_000_000, 1_160_000), (6_000_000, 6_000_001)], fails_s=fails_s)
    around = read_on(drive, monkeypatch)
    assert around.holes == [(244 * PAGE, 284 * PAGE), (1464 * PAGE, 1465 * PAGE)]
    assert drive.now_s < 200
    before = drive.failed
    around.seek(0)
    assert len(around.readall() or b"") == 8_000_000
    assert drive.failed == before  # what is known to be a hole is not read again


def test_single_bad_pages_all_over_cost_two_failures_each_and_no_other_page(monkeypatch: pytest.MonkeyPatch) -> None:
    bad = [(at, at + 1) for at in range(500_000, 16_000_000, 1_000_100)]
    drive = Failing(bytes_of(16_000_000), bad, fails_s=4.0)
    around = read_on(drive, monkeypatch)
    assert sum(end - start for start, end in around.holes) == len(bad) * PAGE
    assert drive.failed == 2 * len(bad)


@pytest.mark.parametrize("fails_s", [0.0, 5.0])
def test_a_drive_that_is_gone_is_given_up_early(monkeypatch: pytest.MonkeyPatch, fails_s: float) -> None:
    drive = Failing(bytes(64_000_000), [(0, 64_000_000)], fails_s=fails_s)
    around = read_on(drive, monkeypatch)
    assert around.holes == [(0, 64_000_000)]
    assert drive.now_s < 200 and drive.failed < 10_000


def test_when_patience_is_used_up_what_fails_is_leapt_over_and_the_rest_still_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bad = [(at, at + 1) for at in range(500_000, 32_000_000, 1_000_000)]
    drive = Failing(bytes(80_000_000), bad, fails_s=4.0)
    around = read_on(drive, monkeypatch, Patience(left_s=20.0))
    assert drive.now_s < 100
    lost = sum(end - start for start, end in around.holes)
    assert 1_000_000 < lost < 34_000_000
    assert around.holes[-1][1] < 70_000_000


def test_files_of_one_drive_share_the_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    drive = Failing(bytes(1_000_000), [(0, 1_000_000)], fails_s=60.0)
    monkeypatch.setattr(clock, "ticks_s", lambda: drive.now_s)
    monkeypatch.setattr(Failing, "close", lambda self: None)
    wanted = [Entry(f"{number}", 1_000_000) for number in range(200)]
    taken = Taken()
    deliver_around(Store(lambda: wanted, lambda entry: drive), wanted, taken)
    assert len(taken.content) == 200 and drive.now_s < 1800 + 40 * 60


def test_ranges_stay_sorted_and_apart() -> None:
    random.seed(5)
    for _ in range(200):
        ranges: list[tuple[int, int]] = []
        marked: set[int] = set()
        for _ in range(12):
            start = random.randrange(60)
            new = (start, start + random.randrange(9))
            add_range(ranges, new)
            marked |= set(range(*new))
        assert {at for start, end in ranges for at in range(start, end)} == marked
        assert all(one[1] < other[0] for one, other in pairwise(ranges))


class Taken:
    """A collector that keeps what came."""

    def __init__(self) -> None:
        self.content: dict[str, bytearray] = {}
        self.holes: dict[str, list[tuple[int, int]]] = {}
        self.problems: dict[str, Problem | None] = {}

    def begin(self, entry: Entry) -> None:
        self._at = entry.path
        self.content[entry.path], self.holes[entry.path] = bytearray(), []

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self.content[self._at] += chunk

    def hole(self, start: int, end: int) -> None:
        self.holes[self._at].append((start, end))

    def end(self, entry: Entry, problem: Problem | None) -> None:
        self.problems[entry.path] = problem


def test_loose_files_come_with_their_holes_and_what_is_wrong() -> None:
    whole = bytes_of(20_000)

    def opened(entry: Entry) -> RawIOBase:
        if entry.path == "none":
            raise FileNotFoundError
        return damaged(whole, (4096, 4096)) if entry.path == "bad" else InMemory(whole)

    wanted = [
        Entry("bad", 20_000),
        Entry("none", 1),
        Entry("well", None),
        Entry("longer", 19_000),
        Entry("cut", 21_000),
    ]
    taken = Taken()
    deliver_around(Store(lambda: wanted, opened), wanted, taken)
    assert taken.content["bad"] == whole[:4096] + bytes(4096) + whole[8192:]
    assert taken.holes == {"bad": [(4096, 8192)], "none": [], "well": [], "longer": [], "cut": []}
    troubles = {path: problem and problem.trouble for path, problem in taken.problems.items()}
    assert troubles == {
        "bad": Trouble.IO,
        "none": Trouble.MISSING,
        "well": None,
        "longer": None,
        "cut": Trouble.DAMAGED,
    }
    assert taken.content["longer"] == whole[:19_000]
