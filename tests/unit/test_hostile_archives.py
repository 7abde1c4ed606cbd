"""Archives that were made to exhaust whoever reads them: bounded zeros, bounded reading, bounded memory.

No source for the bounds; the archives are made here by hand after the formats' own descriptions.
"""

import io
import lzma
import random
import struct
import tarfile
import tracemalloc
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager

import py7zr
import pytest
from bad_disk import BadDisk, Salvaged
from gather import Gather
from written import PACKERS, tar_of, zip_of

from drill.copies import Unreadable, archive_view, zipscan
from drill.copies.raw import Waiting
from drill.model import Entry, Store, Trouble
from drill.salvage import tarred
from drill.salvage import zipped as zip_salvage
from drill.salvage.claims import Claims
from drill.salvage.sevenzip_start import start_headers
from drill.structure import tarred as structure_tar

TAR_KINDS = (".tar", *PACKERS)


class Few(Salvaged):
    """A collector that is not there for a flood."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        super().data(chunk)
        assert sum(map(len, self.running())) < 50_000_000

    def running(self) -> list[bytearray]:
        return [self._now[1]] if self._now is not None else []


class Counted(BadDisk):
    """A disk that counts how often it is asked."""

    asked = 0

    def readinto(self, buffer: bytearray, /) -> int:  # type: ignore[override]
        self.asked += 1
        return super().readinto(buffer)


def packed(kind: str, tar: bytes) -> bytes:
    return PACKERS[kind](tar) if kind in PACKERS else tar


def view_gather(content: bytes, kind: str, gather: Gather) -> list[Entry]:
    view = archive_view(Store(lambda: [Entry("archive", len(content))], lambda _: BadDisk(content)), kind, None)
    entries = list(view.entries())
    view.deliver(entries, gather)
    return entries


# --- tars -----------------------------------------------------------------------------------------------------------


def sparse_header(name: str, size: int) -> bytes:
    """Return an old GNU sparse header of a file that is one hole (GNU tar's manual, "Storing Sparse Files")."""
    info = tarfile.TarInfo(name)
    info.type = tarfile.GNUTYPE_SPARSE
    head = bytearray(info.tobuf(tarfile.GNU_FORMAT))
    head[483:495] = b"\x80" + size.to_bytes(11, "big")
    head[148:156] = b" " * 8
    head[148:156] = b"%06o\0 " % sum(head)
    return bytes(head)


@pytest.mark.parametrize("kind", TAR_KINDS)
def test_a_sparse_file_of_2_to_the_40_zeros_is_refused(kind: str) -> None:
    content = packed(kind, sparse_header("reed.dng", 1 << 40) + tar_of({"heron.dng": b"h" * 600}))
    plain, salvaged = Few(), Few()
    entries = view_gather(content, kind, plain)
    assert [(e.path, e.size) for e in entries] == [("reed.dng", None), ("heron.dng", 600)]
    tarred.deliver_members(kind, BadDisk(content), len(content), Waiting(entries), salvaged)
    for got in (plain, salvaged):
        assert got.troubles() == {"reed.dng": Trouble.UNSUPPORTED} and got.good() == {"heron.dng": b"h" * 600}
    assert len(structure_tar.anatomy_of(kind, BadDisk(content), len(content), kept=False).members) == 2


def test_many_sparse_files_have_one_bound_together() -> None:
    content = b"".join(sparse_header(f"{n}.dng", 300 << 20) for n in range(9)) + bytes(1024)
    entries = tarred.list_members(".tar", BadDisk(content), len(content))
    assert [e.size for e in entries].count(None) == 6


def test_a_header_that_is_real_zeros_costs_only_its_name() -> None:
    files = {f"{n}.dng": bytes([n + 1]) * 9000 for n in range(4)}
    content = bytearray(tar_of(files))
    entries = tarred.list_members(".tar", BadDisk(bytes(content)), len(content))
    content[entries[2].index - 512 : entries[2].index] = bytes(512)
    got = Salvaged()
    tarred.deliver_members(".tar", BadDisk(bytes(content)), len(content), Waiting(entries), got)
    assert got.whole(files) == set(files) and set(got.troubles()) == {"2.dng"}


@pytest.mark.parametrize("size", [60 << 20, 0])
def test_forged_pax_headers_do_not_have_the_archive_read_again_and_again(size: int) -> None:
    pax = tarfile.TarInfo("x")
    pax.type, pax.size = tarfile.XHDTYPE, size
    content = pax.tobuf(tarfile.USTAR_FORMAT) * 1200
    disk = Counted(content)
    gather = Gather()
    with pytest.raises(Exception, match="no readable tar header"):
        tarred.list_members(".tar", disk, len(content))
    assert disk.bytes_read < 40 << 20 and not gather.got
    assert disk.asked < 60_000


def test_what_only_looks_like_gzip_members_is_looked_at_so_often_and_no_more() -> None:
    content = PACKERS[".tar.gz"](tar_of({"reed.dng": b"r" * 600}))[:40] + b"\x1f\x8b\x08\0\0\0\0\0\0\3\7" * 20_000
    disk = Counted(content)
    with pytest.raises(Exception, match="no readable tar header"):
        tarred.list_members(".tar.gz", disk, len(content))
    assert disk.asked < 20_000


def test_a_gzip_member_behind_a_lost_one_is_found() -> None:
    files = {f"{n}.dng": bytes([n + 1]) * 600 + random.Random(n).randbytes(9000) for n in range(4)}
    tar = tar_of(files)
    entries = tarred.list_members(".tar", BadDisk(tar), len(tar))
    for cut in (entries[2].index - 512, entries[2].index + 700):
        content = PACKERS[".tar.gz"](tar[:cut]) + PACKERS[".tar.gz"](tar[cut:])
        got = Salvaged()
        tarred.deliver_members(".tar.gz", BadDisk(content, {1}), len(content), Waiting(entries), got)
        assert "3.dng" in got.whole(files)


# --- zips -----------------------------------------------------------------------------------------------------------


def test_streamed_members_without_descriptors_do_not_have_each_other_looked_at() -> None:
    # APPNOTE 4.3.7: a local header with bit 3 set, no sizes, and a name of one letter.
    content = (b"PK\3\4" + struct.pack("<HHHHHLLLHH", 20, 8, 8, 0, 0, 0, 0, 0, 1, 0) + b"a") * 1000
    disk = Counted(content)
    assert len(zipscan.scan(disk, len(content))) == 1000
    assert disk.asked < 50_000


@pytest.mark.parametrize("inner", [{}, {"pine.txt": b"p" * 90}])
@pytest.mark.parametrize("large", [False, True])
def test_a_zip_cut_off_behind_an_inner_zip_is_no_good_one(
    inner: dict[str, bytes], large: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if large:
        monkeypatch.setattr(zipfile, "ZIP64_LIMIT", -1)  # the writer then takes zip64 for everything
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in inner.items():
            archive.writestr(name, content)
    monkeypatch.undo()
    within = out.getvalue()
    if large:
        assert b"PK\6\6" in within
        end = within.rindex(b"PK\5\6")
        within = within[: end + 16] + b"\xff" * 4 + within[end + 20 :]
    whole = zip_of({"reed.dng": b"r" * 9000, "backup.zip": within})
    cut = whole[: whole.index(within) + len(within)]
    with pytest.raises(Unreadable, match="directory"):
        view_gather(cut, ".zip", Salvaged())
    assert "reed.dng" in {e.path for e in zip_salvage.list_members(BadDisk(cut), len(cut), None)}


def test_a_zip_whose_members_were_all_taken_out_is_an_empty_one() -> None:
    content = zip_of({"reed.dng": b"r" * 900})
    start = content.index(b"PK\1\2")
    empty = content[:start] + b"PK\5\6" + struct.pack("<HHHHLLH", 0, 0, 0, 0, 0, start, 0)
    assert view_gather(empty, ".zip", Few()) == []


class Compared(str):
    """A path that counts how often it is compared."""

    __slots__ = ()
    times = 0
    __hash__ = str.__hash__

    def __eq__(self, other: object) -> bool:
        Compared.times += 1
        return str.__eq__(self, other)


def test_what_lies_elsewhere_is_found_without_looking_at_all_that_waits() -> None:
    entries = [Entry(Compared(f"{n}.dng"), n, None, n) for n in range(800)]
    claims = Claims(Waiting(entries))
    Compared.times = 0
    assert [claims.take_elsewhere([f"{n}.dng", "other"], n) for n in range(799, -1, -1)] == entries[::-1]
    assert claims.take_elsewhere(["0.dng"], 0) is None and not claims
    assert Compared.times < 20_000


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_little_that_unpacks_to_much_comes_in_small_pieces(method: int) -> None:
    content = zip_of({"bomb.tif": bytes(20_000_000)}, method)
    assert len(content) < 20_000
    weighed = Weighed()
    again = Weighed()
    with at_most(16_000_000):
        (entry,) = view_gather(content, ".zip", weighed)
        zip_salvage.deliver_members(BadDisk(content), len(content), None, Waiting([entry]), again)
    assert weighed.total == again.total == entry.size == 20_000_000 and not weighed.troubles()


@contextmanager
def at_most(memory: int) -> Iterator[None]:
    tracemalloc.start()
    try:
        yield
        assert tracemalloc.get_traced_memory()[1] < memory
    finally:
        tracemalloc.stop()


class Weighed(Salvaged):
    """Keeps how much came, and nothing else."""

    def __init__(self) -> None:
        super().__init__()
        self.total = 0

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self.total += len(chunk)


# --- 7z -------------------------------------------------------------------------------------------------------------


@pytest.mark.deep
@pytest.mark.parametrize("method", [py7zr.FILTER_ZSTD, py7zr.FILTER_BROTLI, py7zr.FILTER_DEFLATE, py7zr.FILTER_BZIP2])
def test_a_block_of_much_in_little_takes_little_memory(method: int) -> None:
    content = seven({"bomb.tif": bytes(80_000_000)}, [{"id": method, "level": 3}])
    assert len(content) < 200_000
    weighed = Weighed()
    with at_most(40_000_000):
        (entry,) = view_gather(content, ".7z", weighed)
    assert weighed.total == entry.size == 80_000_000 and not weighed.troubles()


def seven(files: dict[str, bytes], filters: list[dict[str, int]]) -> bytes:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w", filters=filters) as archive:
        for name, content in files.items():
            archive.writestr(content, name)
    return out.getvalue()


@pytest.mark.parametrize("method", [py7zr.FILTER_ZSTD, py7zr.FILTER_BROTLI, py7zr.FILTER_DEFLATE])
def test_what_is_packed_so_comes_whole(method: int) -> None:
    files = {f"{n}.dng": random.Random(n).randbytes(150_000) + bytes(90_000) for n in range(3)}
    got = Salvaged()
    view_gather(seven(files, [{"id": method, "level": 3}]), ".7z", got)
    assert got.good() == files


def with_header(packed: bytes, header: bytes) -> bytes:
    """Return a 7z with that next header (7zFormat.txt, "SignatureHeader")."""
    start = struct.pack("<QQL", len(packed), len(header), zlib.crc32(header))
    return b"7z\xbc\xaf\x27\x1c\0\4" + struct.pack("<L", zlib.crc32(start)) + start + packed + header


def test_a_7z_header_that_says_it_unpacks_to_100_mb_is_not_unpacked() -> None:
    def number(value: int) -> bytes:
        return b"\xff" + value.to_bytes(8, "little")

    packed = lzma.compress(bytes(1000), lzma.FORMAT_RAW, filters=[{"id": lzma.FILTER_LZMA2, "dict_size": 1 << 20}])
    header = b"\x17\x06" + number(0) + b"\1\x09" + number(len(packed)) + b"\0"
    header += b"\x07\x0b\1\0\1\x21\x21\1\x10\x0c" + number(100_000_000) + b"\0\0"
    large = with_header(b"", bytes(65 << 20))
    for content in (with_header(packed, header), large):
        with pytest.raises(Unreadable, match="larger than is read") as raised:
            view_gather(content, ".7z", Salvaged())
        assert raised.value.trouble is Trouble.UNSUPPORTED


def test_what_only_looks_like_7z_headers_is_not_read_again_for_each() -> None:
    # A beginning that says 4 million packed streams follow, whose first sizes are larger than the archive.
    content = bytes(32) + b"\x17\x06\x00\xe0\0\0\x40\x09" * 6000
    disk = Counted(content)
    assert start_headers(disk, len(content)) == []
    assert disk.bytes_read < 4 * len(content) and disk.asked < 100
    nothing = bytes(32) + b"\x17\x06\x00\xe0\0\0\x40\x09" * 64 + bytes(200_000)  # and whose sizes are all zero
    disk = Counted(nothing)
    assert start_headers(disk, len(nothing)) == []
    assert disk.bytes_read < 40_000_000


def test_a_start_header_is_made_anew_whatever_number_of_blocks_there_are() -> None:
    sizes = [5] * 9000
    header = b"\1\4\x06\0" + b"\xa3\x28" + b"\x09" + bytes(sizes)
    content = bytes(32) + bytes(sum(sizes)) + header
    (piece,) = start_headers(BadDisk(content), len(content))
    assert struct.unpack_from("<QQ", piece.data, 12) == (sum(sizes), len(header))
