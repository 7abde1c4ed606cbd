"""Where a tar ends: at zeros up to its last byte, and not where zeros stand in the place of a file's header.

POSIX (pax interchange format): two blocks of zeros are the end. GNU tar, 7-Zip and Python's tarfile end at the first.
"""

import gzip
import io
import lzma
import random
import tarfile
from collections.abc import Iterable
from pathlib import Path

import pytest
import zstandard
from bad_disk import BadDisk

from drill.copies import list_archive
from drill.copies.tarred import is_complete, reader
from drill.model import Entry, Listing, Store

RANDOM = random.Random(2026)
FILES = {f"reed/R{n:02}.dng": RANDOM.randbytes(5_000 + 700 * n) for n in range(20)}
NAMES = [*FILES]
EMPTY = "reed/empty.xmp"
FILES[EMPTY] = b""
PACK = {
    ".tar": bytes,
    ".tar.gz": gzip.compress,
    ".tar.xz": lzma.compress,
    ".tar.zst": zstandard.ZstdCompressor().compress,
}


def tarred(names: Iterable[str], *, padded: bool = True) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w") as tar:
        for name in names:
            info = tarfile.TarInfo(name)
            info.size = len(FILES[name])
            tar.addfile(info, io.BytesIO(FILES[name]))
        end = tar.offset
    return out.getvalue() if padded else out.getvalue()[:end] + bytes(1024)


def header_of(content: bytes, number: int) -> int:
    with tarfile.open(fileobj=io.BytesIO(content)) as tar:
        return tar.getmembers()[number].offset


def zeroed(content: bytes, start: int, size: int) -> bytes:
    return content[:start] + bytes(size) + content[start + size :]


def listing(content: bytes, kind: str = ".tar", *, bad: Iterable[int] = ()) -> Listing:
    store = Store(files=lambda: [Entry("a", len(content))], open=lambda entry: BadDisk(content, bad))
    return list_archive(store, kind, None)


def names(found: Listing) -> list[str]:
    return [entry.path for entry in found.entries]


@pytest.mark.parametrize("kind", PACK)
def test_a_sound_tar_is_sound(kind: str) -> None:
    for padded in (True, False):
        content = PACK[kind](tarred(NAMES, padded=padded))
        assert listing(content, kind) == Listing(listing(content, kind).entries)
        assert names(listing(content, kind)) == NAMES
        assert is_complete(kind, BadDisk(content))


@pytest.mark.parametrize("kind", PACK)
@pytest.mark.parametrize("number", [1, 9, 19])
def test_behind_a_header_of_zeros_the_listing_goes_on_and_says_so(kind: str, number: int) -> None:
    plain = tarred(NAMES)
    content = PACK[kind](zeroed(plain, header_of(plain, number), 512))
    found = listing(content, kind)
    assert names(found) == NAMES[:number] + NAMES[number + 1 :]
    assert "overwritten with zeros" in found.damage
    assert found.others == (number if number < 19 else None)
    assert not is_complete(kind, BadDisk(content))


def test_a_sector_of_zeros_takes_what_lay_in_it_and_nothing_behind_it() -> None:
    plain = tarred(NAMES)
    for number in range(1, 20):
        start = header_of(plain, number) // 4096 * 4096
        hit = [n for n in range(20) if start <= header_of(plain, n) < start + 4096]
        found = listing(zeroed(plain, start, 4096))
        assert names(found) == [name for n, name in enumerate(NAMES) if n not in hit]
        assert found.damage


def test_one_block_of_zeros_before_a_header_is_no_end() -> None:
    # The header of an empty file or a folder has nothing behind it.
    plain = tarred([*NAMES[:3], EMPTY, *NAMES[3:]])
    found = listing(zeroed(plain, header_of(plain, 3), 512))
    assert names(found) == NAMES and found.damage and found.others == 3


@pytest.mark.parametrize("padded", [True, False])
def test_tars_one_after_the_other_are_listed_and_no_damage(padded: bool) -> None:
    # As `cat` joins them: GNU tar and Python pad to 20 blocks, 7-Zip and libarchive end with two.
    content = tarred(NAMES[:7], padded=padded) + tarred(NAMES[7:])
    found = listing(content)
    assert names(found) == NAMES and not found.damage and found.others == 7
    assert is_complete(".tar", BadDisk(content))
    second = header_of(tarred(NAMES[7:]), 4)
    hurt = zeroed(content, len(content) - len(tarred(NAMES[7:])) + second, 512)
    assert "overwritten" in listing(hurt).damage and len(listing(hurt).entries) == 19


def test_a_tar_that_is_cut_short_says_so() -> None:
    content = tarred(NAMES)
    for size in (header_of(content, 12), header_of(content, 12) + 3_000):
        found = listing(content[:size])
        assert "cut short" in found.damage, size


def test_a_header_that_makes_no_sense_is_said() -> None:
    plain = bytearray(tarred(NAMES))
    place = header_of(bytes(plain), 5)
    plain[place : place + 512] = RANDOM.randbytes(512)
    found = listing(bytes(plain))
    assert names(found) == NAMES[:5] + NAMES[6:] and "makes no sense" in found.damage and found.others is None


def test_a_bad_sector_behind_the_end_takes_no_file_and_is_said() -> None:
    content = tarred(NAMES) + bytes(20 * 4096)
    found = listing(content, bad=[len(content) // 4096 - 4])
    assert names(found) == NAMES and "cannot be read to its end" in found.damage


def test_of_a_sound_plain_tar_only_headers_and_the_end_are_read() -> None:
    content = tarred(NAMES)
    disk = BadDisk(content)
    assert len(reader(".tar")[0](disk, None).entries) == len(NAMES)
    assert disk.bytes_read <= 512 * (len(NAMES) + 1) + tarfile.RECORDSIZE


def test_a_tar_may_end_with_many_zeros(tmp_path: Path) -> None:
    path = tmp_path / "a.tar"
    path.write_bytes(tarred(NAMES))
    with path.open("r+b") as file:
        file.truncate(64 << 20)
    store = Store(files=lambda: [Entry("a", 64 << 20)], open=lambda entry: path.open("rb", buffering=0))
    assert list_archive(store, ".tar", None).damage == ""
