"""The worst sector against brute force: each sector of small real archives is made unreadable, and all is salvaged."""

import io
import shutil
import subprocess
import tarfile
import zipfile
from pathlib import Path

import py7zr
import pytest
import zstandard

from drill.copies import archive_view, file_store, folder_store, plain_view
from drill.errors import CannotRead
from drill.extents import Kept, Part, Piece
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.faults.worst import worst_sector
from drill.model import Copy, Entry, Medium, Problem, Store
from drill.radius import count, stretches
from drill.salvage import salvage, salvage_entries
from drill.shelf import OpenCopy, State
from drill.structure import anatomy

SECTOR = 4096
MEDIUM = Medium(id="m", kind="ssd", place="p", attached=False, offsite=False, carried=False)


class Outcome:
    """A collector that keeps what came."""

    def __init__(self) -> None:
        self.came: list[bytes] = []

    def begin(self, entry: Entry) -> None:
        self.came.append(b"")

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self.came[-1] += bytes(chunk)

    def hole(self, start: int, end: int) -> None: ...

    def end(self, entry: Entry, problem: Problem | None) -> None: ...


def pictures(folder: Path) -> Path:
    home = folder / "in"
    home.mkdir()
    for number in range(6):
        size = 9000 + 700 * number
        (home / f"R{number}.dng").write_bytes(bytes((number * 37 + n * n * 31 + n // 7) % 256 for n in range(size)))
        (home / f"R{number}.xmp").write_bytes(b"<x:xmpmeta/>\n" * (3 + number))
    return home


def pack(kind: str, home: Path, path: Path) -> Path:
    files = sorted(home.iterdir())
    if kind == ".zip":
        with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
            for file in files:
                archive.write(file, file.name)
    elif kind == ".7z":
        with py7zr.SevenZipFile(path, "w") as archive7:
            for file in files:
                archive7.write(file, file.name)
    else:
        content = io.BytesIO()
        with tarfile.open(fileobj=content, mode={".tar.gz": "w:gz", ".tar.xz": "w:xz"}.get(kind, "w")) as tar:
            for file in files:
                tar.add(file, file.name)
        packed = content.getvalue()
        path.write_bytes(zstandard.compress(packed) if kind == ".tar.zst" else packed)
    return path


def opened(path: Path, kind: str | None, password: str | None = None) -> OpenCopy:
    store = folder_store(path) if kind is None else file_store(path)
    view = plain_view(store) if kind is None else archive_view(store, kind, password)
    copy = Copy("c", "m", path, None, "folder" if kind is None else "archive", kind, None, password=password)
    return OpenCopy(copy, MEDIUM, State.HERE, "", store, view, tuple(view.entries()))


def lost_without(found: OpenCopy, kind: str, sector: int, worth: dict[str, int], kept: Kept | None = None) -> int:
    """Really try: lay the bad sector over the archive, salvage everything, count what did not come byte for byte."""
    store, outcome = found.store, Outcome()
    assert store is not None and found.copy.at is not None
    archive = store.files()[0]
    damage = Damage(bad={(sector * SECTOR, SECTOR)})
    damaged = Store(files=store.files, open=lambda entry: Overlay(store.open(entry), damage, archive.size))
    try:
        listing = salvage_entries(damaged, kind, found.copy.password, kept=kept)
    except CannotRead:
        return sum(worth.values())
    wanted = list(dict.fromkeys([*found.entries, *listing]))
    salvage(damaged, kind, found.copy.password, wanted, outcome, kept=kept, listing=listing)
    home = found.copy.at.parent / "in"
    return sum(count for path, count in worth.items() if (home / path).read_bytes() not in outcome.came)


def kept_headers(found: OpenCopy, kind: str) -> Kept:
    assert found.store is not None
    built = anatomy(found.store, kind, found.copy.password)
    with found.store.open(found.store.files()[0]) as raw:
        content = raw.read(-1) or b""
    pieces = (Piece(e.start, content[e.start : e.end]) for e in built.extents if e.part is Part.HEADERS)
    return Kept(built.size, tuple(pieces))


PROMISED = {"all": ".", "one": "R3.dng", "sidecars": ".xmp"}


def worst_by_brute_force(found: OpenCopy, kind: str, worth: dict[str, int], kept: Kept | None) -> int:
    size = found.copy.at.stat().st_size if found.copy.at is not None else 0
    costs = [lost_without(found, kind, sector, worth, kept) for sector in range(-(-size // SECTOR))]
    return costs.index(max(costs))


@pytest.mark.parametrize("kind", [".zip", ".7z", ".tar", ".tar.gz", ".tar.xz", ".tar.zst"])
@pytest.mark.parametrize("promised", PROMISED)
@pytest.mark.parametrize("insured", [False, True])
def test_the_worst_sector_is_the_first_of_those_that_cost_most(
    tmp_path: Path, kind: str, promised: str, insured: bool
) -> None:
    found = opened(pack(kind, pictures(tmp_path), tmp_path / f"a{kind}"), kind)
    worth = {entry.path: 1 for entry in found.entries if PROMISED[promised] in entry.path}
    kept = kept_headers(found, kind) if insured else None
    picked = worst_sector(found, worth=lambda entry: worth.get(entry.path, 0), sector_size=SECTOR, kept=kept)
    assert picked == (f"a{kind}", worst_by_brute_force(found, kind, worth, kept))


@pytest.mark.outside
@pytest.mark.parametrize(
    "options", [(), ("-mx=1",), ("-mx=0",), ("-ms=off",), ("-ms=32k",), ("-preed",), ("-m0=lzma",)]
)
def test_the_worst_sector_of_7_zip_s_own_archives(tmp_path: Path, options: tuple[str, ...]) -> None:
    program = shutil.which("7zz") or shutil.which("7z")
    if program is None:
        pytest.skip("7-Zip's own program is not installed")
    home, path = pictures(tmp_path), tmp_path / "a.7z"
    subprocess.run([program, "a", "-bd", "-y", *options, path, "."], cwd=home, check=True, stdout=subprocess.DEVNULL)
    found = opened(path, ".7z", password="reed" if "-preed" in options else None)
    worth = {entry.path: 1 for entry in found.entries}
    for kept in (None, kept_headers(found, ".7z")):
        picked = worst_sector(found, worth=lambda entry: 1, sector_size=SECTOR, kept=kept)
        assert picked == ("a.7z", worst_by_brute_force(found, ".7z", worth, kept))


def test_the_same_is_picked_every_time_and_tries_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = opened(pack(".tar.gz", pictures(tmp_path), tmp_path / "a.tar.gz"), ".tar.gz")
    first = worst_sector(found, worth=lambda entry: 1, sector_size=512)
    assert first is not None and worst_sector(found, worth=lambda entry: 1, sector_size=512) == first
    monkeypatch.setattr("drill.faults.worst.MOST_BYTES", 0)  # nothing can be tried: what is sure decides
    assert found.store is not None
    sure = list(stretches(anatomy(found.store, ".tar.gz", None), 512))
    most = max(count(one.least) for one in sure)
    untried = worst_sector(found, worth=lambda entry: 1, sector_size=512)
    assert untried == ("a.tar.gz", next(one.first for one in sure if count(one.least) == most))


def test_an_archive_whose_structure_cannot_be_told_is_hit_at_its_front(tmp_path: Path) -> None:
    path = pack(".zip", pictures(tmp_path), tmp_path / "a.zip")
    found = opened(path, ".zip")
    path.write_bytes(b"no zip any more" * 2000)
    assert worst_sector(found, worth=lambda entry: 1, sector_size=SECTOR) == ("a.zip", 0)


def test_in_a_folder_it_is_the_first_sector_of_the_file_that_most_promised_files_are(tmp_path: Path) -> None:
    found = opened(pictures(tmp_path), None)
    assert worst_sector(found, worth=lambda e: 2 if e.path == "R4.dng" else 1, sector_size=SECTOR) == ("R4.dng", 0)
    assert worst_sector(found, worth=lambda e: 1, sector_size=SECTOR) == ("R0.dng", 0)


def test_an_empty_copy_has_no_worst_sector(tmp_path: Path) -> None:
    assert worst_sector(opened(tmp_path, None), worth=lambda e: 1, sector_size=SECTOR) is None
