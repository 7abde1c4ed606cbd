"""What lies where in a 7z archive: stored to the byte, LZMA2 by its chunks, encrypted by its grains, headers."""

import io
import lzma
from collections.abc import Iterator
from itertools import pairwise

import py7zr
import pytest
from bad_disk import BadDisk
from hypothesis import given
from hypothesis import strategies as st

from drill.copies.raw import Unreadable
from drill.copies.sevenzip.chunks import chunk_at
from drill.extents import Anatomy, Part
from drill.model import Trouble
from drill.streams import InMemory
from drill.structure.chunked import costs_of, follow
from drill.structure.costs import Cost, Places, merged, spread
from drill.structure.sevenzip import anatomy_of

FILES = {"a.dng": bytes(range(1, 251)) * 40, "empty.txt": b"", "b.xmp": b"reed" * 100, "c.dng": bytes(range(250)) * 30}
PASSWORD = "heron"


def packed(files: dict[str, bytes] = FILES, **options: object) -> bytes:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w", **options) as archive:  # type: ignore[arg-type]
        for name, content in files.items():
            archive.writestr(content, name)
    return out.getvalue()


def anatomy(content: bytes, password: str | None = None, *, kept: bool = False) -> Anatomy:
    found = anatomy_of(InMemory(content), len(content), password, kept=kept)
    assert found.extents[0].start == 0 and found.extents[-1].end == len(content)
    assert all(one.end == other.start for one, other in pairwise(found.extents))
    return found


def test_a_stored_block_is_told_to_the_byte() -> None:
    found = anatomy(packed(filters=[{"id": py7zr.FILTER_COPY}]))
    assert [entry.path for entry in found.members] == ["a.dng", "b.xmp", "c.dng", "empty.txt"]
    stored = [(e.start, e.end, e.least, e.most, e.stops) for e in found.extents if e.part is Part.STORED]
    assert stored == [
        (32, 10032, (0, 1), (0, 1), 0),
        (10032, 10432, (1, 2), (1, 2), 1),
        (10432, 17932, (2, 3), (2, 3), 2),
    ]
    assert (found.stream_size, found.packed_size, found.restarts) == (17900, 17900, None)


def test_headers_cost_everything_unless_a_copy_is_kept() -> None:
    content = packed(filters=[{"id": py7zr.FILTER_COPY}])
    start, end = (e for e in anatomy(content).extents if e.part is Part.HEADERS)
    assert (start.start, start.end, start.stops, start.most) == (0, 32, 0, (4, 4))  # it can be made anew
    assert (end.end, end.stops, end.least, end.most) == (len(content), 0, (0, 4), (0, 4))
    kept = anatomy(content, kept=True)
    assert kept.kept_elsewhere and {e.most for e in kept.extents if e.part is Part.HEADERS} == {(4, 4)}
    behind = anatomy(content + b"something appended")
    assert behind.extents[0].most == (0, 4) and behind.extents[-1].part is Part.NOTHING


def test_a_grain_of_an_encrypted_block_spoils_the_next_one_too() -> None:
    filters = [{"id": py7zr.FILTER_COPY}, {"id": py7zr.FILTER_CRYPTO_AES256_SHA256}]
    found = anatomy(packed(filters=filters, password=PASSWORD), PASSWORD)
    # a.dng ends at 10000, b.xmp at 10400, c.dng at 17900; 16 bytes are a grain.
    for number, (start, end) in enumerate([(0, 10000), (10000, 10400), (10400, 17900)]):
        for extent in found.extents:
            if extent.part is not Part.ENCRYPTED:
                continue
            spoils = extent.start - 32 < end and start < (extent.end - 32 - 1) // 16 * 16 + 32
            assert (extent.least[0] <= number < extent.least[1]) == spoils, (extent, number)


def test_a_wrong_password_and_no_archive_are_said() -> None:
    content = packed(password=PASSWORD, header_encryption=False)
    for password in (None, "kiln"):
        with pytest.raises(Unreadable) as refused:
            anatomy(content, password)
        assert refused.value.trouble is Trouble.REFUSED
    for other in (b"", b"7z\xbc\xaf\x27\x1c", content[:-1], b"P" * 900):
        with pytest.raises(Unreadable) as damaged:
            anatomy(other)
        assert damaged.value.trouble is Trouble.DAMAGED


def test_only_headers_and_chunk_headers_are_read() -> None:
    files = {f"R{n}.dng": bytes((n * 7 + k * k) % 251 for k in range(300_000)) for n in range(3)}
    content = packed(files)
    disk = BadDisk(content)
    found = anatomy_of(disk, len(content), None, kept=False)
    header = sum(e.end - e.start for e in found.extents if e.part is Part.HEADERS)
    assert disk.bytes_read < 2 * header + 6 * 64


# --- chunks: LZMA SDK, Lzma2Dec.c ------------------------------------------------------------------------------------


def test_chunk_headers_by_the_format() -> None:
    assert chunk_at(b"\0") == (0, 1, 0, 0)
    assert chunk_at(b"\x01\x00\x00") == (1, 3, 1, 1)
    assert chunk_at(b"\x02\xff\xff....") == (2, 3, 65536, 65536)
    assert chunk_at(b"\x80\x00\x00\x00\x00") == (0x80, 5, 1, 1)
    assert chunk_at(b"\xff\xff\xff\xff\xff\x5d") == (0xFF, 6, 65536, 2 << 20)
    assert [
        bool(c and c.resets_dictionary) for c in map(chunk_at, (b"\x01\0\0", b"\x02\0\0", b"\xe0\0\0\0\0\x5d"))
    ] == [
        True,
        False,
        True,
    ]
    for head in (b"", b"\x03\0\0\0\0\0", b"\x7f\0\0\0\0\0", b"\x01\0", b"\xe0\0\0\0\0\xe1", b"\xa0\0\0\0"):
        assert chunk_at(head) is None


def stored(size: int, control: int = 2) -> bytes:
    return bytes((control,)) + (size - 1).to_bytes(2, "big") + b"s" * size


def compressed(unpacked: int, packed: int, control: int) -> bytes:
    head = bytes((control | (unpacked - 1) >> 16,)) + ((unpacked - 1) & 0xFFFF).to_bytes(2, "big")
    return head + (packed - 1).to_bytes(2, "big") + (b"\x5d" if control >= 0xC0 else b"") + b"\0" * packed


def costs(stream: bytes, spans: list[tuple[int, int]], dictionary: int = 1 << 20) -> list[Cost]:
    places = Places(0, spans)
    chain = follow(InMemory(stream), len(stream), places)
    return list(merged(costs_of(chain, places, packed=len(stream), dictionary=dictionary)))


def test_a_chunk_costs_what_the_decoder_cannot_do_without_it() -> None:
    members = [(n * 1000, n * 1000 + 1000) for n in range(8)]
    stream = stored(2000, 1) + compressed(2000, 100, 0xC0) + compressed(1000, 90, 0x80) + compressed(1000, 80, 0xA0)
    stream += compressed(2000, 70, 0xE0) + b"\0"
    found = costs(stream, members)
    at = {where: next(c for c in found if c.start <= where < c.end) for where in (500, 1500, 2050, 2170, 2270, 2330)}
    assert at[500].least == (0, 1) and at[500].most == (0, 6)  # what is compressed later may copy from it
    assert at[1500].least == (1, 2) and at[1500].most == (1, 6)
    assert at[2050].least == (3, 5) and at[2050].most == (2, 6)  # the next chunk goes on from its state
    assert at[2170].least == (4, 5) and at[2170].most == (4, 6)
    assert at[2270].least == (5, 6) and at[2270].most == (5, 6)
    assert at[2330].least == (7, 8) and at[2330].most == (6, 8)
    assert found[-1].most == (8, 8) and found[-1].why == "the end of a block"


def test_nothing_is_copied_from_further_than_the_dictionary() -> None:
    members = [(0, 5000), (5000, 65000), (65000, 66000)]
    stream = stored(5000, 1) + stored(60000) + compressed(1000, 100, 0xC0) + b"\0"
    assert costs(stream, members, 4096)[1].most == (0, 1)
    assert costs(stream, members, 1 << 16)[1].most == (0, 3)


def test_what_cannot_be_followed_is_a_bound() -> None:
    whole = stored(1000, 1) + stored(1000) + b"\0"
    broken = costs(whole[:1003] + b"\x55" + whole[1004:], [(0, 1000), (1000, 2000)])
    assert broken[-1].least == (1, 1) and broken[-1].most == (1, 2)
    for cut in range(len(whole)):
        found = costs(whole[:cut], [(0, 1000), (1000, 2000)])
        assert not found or found[-1].end == cut


def test_chunks_of_the_standard_library_are_followed_to_their_end() -> None:
    content = b"saltmarsh" * 400_000
    stream = lzma.compress(content, lzma.FORMAT_RAW, filters=[{"id": lzma.FILTER_LZMA2, "preset": 1}])
    chain = follow(InMemory(stream), len(stream), Places(0, [(0, len(content))]))
    assert chain.broken is None and chain.size == len(content) and chain.end == len(stream) and chain.restarts == 1


def test_chunks_that_cost_the_same_are_kept_as_one() -> None:
    stream = stored(900, 1) + stored(900) * 50 + compressed(900, 90, 0xC0) + compressed(900, 90, 0x80) * 50 + b"\0"
    spans = [(0, 900 * 20), (900 * 20, 900 * 80), (900 * 80, 900 * 102)]
    found = costs(stream, spans)
    assert {c.least for c in found if c.start >= 3 and c.end <= 20 * 903} == {(0, 1)}
    assert len(found) <= 12 and found[-1].end == len(stream)
    assert len(follow(InMemory(stream), len(stream), Places(0, spans))) == 4


@st.composite
def stretches(draw: st.DrawFn) -> list[Cost]:
    found, at, member = [], 0, 0
    for length in draw(st.lists(st.integers(1, 60), min_size=1, max_size=12)):
        found.append(Cost(at, at + length, Part.STORED, member, (member, member + 1), (member, member + 2)))
        at, member = at + length, member + draw(st.integers(0, 1))
    return found


@given(stretches())
def test_spreading_over_grains_agrees_with_every_byte(plain: list[Cost]) -> None:
    size = -(-plain[-1].end // 16) * 16

    def brute() -> Iterator[tuple[int, int]]:
        for byte in range(size):
            hit = [c for c in plain if c.start < byte // 16 * 16 + 32 and c.end > byte // 16 * 16]
            yield min(c.least[0] for c in hit), max(c.most[1] for c in hit)

    found = list(spread(merged(plain), grain=16, size=size))
    assert found[0].start == 0 and found[-1].end == size
    assert [(c.least[0], c.most[1]) for c in found for _ in range(c.start, c.end)] == list(brute())
