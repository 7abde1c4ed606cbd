"""Folders as copies: what is listed, what is followed, what comes out, and that no failure is a crash."""

import errno
import os
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from io import RawIOBase
from pathlib import Path
from typing import Any

import pytest
from gather import Gather

import drill.copies.folder as listing
from drill.copies import (
    BrokenOff,
    FileBytes,
    FolderOpener,
    LinkSession,
    file_store,
    folder_store,
    plain_view,
    pump,
    reach,
)
from drill.errors import CannotReach, CannotRead, DrillError, Unfinished
from drill.model import Copy, Entry, Medium, Store, Trouble
from drill.quick import FORGETS, contents, forget_cached, is_at_hand
from drill.rehearse.holdings import Holdings
from drill.shelf import OpenCopy, State, open_copy

POSIX = pytest.mark.skipif(os.name == "nt", reason="needs POSIX file kinds")


def permissions_bind() -> bool:
    """Say whether a closed file is closed to whoever runs this: not to root, and not on Windows."""
    with tempfile.TemporaryDirectory() as folder:
        closed = Path(folder, "closed")
        closed.touch()
        closed.chmod(0)
        try:
            closed.read_bytes()
        except PermissionError:
            return True
    return False


class Failing(RawIOBase):
    """Bytes that end in a failure; a bad sector gives what lies before it first."""

    def __init__(self, good: bytes, error: Exception) -> None:
        super().__init__()
        self._good, self._error = good, error

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: bytearray, /) -> int:  # type: ignore[override]
        if not self._good:
            raise self._error
        chunk, self._good = self._good[: len(buffer)], self._good[len(buffer) :]
        buffer[: len(chunk)] = chunk
        return len(chunk)


def make(root: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(content)
    return root


def delivered(root: Path, *entries: Entry) -> Gather:
    gather = Gather()
    plain_view(folder_store(root)).deliver(entries, gather)
    return gather


def test_every_file_is_listed_once_in_byte_order_with_size_and_time(tmp_path: Path) -> None:
    root = make(tmp_path, {"b/2.dng": b"22", "b/1.dng": b"1", "a.xmp": b"", "b.txt": b"xyz", "é.jpg": b"e"})
    os.utime(root / "a.xmp", (1_000_000_000, 1_000_000_000))
    entries = folder_store(root).files()
    # "b.txt" comes before "b/…": "." is 0x2e, "/" is 0x2f; "é" is above all of ASCII.
    assert [(e.path, e.size) for e in entries] == [
        ("a.xmp", 0),
        ("b.txt", 3),
        ("b/1.dng", 1),
        ("b/2.dng", 2),
        ("é.jpg", 1),
    ]
    assert entries[0].modified == datetime(2001, 9, 9, 1, 46, 40, tzinfo=UTC)
    assert all(e.modified is not None and e.modified.tzinfo is not None for e in entries)


def test_the_listing_is_fresh_each_time(tmp_path: Path) -> None:
    store = folder_store(tmp_path)
    assert list(store.files()) == []
    make(tmp_path, {"new.dng": b"n"})
    assert [e.path for e in store.files()] == ["new.dng"]


def test_what_is_listed_comes_out_byte_for_byte_also_across_blocks(tmp_path: Path) -> None:
    content = {"big.dng": os.urandom(600_001), "d/small.xmp": b"<x/>", "empty": b""}
    root = make(tmp_path, content)
    view = plain_view(folder_store(root))
    gather = Gather()
    view.deliver(list(reversed(view.entries())), gather)
    assert {e.path: data for e, (data, _) in gather.got.items()} == content
    assert all(problem is None for _, problem in gather.got.values())
    assert gather.order == ["big.dng", "d/small.xmp", "empty"]


def test_deliver_needs_no_listing_and_no_known_size(tmp_path: Path) -> None:
    make(tmp_path, {"d/1.dng": b"one"})
    assert delivered(tmp_path, Entry("d/1.dng", None)).one() == (b"one", None)


@pytest.mark.parametrize(
    ("size", "data", "words"), [(9, b"12345", "ends after 5 of 9 bytes"), (3, b"123", "has more than the 3 bytes")]
)
def test_another_size_than_known_is_damage(tmp_path: Path, size: int, data: bytes, words: str) -> None:
    make(tmp_path, {"x": b"12345"})
    came, problem = delivered(tmp_path, Entry("x", size)).one()
    assert came == data
    assert problem is not None and problem.trouble is Trouble.DAMAGED and words in problem.detail


@pytest.mark.parametrize(
    "path", ["gone", "../out.dng", "d/../../out.dng", "/etc/hostname", "", ".", "d", "d//x", "a\0b"]
)
def test_what_is_not_there_or_climbs_out_is_a_problem(tmp_path: Path, path: str) -> None:
    make(tmp_path, {"out.dng": b"secret", "root/d/x": b"x"})
    came, problem = delivered(tmp_path / "root", Entry(path, None)).one()
    assert came == b""
    assert problem is not None and problem.trouble in (Trouble.MISSING, Trouble.IO)


def test_links_are_followed_inside_and_hold_nothing_outside(tmp_path: Path) -> None:
    make(tmp_path, {"root/real/1.dng": b"one", "outside/2.dng": b"two", "root2/3.dng": b"three"})
    root = tmp_path / "root"
    try:
        (root / "again.dng").symlink_to("real/1.dng")
    except OSError as error:
        pytest.skip(f"no symbolic links here: {error}")
    (root / "folder").symlink_to("real", target_is_directory=True)
    (root / "out.dng").symlink_to("../outside/2.dng")
    (root / "out").symlink_to("../outside", target_is_directory=True)
    (root / "sibling").symlink_to(tmp_path / "root2", target_is_directory=True)  # its name begins like the root's
    (root / "dangling").symlink_to("nowhere")
    (root / "self").symlink_to("self")
    listed = [e.path for e in folder_store(root).files() if e.size is not None]
    assert listed == ["again.dng", "folder/1.dng", "real/1.dng"]
    gather = delivered(root, *[Entry(p, None) for p in (*listed, "out.dng", "out/2.dng", "sibling/3.dng", "self")])
    came = {e.path: data for e, (data, problem) in gather.got.items() if problem is None}
    assert came == {"again.dng": b"one", "folder/1.dng": b"one", "real/1.dng": b"one"}


@POSIX
def test_links_that_loop_end(tmp_path: Path) -> None:
    root = make(tmp_path / "root", {"a/1.dng": b"1", "b/2.dng": b"2"})
    (root / "a/up").symlink_to("..")
    (root / "a/b").symlink_to("../b")
    (root / "b/a").symlink_to("../a")
    paths = [e.path for e in folder_store(root).files()]
    assert set(paths) == {"a/1.dng", "b/2.dng", "a/b/2.dng", "b/a/1.dng"}
    assert len(paths) == 4


@pytest.mark.deep  # thousands of links
@POSIX
def test_folders_that_all_link_to_each_other_are_bounded(tmp_path: Path) -> None:
    names = [f"d{number}" for number in range(9)]
    root = make(tmp_path / "root", {f"{name}/x": b"" for name in names})
    for name in names:
        for other in names:
            (root / name / f"to-{other}").symlink_to(f"../{other}")
    assert len(folder_store(root).files()) < 10_000  # without a bound: about a million


@POSIX
def test_pipes_sockets_and_devices_hold_nothing_and_never_hang(tmp_path: Path) -> None:
    root = make(tmp_path, {"1.dng": b"1"})
    os.mkfifo(root / "pipe")
    (root / "null").symlink_to("/dev/null")
    with tempfile.TemporaryDirectory(prefix="s") as short, socket.socket(socket.AF_UNIX) as sock:
        sock.bind(f"{short}/s")  # a socket's own path has a small limit
        Path(f"{short}/s").rename(root / "socket")
        assert [e.path for e in folder_store(root).files()] == ["1.dng"]
        done = threading.Event()
        gather = Gather()

        def read() -> None:
            plain_view(folder_store(root)).deliver([Entry(p, None) for p in ("pipe", "socket", "null")], gather)
            done.set()

        threading.Thread(target=read, daemon=True).start()
        assert done.wait(10)
    assert all(problem is not None for _, problem in gather.got.values())
    assert list(file_store(root / "pipe").files()) == []


@pytest.mark.skipif(not permissions_bind(), reason="needs permissions that bind this user")
def test_what_the_system_refuses_is_a_problem_and_a_closed_folder_is_skipped(tmp_path: Path) -> None:
    root = make(tmp_path, {"closed/1.dng": b"1", "shut.dng": b"2", "open.dng": b"3"})
    (root / "shut.dng").chmod(0)
    (root / "closed").chmod(0)
    try:
        store = folder_store(root)
        assert [e.path for e in store.files()] == ["open.dng", "shut.dng"]
        assert store.unlisted() == (("closed", "Permission denied"),)
        gather = delivered(root, Entry("shut.dng", None), Entry("closed/1.dng", None))
        assert [p.trouble for _, p in gather.got.values() if p] == [Trouble.REFUSED, Trouble.REFUSED]
        with pytest.raises(CannotReach, match="cannot be listed"):
            reach(root / "closed", archive=False, recognised_by=None)
    finally:
        (root / "closed").chmod(0o700)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems allow no such names")
def test_names_that_are_no_utf8_and_names_with_a_newline_come_through(tmp_path: Path) -> None:
    for name in (b"caf\xe9.dng", b"line\nbreak.dng", b"back\\slash.dng"):
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + name)).write_bytes(name)
    view = plain_view(folder_store(tmp_path))
    gather = Gather()
    view.deliver(view.entries(), gather)
    assert {os.fsencode(e.path): data for e, (data, _) in gather.got.items()} == {
        name: name for name in (b"caf\xe9.dng", b"line\nbreak.dng", b"back\\slash.dng")
    }


@pytest.mark.parametrize(
    ("error", "trouble", "words"),
    [
        (OSError(errno.EIO, "Input/output error"), Trouble.IO, "I/O error at byte 7"),
        (OSError(errno.ENODEV, "No such device"), Trouble.IO, "at byte 7 (No such device)"),
        (PermissionError(errno.EACCES, "no"), Trouble.REFUSED, "does not allow"),
        (FileNotFoundError(errno.ENOENT, "no"), Trouble.MISSING, "not there"),
        (BrokenOff("the server sent 7 of 9 bytes"), Trouble.DAMAGED, "the server sent 7 of 9 bytes"),
        (CannotReach("silent"), Trouble.UNREACHABLE, "silent"),
        (CannotRead("forbidden"), Trouble.REFUSED, "forbidden"),
    ],
)
def test_every_failing_read_is_put_into_words(error: Exception, trouble: Trouble, words: str) -> None:
    gather = Gather()
    pump(Failing(b"1234567", error), Entry("x", 9), gather)
    data, problem = gather.one()
    assert data == b"1234567"
    assert problem is not None and problem.trouble is trouble and words in problem.detail


@pytest.mark.parametrize(
    ("error", "trouble"),
    [(CannotReach("no"), Trouble.UNREACHABLE), (CannotRead("no"), Trouble.REFUSED), (OSError(5, "no"), Trouble.IO)],
)
def test_a_store_that_cannot_open_is_a_problem(error: Exception, trouble: Trouble) -> None:
    def refuse(entry: Entry) -> RawIOBase:
        raise error

    gather = Gather()
    plain_view(Store(list, refuse)).deliver([Entry("x", 1)], gather)
    assert [problem.trouble for _, problem in gather.got.values() if problem] == [trouble]


@pytest.mark.parametrize("error", [Unfinished("disk full"), CannotReach("the receiver's own"), DrillError("other")])
def test_what_the_receiver_raises_is_not_taken_for_the_copys_failure(tmp_path: Path, error: DrillError) -> None:
    class Full(Gather):
        def data(self, chunk: bytes | bytearray | memoryview) -> None:
            raise error

    make(tmp_path, {"x": b"1"})
    with pytest.raises(DrillError) as caught:
        plain_view(folder_store(tmp_path)).deliver([Entry("x", 1)], Full())
    assert caught.value is error


def test_a_stream_of_a_file_has_no_name_cannot_write_and_seeks(tmp_path: Path) -> None:
    make(tmp_path, {"x": b"0123456789"})
    with folder_store(tmp_path).open(Entry("x", 10)) as raw:
        assert not hasattr(raw, "name")
        assert not raw.writable()
        assert raw.seek(-3, os.SEEK_END) == 7
        assert raw.read(2) == b"78" and raw.tell() == 9
    assert raw.closed
    with pytest.raises(OSError, match="regular file"):
        FileBytes(tmp_path)


def test_a_folder_that_is_gone_cannot_be_reached(tmp_path: Path) -> None:
    with pytest.raises(CannotReach, match="cannot be listed"):
        folder_store(tmp_path / "gone").files()


def test_one_file_is_a_store_of_one_and_of_none_when_it_is_gone(tmp_path: Path) -> None:
    make(tmp_path, {"a.7z": b"abc"})
    (entry,) = file_store(tmp_path / "a.7z").files()
    assert (entry.path, entry.size) == ("a.7z", 3)
    assert list(file_store(tmp_path / "b.7z").files()) == []
    assert list(file_store(tmp_path).files()) == []


@pytest.fixture
def places(tmp_path: Path) -> Iterator[Path]:
    make(tmp_path, {"drive/ARCHIVE-A.txt": b"", "drive/a.7z": b"7z", "file": b""})
    (tmp_path / "empty").mkdir()
    yield tmp_path


@pytest.mark.parametrize(
    ("at", "archive", "recognised_by", "words"),
    [
        ("gone", False, None, "is not there"),
        ("gone/a.7z", True, None, "is not there"),
        ("empty", False, None, "is empty"),
        ("empty/a.7z", True, None, "is empty"),
        ("file", False, None, "no folder"),
        ("file/a.7z", True, None, "no folder"),
        ("drive", False, "ARCHIVE-B.txt", "another drive"),
        ("drive/a.7z", True, "ARCHIVE-B.txt", "another drive"),
    ],
)
def test_a_place_that_cannot_be_reached_says_why(
    places: Path, at: str, archive: bool, recognised_by: str | None, words: str
) -> None:
    with pytest.raises(CannotReach, match=words):
        reach(places / at, archive=archive, recognised_by=recognised_by)


@pytest.mark.parametrize(("at", "archive"), [("drive", False), ("drive/a.7z", True), ("drive/not-here.7z", True)])
def test_a_place_that_is_there_is_reached(places: Path, at: str, archive: bool) -> None:
    reach(places / at, archive=archive, recognised_by="ARCHIVE-A.txt")
    reach(places / at, archive=archive, recognised_by=None)


# --- folders that cannot be listed -------------------------------------------------------------------------------

Scan = Callable[[str | int], Any]


def close_folders(monkeypatch: pytest.MonkeyPatch, *names: str, after: int = 0) -> None:
    """Have the system refuse folders of these names, after it has given so many of what is in them."""
    honest: Scan = os.scandir

    class Breaking:
        def __init__(self, folder: str | int) -> None:
            self._inside, self._left = honest(folder), after

        def __enter__(self) -> "Breaking":
            return self

        def __exit__(self, *_: object) -> None:
            self._inside.close()

        def __iter__(self) -> Iterator[Any]:
            for item in self._inside:
                if not self._left:
                    raise OSError(errno.EIO, "Input/output error")
                self._left -= 1
                yield item

    def scan(folder: str | int) -> Any:
        if Path(str(folder)).name not in names:
            return honest(folder)
        if after:
            return Breaking(folder)
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr("drill.copies.folder._BY_FOLDER", False)
    monkeypatch.setattr(os, "scandir", scan)


@pytest.mark.skipif(not listing._BY_FOLDER, reason="a folder is not opened to be listed here")
def test_a_folder_that_cannot_be_opened_is_told_and_what_is_open_is_closed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(tmp_path, {"forest/1.dng": b"1", "gulls/a/4.dng": b"4", "gulls/5.dng": b"5"})
    honest = os.open

    def refuse(path: str, flags: int, *more: int, **by: Any) -> int:
        if Path(path).name == "a":
            raise PermissionError(errno.EACCES, "Permission denied")
        return honest(path, flags, *more, **by)

    before = open_files()
    monkeypatch.setattr(os, "open", refuse)
    found = open_drive(tmp_path)
    assert found.unlisted == ("gulls/a (Permission denied)",)
    assert [entry.path for entry in found.entries] == ["forest/1.dng", "gulls/5.dng"]
    assert open_files() == before


def open_drive(root: Path) -> OpenCopy:
    copy = Copy("x", on="x", at=root, url=None, form="folder", archive=None, listed=None)
    medium = Medium("x", kind="ssd", place="home", attached=False, offsite=False, carried=False)
    with LinkSession() as session:
        return open_copy(copy, medium, session=session, downloads=root / "none")


def test_a_folder_that_cannot_be_listed_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make(tmp_path, {"forest/1.dng": b"1", "2026/wedding/2.dng": b"2", "lost+found/3": b"", "gulls/a/4.dng": b"4"})
    assert open_drive(tmp_path).unlisted == ()
    close_folders(monkeypatch, "wedding", "lost+found", "gulls")
    found = open_drive(tmp_path)
    assert (found.state, [entry.path for entry in found.entries]) == (State.HERE, ["forest/1.dng"])
    # What systems keep closed on every drive has no pictures in it.
    assert found.unlisted == ("2026/wedding (Permission denied)", "gulls (Permission denied)")
    notes = " ".join(Holdings({"x": found}, []).notes())
    assert "x: gulls (Permission denied) could not be listed, so what is in it counts as missing" in notes


def test_a_listing_that_breaks_off_keeps_what_came_and_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make(tmp_path, {"forest/1.dng": b"1", "forest/2.dng": b"2", "gulls/3.dng": b"3"})
    close_folders(monkeypatch, "forest", after=1)
    store = folder_store(tmp_path)
    assert [e.path for e in store.files() if e.path.startswith("forest")] in (["forest/1.dng"], ["forest/2.dng"])
    assert store.unlisted() == (("forest", "Input/output error"),)
    monkeypatch.undo()
    assert len(store.files()) == 3 and store.unlisted() == ()


# --- the mark of a medium ----------------------------------------------------------------------------------------


def recognised(at: Path, mark: str = "MARK.txt") -> bool:
    try:
        reach(at, archive=False, recognised_by=mark)
    except CannotReach as error:
        assert "another drive" in str(error)
        return False
    return True


def test_a_mark_above_the_mount_point_recognises_no_drive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make(tmp_path, {"mnt/drive/2026/wedding/1.dng": b"1", "studio.toml": b"", "MARK.txt": b"", "mnt/MARK.txt": b""})
    mount, copy = tmp_path / "mnt/drive", tmp_path / "mnt/drive/2026/wedding"
    honest = os.path.ismount
    monkeypatch.setattr(os.path, "ismount", lambda path: Path(path) == Path(os.path.realpath(mount)) or honest(path))
    assert not recognised(copy) and not recognised(mount)
    make(mount, {"MARK.txt": b""})
    assert recognised(copy) and recognised(mount)


@POSIX
def test_a_copy_reached_through_a_link_is_recognised_on_its_own_medium(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(tmp_path, {"a/wedding/1.dng": b"1", "a/MARK.txt": b"", "studio/MARK-2.txt": b""})
    (tmp_path / "studio/drive").symlink_to(tmp_path / "a/wedding")
    mount = os.path.realpath(tmp_path / "a")
    monkeypatch.setattr(os.path, "ismount", lambda path: os.fspath(path) == mount)
    assert recognised(tmp_path / "studio/drive")
    assert not recognised(tmp_path / "studio/drive", "MARK-2.txt")


def test_on_the_disk_with_the_home_folder_only_the_copys_own_folder_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(tmp_path, {"me/drive/1.dng": b"1", "me/studio.toml": b"", "me/MARK.txt": b""})
    monkeypatch.setenv("HOME", os.fspath(tmp_path / "me"))
    monkeypatch.setenv("USERPROFILE", os.fspath(tmp_path / "me"))
    assert not recognised(tmp_path / "me/drive")
    make(tmp_path, {"me/drive/MARK.txt": b""})
    assert recognised(tmp_path / "me/drive")


@pytest.mark.skipif(not os.path.ismount("/dev/shm"), reason="/dev/shm is no mount point here")
def test_a_real_mount_bears_its_mark_at_its_top() -> None:
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        make(Path(folder), {"2026/wedding/1.dng": b"1", "MARK.txt": b""})
        assert recognised(Path(folder, "2026/wedding"))
        assert not recognised(Path(folder, "2026/wedding"), "null")  # /dev/null lies above the mount point


def at_one_go(root: Path, path: str, size: int | None, *, from_medium: bool = False) -> bytes | None:
    opener = folder_store(root).open
    assert isinstance(opener, FolderOpener)
    place, name = opener.split(path)
    return next(contents(place, [(name, size)], from_medium=from_medium))


@POSIX
@pytest.mark.parametrize("from_medium", [False, True])
def test_a_small_file_as_it_was_listed_comes_at_one_go(tmp_path: Path, from_medium: bool) -> None:
    root = make(tmp_path / "c", {"a/x": b"12345", "y": b"6"})
    os.sync()  # what is not written yet stays in memory, and is left to the careful way
    expected = (b"12345", b"6") if not from_medium or hasattr(os, "posix_fadvise") else (None, None)
    assert tuple(at_one_go(root, *item, from_medium=from_medium) for item in (("a/x", 5), ("y", 1))) == expected


@POSIX
def test_what_is_not_as_it_was_listed_is_left_to_the_careful_way(tmp_path: Path) -> None:
    root = make(tmp_path / "c", {"a/x": b"12345", "empty": b""})
    make(tmp_path / "out", {"x": b"12345"})
    os.mkfifo(root / "pipe")
    (root / "link").symlink_to("a/x")
    (root / "leads").symlink_to(tmp_path / "out", target_is_directory=True)
    paths = [
        "pipe",
        "link",
        "leads/x",
        "gone",
        "a",
        "a/",
        "",
        ".",
        "..",
        "../out/x",
        "/a/x",
        "a/../a/x",
        "a\0/x",
        "a/\0",
    ]
    for path, size in [*((path, 5) for path in paths), ("a/x", 4), ("a/x", 6), ("a/x", None)]:
        assert at_one_go(root, path, size) is None, (path, size)
    assert at_one_go(root, "empty", 0) is None  # a pipe would look the same
    assert at_one_go(root, "a/x", 5) == b"12345"


@pytest.mark.skipif(not FORGETS, reason="the system cannot be told to read ahead")
@pytest.mark.parametrize("ahead", [1, 5, 100])
def test_files_that_are_asked_for_ahead_show_the_same(tmp_path: Path, ahead: int) -> None:
    root = make(tmp_path / "c", {f"{n:02}": f"{n} clay".encode() * (n + 1) for n in range(30)} | {"empty": b""})
    (root / "link").symlink_to("01")
    (root / "folder").mkdir()
    os.mkfifo(root / "pipe")
    odd = [("link", 6), ("gone", 6), ("pipe", 6), ("folder", 6), ("a\0", 6), ("empty", 0), ("03", None), ("04", 5)]
    files = [item for n in range(30) for item in ((f"{n:02}", (root / f"{n:02}").stat().st_size), *odd[n : n + 1])]
    os.sync()  # what is not written yet stays in memory, and is left to the careful way
    plain = list(contents(f"{root}/", files, from_medium=False))
    assert [content is None for content in plain].count(True) == len(odd)
    before = open_files()
    assert list(contents(f"{root}/", files, from_medium=True, ahead=ahead)) == plain
    broken_off = contents(f"{root}/", files, from_medium=True, ahead=ahead)
    assert [next(broken_off), next(broken_off)] == plain[:2]
    broken_off.close()  # type: ignore[attr-defined]
    assert open_files() == before


def open_files() -> int:
    """Return how many descriptors this process has open; 0 where the system does not say."""
    return sum(1 for _ in Path("/dev/fd").iterdir()) if Path("/dev/fd").exists() else 0


@pytest.mark.skipif(not FORGETS, reason="the system cannot be told to let go of what it has cached")
@pytest.mark.parametrize("size", [3_000, 3_000_000])
def test_what_was_written_a_moment_ago_is_waited_for_and_then_let_go_of(tmp_path: Path, size: int) -> None:
    """What is pending cannot be dropped: the medium would not even have it. (posix_fadvise(2), "Notes")"""
    os.sync()
    path = tmp_path / "kiln.dng"
    path.write_bytes(bytes(size))
    fd = os.open(path, os.O_RDONLY)
    try:
        if is_at_hand(fd) is None:
            pytest.skip("this file system does not say what it has cached")
        assert is_at_hand(fd) and forget_cached(fd)
        assert not is_at_hand(fd)
        ends = os.preadv(fd, [bytearray(size)], 0)
        assert ends == size
    finally:
        os.close(fd)


@pytest.mark.skipif(not FORGETS, reason="the system cannot be told to let go of what it has cached")
@pytest.mark.parametrize("ahead", [0, 4])
def test_small_files_that_stay_in_memory_are_left_to_the_careful_way(tmp_path: Path, ahead: int) -> None:
    root = make(tmp_path / "c", {f"{n:02}": b"old" for n in range(20)})
    os.sync()
    for number in (8, 9, 15):
        with (root / f"{number:02}").open("r+b") as file:  # not cut short first: ext4 would write it at once
            file.write(b"new")
    with (root / "08").open("rb") as file:
        if is_at_hand(file.fileno()) is None:
            pytest.skip("this file system does not say what it has cached")
    came = list(contents(f"{root}/", [(f"{n:02}", 3) for n in range(20)], from_medium=True, ahead=ahead))
    left = {number for number, content in enumerate(came) if content is None}
    assert left >= {8, 9, 15}  # and now and then one more: asked, the system may begin to read it again
    assert left.isdisjoint(range(8))


@pytest.mark.parametrize("answers_after_s", [0.0, 0.03])
def test_folders_are_listed_side_by_side_where_the_disk_lets_wait(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answers_after_s: float
) -> None:
    made = {f"{one}/{two}/{name}": b"x" for one in "abcdefg" for two in "hijk" for name in ("k.dng", "l.dng")}
    root = make(tmp_path / "c", made | {"m.dng": b"x", "a/n.dng": b"x"})
    honest: Scan = os.scandir
    listed_by: list[int] = []

    def scan(folder: str | int) -> Any:
        listed_by.append(threading.get_ident())
        time.sleep(answers_after_s)
        return honest(folder)

    monkeypatch.setattr(os, "scandir", scan)
    assert [entry.path for entry in folder_store(root).files()] == sorted([*made, "m.dng", "a/n.dng"])
    assert len(listed_by) == 36
    assert (len(set(listed_by)) > 1) is (answers_after_s > 0)


def test_what_stops_one_of_several_listings_stops_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = make(tmp_path / "c", {f"{one}/kiln.dng": b"x" for one in "abcdefg"})
    looked: list[str] = []

    def stops(seen: os.stat_result) -> None:
        looked.append(str(seen))
        raise MemoryError

    monkeypatch.setattr("drill.copies.folder._modified", stops)
    with pytest.raises(MemoryError):
        folder_store(root).files()
    assert 1 <= len(looked) <= 7
