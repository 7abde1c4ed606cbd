"""The notebook of readings: what it knows, when that counts no more, and what damage costs."""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from drill.errors import Mistakes, Unfinished
from drill.model import Digest, Entry, Seen, Taken
from drill.notebook import Notebook, Root

WHEN = datetime(2026, 9, 12, 19, 30, 0, 123456, UTC)
ROOT = Root("/mnt/archive", "archive-a")
ENTRY = Entry("2026/heron/ABCD0007.DNG", 70_000, WHEN)
TAKEN = Taken(datetime(2026, 9, 12, 18, 1, 2, 340000), 'Bellows "B], {1}\t')
SEEN = Seen(70_000, (Digest("sha256", "ab" * 32), Digest("xxh128", "cd" * 16)), bytes(range(128)), TAKEN)


def filled(path: Path, count: int = 3) -> list[Entry]:
    entries = [replace(ENTRY, path=f"f{number}.dng") for number in range(count)]
    with Notebook(path) as notebook:
        for number, entry in enumerate(entries):
            notebook.put(ROOT, entry, seen_of(number))
    return entries


def seen_of(number: int) -> Seen:
    return replace(SEEN, digests=(Digest("xxh128", f"{number:032x}"),))


@pytest.mark.parametrize(
    "seen",
    [SEEN, Seen(70_000, (Digest("md5", "0" * 32),)), replace(SEEN, taken=None), replace(SEEN, taken=Taken(WHEN, "é"))],
)
def test_what_is_put_is_got_again_by_the_next_run(tmp_path: Path, seen: Seen) -> None:
    seen = replace(seen, taken=seen.taken and replace(seen.taken, when=seen.taken.when.replace(tzinfo=None)))
    with Notebook(tmp_path / "deep" / "notebook") as notebook:
        assert notebook.get(ROOT, ENTRY) is None
        notebook.put(ROOT, ENTRY, seen)
        assert notebook.get(ROOT, ENTRY) == seen
    with Notebook(tmp_path / "deep" / "notebook") as notebook:
        assert notebook.get(ROOT, ENTRY) == seen
        assert notebook.count == 1


@pytest.mark.parametrize(
    "path", ["a\udcff\udc80.dng", "tab\there", "line\nbreak", '"],\t[', "e\u0301 ≠ é", "\x00", "🐦"]
)
def test_every_name_goes_in_and_comes_out(tmp_path: Path, path: str) -> None:
    entry = replace(ENTRY, path=path)
    with Notebook(tmp_path / "n") as notebook:
        notebook.put(ROOT, entry, SEEN)
    assert (tmp_path / "n").read_bytes().count(b"\n") == 2
    with Notebook(tmp_path / "n") as notebook:
        assert notebook.get(ROOT, entry) == SEEN
        assert notebook.get(ROOT, ENTRY) is None


ARCHIVE = Root("/mnt/archive/job.zip", "archive-a", archive=True, size=9_000_000, modified=WHEN)


@pytest.mark.parametrize("root", [ROOT, ARCHIVE])
@pytest.mark.parametrize(
    "change",
    [
        {"path": "2026/heron/ABCD0008.DNG"},
        {"path": "2026/heron/abcd0007.dng"},
        {"size": 70_001},
        {"modified": WHEN + timedelta(microseconds=1)},
        {"modified": WHEN + timedelta(hours=1)},  # a FAT card read in another time zone: read again
        {"index": 1},
        {"size": None},
    ],
)
def test_a_file_that_changed_is_not_known(root: Root, change: dict[str, object]) -> None:
    notebook = Notebook(None)
    notebook.put(root, ENTRY, SEEN)
    assert notebook.get(root, ENTRY) == SEEN
    assert notebook.get(root, replace(ENTRY, **change)) is None


@pytest.mark.parametrize(
    "change",
    [
        {"path": "/mnt/other.zip"},
        {"on": "archive-b"},  # two drives may take turns at one path
        {"size": 9_000_001},
        {"modified": WHEN + timedelta(seconds=2)},
        {"modified": None},
        {"size": None},
        {"archive": False},
    ],
)
def test_another_archive_is_not_known(change: dict[str, object]) -> None:
    notebook = Notebook(None)
    notebook.put(ARCHIVE, ENTRY, SEEN)
    assert notebook.get(replace(ARCHIVE, **change), ENTRY) is None


def test_one_moment_written_in_two_zones_is_one_moment() -> None:
    notebook = Notebook(None)
    notebook.put(ROOT, ENTRY, SEEN)
    assert notebook.get(ROOT, replace(ENTRY, modified=WHEN.astimezone(timezone(timedelta(hours=5.75))))) == SEEN


def test_without_a_time_nothing_is_remembered_but_an_archive_has_its_own() -> None:
    notebook = Notebook(None)
    timeless = replace(ENTRY, modified=None)
    notebook.put(ROOT, timeless, SEEN)
    assert notebook.get(ROOT, timeless) is None
    notebook.put(ARCHIVE, timeless, SEEN)
    assert notebook.get(ARCHIVE, timeless) == SEEN
    assert notebook.get(ARCHIVE, ENTRY) is None
    notebook.put(replace(ARCHIVE, modified=None), ENTRY, SEEN)
    assert notebook.count == 1


def test_a_file_that_was_not_of_its_listed_size_is_not_remembered() -> None:
    notebook = Notebook(None)
    notebook.put(ROOT, ENTRY, replace(SEEN, size=70_001))
    assert notebook.get(ROOT, ENTRY) is None


def test_later_lines_win_and_the_same_again_adds_none(tmp_path: Path) -> None:
    path = tmp_path / "n"
    for number in (1, 1, 2, 2):
        with Notebook(path) as notebook:
            notebook.put(ROOT, ENTRY, seen_of(number))
    assert path.read_bytes().count(b"\n") == 3
    with Notebook(path) as notebook:
        assert notebook.get(ROOT, ENTRY) == seen_of(2)


def test_a_line_torn_at_any_byte_costs_that_line_alone(tmp_path: Path) -> None:
    path = tmp_path / "n"
    entries = filled(path)
    whole = path.read_bytes()
    last = whole.rindex(b"\n", 0, -1) + 1
    for cut in range(last, len(whole)):
        path.write_bytes(whole[:cut])
        with Notebook(path) as notebook:
            assert [notebook.get(ROOT, entry) for entry in entries[:2]] == [seen_of(0), seen_of(1)]
            assert notebook.get(ROOT, entries[2]) in (None, seen_of(2))  # only its line's end may be what is missing
            assert (notebook.get(ROOT, entries[2]) is None) == (cut < len(whole) - 1)
            notebook.put(ROOT, ENTRY, SEEN)
        with Notebook(path) as notebook:
            assert notebook.get(ROOT, ENTRY) == SEEN
            assert notebook.get(ROOT, entries[1]) == seen_of(1)


@pytest.mark.parametrize("flip", [0x01, 0x20, 0x80, 0xFF])
def test_a_damaged_byte_never_makes_a_wrong_answer(tmp_path: Path, flip: int) -> None:
    path = tmp_path / "n"
    entries = filled(path, 4)
    whole = path.read_bytes()
    begin = whole.index(b"\n", whole.index(b"\n") + 1) + 1
    end = whole.index(b"\n", begin)
    for at in range(begin, end + 1):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ flip]) + whole[at + 1 :])
        with Notebook(path) as notebook:
            got = [notebook.get(ROOT, entry) for entry in entries]
        assert got[0] == seen_of(0) and got[3] == seen_of(3)
        assert got[1] is None
        assert got[2] == (seen_of(2) if at < end else None)  # without its line's end it takes the next one along


def test_a_run_killed_at_its_first_line_starts_anew(tmp_path: Path) -> None:
    path = tmp_path / "n"
    filled(path)
    header = path.read_bytes().split(b"\n")[0] + b"\n"
    for cut in range(len(header)):
        path.write_bytes(header[:cut])
        with Notebook(path) as notebook:
            notebook.put(ROOT, ENTRY, SEEN)
        assert path.read_bytes().startswith(header)
        with Notebook(path) as notebook:
            assert notebook.get(ROOT, ENTRY) == SEEN


@pytest.mark.parametrize(
    "content",
    [b'{"format": "restore-notebook/2"}\n[]\n', b"\xff\xd8\xff\xe0 a picture", b"\n", b"x" * 3_000_000],
)
def test_another_file_is_a_mistake_and_stays_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "n"
    path.write_bytes(content)
    with pytest.raises(Mistakes) as caught:
        Notebook(path)
    assert str(path) in str(caught.value) and "move it away" in str(caught.value)
    assert path.read_bytes() == content
    path.unlink()
    Notebook(path).close()  # the one that failed let go of it


def test_a_line_of_megabytes_is_damage(tmp_path: Path) -> None:
    path = tmp_path / "n"
    entries = filled(path, 1)
    with path.open("ab") as file:
        file.write(b"[" * 5_000_000)
    with Notebook(path) as notebook:
        assert notebook.get(ROOT, entries[0]) == seen_of(0)
        notebook.put(ROOT, ENTRY, SEEN)
    with Notebook(path) as notebook:
        assert notebook.get(ROOT, ENTRY) == SEEN


def test_the_second_run_at_once_is_told(tmp_path: Path) -> None:
    with Notebook(tmp_path / "n") as first:
        assert first.locked
        with pytest.raises(Unfinished, match="another run"):
            Notebook(tmp_path / "n")
        first.put(ROOT, ENTRY, SEEN)
    with Notebook(tmp_path / "n") as second:
        assert second.get(ROOT, ENTRY) == SEEN


def test_where_it_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    for path in (tmp_path, tmp_path / "file" / "n"):
        with pytest.raises(Unfinished, match="cannot be written"):
            Notebook(path)


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    resource = pytest.importorskip("resource", reason="this system has no limit on the size of files")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_disk_that_fills_up_ends_the_run_and_a_later_write_mends_the_torn_line(tmp_path: Path) -> None:
    path = tmp_path / "n"
    entries = filled(path, 1)
    notebook = Notebook(path)
    notebook.put(ROOT, ENTRY, SEEN)
    with largest_file(path.stat().st_size + 50), pytest.raises(Unfinished, match=r"notebook .* cannot be written"):
        notebook.flush()
    assert not path.read_bytes().endswith(b"\n")
    notebook.close()
    with Notebook(path) as again:
        assert again.get(ROOT, ENTRY) == SEEN
        assert again.get(ROOT, entries[0]) == seen_of(0)


def test_lines_reach_the_file_within_a_second_while_it_is_ticked(tmp_path: Path) -> None:
    path = tmp_path / "n"
    with Notebook(path) as notebook:
        notebook.put(ROOT, ENTRY, SEEN)
        end = time.monotonic() + 1.1
        while time.monotonic() < end:
            notebook.tick()
            time.sleep(0.1)
        assert path.read_bytes().count(b"\n") == 2
        for number in range(1000):  # and a flood of them does not wait
            notebook.put(ROOT, replace(ENTRY, index=number + 1), SEEN)
        assert path.read_bytes().count(b"\n") > 900


def test_without_a_path_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with Notebook(None) as notebook:
        notebook.put(ROOT, ENTRY, SEEN)
        notebook.flush()
        assert notebook.get(ROOT, ENTRY) == SEEN
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(sys.platform == "win32", reason="file modes are POSIX's")
def test_it_is_only_appended_to(tmp_path: Path) -> None:
    path = tmp_path / "n"
    filled(path)
    before, inode = path.read_bytes(), path.stat().st_ino
    with Notebook(path) as notebook:
        notebook.put(ROOT, ENTRY, SEEN)
    assert path.read_bytes().startswith(before)
    assert path.stat().st_ino == inode
    assert os.listdir(tmp_path) == ["n"]  # noqa: PTH208 - names are what is compared
