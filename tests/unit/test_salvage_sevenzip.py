"""Damaged 7z archives of py7zr and LZMA2 streams of the standard library: what still comes, and nothing else."""

import io
import lzma
import random
import time
import tracemalloc
from collections.abc import Callable
from contextlib import suppress

import py7zr
import pytest
from bad_disk import BadDisk
from holed import Holed
from hypothesis import given
from hypothesis import strategies as st

from drill.copies.raw import Unreadable, Waiting
from drill.copies.sevenzip import deliver_members as deliver_plainly
from drill.copies.sevenzip import list_members as list_plainly
from drill.errors import DrillError
from drill.model import Entry, Trouble
from drill.salvage.lzma2 import Surgery
from drill.salvage.lzma2_map import map_chunks
from drill.salvage.patched import Around
from drill.salvage.sevenzip import deliver_members, list_members
from drill.salvage.sevenzip_blocks import holes_in
from drill.structure.sevenzip import anatomy_of

RANDOM = random.Random(97)
FILES = {f"R{n:02}.nef": RANDOM.randbytes(RANDOM.randrange(5_000, 90_000)) for n in range(8)}
FILES |= {f"R{n:02}.xmp": b"<x:xmpmeta n='%d'/>\n" % n * 40 for n in range(8)}
FILES |= {"scan.tif": b"".join(RANDOM.randbytes(7) * 30 for _ in range(900)), "empty.txt": b""}
PASSWORD = "kiln"
STORED = [{"id": py7zr.FILTER_COPY}]
LZMA2 = [{"id": py7zr.FILTER_LZMA2, "preset": 1}]


def packed(files: dict[str, bytes], **options: object) -> bytes:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w", **options) as archive:  # type: ignore[arg-type]
        for name, content in sorted(files.items()):
            archive.writestr(content, name)
    return out.getvalue()


def appended(files: dict[str, bytes]) -> bytes:
    """One block for each member."""
    out = io.BytesIO(packed({}))
    for number, (name, content) in enumerate(files.items()):
        out.seek(0)
        with py7zr.SevenZipFile(out, "a" if number else "w", filters=LZMA2) as archive:
            archive.writestr(content, name)
    return out.getvalue()


KINDS: dict[str, Callable[[dict[str, bytes]], bytes]] = {
    "LZMA2 with BCJ": packed,
    "LZMA2": lambda files: packed(files, filters=LZMA2),
    "stored": lambda files: packed(files, filters=STORED),
    "blocks": appended,
    "encrypted": lambda files: packed(files, password=PASSWORD, header_encryption=False),
    "encrypted names": lambda files: packed(files, password=PASSWORD, header_encryption=True),
    "stored, encrypted": lambda files: packed(
        files, password=PASSWORD, filters=[*STORED, {"id": py7zr.FILTER_CRYPTO_AES256_SHA256}]
    ),
    "LZMA2 with delta": lambda files: packed(files, filters=[{"id": py7zr.FILTER_DELTA}, *LZMA2]),
    "zstd": lambda files: packed(files, filters=[{"id": py7zr.FILTER_ZSTD, "level": 3}]),
}
BUILT = {name: build(FILES) for name, build in KINDS.items()}


def password_of(name: str) -> str | None:
    return PASSWORD if "encrypted" in name else None


def salvaged(content: bytes, password: str | None, bad: set[int] | frozenset[int] = frozenset()) -> Holed:
    holed = Holed()
    try:
        listed = list_members(BadDisk(content, bad, 512), len(content), password)
        deliver_members(BadDisk(content, bad, 512), len(content), password, Waiting(listed), holed)
    except Unreadable:
        return holed
    return holed


def plainly(content: bytes, password: str | None, bad: set[int]) -> Holed:
    holed = Holed()
    try:
        listed = list_plainly(BadDisk(content, bad, 512), password)
        deliver_plainly(BadDisk(content, bad, 512), password, Waiting(listed), holed)
    except DrillError:
        return holed
    return holed


def came(holed: Holed) -> set[str]:
    contents = {content for content, _ in holed.got.values()}
    return {path for path, content in FILES.items() if content in contents}


@pytest.mark.parametrize("name", KINDS)
def test_of_a_sound_archive_everything_comes(name: str) -> None:
    holed = salvaged(BUILT[name], password_of(name))
    assert holed.good() == FILES and not any(holed.holes.values())


@pytest.mark.parametrize("name", KINDS)
def test_a_lost_start_header_costs_nothing(name: str) -> None:
    assert salvaged(bytes(32) + BUILT[name][32:], password_of(name)).good() == FILES


def test_an_end_header_that_is_not_packed_is_found_too() -> None:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w", filters=STORED) as archive:
        archive.set_encoded_header_mode(False)
        for name, content in FILES.items():
            archive.writestr(content, name)
    content = out.getvalue()
    assert content[-400:].find(b"\x17\x06") < 0
    assert salvaged(bytes(32) + content[32:], None).good() == FILES


def test_blocks_without_headers_come_under_numbers_that_no_member_has() -> None:
    content = BUILT["blocks"]
    last = max(e.end for e in anatomy_of(BadDisk(content), len(content), None, kept=False).extents if not e.why)
    holed = salvaged(bytes(32) + content[32:last] + bytes(200), None)
    assert came(holed) == set(FILES) - {"empty.txt"}
    assert [(e.path, e.index) for e in holed.got][:2] == [("block-0001", -1), ("block-0002", -2)]
    for name in ("stored", "encrypted", "zstd"):
        with pytest.raises(Unreadable):
            list_members(BadDisk(BUILT[name][:-700]), len(BUILT[name]) - 700, password_of(name))


def test_what_is_whole_keeps_its_neighbours_holes_to_itself() -> None:
    content = BUILT["stored"]
    holed = salvaged(content, None, {40})
    troubled = {e.path: problem for e, (_, problem) in holed.got.items() if problem is not None}
    (path,) = troubled
    (entry,) = (e for e in holed.got if e.path == path)
    ((start, end),) = holed.holes[entry]
    assert end - start == 512 and troubled[path].trouble is Trouble.IO and holed.covered(entry, FILES[path])


def test_a_check_value_that_differs_alone_is_no_hole() -> None:
    content = bytearray(BUILT["stored"])
    content[20_000] ^= 1
    holed = salvaged(bytes(content), None)
    assert set(holed.troubles().values()) == {Trouble.CHECK_VALUE} and not any(holed.holes.values())
    assert len(holed.got) == len(FILES)


def test_what_cannot_be_read_here_is_said_and_not_called_damaged() -> None:
    ppmd = packed({"a": b"reed" * 99}, filters=[{"id": py7zr.FILTER_PPMD, "order": 6, "mem": 24}])
    assert salvaged(ppmd, None).troubles() == {"a": Trouble.UNSUPPORTED}
    for password in (None, "heron"):
        with pytest.raises(Unreadable) as refused:
            list_members(BadDisk(BUILT["encrypted names"]), len(BUILT["encrypted names"]), password)
        assert refused.value.trouble is Trouble.REFUSED


def test_absurd_sizes_give_no_more_than_can_be_there() -> None:
    # A crafted header asks for 2^40 bytes out of a few: the reader may not fill a disk with zeros.
    class Count(Holed):
        seen = 0

        def data(self, chunk: bytes | bytearray | memoryview) -> None:
            self.seen += len(chunk)

    import py7zr.archiveinfo as info  # noqa: PLC0415

    real = info.write_uint64
    try:
        info.write_uint64 = lambda file, value: real(file, 1 << 40 if value == 4321 else value)
        content = packed({"bomb": b"\0" * 4321}, filters=LZMA2)
    finally:
        info.write_uint64 = real
    count = Count()
    entries = [Entry("bomb", 1 << 40, None, 0)]
    deliver_members(BadDisk(content), len(content), None, Waiting(entries), count)
    assert count.seen <= 1 << 24


@pytest.mark.parametrize("name", KINDS)
def test_mutated_headers_end_with_a_reason(name: str) -> None:
    content, chance = BUILT[name], random.Random(name)
    began = time.perf_counter()
    for _ in range(25):
        mutant = bytearray(content)
        for _ in range(chance.choice((1, 1, 2, 8))):
            place = chance.choice((chance.randrange(32), len(mutant) - 1 - chance.randrange(min(700, len(mutant)))))
            mutant[place] = chance.choice((0, 1, 0xFF, chance.randrange(256)))
        if chance.random() < 0.3:
            del mutant[chance.randrange(len(mutant)) :]
        holed = salvaged(bytes(mutant), password_of(name))
        for entry, (data, problem) in holed.got.items():
            assert entry.size is not None and len(data) <= entry.size
            assert problem is not None or entry.index < 0 or data in FILES.values() or not data
        held, password = bytes(mutant), password_of(name)
        with suppress(DrillError, OSError):
            list_plainly(BadDisk(held), password)
        with suppress(DrillError, OSError):
            anatomy_of(BadDisk(held), len(held), password, kept=False)
    assert time.perf_counter() - began < 120


@given(st.sampled_from(sorted(KINDS)), st.sets(st.integers(0, 900), min_size=1, max_size=3), st.integers(0, 900))
def test_law_nothing_wrong_never_less_than_plainly_and_no_more_for_more_damage(
    name: str, bad: set[int], further: int
) -> None:
    content, password = BUILT[name], password_of(name)
    holed = salvaged(content, password, bad)
    for entry, (data, problem) in holed.got.items():
        assert problem is not None or data == FILES.get(entry.path) or entry.index < 0
        assert entry.index < 0 or holed.covered(entry, FILES[entry.path]) or problem is not None
    assert came(holed) >= plainly(content, password, bad).whole(FILES)
    assert came(salvaged(content, password, bad | {further})) <= came(holed)


# --- LZMA2 alone -----------------------------------------------------------------------------------------------------


def stream(content: bytes, size: int) -> bytes:
    return lzma.compress(content, lzma.FORMAT_RAW, filters=[{"id": lzma.FILTER_LZMA2, "dict_size": size}])


def surgery(packed: bytes, unpacked: int, bad: set[int], dictionary: int) -> tuple[bytes, list[tuple[int, int]]]:
    around = Around(BadDisk(packed, bad, 512))
    holes = holes_in(around, 0)
    chunks = map_chunks(around, len(packed), holes, unpacked=unpacked)
    operated = Surgery(around, chunks, holes, dictionary=dictionary)
    return b"".join(operated.chunks()), operated.doubts


@given(st.sets(st.integers(0, 600), max_size=4), st.sampled_from([4096, 1 << 16, 1 << 20]))
def test_surgery_gives_every_byte_and_doubts_those_that_are_wrong(bad: set[int], dictionary: int) -> None:
    content = FILES["R00.nef"] + FILES["scan.tif"] + FILES["R01.nef"] + FILES["scan.tif"][:9000] + FILES["R02.nef"]
    packed_bytes = stream(content, dictionary)
    got, doubts = surgery(packed_bytes, len(content), bad, dictionary)
    assert len(got) == len(content)
    repaired = bytearray(got)
    for start, end in doubts:
        repaired[start:end] = content[start:end]
    assert bytes(repaired) == content
    if not any(number * 512 < len(packed_bytes) for number in bad):
        assert got == content and not doubts


def test_memory_stays_small_whatever_comes_after_the_damage() -> None:
    block = RANDOM.randbytes(1 << 16)
    piece = b"\x02\xff\xff" + block
    packed_bytes = b"\x01\xff\xff" + block + piece * 700 + b"\0"  # 45 MB
    around = Around(BadDisk(packed_bytes, {3000}, 512))
    holes = holes_in(around, 0)
    tracemalloc.start()
    chunks = map_chunks(around, len(packed_bytes), holes, unpacked=701 << 16)
    operated = Surgery(around, chunks, holes, dictionary=1 << 22)
    seen = sum(len(piece) for piece in operated.chunks())
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert seen == 701 << 16 and peak < 20_000_000 and operated.doubts == [(3000 * 512 - 3 * 24, 3001 * 512 - 3 * 24)]
