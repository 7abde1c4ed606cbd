"""A recovery from copies that are really damaged: what a drill gets out past the damage, it brings back; what only
parts are left of is kept apart. Damage is done to the files on disk, at seeded places.
"""

import hashlib
import random
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import py7zr
import pytest

from drill.model import Hazard, Scenario, Selector
from drill.recover import Options, recover
from drill.recoverrecord import ShootBack
from drill.rehearse import Options as Rehearsal
from drill.rehearse import rehearse
from drill.studio import load_studio

NOW = datetime(2026, 10, 1, tzinfo=UTC)
PICTURES = {f"raw/R{number:04d}.dng": random.Random(number).randbytes(60_000) for number in range(6)}
SECTOR = 4096


def lay_out(folder: Path, *forms: str) -> Path:
    """Write a studio of so many copies, each of all pictures: "" is a folder, else an archive's ending."""
    lines = [f"{hashlib.sha256(data).hexdigest()}  {path}\n" for path, data in PICTURES.items()]
    (folder / "reed.sha256").write_text("".join(lines))
    text = '[studio]\nname = "Reed"\nscratch = "scratch"\n'
    text += '[[shoots]]\nid = "reed"\ndate = 2026-09-12\nmanifest = "reed.sha256"\n'
    for number, form in enumerate(forms):
        home = folder / f"media/m{number}"
        for path, data in PICTURES.items():
            (home / path).parent.mkdir(parents=True, exist_ok=True)
            (home / path).write_bytes(data)
        at = f"media/m{number}"
        if form:
            at = f"media/m{number}.d/year{form}"
            (folder / at).parent.mkdir()
            _pack(folder / at, home, form)
            home.rename(folder / f"aside{number}")
        text += f'[[media]]\nid = "m{number}"\nkind = "ssd"\nplace = "p{number}"\n'
        text += f'[[copies]]\non = "m{number}"\nat = "{at}"\n'
    (folder / "studio.toml").write_text(text)
    return folder / "studio.toml"


def _pack(target: Path, source: Path, form: str) -> None:
    if form == ".zip":
        with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as archive:
            for path in PICTURES:
                archive.write(source / path, path)
        return
    with py7zr.SevenZipFile(target, "w") as packed:
        for path in PICTURES:
            packed.write(source / path, path)


def zero(path: Path, *sectors: int) -> None:
    """Write zeros over sectors, as a drive does that cannot read them and does not say so."""
    data = bytearray(path.read_bytes())
    for sector in sectors:
        data[sector * SECTOR : (sector + 1) * SECTOR] = bytes(len(data[sector * SECTOR : (sector + 1) * SECTOR]))
    path.write_bytes(data)


def split_of(studio: Path) -> tuple[dict[str, str], ShootBack, Path]:
    """Drill without any fault, and recover; return how the recovery splits the promise, after they agreed."""
    nothing = Scenario("law", "t", "s", (Hazard("slow", Selector(), factor=1.0),))
    (drill,) = rehearse(load_studio(studio), [nothing], Rehearsal(seed=1, now=NOW)).drills
    rehearsed = dict.fromkeys(PICTURES, "back") | {note.path: "lost" for note in drill.lost_files}
    loaded, into = load_studio(studio), studio.parent / "back"
    (told,) = recover(loaded, into, loaded.shoots, Options((), NOW)).shoots
    split = dict.fromkeys(PICTURES, "back") | {file.path: file.outcome for file in told.missing}
    assert split == rehearsed
    assert told.stitched == drill.stitched
    for path, state in split.items():
        assert (into / "reed" / path).exists() is (state == "back")
        assert state != "back" or (into / "reed" / path).read_bytes() == PICTURES[path]
    return split, told, into


def test_two_copies_damaged_in_different_places_are_put_together(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, "", "")
    zero(tmp_path / "media/m0/raw/R0002.dng", 3)
    zero(tmp_path / "media/m1/raw/R0002.dng", 9)
    split, told, _ = split_of(studio)
    assert set(split.values()) == {"back"} and told.stitched == 1
    assert sum(told.sources.values()) == len(PICTURES) + 1


def test_what_is_cut_short_gives_what_came_before_and_a_part_that_nobody_takes_for_good(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, ".zip")
    archive = tmp_path / "media/m0.d/year.zip"
    archive.write_bytes(archive.read_bytes()[:200_000])  # in the fourth of six; the directory at the end is gone
    split, told, into = split_of(studio)
    assert [path for path, state in split.items() if state == "back"] == [*PICTURES][:3]
    (kept,) = told.in_parts
    assert kept.path == [*PICTURES][3] and kept.put == f"reed.in-parts/{kept.path}.NOT-WHOLE"
    part = (into / kept.put).read_bytes()
    came = 60_000 - (kept.bytes_missing or 0)
    assert 10_000 < came < 20_000 and part[:came] == PICTURES[kept.path][:came] and not any(part[came:])


@pytest.mark.parametrize("form", [".zip", ".7z"])
@pytest.mark.parametrize("seed", range(4))
def test_a_damaged_archive_gives_what_its_drill_gets_out(tmp_path: Path, form: str, seed: int) -> None:
    studio = lay_out(tmp_path, form)
    archive = tmp_path / f"media/m0.d/year{form}"
    rng = random.Random(seed)
    last = archive.stat().st_size // SECTOR
    zero(archive, *(rng.randrange(1, last) for _ in range(2)), *([last] if seed == 3 else []))
    split, _, _ = split_of(studio)
    if form == ".zip":
        assert len([path for path, state in split.items() if state == "back"]) >= len(PICTURES) - 3


def test_a_single_copy_with_wrong_bytes_is_kept_apart_too(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, "")
    flipped, cut = [*PICTURES][1:3]
    zero(tmp_path / "media/m0" / flipped, 3)
    (tmp_path / "media/m0" / cut).write_bytes(PICTURES[cut][:10_000])
    split, told, into = split_of(studio)
    assert [path for path, state in split.items() if state != "back"] == [flipped, cut]
    assert {part.path for part in told.in_parts} == {flipped, cut}
    for part in told.in_parts:
        assert (into / part.put).read_bytes() == (tmp_path / "media/m0" / part.path).read_bytes()
