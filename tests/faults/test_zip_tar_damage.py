"""Zips and tars that people's programs made, really damaged: what was foretold, what salvage gets, what others get.

Programs: Info-ZIP zip and unzip, GNU tar, gzip, xz, zstd. What a drive cannot read comes in pieces of 4096 bytes.
"""

import os
import random
import shutil
import subprocess
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from io import RawIOBase
from pathlib import Path

import pytest
from bad_disk import BadDisk, Salvaged, foretold
from gather import Gather
from packing import pictures, program, unpack

from drill.copies import Unreadable, archive_format, archive_view
from drill.copies.raw import Waiting
from drill.extents import Anatomy
from drill.model import Entry, Store
from drill.salvage import tarred as salvage_tar
from drill.salvage import zipped as salvage_zip
from drill.structure import anatomy

pytestmark = pytest.mark.deep  # test_salvage_zip_tar.py and test_structure_zip_tar.py are quick

SECTOR = 4096
DEEP = int(os.environ.get("DRILL_DEEP_SECTORS", "12"))  # sectors of each archive that are damaged, one at a time


def _through(*packer: str) -> Callable[[Path], bytes]:
    def make(tree: Path) -> bytes:
        tar = _out(["tar", "-cf", "-", "."], tree)
        return subprocess.run([program(packer[0]), *packer[1:]], input=tar, check=True, capture_output=True).stdout

    return make


def _in_parts(size: int, *packer: str) -> Callable[[Path], bytes]:
    def make(tree: Path) -> bytes:
        tar = _out(["tar", "-cf", "-", "."], tree)
        parts = (tar[at : at + size] for at in range(0, len(tar), size))
        command = [program(packer[0]), *packer[1:]]
        return b"".join(subprocess.run(command, input=p, check=True, capture_output=True).stdout for p in parts)

    return make


def _by(*command: str) -> Callable[[Path], bytes]:
    return lambda tree: _out(list(command), tree)


def _out(command: list[str], tree: Path) -> bytes:
    return subprocess.run([program(command[0]), *command[1:]], cwd=tree, check=True, capture_output=True).stdout


def _file(*command: str) -> Callable[[Path], bytes]:
    def make(tree: Path) -> bytes:
        to = tree.parent / "made.zip"
        to.unlink(missing_ok=True)
        _out([*command, str(to), "."], tree)
        return to.read_bytes()

    return make


MAKERS: dict[str, Callable[[Path], bytes]] = {
    "stored.zip": _file("zip", "-q", "-r", "-0"),
    "deflated.zip": _file("zip", "-q", "-r"),
    "streamed.zip": _by("zip", "-q", "-r", "-fd", "-", "."),
    "ustar.tar": _by("tar", "--format=ustar", "--exclude=long*", "-cf", "-", "."),
    "gnu.tar": _by("tar", "--format=gnu", "-cf", "-", "."),
    "pax.tar": _by("tar", "--format=pax", "-cf", "-", "."),
    "one.tar.gz": _through("gzip", "-c"),
    "members.tar.gz": _in_parts(300_000, "gzip", "-c"),
    "one.tar.xz": _through("xz", "-1", "-c"),
    "blocks.tar.xz": _through("xz", "-1", "-c", "-T2", "--block-size=262144"),
    "streams.tar.xz": _in_parts(300_000, "xz", "-1", "-c"),
    "one.tar.zst": _through("zstd", "-q", "-c"),
    "frames.tar.zst": _in_parts(300_000, "zstd", "-q", "-c"),
}


@dataclass(frozen=True)
class Made:
    """An archive, the files in it, what is listed of it in good health."""

    kind: str
    content: bytes
    files: dict[str, bytes]
    entries: list[Entry]

    @property
    def sectors(self) -> int:
        return -(-len(self.content) // SECTOR)

    def chosen(self, seed: str) -> list[int]:
        """Return the sectors to damage: the first, the last, some between."""
        between = random.Random(seed).sample(range(self.sectors), min(DEEP, self.sectors))
        return sorted({0, self.sectors - 1, *between})

    def store(self, bad: Iterable[int] = (), content: bytes | None = None) -> Store:
        content, bad = self.content if content is None else content, frozenset(bad)
        return Store(lambda: [Entry("archive", len(content))], lambda _: BadDisk(content, bad))

    def anatomy(self, *, kept: bool = False) -> Anatomy:
        return anatomy(self.store(), self.kind, None)

    def plain(self, bad: Iterable[int] = (), content: bytes | None = None) -> set[str]:
        """Return what the ordinary reader brings back whole."""
        gather = Gather()
        archive_view(self.store(bad, content), self.kind, None).deliver(self.entries, gather)
        return {path for path, data in gather.good().items() if self.files[path] == data}

    def salvaged(self, bad: Iterable[int] = (), content: bytes | None = None) -> Salvaged:
        content = self.content if content is None else content
        collector, waiting = Salvaged(), Waiting(self.entries)
        raw: RawIOBase = BadDisk(content, bad)
        if self.kind == ".zip":
            salvage_zip.deliver_members(raw, len(content), None, waiting, collector)
        else:
            salvage_tar.deliver_members(self.kind, raw, len(content), waiting, collector)
        return collector

    def listed(self, content: bytes, bad: Iterable[int] = ()) -> list[Entry]:
        raw: RawIOBase = BadDisk(content, bad)
        if self.kind == ".zip":
            return salvage_zip.list_members(raw, len(content), None)
        return salvage_tar.list_members(self.kind, raw, len(content))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Made]:
    tree = pictures(tmp_path_factory.mktemp("made") / "tree", seed=5)
    (tree / ("long-" * 30 + ".xmp")).write_bytes(b"<x:xmpmeta/>")
    (tree / "empty.txt").write_bytes(b"")
    files = {path.name: path.read_bytes() for path in tree.iterdir()}

    @cache
    def get(name: str) -> Made:
        content = MAKERS[name](tree)
        kind = archive_format(name)
        assert kind is not None
        store = Store(lambda: [Entry("archive", len(content))], lambda _: BadDisk(content))
        entries = list(archive_view(store, kind, None).entries())
        return Made(kind, content, {e.path: files[e.path] for e in entries}, entries)

    return get


@pytest.mark.parametrize("name", MAKERS)
def test_an_archive_in_good_health_is_salvaged_whole(name: str, made: Callable[[str], Made]) -> None:
    archive = made(name)
    assert archive.salvaged().good() == archive.files
    assert set(archive.listed(archive.content)) == set(archive.entries)


@pytest.mark.parametrize("name", MAKERS)
def test_what_one_bad_sector_costs_is_what_was_foretold(name: str, made: Callable[[str], Made]) -> None:
    archive = made(name)
    structure = archive.anatomy()
    exact = 0
    for sector in archive.chosen(name):
        got = archive.salvaged({sector})
        assert not got.wrong(archive.files)
        lost = set(archive.files) - got.whole(archive.files)
        least, most, stops = foretold(structure, sector)
        assert least <= lost <= most, (sector, least - lost, lost - most)
        assert least <= stops
        assert archive.plain({sector}) <= got.whole(archive.files)
        exact += least == most
    if archive.kind in (".zip", ".tar"):
        assert exact >= 0.6 * len(archive.chosen(name))
    if name.startswith(("blocks", "streams", "frames", "members")):
        assert structure.restarts and structure.restarts > 5


@pytest.mark.parametrize("name", MAKERS)
def test_more_damage_never_yields_more(name: str, made: Callable[[str], Made]) -> None:
    archive = made(name)
    rng = random.Random(name)
    for _ in range(4):
        bad = set(rng.sample(range(archive.sectors), 2))
        more = bad | set(rng.sample(range(archive.sectors), 3))
        got, less = archive.salvaged(bad), archive.salvaged(more)
        assert less.whole(archive.files) <= got.whole(archive.files), (bad, more)
        assert not got.wrong(archive.files) and not less.wrong(archive.files)


@pytest.mark.parametrize("name", MAKERS)
@pytest.mark.parametrize("share", [0.02, 0.5, 0.97])
def test_of_a_truncated_archive_all_before_the_cut_is_had(name: str, share: float, made: Callable[[str], Made]) -> None:
    archive = made(name)
    cut = archive.content[: int(len(archive.content) * share)]
    got = archive.salvaged(content=cut)
    assert not got.wrong(archive.files)
    assert archive.plain(content=cut) <= got.whole(archive.files)
    if archive.kind in (".zip", ".tar"):
        ends = sorted((entry.index + (entry.size or 0), entry) for entry in archive.entries)
        if archive.kind == ".tar" or name == "stored.zip":
            assert {e.path for end, e in ends if end + 300 < len(cut)} <= got.whole(archive.files)


@pytest.mark.parametrize("name", MAKERS)
def test_no_program_gets_more_out_of_a_damaged_file(name: str, made: Callable[[str], Made], tmp_path: Path) -> None:
    """The sector as an imaging program leaves it: zeros, no error."""
    archive = made(name)
    for sector in archive.chosen(name + "programs")[::3]:
        damaged = bytearray(archive.content)
        end = min((sector + 1) * SECTOR, len(damaged))
        damaged[sector * SECTOR : end] = bytes(end - sector * SECTOR)
        path = tmp_path / name
        path.write_bytes(damaged)
        unpack("unzip" if archive.kind == ".zip" else "tar", path, tmp_path / "out")
        there = {p: tmp_path / "out" / p for p in archive.files}
        theirs = {p for p, at in there.items() if at.is_file() and at.read_bytes() == archive.files[p]}
        got = archive.salvaged(content=bytes(damaged))
        assert theirs <= got.whole(archive.files), sector
        if archive.kind == ".zip":  # a tar has no check value over its members' bytes
            assert not got.wrong(archive.files)
        shutil.rmtree(tmp_path / "out")


# --- zips without a directory ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["stored.zip", "deflated.zip", "streamed.zip"])
def test_a_zip_without_its_directory_comes_whole_by_local_headers(name: str, made: Callable[[str], Made]) -> None:
    archive = made(name)
    cut = archive.content[: archive.anatomy().extents[-1].start]
    with pytest.raises(Unreadable):
        archive_view(archive.store(content=cut), ".zip", None).entries()
    assert {(e.path, e.size, e.index) for e in archive.listed(cut)} == {
        (e.path, e.size, e.index) for e in archive.entries
    }
    assert archive.salvaged(content=cut).good() == archive.files


# --- tars that have lost headers ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["ustar.tar", "gnu.tar", "pax.tar"])
def test_a_tar_without_a_members_header_gives_its_bytes_to_who_has_an_older_list(
    name: str, made: Callable[[str], Made]
) -> None:
    archive = made(name)
    for entry in [e for e in archive.entries if e.size][1:20:4]:
        damaged = bytearray(archive.content)
        damaged[entry.index - 512 : entry.index] = b"\xaa" * 512
        got = archive.salvaged(content=bytes(damaged))
        assert got.whole(archive.files) == set(archive.files)
        assert entry.path not in got.good() or "long" in entry.path
        assert entry.path not in {e.path for e in archive.listed(bytes(damaged))}


def test_a_tar_without_a_pax_header_gives_the_bytes_under_the_listed_name(made: Callable[[str], Made]) -> None:
    archive = made("pax.tar")
    (entry,) = [e for e in archive.entries if e.path.startswith("long")]
    at = archive.content.rindex(b"PaxHeaders", 0, entry.index) // 512 * 512
    damaged = bytearray(archive.content)
    damaged[at : at + 512] = b"\xaa" * 512
    assert archive.salvaged(content=bytes(damaged)).good() == archive.files
