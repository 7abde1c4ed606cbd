"""The reading engine: what a reading shows, each byte at most once, and how it ends when something goes wrong."""

import _thread
import errno
import hashlib
import os
import re
import shutil
import signal
import sys
import tarfile
import threading
import time
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO, RawIOBase
from pathlib import Path

import py7zr
import pytest
import xxhash
from PIL import Image

import drill.quick
import drill.reading.crew
from drill import capture
from drill.copies import FolderOpener, LinkSession, archive_view, forget
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.ledger import Ledger, Root
from drill.model import Copy, Digest, Entry, Medium, Problem, Seen, Store, Trouble
from drill.quick import FORGETS, can_be_quick
from drill.reading import Job, Readings, link_root, note_listing, read_files, root_of
from drill.reading.crew import BLOCK, Crew
from drill.reading.lanes import SMALL, Group, lanes
from drill.shelf import OpenCopy, State, open_copy

NOW = datetime(2026, 11, 24, 20, 0, tzinfo=UTC)
OLD_S = 1_789_000_000.5  # the files' time: long ago, and not on a whole second


@pytest.fixture(autouse=True)
def _no_worker_is_left() -> Iterator[None]:
    yield
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("reader-")]


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with Ledger.open(None) as fresh:
        yield fresh


def open_at(at: Path, *, on: str = "ssd", kind: str = "ssd", archive: str | None = None) -> OpenCopy:
    form = "folder" if archive is None else "archive"
    medium = Medium(on, kind, "desk", attached=False, offsite=False, carried=False)
    with LinkSession() as session:
        found = open_copy(
            Copy(f"copy-{on}", on, at, None, form, archive, None), medium, session=session, downloads=at.parent / "none"
        )
    assert found.state is State.HERE
    return found


def write(folder: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        os.utime(path, (OLD_S, OLD_S))
    return folder


def some(size: int, seed: int = 0) -> bytes:
    return hashlib.shake_128(f"{size} {seed}".encode()).digest(size)


def read(
    *copies: OpenCopy,
    kinds: tuple[str, ...] = ("xxh128",),
    ledger: Ledger | None = None,
    progress: Callable[[str], None] = lambda text: None,
    on_seen: Callable[[Job, Seen | Problem], None] | None = None,
    with_capture: bool = True,
    honest_rates: bool = False,
) -> Readings:
    jobs = [Job(found, entry) for found in copies for entry in found.entries]
    with Ledger.open(None) as fresh:
        return read_files(
            jobs,
            kinds=kinds,
            ledger=ledger or fresh,
            now=NOW,
            progress=progress,
            on_seen=on_seen,
            with_capture=with_capture,
            honest_rates=honest_rates,
        )


def by_path(done: Readings) -> dict[str, Seen | Problem]:
    return {path: result for (_, path, _), result in done.items()}


class Watch:
    """Lies over a copy's store: notes what is opened and by whom, counts bytes, takes its time.

    With `meet` the first so many openings wait for each other, so that they must come from as many workers.
    """

    def __init__(self, pause_s: float = 0.0, *, act: Callable[[str], None] = lambda path: None, meet: int = 1) -> None:
        self.opened: list[str] = []
        self.readers: set[str] = set()
        self.bytes = 0
        self._pause_s, self._act, self._lock = pause_s, act, threading.Lock()
        self._meet, self._meeting = meet, threading.Barrier(meet)

    def over(self, found: OpenCopy) -> OpenCopy:
        assert found.store is not None
        return replace(found, store=Store(found.store.files, lambda entry: self._open(found, entry)))

    def _open(self, found: OpenCopy, entry: Entry) -> RawIOBase:
        with self._lock:
            self.opened.append(entry.path)
            self.readers.add(threading.current_thread().name)
            waits = len(self.opened) <= self._meet
        if waits:
            self._meeting.wait(20)
        self._act(entry.path)
        time.sleep(self._pause_s)
        assert found.store is not None
        return _Counted(found.store.open(entry), self)

    def count(self, more: int) -> None:
        with self._lock:
            self.bytes += more


class _Counted(RawIOBase):
    def __init__(self, raw: RawIOBase, watch: Watch) -> None:
        super().__init__()
        self._raw, self._watch = raw, watch

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: object, /) -> int:
        got = self._raw.readinto(buffer) or 0  # type: ignore[arg-type]
        self._watch.count(got)
        return got

    def close(self) -> None:
        if not self.closed:
            self._raw.close()
        super().close()


# --- what a reading shows ----------------------------------------------------------------------------------------

SIZES = (0, 1, 15, 4095, 4096, 4097, BLOCK - 1, BLOCK, BLOCK + 1, 3 * BLOCK + 5, 5 * BLOCK, 1_234_567)


def parts_of(content: bytes) -> bytes:
    """Say it the plain way: the part i of n bytes is from n × i // 16 to n × (i + 1) // 16."""
    n = len(content)
    if n < 4096:
        return b""
    return b"".join(xxhash.xxh3_64_digest(content[n * i // 16 : n * (i + 1) // 16]) for i in range(16))


@pytest.mark.parametrize("form", ["folder", ".zip", ".tar", ".7z"])
def test_digests_and_parts_are_those_of_the_bytes(tmp_path: Path, form: str) -> None:
    files = {f"a/f{size}.bin": some(size) for size in SIZES}
    root = write(tmp_path / "copy", files)
    found = open_at(root) if form == "folder" else open_at(packed(root, tmp_path / f"p{form}"), archive=form)
    done = by_path(read(found, kinds=("sha256", "xxh128", "xxh32")))
    assert done.keys() == files.keys()
    for path, content in files.items():
        digests = (
            Digest("sha256", hashlib.sha256(content).hexdigest()),
            Digest("xxh128", xxhash.xxh3_128_hexdigest(content)),
            Digest("xxh32", xxhash.xxh32_hexdigest(content)),
        )
        assert done[path] == Seen(len(content), digests, parts_of(content), captured=True)


def packed(root: Path, target: Path) -> Path:
    paths = sorted(path for path in root.rglob("*") if path.is_file())
    if target.suffix == ".zip":
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in paths:
                archive.write(path, path.relative_to(root))
    elif target.suffix == ".tar":
        with tarfile.open(target, "w") as tar:
            for path in paths:
                tar.add(path, path.relative_to(root))
    else:
        with py7zr.SevenZipFile(target, "w", filters=[{"id": py7zr.FILTER_COPY}]) as seven:
            for path in paths:
                seven.write(path, path.relative_to(root).as_posix())
    os.utime(target, (OLD_S, OLD_S))
    return target


def test_two_files_of_one_size_share_the_parts_that_are_alike(tmp_path: Path) -> None:
    content = some(1_000_000)
    hurt = content[:500_000] + bytes(1000) + content[501_000:]
    done = by_path(read(open_at(write(tmp_path / "c", {"a": content, "b": hurt}))))
    one, other = done["a"], done["b"]
    assert isinstance(one, Seen) and isinstance(other, Seen)
    alike = [one.parts[n : n + 8] == other.parts[n : n + 8] for n in range(0, 128, 8)]
    assert alike.count(False) == 1 and not alike[8]


def picture(*, padding: int = 0) -> bytes:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Bellows", "B1"
    exif.get_ifd(0x8769)[0x9003] = "2026:09:12 18:01:02"
    file = BytesIO()
    Image.new("RGB", (32, 32), "teal").save(file, "JPEG", exif=exif)
    return file.getvalue() + bytes(padding)


def test_when_a_picture_was_taken_comes_from_the_same_pass(tmp_path: Path) -> None:
    exif = picture()
    block = exif[exif.index(b"Exif\0\0") :]
    late = b"\0\0\0\x18ftypheic" + some(2_000_000) + block[:3000]  # the block is in the tail alone
    files = {"head.jpg": picture(padding=1_000_000), "small.jpg": exif, "late.heic": late, "note.xmp": exif}
    watch = Watch()
    done = by_path(read(watch.over(open_at(write(tmp_path / "c", files)))))
    for name in ("head.jpg", "small.jpg", "late.heic"):
        seen = done[name]
        with closing(BytesIO(files[name])) as whole:
            expected = capture.taken(whole, not_after=NOW)
        assert isinstance(seen, Seen) and seen.taken == expected
        assert expected is not None and expected.when == datetime(2026, 9, 12, 18, 1, 2)
    assert isinstance(done["note.xmp"], Seen) and done["note.xmp"].taken is None
    assert watch.bytes == sum(len(content) for content in files.values())


def test_without_capture_there_are_digests_alone(tmp_path: Path) -> None:
    content = picture(padding=100_000)
    done = by_path(read(open_at(write(tmp_path / "c", {"a.jpg": content})), with_capture=False))
    assert done["a.jpg"] == Seen(len(content), (Digest("xxh128", xxhash.xxh3_128_hexdigest(content)),))


def test_the_quick_way_shows_what_the_careful_way_shows(tmp_path: Path) -> None:
    root = write(tmp_path / "c", {f"{size}.jpg": some(size) for size in SIZES} | {"p.jpg": picture()})
    (root / "link.jpg").symlink_to("p.jpg")
    (root / "in").symlink_to(".", target_is_directory=True)
    found = open_at(root)
    kinds = ("md5", "sha256", "blake2b-160", "xxh3")
    for with_capture in (True, False):
        careful = read(Watch().over(found), kinds=kinds, with_capture=with_capture)
        assert read(found, kinds=kinds, with_capture=with_capture) == careful
        assert len(careful) == len(SIZES) + 2


def test_an_unknown_kind_is_refused_before_anything_is_read(tmp_path: Path) -> None:
    watch = Watch()
    with pytest.raises(ValueError, match="no digest kind"):
        read(watch.over(open_at(write(tmp_path / "c", {"a": b"x"}))), kinds=("crc", "md5"))
    assert not watch.opened


def test_nothing_to_read_is_no_trouble() -> None:
    said: list[str] = []
    assert read(progress=said.append) == {}
    assert not said


# --- what the ledger knows ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["folder", ".zip"])
def test_what_was_read_is_not_read_again(tmp_path: Path, form: str) -> None:
    root = write(tmp_path / "copy", {f"{n}.jpg": picture(padding=n * 10_000) for n in range(9)})
    at = root if form == "folder" else packed(root, tmp_path / "p.zip")

    def again(kinds: tuple[str, ...]) -> tuple[Readings, list[Seen | Problem]]:
        told: list[Seen | Problem] = []
        with Ledger.open(tmp_path / "ledger") as ledger:
            found = open_at(at, archive=None if form == "folder" else form)
            done = read(found, kinds=kinds, ledger=ledger, on_seen=lambda job, seen: told.append(seen))
        assert len(told) == len(done) == 9
        return done, told

    first, _ = again(("xxh128", "md5"))
    assert (first.from_ledger, first.bytes_read) == (0, sum(p.stat().st_size for p in root.iterdir()))
    for kinds in (("md5", "xxh128"), ("md5",), ("xxh128",)):
        known, told = again(kinds)
        assert (known.from_ledger, known.bytes_read, known.media) == (9, 0, {})
        assert known == first
        assert told == list(known.values())
    more, _ = again(("sha1",))
    assert more.from_ledger == 0
    for seen in more.values():  # all kinds from one reading: never two readings' digests side by side
        assert isinstance(seen, Seen) and [digest.kind for digest in seen.digests] == ["md5", "sha1", "xxh128"]
    assert again(("sha1", "md5"))[0].from_ledger == 9


def test_a_changed_file_alone_is_read_again(tmp_path: Path) -> None:
    root = write(tmp_path / "c", {"a": b"one", "b": b"two"})
    with Ledger.open(tmp_path / "n") as ledger:
        read(open_at(root), ledger=ledger)
        write(root, {"b": b"TWO"})
        os.utime(root / "b", (OLD_S + 7, OLD_S + 7))
        watch = Watch()
        done = by_path(read(watch.over(open_at(root)), ledger=ledger))
    assert watch.opened == ["b"]
    assert done["b"] == Seen(3, (Digest("xxh128", xxhash.xxh3_128_hexdigest(b"TWO")),), captured=True)


def test_the_ledger_learns_which_copy_it_was_and_how_long_each_file_took(tmp_path: Path, ledger: Ledger) -> None:
    def slow(path: str) -> None:
        time.sleep(0.05 if path == "b" else 0.0)

    root = write(tmp_path / "c", {"a": b"one", "b": b"two", "gone": b"x"})
    found = Watch(act=slow).over(open_at(root))
    (root / "gone").unlink()
    done = by_path(read(found, ledger=ledger))
    assert isinstance(done["gone"], Problem)
    evidence = ledger.evidence_of_copy("copy-ssd", "ssd")
    assert {path for path, _ in evidence} == {"a", "b"}, "that one is missing says nothing of its bytes"
    assert 0 < evidence["a", 0].took_s < 0.05 <= evidence["b", 0].took_s < 5


@pytest.mark.parametrize("whole_seconds", [True, False])
def test_what_was_written_a_moment_ago_is_not_remembered(tmp_path: Path, whole_seconds: bool, ledger: Ledger) -> None:
    """On FAT a second change within two seconds shows in no time; it must be read again."""
    root = write(tmp_path / "c", {"old": b"x", "new": b"y"})
    just_now = time.time()
    if whole_seconds:
        just_now -= just_now % 1
    os.utime(root / "new", (just_now, just_now))
    found = open_at(root)
    if not whole_seconds:
        os.utime(root / "new")
        found = open_at(root)
    read(found, ledger=ledger)
    assert ledger.count == 1


def test_an_archive_that_is_replaced_while_it_is_read_is_not_remembered(tmp_path: Path, ledger: Ledger) -> None:
    root = write(tmp_path / "c", {"a.bin": some(2_000_000), "b.bin": some(50)})
    found = open_at(packed(root, tmp_path / "p.zip"), archive=".zip")
    assert found.view is not None
    deliver = found.view.deliver

    def replaced(wanted: object, receiver: object) -> None:
        os.utime(tmp_path / "p.zip", (OLD_S + 9, OLD_S + 9))
        deliver(wanted, receiver)  # type: ignore[arg-type]

    done = read(replace(found, view=replace(found.view, deliver=replaced)), ledger=ledger)
    assert all(isinstance(seen, Seen) for seen in done.values())
    assert ledger.count == 0


def test_a_file_that_grew_or_shrank_since_it_was_listed(tmp_path: Path, ledger: Ledger) -> None:
    root = write(tmp_path / "c", {"grown": some(9_000), "cut": some(9_000, 1), "same": some(9_000, 2)})
    found = open_at(root)
    write(root, {"grown": some(600_000), "cut": some(5_000)})
    done = by_path(read(found, ledger=ledger))
    assert done["grown"] == Seen(600_000, (Digest("xxh128", xxhash.xxh3_128_hexdigest(some(600_000))),), captured=True)
    assert done["cut"] == Seen(5_000, (Digest("xxh128", xxhash.xxh3_128_hexdigest(some(5_000))),), captured=True)
    assert ledger.count == 1


def test_a_job_asked_for_twice_is_read_once(tmp_path: Path) -> None:
    watch = Watch()
    found = watch.over(open_at(write(tmp_path / "c", {"a": b"x"})))
    done = read(found, found)
    assert watch.opened == ["a"] and len(done) == 1


# --- the workers -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["hard-disk", "optical", "tape"])
def test_media_that_seek_have_one_reader_in_path_order(tmp_path: Path, kind: str) -> None:
    watch = Watch()
    names = [f"{folder}/{n}.bin" for folder in ("b", "a", "é", "Z") for n in range(3)]
    read(watch.over(open_at(write(tmp_path / "c", dict.fromkeys(names, b"x")), kind=kind)))
    assert watch.opened == sorted(names, key=lambda name: name.encode())
    assert len(watch.readers) == 1


BEARS = {"ssd": 8, "computer": 8, "card": 4, "tablet": 4, "phone": 4, "network-storage": 4, "cloud": 4}


@pytest.mark.parametrize("kind", BEARS)
def test_other_media_have_several(tmp_path: Path, kind: str) -> None:
    watch = Watch(meet=BEARS[kind])
    read(watch.over(open_at(write(tmp_path / "c", {f"{n}": b"x" for n in range(20)}), kind=kind)))
    assert len(watch.readers) == BEARS[kind]
    assert sorted(watch.opened) == sorted(f"{n}" for n in range(20))


@pytest.mark.parametrize(("kind", "readers"), [("hard-disk", 3), ("ssd", 1), ("card", 32)])
def test_the_studio_file_says_how_many(tmp_path: Path, kind: str, readers: int) -> None:
    watch = Watch(meet=readers)
    found = open_at(write(tmp_path / "c", {f"{n}": b"x" for n in range(40)}), kind=kind)
    read(watch.over(replace(found, medium=replace(found.medium, readers=readers))))
    assert len(watch.readers) == readers
    assert sorted(watch.opened) == sorted(f"{n}" for n in range(40))


def tells_of_its_cache(found: OpenCopy) -> FolderOpener:
    """Return the copy's opener, its files on the medium and in the cache; skip where the system does not say so."""
    assert found.store is not None and isinstance(found.store.open, FolderOpener)
    os.sync() if hasattr(os, "sync") else None
    read(found)
    if not all(found.store.open.is_cached(entry) for entry in found.entries):
        pytest.skip("this file system does not say what it has cached")
    return found.store.open


def test_small_files_from_the_cache_are_left_to_one_reader(tmp_path: Path) -> None:
    found = open_at(write(tmp_path / "c", {f"{n:03}": some(5_000, n) for n in range(400)}))
    tells_of_its_cache(found)
    group = Group(found, None, list(found.entries), [("xxh128",)] * len(found.entries))
    crew = Crew(not_after=None, from_medium=False)
    crew.start(lanes([group]))
    while not crew.wait(0.1):
        pass
    crew.halt()
    assert sum(len(one.entries) for one in crew.collect()) == 400
    assert [meter.files for meter in crew.meters if meter.files] == [400]


@pytest.mark.skipif(not can_be_quick(from_medium=True), reason="files are not read at one go here")
@pytest.mark.parametrize(("kind", "asks"), [("ssd", True), ("card", True), ("hard-disk", False), ("tape", False)])
def test_a_medium_that_bears_one_reader_is_asked_for_nothing_ahead(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, asks: bool
) -> None:
    found = open_at(write(tmp_path / "c", {f"{n:03}": some(5_000, n) for n in range(100)}), kind=kind)
    aheads: set[int] = set()

    def contents(
        place: str, files: Sequence[tuple[str, int | None]], *, from_medium: bool, ahead: int
    ) -> Iterator[bytes | None]:
        aheads.add(ahead)
        return drill.quick.contents(place, files, from_medium=from_medium, ahead=ahead)

    monkeypatch.setattr(drill.reading.crew, "contents", contents)
    assert len(read(found, honest_rates=True)) == 100
    assert {ahead > 0 for ahead in aheads} == {asks}


def fetched() -> int | None:
    """Return how many bytes this process has had fetched from disks; None where the system does not say (proc(5))."""
    counts = Path("/proc/self/io")
    if not counts.exists():
        return None
    return int(next(line for line in counts.read_text().splitlines() if line.startswith("read_bytes:")).split()[1])


def test_the_cache_lets_go_of_a_file(tmp_path: Path) -> None:
    found = open_at(write(tmp_path / "c", {"small": some(5_000), "big": some(3_000_000)}))
    tells_of_its_cache(found)
    assert found.store is not None
    # Not asked of the cache once more: `forget` has asked, and that alone has the system begin to read. Measured with
    # mincore(2) on ext4, Linux 6.18: of 40 files let go of, none had a page back after 50 ms, and after one question
    # with RWF_NOWAIT, answered with no, all 40 had. So what is counted is what came from the disk.
    before = fetched()
    for entry in found.entries:
        assert forget(found.store, entry)
    read(found)
    after = fetched()
    assert before is None or after is None or after - before >= 3_005_000


@pytest.mark.parametrize("form", ["folder", ".zip"])
def test_whether_a_rate_is_the_mediums_is_told(tmp_path: Path, form: str) -> None:
    root = write(tmp_path / "c", {"small": some(5_000), "big": some(3_000_000), "none": b""})
    found = open_at(root) if form == "folder" else open_at(packed(root, tmp_path / "p.zip"), archive=form)
    plain, honest = read(found), read(found, honest_rates=True)
    assert plain == honest
    assert plain.media["ssd"].maybe_cached
    assert honest.media["ssd"].maybe_cached is not hasattr(os, "posix_fadvise")


@pytest.mark.skipif(not FORGETS, reason="the system cannot be told to let go of what it has cached")
def test_what_stays_in_memory_however_often_it_is_told_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = open_at(write(tmp_path / "c", {"small": some(5_000), "big": some(3_000_000)}))
    monkeypatch.setattr(drill.quick, "is_at_hand", lambda fd: True)
    plain, honest = read(found), read(found, honest_rates=True)
    assert plain == honest and honest.media["ssd"].maybe_cached


def test_streams_that_are_no_files_are_maybe_cached(tmp_path: Path) -> None:
    done = read(Watch().over(open_at(write(tmp_path / "c", {"a": b"x"}))), honest_rates=True)
    assert done.media["ssd"].maybe_cached


def test_many_media_are_read_side_by_side_by_32_at_most(tmp_path: Path) -> None:
    watch = Watch(meet=32)
    copies = []
    for number in range(12):
        kind = "card" if number % 2 else "ssd"
        root = write(tmp_path / f"c{number}", {f"{n}": some(n) for n in range(8)})
        copies.append(watch.over(open_at(root, on=f"m{number}", kind=kind)))
    done = read(*copies)
    assert len(done) == 96 and all(isinstance(seen, Seen) for seen in done.values())
    assert len(watch.readers) == 32
    assert done.media.keys() == {f"m{number}" for number in range(12)}


def test_what_it_cost_is_told_by_medium(tmp_path: Path) -> None:
    one = open_at(write(tmp_path / "a", {"x": some(300_000), "y": some(10)}), on="one")
    two = open_at(write(tmp_path / "b", {"x": some(70_000)}), on="two", kind="card")
    done = read(Watch(0.05).over(one), Watch(0.05).over(two))
    assert done.bytes_read == 370_010
    assert (done.media["one"].files, done.media["one"].bytes) == (2, 300_010)
    assert (done.media["two"].files, done.media["two"].bytes) == (1, 70_000)
    for medium in done.media.values():
        assert 0.05 <= medium.took_s <= done.took_s + 0.01
        assert medium.rate_bps == medium.bytes / medium.took_s


@pytest.mark.deep  # it waits for what comes now and then
def test_progress_is_one_line_now_and_then(tmp_path: Path) -> None:
    said: list[str] = []
    root = write(tmp_path / "c", {f"{n:02}": some(50_000, n) for n in range(26)})
    start = time.monotonic()
    read(Watch(0.1).over(open_at(root, kind="hard-disk")), progress=said.append)
    took = time.monotonic() - start
    assert took > 2.4
    assert 3 <= len(said) <= took * 5 + 2
    line = r"(copy-ssd: )?\d+ of 26 files, \d[\d.]* of 1.3 MB, \d[\d.]* kB/s(, (under )?\d+ s left)?"
    assert all(re.fullmatch(line, text) for text in said), said
    assert not said[0].endswith("left") and any(text.endswith("left") for text in said)
    assert said[0].startswith("copy-ssd: ")
    assert said[-1].startswith("26 of 26 files, 1.3 of 1.3 MB")


def test_progress_without_known_sizes_goes_by_files(tmp_path: Path) -> None:
    said: list[str] = []
    found = open_at(write(tmp_path / "c", {f"{n}": b"x" for n in range(3)}))
    read(replace(found, entries=tuple(Entry(e.path, None) for e in found.entries)), progress=said.append)
    assert said[-1].startswith("3 of 3 files, ") and " of 3 B" not in said[-1]


# --- when something goes wrong -----------------------------------------------------------------------------------


def test_a_bad_sector_is_that_files_problem(tmp_path: Path, ledger: Ledger) -> None:
    found = open_at(write(tmp_path / "c", {n: some(1_000_000, ord(n)) for n in "abc"}))
    assert found.store is not None
    store = found.store

    def overlaid(entry: Entry) -> RawIOBase:
        damage = Damage(bad={(700_416, 4096)} if entry.path == "b" else set())
        return Overlay(store.open(entry), damage, 1_000_000)

    done = by_path(read(replace(found, store=Store(store.files, overlaid)), ledger=ledger))
    assert done["b"] == Problem(Trouble.IO, "I/O error at byte 700416")
    assert isinstance(done["a"], Seen) and isinstance(done["c"], Seen)
    place = root_of(found)
    assert place is not None and ledger.count == 3
    assert {path: one.problem for (path, _), one in ledger.evidence(place).items()} == {
        "a": None,
        "b": done["b"],
        "c": None,
    }


def test_what_is_no_file_any_more_is_that_files_problem(tmp_path: Path) -> None:
    root = write(tmp_path / "c", dict.fromkeys("abcd", b"x"))
    (tmp_path / "outside").write_bytes(b"x")
    found = open_at(root)
    (root / "a").unlink()
    (root / "b").unlink()
    (root / "b").mkdir()
    if hasattr(os, "mkfifo"):
        (root / "c").unlink()
        os.mkfifo(root / "c")
        (root / "d").unlink()
        (root / "d").symlink_to(tmp_path / "outside")
    done = by_path(read(found))
    troubles = {path: result.trouble for path, result in done.items() if isinstance(result, Problem)}
    assert troubles["a"] is Trouble.MISSING
    assert troubles["b"] in (Trouble.IO, Trouble.REFUSED)
    if hasattr(os, "mkfifo"):
        assert (troubles["c"], troubles["d"]) == (Trouble.IO, Trouble.MISSING)


def test_a_damaged_member_is_that_members_problem(tmp_path: Path) -> None:
    root = write(tmp_path / "c", {"a": some(5_000, 1), "b": some(5_000, 2), "c": some(5_000, 3)})
    at = tmp_path / "p.zip"
    with zipfile.ZipFile(at, "w") as archive:
        for name in "abc":
            archive.write(root / name, name)
    raw = bytearray(at.read_bytes())
    raw[raw.index(some(5_000, 2)) + 100] ^= 1
    at.write_bytes(raw)
    done = by_path(read(open_at(at, archive=".zip")))
    problem = done["b"]
    assert isinstance(problem, Problem) and problem.trouble is Trouble.CHECK_VALUE
    assert isinstance(done["a"], Seen) and isinstance(done["c"], Seen)


@pytest.mark.skipif(sys.platform == "win32", reason="a folder with an open file in it cannot be moved away there")
@pytest.mark.parametrize("how", ["moved", "unmounted", "another drive"])
def test_a_medium_that_vanishes_is_given_up_at_once(tmp_path: Path, how: str) -> None:
    root = write(tmp_path / "c", {f"{n:03}": b"x" for n in range(200)} | {"MARK.txt": b""})

    def vanish(path: str) -> None:
        if path == "050":
            if how == "another drive":
                (root / "MARK.txt").unlink()
                (root / "051").unlink()
                return
            shutil.move(root, tmp_path / "gone")
            if how == "unmounted":
                root.mkdir()

    watch = Watch(act=vanish)
    found = watch.over(open_at(root, kind="hard-disk"))
    found = replace(found, medium=replace(found.medium, recognised_by="MARK.txt"))
    done = by_path(read(found))
    assert len(done) == 201 and len(watch.opened) in (51, 52)  # and no more tries after that
    for number in range(50):
        assert isinstance(done[f"{number:03}"], Seen)
    for number in range(52, 200):
        problem = done[f"{number:03}"]
        assert isinstance(problem, Problem) and problem.trouble is Trouble.UNREACHABLE
        assert "vanished" in problem.detail


def test_a_copy_that_is_not_open_is_a_problem_of_each_file(tmp_path: Path) -> None:
    found = open_at(write(tmp_path / "c", {"a": b"x"}))
    away = replace(found, state=State.AWAY, reason="it is not there", store=None, view=None)
    assert by_path(read(away)) == {"a": Problem(Trouble.UNREACHABLE, "it is not there")}


def test_what_a_caller_raises_stops_the_workers_and_loses_nothing(tmp_path: Path) -> None:
    root = write(tmp_path / "c", {f"{n:03}": some(n) for n in range(300)})
    watch = Watch(0.01)

    def full(job: Job, seen: Seen | Problem) -> None:
        raise OSError(errno.ENOSPC, "no space")

    with Ledger.open(tmp_path / "n") as ledger, pytest.raises(OSError, match="no space"):
        read(watch.over(open_at(root, kind="hard-disk")), ledger=ledger, on_seen=full)
    assert len(watch.opened) < 100


def test_a_crash_of_a_worker_is_the_runs_crash(tmp_path: Path, ledger: Ledger) -> None:
    root = write(tmp_path / "c", {f"{n:03}": some(n) for n in range(300)})

    def crash(path: str) -> None:
        if path == "010":
            raise ZeroDivisionError("a defect")

    watch = Watch(0.005, act=crash)
    with pytest.raises(ZeroDivisionError, match="a defect"):
        read(watch.over(open_at(root, kind="hard-disk")), ledger=ledger)
    assert len(watch.opened) == 11 and ledger.count == 10


@pytest.fixture
def interruptible() -> Iterator[None]:
    """Have Ctrl-C raise, also where whoever began the tests has it ignored, as a shell does of what is put aside."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("interruptible")
@pytest.mark.parametrize("form", ["folder", ".zip"])
def test_an_interrupt_stops_within_one_block_and_keeps_what_was_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    root = write(tmp_path / "c", {f"{n:03}": some(40_000, n) for n in range(400)})
    whole = form == "folder"
    at = root if whole else packed(root, tmp_path / "p.zip")
    found = open_at(at, kind="hard-disk", archive=None if whole else form)
    assert found.store is not None
    store, key = found.store, _CtrlC()
    slow = Store(store.files, lambda entry: _Interrupted(store.open(entry), key))
    found = replace(found, store=slow, view=found.view if whole else archive_view(slow, form, None))
    start = Crew.start
    monkeypatch.setattr(Crew, "start", lambda crew, work: (setattr(key, "noticed", crew.stop), start(crew, work)))
    with Ledger.open(tmp_path / "n") as ledger:
        key.is_armed = True
        with pytest.raises(KeyboardInterrupt):
            read(found, ledger=ledger)
    assert key.reads == key.AT, "nothing was read any more"
    with Ledger.open(tmp_path / "n") as ledger:
        assert 5 < ledger.count < 100
        place = root_of(found)
        assert place is not None
        for number, entry in enumerate(found.entries):
            seen = ledger.get(place, entry)
            assert seen is None or seen.digests[0].hex == xxhash.xxh3_128_hexdigest(some(40_000, number))


class _CtrlC:
    """A key that is pressed at the hundredth read of more than a little; that read lasts until it has been noticed."""

    AT = 100

    def __init__(self) -> None:
        self.is_armed, self.reads, self.noticed = False, 0, threading.Event()

    def count(self, size: int) -> None:
        if self.is_armed and size > 4096:
            self.reads += 1
            if self.reads == self.AT:
                _thread.interrupt_main()
                self.noticed.wait(20)


class _Interrupted(RawIOBase):
    """A stream whose reads are counted."""

    def __init__(self, raw: RawIOBase, key: _CtrlC) -> None:
        super().__init__()
        self._raw, self._key = raw, key

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._raw.seek(offset, whence)

    def tell(self) -> int:
        return self._raw.tell()

    def readinto(self, buffer: object, /) -> int:
        got = self._raw.readinto(buffer) or 0  # type: ignore[arg-type]
        self._key.count(got)
        return got

    def close(self) -> None:
        self._raw.close()
        super().close()


def test_a_reading_made_for_a_list_is_made_again_where_capture_times_are_wanted(tmp_path: Path) -> None:
    folder = tmp_path / "drive"
    folder.mkdir()
    (folder / "A.JPG").write_bytes(bytes(range(256)) * 40)
    os.utime(folder / "A.JPG", (OLD_S, OLD_S))
    medium = Medium("drive", "ssd", "bag", attached=False, offsite=False, carried=True)
    copy = Copy("drive", "drive", folder, None, "folder", None, None)
    session = LinkSession()
    found = open_copy(copy, medium, session=session, downloads=tmp_path)
    jobs = [Job(found, entry) for entry in found.entries]

    def read(with_capture: bool) -> int:
        with Ledger.open(tmp_path / "ledger") as ledger:
            return read_files(
                jobs,
                kinds=["xxh128"],
                ledger=ledger,
                now=NOW,
                progress=lambda text: None,
                with_capture=with_capture,
            ).bytes_read

    assert [read(False), read(False), read(True), read(True), read(False)] == [10240, 0, 10240, 0, 0]
    session.close()


# --- afresh ------------------------------------------------------------------------------------------------------


def test_afresh_everything_is_read_and_what_was_known_of_the_same_bytes_stays(tmp_path: Path, ledger: Ledger) -> None:
    root = write(tmp_path / "copy", {"same.jpg": b"same bytes", "rotten.jpg": b"good bytes"})
    found = open_at(root)
    first = by_path(read(found, kinds=("md5", "xxh128"), ledger=ledger))
    write(root, {"rotten.jpg": b"other byte"})  # of the same size and time: only reading shows it
    jobs = [Job(found, entry) for entry in found.entries]
    again = read_files(
        jobs, kinds=["xxh128"], ledger=ledger, now=NOW, progress=lambda text: None, with_capture=False, afresh=True
    )
    assert again.from_ledger == 0 and again.bytes_read == 20
    place = root_of(found)
    assert place is not None
    known = {entry.path: ledger.get(place, entry) for entry in found.entries}
    assert known["same.jpg"] == first["same.jpg"], "its md5 and what was captured are still true of it"
    rotten = known["rotten.jpg"]
    assert rotten is not None and [digest.kind for digest in rotten.digests] == ["xxh128"]


def test_each_job_may_want_kinds_of_its_own(tmp_path: Path, ledger: Ledger) -> None:
    found = open_at(write(tmp_path / "copy", {"a.jpg": b"a", "b.jpg": b"b"}))
    jobs = [Job(found, found.entries[0], kinds=("md5",)), Job(found, found.entries[1], kinds=("sha1", "xxh64"))]
    done = read_files(jobs, kinds=[], ledger=ledger, now=NOW, progress=lambda text: None, with_capture=False)
    kinds = [[digest.kind for digest in seen.digests] for seen in done.values() if isinstance(seen, Seen)]
    assert sorted(kinds) == [["md5"], ["sha1", "xxh64"]]


def test_two_links_that_differ_in_what_is_secret_share_no_readings() -> None:
    roots = [
        link_root(Copy(id_, "cloud", None, f"https://files.example/get?share={id_}", "link", None, None))
        for id_ in ("live", "archive")
    ]
    assert roots == [Root(f"https://files.example/get#{id_}", "cloud") for id_ in ("live", "archive")]


@pytest.mark.parametrize("form", ["folder", ".zip", ".7z"])
def test_a_file_that_a_later_listing_lacks_is_held_on_paper_no_more(tmp_path: Path, form: str, ledger: Ledger) -> None:
    files = {f"kiln{number}.dng": str(number).encode() * 500 for number in range(4)}

    def made(names: dict[str, bytes]) -> OpenCopy:
        shutil.rmtree(tmp_path / "c", ignore_errors=True)
        root = write(tmp_path / "c", names)
        if form == "folder":
            found = open_at(root)
        else:
            (tmp_path / f"p{form}").unlink(missing_ok=True)
            found = open_at(packed(root, tmp_path / f"p{form}"), archive=form)
        note_listing(found, ledger)
        return found

    read(made(files), ledger=ledger)
    del files["kiln1.dng"]
    found = made(files)
    assert "kiln1.dng" not in {path for path, _ in ledger.evidence_of_copy(found.copy.id, found.copy.on)}
    read(found, ledger=ledger)
    assert len(ledger.evidence_of_copy(found.copy.id, found.copy.on)) == 3
    note_listing(replace(found, reason="is damaged", entries=()), ledger)
    note_listing(replace(found, state=State.AWAY, entries=()), ledger)
    assert len(ledger.evidence_of_copy(found.copy.id, found.copy.on)) == 3


def test_what_a_medium_has_to_give_is_in_path_order_and_a_large_file_begins_a_portion(tmp_path: Path) -> None:
    found = open_at(write(tmp_path / "c", {"a": b"x"}))
    names = ["b/\udcff", "b/\u00e9", "b/\U0001f40b", "b/z", "a/2", "a/10", "c"]
    entries = [Entry(name, 5) for name in names] + [Entry("b/large", SMALL + 1), Entry("a/large", None)]
    (lane,) = lanes([Group(found, None, entries, [("md5",)] * 6 + [("sha256",)] * 3)])
    assert lane.readers == 8 and all(len(group.entries) == 1 for group in lane.groups)
    (lane,) = lanes([Group(found, None, entries * 90, [("md5",)] * 540 + [("sha256",)] * 270)])
    given = [entry for group in lane.groups for entry in group.entries]
    assert given == sorted(entries * 90, key=lambda entry: entry.path.encode("utf-8", "surrogatepass"))
    assert all(len(group.entries) == len(group.kinds) <= 12 for group in lane.groups)
    assert all(entry.size == 5 for group in lane.groups for entry in group.entries[1:])
