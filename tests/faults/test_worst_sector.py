"""The worst sector, found by trying, against brute force: each sector of small real archives is made unreadable."""

import shutil
import subprocess
import tarfile
import zipfile
from pathlib import Path

import py7zr
import pytest

from drill.copies import archive_view, file_store, folder_store, plain_view
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.faults.worst import worst_sector
from drill.model import Copy, Entry, Medium, Problem, Store
from drill.shelf import OpenCopy, State

SECTOR = 4096
MEDIUM = Medium(id="m", kind="ssd", place="p", attached=False, offsite=False, carried=False)


class Outcome:
    """A receiver that notes which files came whole."""

    def __init__(self) -> None:
        self.whole: set[str] = set()

    def begin(self, entry: Entry) -> None: ...

    def data(self, chunk: bytes | bytearray | memoryview) -> None: ...

    def end(self, entry: Entry, problem: Problem | None) -> None:
        if problem is None:
            self.whole.add(entry.path)


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
        with tarfile.open(path, {".tar": "w", ".tar.gz": "w:gz", ".tar.xz": "w:xz"}[kind]) as tar:
            for file in files:
                tar.add(file, file.name)
    return path


def opened(path: Path, kind: str | None) -> OpenCopy:
    store = folder_store(path) if kind is None else file_store(path)
    view = plain_view(store) if kind is None else archive_view(store, kind, None)
    copy = Copy("c", "m", path, None, "folder" if kind is None else "archive", kind, None)
    return OpenCopy(copy, MEDIUM, State.HERE, "", store, view, tuple(view.entries()))


def lost_without(found: OpenCopy, kind: str, sector: int, worth: dict[str, int]) -> int:
    """Really try: lay the bad sector over the archive, extract everything, count what did not come."""
    store, outcome = found.store, Outcome()
    assert store is not None
    archive = store.files()[0]
    damage = Damage(bad={(sector * SECTOR, SECTOR)})
    damaged = Store(files=store.files, open=lambda entry: Overlay(store.open(entry), damage, archive.size))
    archive_view(damaged, kind, None).deliver(found.entries, outcome)
    return sum(count for path, count in worth.items() if path not in outcome.whole)


@pytest.mark.parametrize("kind", [".zip", ".7z", ".tar", ".tar.gz", ".tar.xz"])
@pytest.mark.parametrize("promised", ["all", "one", "sidecars"])
def test_the_worst_sector_is_the_first_of_those_that_cost_most(tmp_path: Path, kind: str, promised: str) -> None:
    found = opened(pack(kind, pictures(tmp_path), tmp_path / f"a{kind}"), kind)
    chosen = {"all": ".", "one": "R3.dng", "sidecars": ".xmp"}[promised]
    worth = {entry.path: 1 for entry in found.entries if chosen in entry.path}
    size = (tmp_path / f"a{kind}").stat().st_size
    costs = [lost_without(found, kind, sector, worth) for sector in range(-(-size // SECTOR))]
    picked = worst_sector(found, worth=lambda entry: worth.get(entry.path, 0), sector_size=SECTOR)
    assert picked is not None
    assert costs[picked[1]] == max(costs)
    assert picked[1] == costs.index(max(costs))


@pytest.mark.outside
def test_the_worst_sector_of_7_zip_s_own_archive_stops_7_zip_too(tmp_path: Path) -> None:
    program = shutil.which("7zz") or shutil.which("7z")
    if program is None:
        pytest.skip("7-Zip's own program is not installed")
    home, path = pictures(tmp_path), tmp_path / "a.7z"
    subprocess.run([program, "a", "-bd", "-y", path, "."], cwd=home, check=True, stdout=subprocess.DEVNULL)
    found = opened(path, ".7z")
    picked = worst_sector(found, worth=lambda entry: 1, sector_size=SECTOR)
    assert picked == ("a.7z", 0)
    content = bytearray(path.read_bytes())
    content[:SECTOR] = bytes(SECTOR)
    path.write_bytes(content)
    assert subprocess.run([program, "t", path], check=False, capture_output=True).returncode != 0


def test_in_a_folder_it_is_the_first_sector_of_the_file_that_most_promised_files_are(tmp_path: Path) -> None:
    found = opened(pictures(tmp_path), None)
    assert worst_sector(found, worth=lambda e: 2 if e.path == "R4.dng" else 1, sector_size=SECTOR) == ("R4.dng", 0)
    assert worst_sector(found, worth=lambda e: 1, sector_size=SECTOR) == ("R0.dng", 0)


def test_an_empty_copy_has_no_worst_sector(tmp_path: Path) -> None:
    assert worst_sector(opened(tmp_path, None), worth=lambda e: 1, sector_size=SECTOR) is None
