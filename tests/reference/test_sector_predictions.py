"""What is told of a sector, against what people's programs get out of an archive that is really damaged there.

Judges: 7-Zip (`7zz x`), Info-ZIP (`unzip`), GNU tar, by the bytes of the files that they leave. Twice: the sector full
of zeros, as after copying a failing drive; and a file system on which the kernel itself cannot read that one block.
"""

import hashlib
import os
import random
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from packing import PASSWORD, PROGRAMS, pack, pictures, program, unpack, whole

from drill.copies import archive_format, file_store
from drill.errors import CannotRead
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.model import Entry, Problem, Store
from drill.radius import Stretch, stretches
from drill.salvage import salvage, salvage_entries
from drill.structure import anatomy

pytestmark = [pytest.mark.outside, pytest.mark.deep]

SECTOR = 4096
DRAWN = 6
JUDGES = {".7z": ("7zz",), ".zip": ("7zz", "unzip"), ".tar": ("tar",)}
# A program reads ahead: what lies so many bytes before a bad sector may go with it (7-Zip's LZMA2 reader takes up to
# 1 MiB at once; measured here). A zip's end is looked for in its last 64 KiB and 22 bytes (APPNOTE 4.3.16): 7-Zip reads
# 128 KiB at once (strace), unzip from the last multiple of 8 KiB on.
AHEAD, TAIL = 1 << 20, 1 << 17


class Told:
    """An archive and what is told of it: the names in their order, the cost of each sector."""

    def __init__(self, path: Path) -> None:
        kind = archive_format(path.name)
        assert kind is not None
        built = anatomy(file_store(path), kind, _password(path))
        self.path, self.extents, self.members = path, built.extents, built.members
        self.names = [entry.path for entry in built.members]
        self.sectors: list[Stretch] = [one for one in stretches(built, SECTOR) for _ in range(one.sectors)]
        assert len(self.sectors) == -(-path.stat().st_size // SECTOR)

    def drawn(self) -> list[int]:
        """Return the first two, the last three and one 100 kB before the end, and some between."""
        last = len(self.sectors)
        between = random.Random(self.path.name).sample(range(2, last - 3), DRAWN)
        return [0, 1, *sorted({*between, last - 25}), last - 3, last - 2, last - 1]

    def named(self, ranges: tuple[tuple[int, int], ...]) -> set[str]:
        return {self.names[number] for start, end in ranges for number in range(start, end)}


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return pictures(tmp_path_factory.mktemp("reed") / "tree", seed=811)


@pytest.fixture(scope="module")
def archives(tree: Path) -> dict[str, Told]:
    return {kind: Told(pack(kind, tree, tree.parent / kind)) for kind in PROGRAMS}


@pytest.mark.parametrize("kind", PROGRAMS)
def test_no_program_gets_more_out_than_the_best_that_is_told(
    kind: str, archives: dict[str, Told], tree: Path, tmp_path: Path
) -> None:
    told = archives[kind]
    content = told.path.read_bytes()
    judges = JUDGES.get(told.path.suffix, ("tar",))
    for sector in told.drawn():
        start = sector * SECTOR
        damaged = tmp_path / told.path.name
        damaged.write_bytes(content[:start] + bytes(len(content[start : start + SECTOR])) + content[start + SECTOR :])
        surely_lost = told.named(told.sectors[sector].least)
        for judge in judges:
            unpack(judge, damaged, tmp_path / "out")
            assert not whole(tree, tmp_path / "out") & surely_lost, (sector, judge)


@pytest.mark.parametrize("kind", ["stored.7z", "single.7z"])
def test_where_structure_decides_a_program_that_goes_on_gets_exactly_what_is_told(
    kind: str, archives: dict[str, Told], tree: Path, tmp_path: Path
) -> None:
    """7-Zip goes on behind a failed check value; headers apart, which it has no second copy of."""
    told = archives[kind]
    content = told.path.read_bytes()
    for sector in told.drawn()[1:-2]:
        one, start = told.sectors[sector], sector * SECTOR
        assert one.least == one.most
        damaged = tmp_path / told.path.name
        damaged.write_bytes(content[:start] + bytes(SECTOR) + content[start + SECTOR :])
        unpack("7zz", damaged, tmp_path / "out")
        assert set(told.names) - whole(tree, tmp_path / "out") == told.named(one.least), sector


class Came:
    """A collector that keeps digests of what came."""

    def __init__(self) -> None:
        self.digests: set[bytes] = set()
        self._hash = hashlib.blake2b()

    def begin(self, entry: Entry) -> None:
        self._hash = hashlib.blake2b()

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self._hash.update(chunk)

    def hole(self, start: int, end: int) -> None: ...

    def end(self, entry: Entry, problem: Problem | None) -> None:
        self.digests.add(self._hash.digest())


@pytest.mark.parametrize("kind", PROGRAMS)
def test_salvage_loses_what_is_told(kind: str, archives: dict[str, Told], tree: Path) -> None:
    """At least and at most; where the two are one, exactly. By content alone, as the judge of a drill goes by it."""
    told = archives[kind]
    form, password, store = archive_format(kind) or "", _password(told.path), file_store(told.path)
    archive = store.files()[0]
    for sector in told.drawn():
        damage = Damage(bad={(sector * SECTOR, SECTOR)})
        damaged = _damaged(store, archive, damage)
        came = Came()
        try:
            listing = salvage_entries(damaged, form, password, kept=None)
            wanted = {(entry.path, entry.index): entry for entry in (*told.members, *listing)}
            salvage(damaged, form, password, list(wanted.values()), came, kept=None, listing=listing)
        except CannotRead:
            pass  # nothing comes
        lost = {n for n in told.names if hashlib.blake2b((tree / n).read_bytes()).digest() not in came.digests}
        one = told.sectors[sector]
        assert told.named(one.least) <= lost <= told.named(one.most), sector


def _damaged(store: Store, archive: Entry, damage: Damage) -> Store:
    return Store(files=store.files, open=lambda entry: Overlay(store.open(entry), damage, archive.size))


def _password(path: Path) -> str | None:
    return PASSWORD if path.name.startswith("secret") else None


# --- a drive that fails ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def failing(archives: dict[str, Told], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A mounted file system with a copy of each archive for each drawn sector, which the kernel cannot read there.

    The block is mapped to one near the end of the drive, and the drive is cut short before it once it is mounted.
    """
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or not (shutil.which("mkfs.ext4") and shutil.which("debugfs")):
        pytest.skip("mounting a file system in a file needs Linux, root, mkfs.ext4 and debugfs")
    folder = tmp_path_factory.mktemp("drive")
    image, mounted = folder / "drive.img", folder / "mounted"
    mounted.mkdir()
    stops = [told for told in archives.values() if told.path.suffix in JUDGES]
    size = sum(told.path.stat().st_size for told in stops for _ in told.drawn()) * 5 // 4 + (16 << 20)
    block = size // SECTOR
    with image.open("wb") as file:
        file.truncate(block * SECTOR)
    try:
        _run("mkfs.ext4", "-q", "-b", str(SECTOR), "-O", "^has_journal", image)
        _run("mount", "-o", "loop", image, mounted)
        orders = []
        for told in stops:
            for sector in told.drawn():
                block -= 1
                shutil.copy(told.path, mounted / f"{sector}-{told.path.name}")
                orders.append(f"bmap {sector}-{told.path.name} {sector} {block}\n")
        _run("umount", mounted)
        (folder / "orders").write_text("".join(orders))
        _run("debugfs", "-w", "-f", folder / "orders", image)
        _run("mount", "-o", "loop,ro", image, mounted)
    except subprocess.CalledProcessError as error:
        pytest.skip(f"no loop device can be mounted here: {error.stderr.decode(errors='replace').strip()}")
    try:
        os.truncate(image, block * SECTOR)
        yield mounted
    finally:
        _run("umount", mounted)


def _run(*command: str | Path) -> None:
    subprocess.run([os.fspath(part) for part in command], check=True, capture_output=True)


def _before(told: Told, sector: int) -> set[str]:
    """Return the files that end so far before a sector that no reading ahead can take them with it."""
    safe = sector * SECTOR - AHEAD
    least = min((one.stops for one in told.extents if one.end > max(safe, 0)), default=len(told.names))
    return set(told.names[:least])


@pytest.mark.parametrize("kind", [kind for kind in PROGRAMS if Path(kind).suffix in JUDGES])
def test_a_program_that_stops_loses_what_is_told(
    kind: str, archives: dict[str, Told], failing: Path, tree: Path, tmp_path: Path
) -> None:
    told = archives[kind]
    size = told.path.stat().st_size
    for sector in told.drawn():
        file = failing / f"{sector}-{told.path.name}"
        with file.open("rb", buffering=0) as raw, pytest.raises(OSError, match="Input/output"):
            raw.seek(sector * SECTOR)
            raw.read(SECTOR)
        foretold = set(told.names[: told.sectors[sector].stops])
        for judge in JUDGES[told.path.suffix]:
            if judge == "unzip" and not sector:
                continue  # it goes on past a first header that it cannot read, and past no other
            unpack(judge, file, tmp_path / "out")
            got = whole(tree, tmp_path / "out")
            if told.path.suffix == ".zip" and (sector + 1) * SECTOR > size - TAIL:
                assert not foretold and (judge == "unzip" or not got), (sector, judge)
                continue  # unzip needs less of it to find the directory
            assert got <= foretold, (sector, judge)
            assert got >= foretold & _before(told, sector), (sector, judge)


def test_every_judge_is_asked() -> None:
    for name in ("7zz", "unzip", "tar"):
        assert program(name)
