"""A scratch disk that is too small, for real: a file system of one megabyte is mounted where the system lets us."""

from pathlib import Path

import pytest
from census import census, files_below
from described import Medium, Studio
from hand import SLOW, copy, media, picture, shoot
from runner import run_drills
from studios import Built, build, link_server

pytestmark = pytest.mark.deep  # it fills disks of its own

BIG = tuple((f"a{number}.dng", picture(number, 400_000)) for number in range(4))
SMALL = tuple((f"b{number}.dng", picture(number + 9, 4000)) for number in range(3))


def built_on(small_disk: Path, folder: Path, *more: str) -> Built:
    studio = Studio(
        media=media("x", "y"),
        shoots=(shoot(*SMALL, id="small"), shoot(*BIG, id="big")),
        copies=(copy("x", *SMALL, *BIG), copy("y", *SMALL, *BIG, form=".7z")),
    )
    built = build(folder, studio, (SLOW,))
    text = built.file.read_text(encoding="utf-8").replace('scratch = "scratch"', f'scratch = "{small_disk.as_posix()}"')
    built.file.write_text(text, encoding="utf-8")
    return built


def test_a_shoot_that_does_not_fit_is_said_before_it_is_restored(small_disk: Path, tmp_path: Path) -> None:
    built = built_on(small_disk, tmp_path / "studio")
    before = census(*built.sources)
    outcome = run_drills(built.file, *built.scenarios)
    assert census(*built.sources) == before
    assert outcome.code == 3, outcome.said
    assert "big needs 1.6 MB in scratch" in outcome.err
    assert "set scratch" in outcome.err
    assert outcome.record["complete"] is False
    assert [drill["shoot"] for drill in outcome.record["drills"]] == ["small"], "what was done is kept and said"
    assert files_below(small_disk) == []


def test_a_disk_that_fills_up_during_the_restore_ends_it_cleanly(small_disk: Path, tmp_path: Path) -> None:
    """With --keep the first shoot stays on the disk, and what others write there meanwhile is not foreseen."""
    built = built_on(small_disk, tmp_path / "studio")
    (small_disk / "of-somebody-else").write_bytes(b"x" * 1_030_000)
    outcome = run_drills(built.file, *built.scenarios)
    assert outcome.code == 3, outcome.said
    assert "scratch" in outcome.err
    assert "Traceback" not in outcome.err
    assert files_below(small_disk) == ["of-somebody-else"]


def test_an_archive_link_that_does_not_fit_is_said(small_disk: Path, tmp_path: Path) -> None:
    studio = Studio(
        media=(Medium(id="web", kind="cloud"),),
        shoots=(shoot(*BIG, id="big"),),
        copies=(copy("web", *BIG, form="link.zip"),),
    )
    folder = tmp_path / "studio"
    with link_server(folder / "cloud") as (base, _):
        built = build(folder, studio, (SLOW,), base=base)
        text = built.file.read_text(encoding="utf-8")
        built.file.write_text(text.replace('"scratch"', f'"{small_disk.as_posix()}"'), encoding="utf-8")
        outcome = run_drills(built.file, *built.scenarios)
    assert outcome.code == 3, outcome.said
    assert "the archive behind web does not fit in scratch" in outcome.err
    assert "Traceback" not in outcome.err
    assert files_below(small_disk) == []


@pytest.mark.parametrize("size_known", [True, False])
def test_what_is_salvaged_never_fills_the_disk(small_disk: Path, tmp_path: Path, size_known: bool) -> None:
    """Thirty members that nothing names are three times what the disk holds; one of them is promised, by its digest."""
    members = tuple((f"m{number:02}.dng", picture(number, 100_000)) for number in range(30))
    wanted, other = ("wanted.dng", members[20][1]), ("elsewhere.dng", picture(99, 100_000 if size_known else 90_000))
    studio = Studio(
        media=media("x", "y"),
        shoots=(shoot(wanted, other, id="reed"),),
        copies=(copy("x", *members, form=".zip"), *((copy("y", *members[:2]),) if size_known else ())),
    )
    built = build(tmp_path / "studio", studio, (SLOW,))
    text = built.file.read_text(encoding="utf-8").replace('scratch = "scratch"', f'scratch = "{small_disk.as_posix()}"')
    built.file.write_text(text, encoding="utf-8")
    (archive,) = (tmp_path / "studio").rglob("*.zip")
    archive.write_bytes(archive.read_bytes()[:-3000])  # its directory
    outcome = run_drills(built.file, *built.scenarios)
    assert outcome.code == 1, outcome.said
    (found,) = outcome.record["drills"]
    assert found["files"]["verified"] == 1, outcome.said
    assert files_below(small_disk) == []
