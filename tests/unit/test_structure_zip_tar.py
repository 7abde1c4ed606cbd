"""What lies where in a zip or a tar: every byte is told once, members in their order, costs as the format has them."""

import gzip
import io
import lzma
import random
import tracemalloc
import zipfile

import pytest
from bad_disk import BadDisk
from written import PACKERS, tar_of, zip_of

from drill.copies import Unreadable
from drill.extents import Anatomy, Part
from drill.structure import tarred, zipped

RANDOM = random.Random(20260912)
SEARCHED = 128 * 1024  # what 7-Zip reads at once to find a zip's directory (strace)
FILES = {
    "kiln/A.dng": RANDOM.randbytes(70_000),
    "kiln/A.xmp": b"<x:xmpmeta/>\n" * 40,
    "kiln/none.txt": b"",
    "kiln/B.dng": RANDOM.randbytes(50_001),
    "B.tif": b"\0\1" * 30_000,
}


def anatomy(kind: str, content: bytes, *, kept: bool = False) -> Anatomy:
    raw = BadDisk(content)
    if kind == ".zip":
        return zipped.anatomy_of(raw, len(content), None, kept=kept)
    return tarred.anatomy_of(kind, raw, len(content), kept=kept)


def archive_of(kind: str) -> bytes:
    match kind:
        case ".zip":
            return zip_of(FILES)
        case ".tar":
            return tar_of(FILES)
    return PACKERS[kind](tar_of(FILES))


@pytest.mark.parametrize("kind", [".zip", ".tar", ".tar.gz", ".tar.xz", ".tar.zst"])
@pytest.mark.parametrize("kept", [False, True])
def test_every_byte_is_told_once_and_every_member_is_there(kind: str, kept: bool) -> None:
    content = archive_of(kind)
    found = anatomy(kind, content, kept=kept)
    assert [e.path for e in found.members] == ["kiln/A.dng", "kiln/A.xmp", "kiln/B.dng", "B.tif", "kiln/none.txt"]
    at = 0
    for extent in found.extents:
        assert extent.start == at < extent.end
        at = extent.end
        assert 0 <= extent.stops <= len(FILES)
        for first, last in (extent.least, extent.most):
            assert 0 <= first <= last <= len(FILES)
        if extent.least[0] < extent.least[1]:
            assert extent.most[0] <= extent.least[0] and extent.least[1] <= extent.most[1]
    assert at == found.size == len(content)
    assert found.stream_size == sum(map(len, FILES.values()))


@pytest.mark.parametrize("kind", [".zip", ".tar"])
def test_a_stored_members_bytes_are_told_exactly(kind: str) -> None:
    content = archive_of(kind)
    found = anatomy(kind, content)
    for number, entry in enumerate(found.members[:4]):
        extents = [e for e in found.extents if e.part is Part.STORED and e.least == (number, number + 1)]
        assert b"".join(content[e.start : e.end] for e in extents) == FILES[entry.path]
        assert all(e.most == e.least for e in extents)
        begins = extents[0]
        assert begins.stops == (0 if kind == ".zip" and begins.end > len(content) - SEARCHED else number)


def test_who_stops_finds_no_directory_where_a_zips_end_cannot_be_read() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for number in range(9):
            archive.writestr(f"R{number}.dng", RANDOM.randbytes(50_000))
    content = out.getvalue()
    edge = len(content) - SEARCHED
    found = anatomy(".zip", content)
    assert any(e.start == edge for e in found.extents) and found.extents[-1].end == len(content)
    assert all(e.stops == 0 for e in found.extents if e.start >= edge)
    assert {e.stops for e in found.extents if e.part is Part.STORED and e.end <= edge} == set(range(7))
    assert [e.least for e in found.extents if e.part is Part.STORED and e.start >= edge] == [(6, 7), (7, 8), (8, 9)]


def test_a_zips_directory_is_needed_by_who_stops_and_costs_nothing_at_best() -> None:
    found = anatomy(".zip", archive_of(".zip"))
    last = found.extents[-1]
    assert last.part is Part.HEADERS and last.stops == 0 and last.most == (0, 0)


def test_a_tars_header_costs_its_member_unless_a_copy_of_it_is_kept() -> None:
    headers = [e for e in anatomy(".tar", archive_of(".tar")).extents if e.part is Part.HEADERS]
    assert [e.most for e in headers] == [(0, 0), (0, 1), (1, 2), (4, 5), (2, 3), (3, 4)]
    assert [e.stops for e in headers] == [0, 0, 1, 2, 2, 3]
    kept = anatomy(".tar", archive_of(".tar"), kept=True)
    assert kept.kept_elsewhere and all(e.most == (0, 0) for e in kept.extents if e.part is Part.HEADERS)


def test_blocks_of_xz_bound_what_a_sector_costs() -> None:
    plain = tar_of({f"{n}.dng": RANDOM.randbytes(40_000) for n in range(20)})
    blocks = b"".join(lzma.compress(plain[at : at + 100_000]) for at in range(0, len(plain), 100_000))
    found = anatomy(".tar.xz", blocks)
    assert found.restarts == len(plain) // 100_000
    assert all(e.most[1] - e.most[0] <= 5 for e in found.extents)
    whole = anatomy(".tar.xz", lzma.compress(plain))
    assert whole.restarts == 0 and whole.extents[0].most == (0, 20)


def test_only_headers_are_read_of_a_plain_archive() -> None:
    for kind in (".zip", ".tar"):
        content = archive_of(kind) if kind == ".zip" else tar_of({"kiln/big.dng": bytes(8_000_000)})
        raw = BadDisk(content)
        if kind == ".zip":
            zipped.anatomy_of(raw, len(content), None, kept=False)
            assert raw.bytes_read < 100_000
        else:
            tarred.anatomy_of(kind, raw, len(content), kept=False)
            assert raw.bytes_read < 15_000  # with the zeros behind the end, which are looked at


def test_a_packed_tar_takes_little_memory() -> None:
    packed = gzip.compress(tar_of({f"{n}.tif": bytes(3_000_000) for n in range(20)}))
    tracemalloc.start()
    anatomy(".tar.gz", packed)
    assert tracemalloc.get_traced_memory()[1] < 8_000_000
    tracemalloc.stop()


@pytest.mark.parametrize("kind", [".zip", ".tar", ".tar.gz", ".tar.xz", ".tar.zst"])
def test_what_is_no_archive_is_unreadable(kind: str) -> None:
    for content in (b"", b"no archive at all " * 1000, archive_of(kind)[:40]):
        if kind == ".tar" and not content:
            continue
        with pytest.raises(Unreadable):
            anatomy(kind, content)
