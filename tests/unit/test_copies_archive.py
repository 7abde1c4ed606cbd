"""Archives as copies: the same members out of every format, and what damage takes and leaves.

Formats are written with the libraries here; `reference/test_archive_programs.py` holds them against the programs.
"""

import io
import lzma
import os
import random
import struct
import tarfile
import time
import tracemalloc
import zipfile
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from gzip import compress as gzipped
from pathlib import Path

import py7zr
import pytest
import zstandard
from bad_disk import BadDisk
from gather import Gather

from drill.copies import ARCHIVES, archive_format, archive_view, file_store
from drill.errors import CannotRead, Unfinished
from drill.model import Entry, Store, Trouble, View

RANDOM = random.Random(20260912)
FILES = {
    "2026/heron/ABCD0001.DNG": RANDOM.randbytes(70_000),
    "2026/heron/ABCD0001.xmp": b"<x:xmpmeta rating='4'/>\n" * 40,
    "2026/heron/empty.txt": b"",
    "2026/heron/ABCD0002.DNG": RANDOM.randbytes(50_001),
    "2026/heron/Nuñez 1.jpg": bytes(range(256)) * 100,
    "a.tif": b"\0\1" * 30_000,
    "last.DNG": RANDOM.randbytes(40_000),
}
WHEN = 1_789_000_000


def on_disk(content: bytes, bad: Iterable[int] = (), sector: int = 4096) -> Store:
    bad = frozenset(bad)
    return Store(lambda: [Entry("archive", len(content))], lambda entry: BadDisk(content, bad, sector))


def view_of(content: bytes, kind: str, *, password: str | None = None, bad: Iterable[int] = ()) -> View:
    return archive_view(on_disk(content, bad), kind, password)


def everything(view: View, wanted: Sequence[Entry] | None = None) -> Gather:
    gather = Gather()
    view.deliver(view.entries() if wanted is None else wanted, gather)
    return gather


# --- writers ---------------------------------------------------------------------------------------------------


def seven(files: dict[str, bytes], **options: object) -> bytes:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w", **options) as archive:  # type: ignore[arg-type]
        for name, content in files.items():
            archive.writestr(content, name)
    return out.getvalue()


def seven_copied(files: dict[str, bytes]) -> bytes:
    return seven(files, filters=[{"id": py7zr.FILTER_COPY}])


def seven_blocks(files: dict[str, bytes]) -> bytes:
    """One block (7z "folder") for each member, as an archive grows when it is appended to."""
    out = io.BytesIO(seven({}))
    for number, (name, content) in enumerate(files.items()):
        out.seek(0)
        with py7zr.SevenZipFile(out, "a" if number else "w") as archive:
            archive.writestr(content, name)
    return out.getvalue()


def zipped(files: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, (2026, 9, 12, 19, 30, 2)), content, method)
    return out.getvalue()


def tarred(files: dict[str, bytes], form: int = tarfile.PAX_FORMAT) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=form) as archive:
        for name, content in files.items():
            info = tarfile.TarInfo(name)
            info.size, info.mtime = len(content), WHEN
            archive.addfile(info, io.BytesIO(content))
    return out.getvalue()


def zst(content: bytes) -> bytes:
    return zstandard.ZstdCompressor(write_checksum=True).compress(content)


WRITERS: dict[str, tuple[str, Callable[[dict[str, bytes]], bytes]]] = {
    "7z": (".7z", seven),
    "7z stored": (".7z", seven_copied),
    "7z blocks": (".7z", seven_blocks),
    "7z encrypted": (".7z", lambda files: seven(files, password="pässword", header_encryption=False)),
    "7z encrypted header": (".7z", lambda files: seven(files, password="pässword", header_encryption=True)),
    "zip": (".zip", zipped),
    "zip stored": (".zip", lambda files: zipped(files, zipfile.ZIP_STORED)),
    "zip bzip2": (".zip", lambda files: zipped(files, zipfile.ZIP_BZIP2)),
    "zip lzma": (".zip", lambda files: zipped(files, zipfile.ZIP_LZMA)),
    "tar": (".tar", tarred),
    "tar gnu": (".tar", lambda files: tarred(files, tarfile.GNU_FORMAT)),
    "tar.gz": (".tar.gz", lambda files: gzipped(tarred(files))),
    "tar.xz": (".tar.xz", lambda files: lzma.compress(tarred(files))),
    "tar.zst": (".tar.zst", lambda files: zst(tarred(files))),
}
BUILT = {name: (kind, write(FILES)) for name, (kind, write) in WRITERS.items()}
every_format = pytest.mark.parametrize("name", BUILT)


def built(name: str, *, bad: Iterable[int] = ()) -> View:
    kind, content = BUILT[name]
    return view_of(content, kind, password="pässword" if "encrypted" in name else None, bad=bad)


# --- whole archives --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("x.7z", ".7z"),
        ("X.ZIP", ".zip"),
        ("a.b.Tar.Gz", ".tar.gz"),
        ("a.tar.xz", ".tar.xz"),
        ("a.tar.zst", ".tar.zst"),
        ("a.tar", ".tar"),
        ("a.gz", None),
        ("a.7z.txt", None),
        (".7z", None),
        ("7z", None),
    ],
)
def test_the_ending_tells_the_format(name: str, kind: str | None) -> None:
    assert archive_format(name) == kind
    assert kind is None or kind in ARCHIVES


@every_format
def test_every_member_is_listed_and_comes_out_byte_for_byte(name: str) -> None:
    view = built(name)
    entries = view.entries()
    assert [(e.path, e.size) for e in entries] == [(path, len(content)) for path, content in FILES.items()]
    assert len({e.index for e in entries}) == len(entries)
    assert all(e.modified is None or e.modified.tzinfo is not None for e in entries)
    gather = everything(view)
    assert gather.good() == FILES


@every_format
def test_single_members_come_without_a_listing_in_any_order(name: str) -> None:
    wanted = [e for e in built(name).entries() if e.path in ("last.DNG", "2026/heron/ABCD0001.xmp")]
    gather = everything(built(name), list(reversed(wanted)))
    assert gather.good() == {e.path: FILES[e.path] for e in wanted}


@every_format
def test_what_is_not_in_the_archive_is_missing(name: str) -> None:
    first = built(name).entries()[0]
    strangers = [Entry("no such.DNG", 3, None, 10**9), Entry("another name.DNG", None, None, first.index)]
    gather = everything(built(name), [*strangers, first])
    assert gather.good() == {first.path: FILES[first.path]}
    assert gather.troubles() == dict.fromkeys(("no such.DNG", "another name.DNG"), Trouble.MISSING)


@every_format
def test_an_entry_wanted_twice_is_delivered_once_and_nothing_wanted_is_nothing(name: str) -> None:
    first = built(name).entries()[0]
    assert len(everything(built(name), [first, first]).got) == 1
    store = Store(lambda: pytest.fail("looked into the archive"), lambda entry: pytest.fail("opened it"))
    archive_view(store, ".7z", None).deliver([], Gather())


@every_format
def test_another_size_than_known_is_damage_and_harms_no_neighbour(name: str) -> None:
    entries = built(name).entries()
    first = entries[0]
    short = Entry(first.path, 100, None, first.index)
    gather = everything(built(name), [short, *entries[1:]])
    assert gather.got[short][0] == FILES[first.path][:100]
    assert gather.troubles() == {first.path: Trouble.DAMAGED}
    assert len(gather.good()) == len(FILES) - 1
    long = Entry(first.path, 10**7, None, first.index)
    gather = everything(built(name), [long])
    assert gather.got[long][0] == FILES[first.path] and gather.troubles() == {first.path: Trouble.DAMAGED}


@every_format
def test_a_receiver_that_gives_up_stops_everything(name: str) -> None:
    class Full(Gather):
        def data(self, chunk: bytes | bytearray | memoryview) -> None:
            raise Unfinished("the disk is full")

    with pytest.raises(Unfinished):
        everything_into = built(name)
        everything_into.deliver(everything_into.entries(), Full())


@pytest.mark.parametrize("kind", ARCHIVES)
@pytest.mark.parametrize(
    "content", [b"", b"no archive at all, only words" * 50, b"<html>expired</html>", os.urandom(5000)]
)
def test_what_is_no_archive_cannot_be_read(kind: str, content: bytes) -> None:
    view = view_of(content, kind)
    with pytest.raises(CannotRead):
        view.entries()
    gather = everything(view, [Entry("a", 1), Entry("b", 2, None, 1)])
    assert set(gather.troubles()) == {"a", "b"}


@pytest.mark.parametrize("kind", ARCHIVES)
def test_an_archive_that_is_not_there_holds_nothing(kind: str, tmp_path: Path) -> None:
    view = archive_view(file_store(tmp_path / f"gone{kind}"), kind, None)
    with pytest.raises(CannotRead, match="is not there"):
        view.entries()
    assert everything(view, [Entry("a", 1)]).troubles() == {"a": Trouble.MISSING}


@pytest.mark.parametrize(("kind", "empty"), [(".7z", seven({})), (".zip", zipped({})), (".tar", tarred({}))])
def test_an_empty_archive_is_an_archive_without_members(kind: str, empty: bytes) -> None:
    assert list(view_of(empty, kind).entries()) == []


def test_an_unknown_format_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="no archive format"):
        archive_view(on_disk(b""), "x.rar", None)


# --- names, kinds, times ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("write", [zipped, tarred, seven], ids=["zip", "tar", "7z"])
def test_climbing_names_are_only_names(write: Callable[[dict[str, bytes]], bytes], tmp_path: Path) -> None:
    kind = {zipped: ".zip", tarred: ".tar", seven: ".7z"}[write]
    names = {"../up.dng": b"up", "/etc/evil.dng": b"root", "./here.dng": b"here", "a/../b.dng": b"b"}
    if write is seven:
        names.pop("/etc/evil.dng")  # this library refuses to write it
        names.pop("../up.dng")
    gather = everything(view_of(write(names), kind))
    assert gather.good() == {name.removeprefix("./"): content for name, content in names.items()}
    assert list(tmp_path.iterdir()) == []


def test_two_members_of_one_path_are_two_entries() -> None:
    tar = io.BytesIO()
    with tarfile.open(fileobj=tar, mode="w") as archive:
        for content in (b"first", b"second!"):
            info = tarfile.TarInfo("same.dng")
            info.size = len(content)
            archive.addfile(info, io.BytesIO(content))
    pair = io.BytesIO()
    with zipfile.ZipFile(pair, "w") as zip_archive, pytest.warns(UserWarning, match="Duplicate"):
        zip_archive.writestr("same.dng", b"first")
        zip_archive.writestr("same.dng", b"second!")
    for content, kind in ((tar.getvalue(), ".tar"), (gzipped(tar.getvalue()), ".tar.gz"), (pair.getvalue(), ".zip")):
        view = view_of(content, kind)
        one, two = view.entries()
        assert one.path == two.path and one.index != two.index
        assert everything(view, [two]).got == {two: (b"second!", None)}
        assert everything(view, [two, one]).got == {one: (b"first", None), two: (b"second!", None)}


@pytest.mark.parametrize(
    "pack", [lambda tar: (tar, ".tar"), lambda tar: (gzipped(tar), ".tar.gz")], ids=["tar", "tar.gz"]
)
def test_hard_links_in_a_tar_have_their_targets_bytes_and_other_kinds_hold_nothing(
    pack: Callable[[bytes], tuple[bytes, str]],
) -> None:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w") as archive:
        for number, (name, kind, link) in enumerate(
            [
                ("dir", tarfile.DIRTYPE, ""),
                ("./one.dng", tarfile.REGTYPE, ""),
                ("link1.dng", tarfile.LNKTYPE, "./one.dng"),
                ("soft.dng", tarfile.SYMTYPE, "one.dng"),
                ("pipe", tarfile.FIFOTYPE, ""),
                ("two.dng", tarfile.REGTYPE, ""),
                ("link2.dng", tarfile.LNKTYPE, "link1.dng"),
                ("nowhere.dng", tarfile.LNKTYPE, "gone.dng"),
            ]
        ):
            info = tarfile.TarInfo(name)
            info.type, info.linkname = kind, link
            info.size = 1000 + number if kind == tarfile.REGTYPE else 0
            archive.addfile(info, io.BytesIO(bytes([number]) * info.size))
    view = view_of(*pack(out.getvalue()))
    entries = {e.path: e for e in view.entries()}
    assert list(entries) == ["one.dng", "link1.dng", "two.dng", "link2.dng"]
    assert {entries[p].index for p in ("one.dng", "link1.dng", "link2.dng")} == {entries["one.dng"].index}
    assert entries["link2.dng"].size == 1001
    one, two = b"\1" * 1001, b"\5" * 1005
    assert everything(view).good() == {"one.dng": one, "link1.dng": one, "two.dng": two, "link2.dng": one}
    assert everything(view, [entries["link2.dng"], entries["link1.dng"]]).good() == {"link1.dng": one, "link2.dng": one}
    assert everything(view, [entries["link2.dng"], entries["two.dng"]]).good() == {"link2.dng": one, "two.dng": two}


def test_times_are_what_each_format_means() -> None:
    (tar,) = view_of(tarred({"x": b"1"}), ".tar").entries()
    assert tar.modified == datetime.fromtimestamp(WHEN, UTC)
    (zip_entry,) = view_of(zipped({"x": b"1"}), ".zip").entries()
    assert zip_entry.modified == datetime(2026, 9, 12, 19, 30, 2).astimezone()  # DOS times are local
    unknown = io.BytesIO()
    with zipfile.ZipFile(unknown, "w") as archive:
        archive.writestr(zipfile.ZipInfo("x"), b"1")
    assert view_of(unknown.getvalue(), ".zip").entries()[0].modified is None
    before = datetime.now(UTC)
    (seven_entry,) = view_of(seven({"x": b"1"}), ".7z").entries()
    assert seven_entry.modified is not None and abs((seven_entry.modified - before).total_seconds()) < 60


def test_zip_names_from_windows_and_from_unix() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for system, name in ((0, "2026\\heron\\1.dng"), (3, "back\\slash.dng")):
            info = zipfile.ZipInfo("placeholder")
            info.filename, info.create_system = name, system
            archive.writestr(info, name.encode())
        link = zipfile.ZipInfo("link.dng")
        link.create_system, link.external_attr = 3, 0o120777 << 16
        archive.writestr(link, "1.dng")
        archive.writestr("folder/", b"")
    assert set(everything(view_of(out.getvalue(), ".zip")).good()) == {"2026/heron/1.dng", "back\\slash.dng"}
    # Unix programs wrote UTF-8 without saying so before they set bit 11; read as code page 437 it makes no name.
    content = zipped({"Nu--ez.dng": b"n"}).replace(b"Nu--ez.dng", "Nuñez.dng".encode())
    (entry,) = view_of(content, ".zip").entries()
    assert entry.path == "Nuñez.dng"


def test_a_sparse_member_comes_with_its_holes() -> None:
    # An old GNU sparse header made by hand: 3 bytes at 5, 4 bytes at 20, 30 bytes in all.
    info = tarfile.TarInfo("sparse.dng")
    info.type, info.size = tarfile.GNUTYPE_SPARSE, 7
    head = bytearray(info.tobuf(tarfile.GNU_FORMAT))
    for place, number in ((386, 5), (398, 3), (410, 20), (422, 4), (434, 0), (446, 0), (458, 0), (470, 0)):
        head[place : place + 12] = b"%011o\0" % number
    head[482] = 0
    head[483:495] = b"%011o\0" % 30
    head[148:156] = b"        "
    head[148:156] = b"%06o\0 " % sum(head)
    after = tarred({"after.dng": b"after"})
    content = bytes(head) + b"abcdefg".ljust(512, b"\0") + after
    expected = b"\0" * 5 + b"abc" + b"\0" * 12 + b"defg" + b"\0" * 6
    for packed, kind in ((content, ".tar"), (gzipped(content), ".tar.gz")):
        view = view_of(packed, kind)
        assert [(e.path, e.size) for e in view.entries()] == [("sparse.dng", 30), ("after.dng", 5)]
        assert everything(view).good() == {"sparse.dng": expected, "after.dng": b"after"}


# --- passwords -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["7z encrypted", "7z encrypted header"])
@pytest.mark.parametrize(
    ("password", "words"), [(None, "no password is given"), ("wrong", "password is wrong"), ("", "password is wrong")]
)
def test_a_7z_with_a_missing_or_wrong_password_holds_nothing(name: str, password: str | None, words: str) -> None:
    view = view_of(BUILT[name][1], ".7z", password=password)
    with pytest.raises(CannotRead, match=words):
        view.entries()
    wanted = [e for e in built(name).entries() if e.size]
    gather = everything(view, wanted)
    assert gather.good() == {} and len(gather.troubles()) == len(wanted)


@pytest.mark.parametrize("filters", [[{"id": py7zr.FILTER_COPY}, {"id": py7zr.FILTER_CRYPTO_AES256_SHA256}]])
def test_a_wrong_password_shows_also_where_members_are_only_stored(filters: list[dict[str, int]]) -> None:
    content = seven(FILES, filters=filters, password="right")
    assert everything(view_of(content, ".7z", password="right")).good() == FILES
    with pytest.raises(CannotRead, match="password is wrong"):
        view_of(content, ".7z", password="wrong").entries()
    # One altered member is not taken for a wrong password: the others prove that it is right.
    altered = bytearray(content)
    altered[1000] ^= 1
    gather = everything(view_of(bytes(altered), ".7z", password="right"))
    assert gather.troubles() == {"2026/heron/ABCD0001.DNG": Trouble.CHECK_VALUE}


# --- damage ----------------------------------------------------------------------------------------------------


@every_format
@pytest.mark.parametrize("seed", range(3))
def test_no_damage_is_a_crash_and_none_passes_where_the_format_checks(name: str, seed: int) -> None:
    kind, content = BUILT[name]
    password = "pässword" if "encrypted" in name else None
    wanted = built(name).entries()
    rng = random.Random(f"{name}{seed}")
    checks = kind in (".7z", ".zip")
    for _ in range(2 if password else 8):
        damaged = bytearray(content)
        match rng.randrange(4):
            case 0:
                del damaged[rng.randrange(len(damaged)) :]
            case 1:
                at = rng.randrange(len(damaged))
                damaged[at : at + 512] = bytes(len(damaged[at : at + 512]))
            case 2:
                for _ in range(20):
                    damaged[rng.randrange(len(damaged))] = rng.randrange(256)
            case _:
                # headers are where parsers break: the first and the last bytes
                for _ in range(5):
                    damaged[rng.choice([rng.randrange(64), -1 - rng.randrange(200)])] = rng.randrange(256)
        view = view_of(bytes(damaged), kind, password=password)
        try:
            listed = view.entries()
        except CannotRead:
            listed = []
        for entries in (wanted, [e for e in listed if (e.size or 0) < 10**6]):
            gather = everything(view, entries)
            assert set(gather.got) == set(entries)
            for entry, (data, problem) in gather.got.items():
                assert problem is not None or entry.size is None or len(data) == entry.size
                if checks and problem is None and entry in wanted:
                    assert data == FILES[entry.path]


@every_format
def test_truncated_anywhere_what_came_before_is_right(name: str) -> None:
    kind, content = BUILT[name]
    password = "pässword" if "encrypted" in name else None
    wanted = built(name).entries()
    survivors = set()
    for share in (0.99, 0.6, 0.3, 0.01):
        gather = everything(view_of(content[: int(len(content) * share)], kind, password=password), wanted)
        assert len(gather.got) == len(FILES)
        for entry, (data, problem) in gather.got.items():
            assert FILES[entry.path].startswith(data)
            assert problem is not None or data == FILES[entry.path]
        survivors.add(len(gather.good()))
    # 7z and zip have their directory at the end: without it nothing can be found.
    assert survivors == {0} if kind in (".7z", ".zip") else len(survivors) > 1


@every_format
def test_a_bad_sector_anywhere_gives_problems_and_never_wrong_bytes(name: str) -> None:
    _, content = BUILT[name]
    wanted = built(name).entries()
    lost = []
    for sector in range(0, -(-len(content) // 4096), 7 if "encrypted" in name else 3):
        view = built(name, bad=[sector])
        gather = everything(view, wanted)
        assert len(gather.got) == len(wanted)
        for entry, (data, problem) in gather.got.items():
            assert FILES[entry.path].startswith(data)
            assert problem is not None or data == FILES[entry.path]
        assert set(gather.troubles().values()) <= {Trouble.IO}
        lost.append(len(gather.troubles()))
    # One bad sector somewhere in the middle: where members do not depend on each other, it costs one or two.
    if name in ("7z blocks", "zip", "zip stored", "tar", "tar gnu"):
        assert sorted(lost)[len(lost) // 2] == 1
    assert max(lost) >= 1


def test_after_a_check_value_that_differs_all_bytes_and_the_neighbours_come() -> None:
    for kind, content in (BUILT["7z stored"], BUILT["zip stored"]):
        altered = bytearray(content)
        altered[content.index(FILES["2026/heron/ABCD0002.DNG"]) + 777] ^= 0x20
        gather = everything(view_of(bytes(altered), kind))
        assert gather.troubles() == {"2026/heron/ABCD0002.DNG": Trouble.CHECK_VALUE}
        (hit,) = [data for e, (data, problem) in gather.got.items() if problem]
        assert sum(a != b for a, b in zip(hit, FILES["2026/heron/ABCD0002.DNG"], strict=True)) == 1


@pytest.mark.deep
def test_in_a_7z_block_a_bad_sector_takes_what_comes_after_it_and_other_blocks_go_on() -> None:
    kind, content = BUILT["7z stored"]
    sector = (content.index(FILES["2026/heron/ABCD0002.DNG"]) + 20_000) // 4096
    gather = everything(view_of(content, kind, bad=[sector]))
    after = ["2026/heron/ABCD0002.DNG", "2026/heron/Nuñez 1.jpg", "a.tif", "last.DNG"]
    assert gather.troubles() == dict.fromkeys(after, Trouble.IO)
    details = {e.path: problem.detail for e, (_, problem) in gather.got.items() if problem}
    assert details["last.DNG"] == "comes after a bad sector in the same block of the archive"
    (part,) = [data for e, (data, _) in gather.got.items() if e.path == "2026/heron/ABCD0002.DNG"]
    assert len(part) == sector * 4096 - content.index(FILES["2026/heron/ABCD0002.DNG"])  # each good byte before it

    kind, content = BUILT["7z blocks"]
    gather = everything(view_of(content, kind, bad=[3]))
    assert gather.troubles() == {"2026/heron/ABCD0001.DNG": Trouble.IO}


def test_reading_ahead_harms_no_member_before_the_bad_sector() -> None:
    # 40 small members, then a large one: a megabyte read ahead for the first would meet the bad sector.
    files = {f"{n:02}.xmp": RANDOM.randbytes(3000) for n in range(40)} | {"big.dng": RANDOM.randbytes(400_000)}
    for write in (seven, seven_copied):
        content = write(files)
        gather = everything(view_of(content, ".7z", bad=[60]))
        assert gather.troubles() == {"big.dng": Trouble.IO}


@pytest.mark.deep  # large archives are made for it
def test_only_the_blocks_that_are_wanted_are_read_and_only_as_far_as_needed() -> None:
    files = {f"{n}.dng": RANDOM.randbytes(200_000) for n in range(6)}
    for content, most in ((seven_blocks(files), 1), (seven(files), 2), (seven_copied(files), 2), (zipped(files), 2)):
        kind = ".zip" if content.startswith(b"PK") else ".7z"
        entries = view_of(content, kind).entries()
        # A bad sector in every place but the wanted member's and the archive's ends goes unnoticed.
        wanted = entries[1]
        start = content.index(files["1.dng"][:64]) if files["1.dng"][:64] in content else 200_000
        own = range(start // 4096 - 1, (start + 200_000) // 4096 + 20)
        before = range(1, start // 4096 - 20) if most == 1 or kind == ".zip" else range(0)
        after = range(own.stop, len(content) // 4096 - 2)
        gather = everything(view_of(content, kind, bad=[*before, *after]), [wanted])
        assert gather.good() == {"1.dng": files["1.dng"]}


@pytest.mark.parametrize(
    ("name", "most"), [("7z", 0.7), ("7z stored", 0.7), ("zip", 0.3), ("tar", 0.3), ("tar.gz", 0.7)]
)
def test_nothing_is_read_behind_the_last_wanted_member(name: str, most: float) -> None:
    files = {f"{n}.dng": RANDOM.randbytes(200_000) for n in range(8)}
    kind, write = WRITERS[name]
    content = write(files)
    disks: list[BadDisk] = []

    def opened(entry: Entry) -> BadDisk:
        disks.append(BadDisk(content))
        return disks[-1]

    view = archive_view(Store(on_disk(content).files, opened), kind, None)
    wanted = [e for e in view.entries() if e.path in ("3.dng", "4.dng")]
    disks.clear()
    assert len(everything(view, wanted).good()) == 2
    assert sum(disk.bytes_read for disk in disks) < most * len(content)


@pytest.mark.parametrize(
    "pack", [lambda tar: (tar, ".tar"), lambda tar: (gzipped(tar), ".tar.gz")], ids=["tar", "tar.gz"]
)
@pytest.mark.parametrize(
    "fill", [b"\0" * 512, b"\xaa" * 512, b"\0" * 1024], ids=["zeros", "garbage", "two zero records"]
)
def test_a_damaged_tar_header_costs_its_own_member_only(
    pack: Callable[[bytes], tuple[bytes, str]], fill: bytes
) -> None:
    # tarfile's own iteration ends there without an error.
    files = {f"{n}.dng": RANDOM.randbytes(5000) for n in range(5)}
    plain = tarred(files)
    wanted = view_of(plain, ".tar").entries()
    damaged = bytearray(plain)
    at = plain.index(files["1.dng"]) - 512
    damaged[at : at + len(fill)] = fill
    gather = everything(view_of(*pack(bytes(damaged))), wanted)
    assert gather.troubles() == {"1.dng": Trouble.MISSING}
    assert gather.good() == {name: content for name, content in files.items() if name != "1.dng"}


def test_a_bad_sector_on_a_tar_header_costs_what_lies_in_it() -> None:
    files = {f"{n}.dng": RANDOM.randbytes(20_000) for n in range(5)}
    content = tarred(files)
    wanted = view_of(content, ".tar").entries()
    sector = (content.index(files["2.dng"]) - 512) // 4096
    gather = everything(view_of(content, ".tar", bad=[sector]), wanted)
    assert set(gather.troubles()) <= {"1.dng", "2.dng"} and "2.dng" in gather.troubles()
    assert {"0.dng", "3.dng", "4.dng"} <= set(gather.good())
    # The first header too.
    gather = everything(view_of(content, ".tar", bad=[0]), wanted)
    assert set(gather.troubles()) == {"0.dng"}


def test_in_a_compressed_tar_all_comes_that_lies_before_the_bad_sector() -> None:
    files = {
        f"{n:02}.dng": RANDOM.randbytes(20_000) for n in range(40)
    }  # stored nearly as it is: an offset is an offset
    for pack, kind, block in ((gzipped, ".tar.gz", 0), (lzma.compress, ".tar.xz", 65_536), (zst, ".tar.zst", 131_072)):
        content = pack(tarred(files))
        wanted = view_of(content, kind).entries()
        gather = everything(view_of(content, kind, bad=[100]), wanted)
        whole = len(gather.good())
        # What a packed block of the format holds comes only when all of the block has been read.
        assert (100 * 4096 - block) // 20_992 - 1 <= whole <= 100 * 4096 // 20_000
        assert gather.good() == {e.path: files[e.path] for e in wanted[:whole]}
        assert set(gather.troubles().values()) == {Trouble.IO}
        last = gather.got[wanted[-1]][1]
        assert last is not None and last.detail == "comes after the damage in the archive"


def test_a_gzip_header_may_hold_a_name_a_comment_and_more() -> None:
    # RFC 1952, section 2.3: extra field, name, comment, header CRC, in this order.
    plain = gzipped(tarred({"a.dng": b"a" * 5000}))
    extra = b"\x04\x00abcd" + b"name.tar\0" + b"words\0"
    head = plain[:3] + bytes([4 | 8 | 16 | 2]) + plain[4:10] + extra
    assert everything(view_of(head + b"\0\0" + plain[10:], ".tar.gz")).good() == {"a.dng": b"a" * 5000}
    # Zeros and other things behind the last member are no damage (gzip ignores them).
    for behind in (b"\0" * 700, b"trailing garbage"):
        assert everything(view_of(plain + behind, ".tar.gz")).good() == {"a.dng": b"a" * 5000}


def test_several_packed_pieces_one_after_the_other_are_one_tar() -> None:
    # RFC 1952 section 2.2 and RFC 8878 section 3.1: members and frames may follow each other; xz streams too.
    tar = tarred(FILES)
    half = len(tar) // 2
    for pack, kind in ((gzipped, ".tar.gz"), (lzma.compress, ".tar.xz"), (zst, ".tar.zst")):
        assert everything(view_of(pack(tar[:half]) + pack(tar[half:]), kind)).good() == FILES


def test_absurd_headers_are_damage() -> None:
    # 7z: a next header of 2^62 bytes; a start header whose own check value is right (7zFormat.txt).
    from zlib import crc32  # noqa: PLC0415

    start = struct.pack("<QQL", 0, 1 << 62, 0)
    seven_z = b"7z\xbc\xaf\x27\x1c\0\4" + struct.pack("<L", crc32(start)) + start
    # tar: a pax header that says it is 8 GB long.
    pax = tarfile.TarInfo("x")
    pax.type, pax.size = tarfile.XHDTYPE, (1 << 33) - 1
    for content, kind in ((seven_z, ".7z"), (pax.tobuf(tarfile.USTAR_FORMAT), ".tar")):
        with pytest.raises(CannotRead):
            view_of(content, kind).entries()
    # zip: a member that says it is 4 GB long, of which there are 5 bytes.
    content = bytearray(zipped({"x": b"12345"}, zipfile.ZIP_STORED))
    directory = content.index(b"PK\1\2")
    content[directory + 20 : directory + 28] = b"\xf0\xff\xff\xff" * 2
    gather = everything(view_of(bytes(content), ".zip"))
    assert list(gather.troubles().values()) == [Trouble.DAMAGED]


def test_a_method_that_is_not_known_here_is_said() -> None:
    content = bytearray(zipped({"x": b"12345" * 99}))
    for mark, place in ((b"PK\1\2", 10), (b"PK\3\4", 8)):
        at = content.index(mark) + place
        content[at : at + 2] = (97).to_bytes(2, "little")
    assert everything(view_of(bytes(content), ".zip")).troubles() == {"x": Trouble.UNSUPPORTED}


@pytest.mark.deep  # large archives are made for it
@pytest.mark.parametrize("name", ["7z", "7z stored", "zip", "tar", "tar.gz", "tar.zst"])
def test_a_large_member_needs_little_memory(name: str) -> None:
    kind, write = WRITERS[name]
    size = 64 * 1024 * 1024
    content = write({"big.dng": bytes(size)})

    class Count(Gather):
        seen = 0

        def data(self, chunk: bytes | bytearray | memoryview) -> None:
            assert len(chunk) <= 1 << 20
            self.seen += len(chunk)

    count = Count()
    tracemalloc.start()
    view = view_of(content, kind)
    view.deliver(view.entries(), count)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count.seen == size and peak < 20 * 1024 * 1024  # py7zr's dictionary for its own header is 16 MiB


def test_a_hundred_encrypted_blocks_take_no_hundred_key_stretchings() -> None:
    # 7-Zip keeps the key; py7zr alone takes 60 ms for each block.
    from drill.copies import sevenzip  # noqa: PLC0415

    stretch = py7zr.compressor.calculate_key  # type: ignore[attr-defined]
    assert hasattr(stretch, "cache_info") and sevenzip is not None
    view = built("7z encrypted")
    view.entries()
    began, misses = time.perf_counter(), stretch.cache_info().misses
    for _ in range(3):
        everything(view)
    assert stretch.cache_info().misses == misses and time.perf_counter() - began < 5
