"""What salvage of a zip or a tar must not get wrong: nested archives, locked ones, forged ones, enormous ones."""

import io
import random
import struct
import subprocess
import tarfile
import time
import tracemalloc
import zipfile
import zlib
from bisect import bisect_right
from io import RawIOBase
from pathlib import Path

import pytest
from bad_disk import BadDisk, Salvaged
from gather import Gather
from packing import program
from written import PACKERS, tar_of, zip_of

from drill.copies import Unreadable, archive_view
from drill.copies.raw import Waiting
from drill.extents import Part
from drill.model import Entry, Store, Trouble
from drill.salvage import tarred, zipped
from drill.structure import tarred as structure_tar
from drill.structure import zipped as structure_zip

RANDOM = random.Random(20260912)
FILES = {
    "kiln/A.dng": RANDOM.randbytes(30_000),
    "kiln/A.xmp": b"<x:xmpmeta/>\n" * 40,
    "kiln/none.txt": b"",
    "kiln/B.dng": RANDOM.randbytes(20_001),
}


def listed(content: bytes, *, password: str | None = None) -> list[Entry]:
    return zipped.list_members(BadDisk(content), len(content), password)


def salvaged(
    content: bytes, wanted: list[Entry], *, password: str | None = None, bad: tuple[int, ...] = ()
) -> Salvaged:
    collector = Salvaged()
    zipped.deliver_members(BadDisk(content, bad), len(content), password, Waiting(wanted), collector)
    return collector


def plain(content: bytes, *, password: str | None = None) -> Gather:
    gather = Gather()
    view = archive_view(Store(lambda: [Entry("a.zip", len(content))], lambda _: BadDisk(content)), ".zip", password)
    view.deliver(view.entries(), gather)
    return gather


def without_directory(content: bytes) -> bytes:
    return content[: content.rindex(b"PK\5\6")][: structure_zip_start(content)]


def structure_zip_start(content: bytes) -> int:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.start_dir


# --- zips inside zips --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("streamed", [False, True])
def test_a_zip_inside_a_zip_is_one_member(streamed: bool) -> None:
    inner = zip_of({"inner/X.dng": FILES["kiln/A.dng"]})
    outer = zip_of({"first.dng": FILES["kiln/B.dng"], "inner.zip": inner, "last.xmp": b"last"}, streamed=streamed)
    cut = without_directory(outer)
    entries = listed(cut)
    assert [e.path for e in entries] == ["first.dng", "inner.zip", "last.xmp"]
    assert salvaged(cut, entries).good()["inner.zip"] == inner


def test_members_of_an_inner_zip_are_none_even_where_the_chain_is_broken() -> None:
    inner = zip_of({"inner/X.dng": FILES["kiln/A.dng"], "inner/Y.dng": b"y"})
    outer = bytearray(zip_of({"first.dng": FILES["kiln/B.dng"], "inner.zip": inner, "last.xmp": b"last"}))
    header = outer.index(b"PK\3\4", outer.index(b"first.dng"))
    outer[header : header + 4] = bytes(4)
    cut = without_directory(bytes(outer))
    assert [e.path for e in listed(cut)] == ["first.dng", "last.xmp"]


def test_of_a_zip_cut_short_inside_an_inner_zip_the_inner_members_are_none() -> None:
    inner = zip_of({"inner/X.dng": FILES["kiln/A.dng"], "inner/Y.dng": FILES["kiln/B.dng"]})
    outer = zip_of({"first.dng": FILES["kiln/B.dng"], "inner.zip": inner})
    cut = outer[: outer.index(b"inner/Y.dng") + 5000]
    assert [e.path for e in listed(cut)] == ["first.dng", "inner.zip"]


def test_a_zip_behind_a_program_that_unpacks_it_keeps_its_members() -> None:
    content = b"MZ a program " * 1000 + zip_of(FILES)
    assert plain(content).good() == FILES
    assert salvaged(content, listed(content)).good() == FILES
    cut = without_directory(content)
    assert {e.path for e in listed(cut)} == set(FILES)


# --- headers ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
@pytest.mark.parametrize("streamed", [False, True])
def test_a_member_without_its_local_header_is_found_by_directory_and_neighbour(method: int, streamed: bool) -> None:
    content = zip_of(FILES, method, streamed=streamed)
    entries = listed(content)
    for entry in entries:
        damaged = bytearray(content)
        damaged[entry.index : entry.index + 30] = bytes(30)
        if entry.size:
            assert plain(bytes(damaged)).troubles()[entry.path] is Trouble.DAMAGED
        assert salvaged(bytes(damaged), entries).good() == FILES
        damaged = bytearray(content)
        damaged[entry.index + 28 : entry.index + 30] = b"\x05\x00"  # a wrong length of the extra fields
        assert salvaged(bytes(damaged), entries).good() == FILES


def test_sizes_of_zip64_are_understood_without_the_directory() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in FILES.items():
            with archive.open(name, "w", force_zip64=True) as member:
                member.write(content)
    cut = without_directory(out.getvalue())
    assert {e.path: e.size for e in listed(cut)} == {p: len(c) for p, c in FILES.items()}
    assert salvaged(cut, listed(cut)).good() == FILES


def test_a_streamed_stored_member_whose_descriptor_is_lost_is_had_by_the_older_list() -> None:
    content = zip_of(FILES, streamed=True)
    entries = listed(content)
    entry = entries[1]
    damaged = bytearray(without_directory(content))
    at = damaged.index(b"PK\7\x08", entry.index)
    damaged[at : at + 4] = bytes(4)
    damaged[at + 8 : at + 12] = bytes(4)
    got = salvaged(bytes(damaged), entries)
    assert got.whole(FILES) == set(FILES) and entry.path not in got.good()


# --- what is locked or packed in other ways -----------------------------------------------------------------------


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    for name, content in FILES.items():
        (tmp_path / "in" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "in" / name).write_bytes(content)
    return tmp_path / "in"


def packed(tree: Path, *command: str) -> bytes:
    to = tree.parent / "a.zip"
    subprocess.run([program(command[0]), *command[1:], str(to), "."], cwd=tree, check=True, capture_output=True)
    return to.read_bytes()


@pytest.mark.parametrize("level", ["-0", "-6"])
def test_a_locked_zip_needs_its_password_with_and_without_a_directory(tree: Path, level: str) -> None:
    content = packed(tree, "zip", "-q", "-r", level, "-P", "reed")
    with pytest.raises(Unreadable, match="no password"):
        listed(content)
    entries = listed(content, password="reed")
    for archive in (content, without_directory(content)):
        assert salvaged(archive, entries, password="reed").good() == FILES
        wrong = salvaged(archive, entries, password="wrong")
        assert not wrong.wrong(FILES) and set(wrong.troubles().values()) <= {
            Trouble.REFUSED,
            Trouble.CHECK_VALUE,
            Trouble.DAMAGED,
        }
    got = salvaged(without_directory(content), entries)
    assert {got.troubles()[e.path] for e in entries if e.size} == {Trouble.REFUSED}
    assert any(e.part is Part.ENCRYPTED for e in _anatomy(content, "reed").extents)


def test_what_cannot_be_unpacked_here_is_said_and_never_called_damaged(tree: Path) -> None:
    content = packed(tree, "7zz", "a", "-bd", "-tzip", "-preed", "-mem=AES256")
    entries = listed(content, password="reed")
    for archive in (content, without_directory(content)):
        got = salvaged(archive, entries, password="reed")
        assert {got.troubles()[e.path] for e in entries if e.size} == {Trouble.UNSUPPORTED}


def test_bzip2_and_lzma_members_come_as_far_as_they_can_be_read() -> None:
    for method in (zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA):
        content = zip_of(FILES, method)
        assert salvaged(without_directory(content), listed(content)).good() == FILES
        got = salvaged(content, listed(content), bad=(3,))
        assert set(FILES) - set(got.good()) == {"kiln/A.dng"}
        assert got.troubles()["kiln/A.dng"] is Trouble.IO


@pytest.mark.parametrize("how", [["-mm=LZMA", "-meos=on"], ["-mm=LZMA", "-meos=off"], ["-mm=BZip2"]])
@pytest.mark.parametrize("lock", [[], ["-preed", "-mem=ZipCrypto"]])
def test_rarer_packings_of_7_zip_come_whole(tree: Path, how: list[str], lock: list[str]) -> None:
    content = packed(tree, "7zz", "a", "-bd", "-tzip", *how, *lock)
    password = "reed" if lock else None
    assert plain(content, password=password).good() == FILES
    assert salvaged(without_directory(content), listed(content, password=password), password=password).good() == FILES


def _anatomy(content: bytes, password: str | None = None):  # type: ignore[no-untyped-def]
    return structure_zip.anatomy_of(BadDisk(content), len(content), password, kept=False)


# --- what was forged ----------------------------------------------------------------------------------------------


def forged(content: bytes, at: int, value: bytes, *, record: bytes, name: bytes) -> bytes:
    """Return the zip with bytes changed in one member's record of the directory, or its local header."""
    damaged = bytearray(content)
    start = damaged.rindex(record, 0, damaged.rindex(name) if record == b"PK\1\2" else damaged.index(name))
    damaged[start + at : start + at + len(value)] = value
    return bytes(damaged)


def test_two_members_on_the_same_bytes_are_told() -> None:
    content = zip_of({"A.dng": b"a" * 5000, "B.dng": b"b" * 5000})
    overlapping = forged(content, 20, struct.pack("<LL", 9000, 9000), record=b"PK\1\2", name=b"A.dng")
    problem = next(p for e, (_, p) in plain(overlapping).got.items() if e.path == "A.dng")
    assert problem is not None and "same bytes" in problem.detail
    assert plain(overlapping).good() == {"B.dng": b"b" * 5000}
    found = _anatomy(overlapping)
    assert found.extents[-1].end == len(overlapping)
    assert all(a.end == b.start for a, b in zip(found.extents, found.extents[1:], strict=False))


def test_a_member_before_the_archives_beginning_is_damaged() -> None:
    content = zip_of({"A.dng": b"a" * 5000, "B.dng": b"b" * 5000})
    end = content.rindex(b"PK\5\6")
    moved = content[: end + 16] + struct.pack("<L", structure_zip_start(content) + 100) + content[end + 20 :]
    for ask in (plain, _anatomy):
        with pytest.raises(Unreadable, match="directory"):
            ask(moved)
    behind = b"MZ a program " + moved
    assert set(plain(behind).troubles().values()) == {Trouble.DAMAGED}
    assert _anatomy(behind).extents[0].start == 0
    assert salvaged(moved, listed(content)).good() == {"A.dng": b"a" * 5000, "B.dng": b"b" * 5000}


def test_a_member_that_has_lost_its_name_is_no_file() -> None:
    content = zip_of({"A.dng": b"a" * 5000, "B.dng": b"b" * 5000})
    nameless = bytearray(forged(content, 28, bytes(2), record=b"PK\1\2", name=b"A.dng"))
    at = nameless.rindex(b"A.dng")
    del nameless[at : at + 5]
    end = nameless.rindex(b"PK\5\6")
    nameless[end + 12 : end + 16] = struct.pack("<L", struct.unpack_from("<L", nameless, end + 12)[0] - 5)
    assert plain(bytes(nameless)).good() == {"B.dng": b"b" * 5000}
    assert salvaged(bytes(nameless), listed(content)).good() == {"A.dng": b"a" * 5000, "B.dng": b"b" * 5000}


def test_a_member_never_gives_more_than_its_declared_size() -> None:
    bomb = zip_of({"bomb.tif": bytes(20_000_000)}, zipfile.ZIP_DEFLATED)
    small = forged(bomb, 24, struct.pack("<L", 1000), record=b"PK\1\2", name=b"bomb.tif")
    for gather in (plain(small), salvaged(small, listed(small))):
        ((came, problem),) = gather.got.values()
        assert len(came) == 1000 and problem is not None
    both = forged(small, 22, struct.pack("<L", 1000), record=b"PK\3\4", name=b"bomb.tif")
    ((came, problem),) = salvaged(without_directory(both), listed(small)).got.values()
    assert len(came) == 1000 and problem is not None


def test_zeros_are_not_given_for_a_size_that_nothing_supports() -> None:
    content = zip_of({"huge.dng": b"h" * 5000})
    huge = forged(content, 24, struct.pack("<L", 0xFFFFFFF0), record=b"PK\1\2", name=b"huge.dng")
    collector = _Counting()
    zipped.deliver_members(BadDisk(huge), len(huge), None, Waiting(listed(huge)), collector)
    assert collector.bytes < 100_000_000 and collector.problems == 1
    tar = bytearray(tar_of({"huge.dng": b"h" * 5000}, tarfile.GNU_FORMAT))
    tar[512 + 124 : 512 + 136] = b"\x80" + (1 << 60).to_bytes(11, "big")
    block = tar[512:1024]
    block[148:156] = b" " * 8
    tar[512 + 148 : 512 + 156] = b"%06o\0 " % sum(block)
    for kind in (".tar", ".tar.gz", ".tar.xz", ".tar.zst"):
        archive = PACKERS[kind](bytes(tar)) if kind in PACKERS else bytes(tar)
        (entry,) = tarred.list_members(kind, BadDisk(archive), len(archive))
        assert entry.size == 1 << 60
        collector = _Counting()
        tarred.deliver_members(kind, BadDisk(archive), len(archive), Waiting([entry]), collector)
        assert collector.bytes < 100_000_000 and collector.problems == 1


class _Counting:
    """Counts, and keeps nothing."""

    def __init__(self) -> None:
        self.bytes = self.problems = 0

    def begin(self, entry: Entry) -> None:
        """Keep nothing."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self.bytes += len(chunk)

    def hole(self, start: int, end: int) -> None:
        """Keep nothing."""

    def end(self, entry: Entry, problem: object) -> None:
        self.problems += problem is not None


# --- what is enormous ---------------------------------------------------------------------------------------------


class Sparse(RawIOBase):
    """A file of any size that is zeros but for a few pieces."""

    def __init__(self, pieces: dict[int, bytes], size: int) -> None:
        super().__init__()
        self._starts, self._pieces, self._size, self._at = sorted(pieces), pieces, size, 0
        self.bytes_read = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = 0) -> int:
        self._at = offset + (0, self._at, self._size)[whence]
        return self._at

    def readinto(self, buffer: bytearray, /) -> int:  # type: ignore[override]
        wanted = min(len(buffer), max(0, self._size - self._at))
        number = bisect_right(self._starts, self._at)
        if number < len(self._starts):
            wanted = min(wanted, self._starts[number] - self._at)
        start = self._starts[number - 1] if number else 0
        piece = self._pieces[start][self._at - start : self._at - start + wanted] if number else b""
        wanted = len(piece) if piece else wanted
        memoryview(buffer).cast("B")[:wanted] = piece or bytes(wanted)
        self._at += wanted
        self.bytes_read += wanted
        return wanted


def enormous_zip(members: int, each: int) -> Sparse:
    pieces, records, at = {}, [], 0
    wide = 0xFFFFFFFF, 0xFFFFFFFF
    for number in range(members):
        name = b"heron/R%05d.dng" % number
        extra = struct.pack("<HHQQ", 1, 16, each, each)
        pieces[at] = struct.pack("<4s5H3L2H", b"PK\3\4", 45, 0, 0, 0, 33, 0, *wide, len(name), 20)
        pieces[at] += name + extra
        record = struct.pack(
            "<4s6H3L5H2L", b"PK\1\2", 45, 45, 0, 0, 0, 33, 0, *wide, len(name), 28, 0, 0, 0, 0, wide[0]
        )
        records.append(record + name + struct.pack("<HHQQQ", 1, 24, each, each, at))
        at += len(pieces[at]) + each
    directory = b"".join(records)
    end64 = struct.pack("<4sQ2H2L4Q", b"PK\6\6", 44, 45, 45, 0, 0, members, members, len(directory), at)
    locator = struct.pack("<4sLQL", b"PK\6\7", 0, at + len(directory), 1)
    end = struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, *[0xFFFF] * 2, *[0xFFFFFFFF] * 2, 0)
    pieces[at] = directory + end64 + locator + end
    return Sparse(pieces, at + len(pieces[at]))


def enormous_tar(members: int, each: int) -> Sparse:
    pieces, at = {}, 0
    for number in range(members):
        info = tarfile.TarInfo(f"heron/R{number:05d}.dng")
        info.size = each
        pieces[at] = info.tobuf(tarfile.PAX_FORMAT)
        at += len(pieces[at]) + each + -each % 512
    return Sparse(pieces, at + 1024)


@pytest.mark.deep
def test_the_structure_of_100_gb_takes_seconds_and_little_memory() -> None:
    for kind, raw in ((".zip", enormous_zip(4000, 25_000_001)), (".tar", enormous_tar(4000, 25_000_001))):
        size = raw.seek(0, 2)
        assert size > 100e9
        tracemalloc.start()
        begun = time.monotonic()
        if kind == ".zip":
            found = structure_zip.anatomy_of(raw, size, None, kept=False)
        else:
            found = structure_tar.anatomy_of(kind, raw, size, kept=False)
        took_s, memory = time.monotonic() - begun, tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert len(found.members) == 4000 and found.extents[-1].end == size
        assert took_s < 20 and memory < 50_000_000  # a ceiling, not a measurement
        assert raw.bytes_read < 10_000_000


def test_one_member_of_100_gb_is_salvaged_without_reading_the_rest() -> None:
    raw = enormous_zip(4000, 25_000_001)
    size = raw.seek(0, 2)
    entry = zipped.list_members(raw, size, None)[2000]
    collector = _Counting()
    zipped.deliver_members(raw, size, None, Waiting([entry]), collector)
    assert collector.bytes == 25_000_001 and raw.bytes_read < 60_000_000
    assert zlib.crc32(b"123456789") == 0xCBF43926  # CRC-32/ISO-HDLC's published check value
