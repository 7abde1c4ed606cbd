"""A recovery that is killed at any instant, or whose disk is full: what has its name is whole, the next run goes on.

Real processes, killed by the system (SIGKILL), again and again, until one comes to its end.
"""

import random
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from census import census
from described import Medium, Studio
from hand import copy, media, picture, shoot
from runner import begin, start
from studios import Built, build, link_server

FILES = tuple((f"raw/T{number:04}.dng", picture(number, 1000 + 200 * (number % 40))) for number in range(600))
SAME = (("again/one.dng", picture(7, 50_000)), ("again/two.dng", picture(7, 50_000)), ("again/three.dng", b""))
ALL = (*FILES, *SAME)

pytestmark = pytest.mark.deep


def lay(folder: Path) -> Built:
    """Half on a drive, half in an archive, so that both ways of reading are cut short."""
    studio = Studio(
        media=media(*"xyz"),
        shoots=(shoot(*ALL),),
        copies=(copy("x", *ALL), copy("y", *FILES[:300], *SAME[:1]), copy("z", *FILES[300:], SAME[2], form=".zip")),
    )
    return build(folder, studio)


def whole(into: Path) -> set[str]:
    """Return the promised files that stand under their names; each must be right."""
    promised, found = dict(ALL), set()
    for folder in into.iterdir() if into.exists() else ():
        assert folder.name in ("terns", "terns.sha256", "terns.STILL-MISSING.txt", ".drill-recovery"), folder
    for path in (into / "terns").rglob("*"):
        if path.is_file():
            name = path.relative_to(into / "terns").as_posix()
            assert path.read_bytes() == promised[name], f"{name} has its name and is not whole"
            found.add(name)
    return found


@pytest.mark.skipif(sys.platform == "win32", reason="a run that is ended there is told so first; this is about SIGKILL")
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_killed_at_any_instant_nothing_wrong_has_a_name_and_the_next_run_goes_on(tmp_path: Path, seed: int) -> None:
    built, into, rng = lay(tmp_path / "s"), tmp_path / "back", random.Random(seed)
    before, had, with_news = census(*built.sources), set[str](), 0
    arguments = ("recover", built.file, "--lost", "x", "--into", into)
    for attempt in range(1, 41):
        stood = len(whole(into))
        running = begin(*arguments, cwd=tmp_path)
        while attempt % 3 and running.poll() is None and len(list((into / "terns").rglob("*.*"))) <= stood:
            time.sleep(0.002)  # every third is killed whatever it is at, the others soon after something has come
        try:
            running.wait(timeout=rng.random() * (0.05 if attempt % 3 else 2.0))
        except subprocess.TimeoutExpired:
            running.kill()
        running.communicate()
        has = whole(into)
        assert had <= has, "what was back is gone"
        with_news, had = with_news + (had < has), has
        if running.returncode == 0:
            break
        assert running.returncode == -9
    assert with_news > 1, "it was too quick to be cut short"
    end = start(*arguments, "--json", "-", cwd=tmp_path)
    assert end.code == 0, end.said
    assert end.record["shoots"][0]["files"]["found"] >= len(had)
    assert whole(into) == {path for path, _ in ALL}
    assert sorted(path.name for path in into.iterdir()) == ["terns", "terns.sha256"]
    assert census(*built.sources) == before


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Mount two megabytes at a fresh folder."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", folder]
    if sys.platform != "linux" or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("a small file system can only be mounted by root on Linux")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


def test_a_shoot_that_does_not_fit_is_said_before_it_is_begun(small_disk: Path, tmp_path: Path) -> None:
    outcome = start("recover", lay(tmp_path / "s").file, "--lost", "x", "--into", small_disk / "back", cwd=tmp_path)
    assert outcome.code == 3 and "make room and run the same again" in outcome.err, outcome.said
    assert whole(small_disk / "back") == set()


def test_a_shoot_that_does_not_fit_does_not_stop_the_others(small_disk: Path, tmp_path: Path) -> None:
    large, small = ((("raw/L.dng", picture(1, 3_000_000)),), (("raw/S.dng", picture(2, 3_000)),))
    shoots = (shoot(*large, id="large"), shoot(*small, id="small"))
    built = build(
        tmp_path / "s", Studio(media=media(*"xy"), shoots=shoots, copies=(copy("x"), copy("y", *large, *small)))
    )
    asked = ("recover", built.file, "--into", small_disk / "back", "--json", "-")
    outcome = start(*asked, "--shoot", "large", "--shoot", "small", cwd=tmp_path)
    assert outcome.code == 3, outcome.said
    assert "no room for what is left of large (3 MB)" in outcome.err and "--shoot" in outcome.err
    told = {row["shoot"]: row["files"] for row in outcome.record["shoots"]}
    assert (told["large"]["not_tried"], told["small"]["restored"]) == (1, 1)
    assert (small_disk / "back/small/raw/S.dng").read_bytes() == small[0][1]
    assert (small_disk / "back/large.STILL-MISSING.txt").exists()


def test_a_shoot_of_unknown_size_that_fills_the_disk_does_not_stop_the_others(small_disk: Path, tmp_path: Path) -> None:
    """A server tells sizes, so the links' are made unknown by a list without them, and by nobody asking."""
    large, small = ((("raw/L.dng", picture(1, 3_000_000)),), (("raw/S.dng", picture(2, 3_000)),))
    shoots = (shoot(*large, id="large"), shoot(*small, id="small"))
    with link_server(tmp_path / "s/cloud") as (base, _):
        studio = Studio(
            media=(Medium(id="web", kind="cloud", place="provider"),),
            shoots=shoots,
            copies=(copy("web", *large, *small, form="link", says=True),),
        )
        built = build(tmp_path / "s", studio, base=base)
        asked = ("recover", built.file, "--into", small_disk / "back", "--json", "-", "--no-ledger")
        outcome = start(*asked, "--shoot", "large", "--shoot", "small", cwd=tmp_path)
    assert outcome.code == 3 and "what is left of large (nobody knows how much)" in outcome.err, outcome.said
    assert (small_disk / "back/small/raw/S.dng").read_bytes() == small[0][1]
    assert not (small_disk / "back/large").exists() or not [*(small_disk / "back/large").rglob("*.dng")]
    assert not (small_disk / "back/.drill-recovery").exists()


def test_nothing_is_written_to_a_lost_medium_that_is_still_plugged_in(small_disk: Path, tmp_path: Path) -> None:
    (small_disk / "2026").mkdir()
    built = build(
        tmp_path / "s",
        Studio(media=media(*"xy"), shoots=(shoot(*SAME),), copies=(copy("x", *SAME), copy("y", *SAME))),
    )
    text = built.file.read_text(encoding="utf-8")
    assert 'at = "media/x"' in text
    built.file.write_text(text.replace('at = "media/x"', f'at = "{(small_disk / "2026").as_posix()}"'))
    outcome = start("recover", built.file, "--lost", "x", "--into", small_disk / "back", cwd=tmp_path)
    assert outcome.code == 2 and "which is lost: write nothing to it" in outcome.err, outcome.said
    assert [path.name for path in small_disk.iterdir()] == ["2026"]
    left = start("recover", built.file, "--lost", "y", "--into", small_disk / "back", cwd=tmp_path)
    assert "is on the same disk as x: what is back is no copy apart" in left.err, left.said


def test_a_disk_that_fills_up_keeps_what_is_whole(small_disk: Path, tmp_path: Path) -> None:
    built, into = lay(tmp_path / "s"), small_disk / "back"
    # Nothing says how large the files are before they come: the zip's directory lies, as far as this test can tell, so
    # somebody else fills the disk while they come.
    filling = small_disk / "of-somebody-else"
    sizes = sum(len(data) for _, data in ALL)
    filling.write_bytes(b"x" * max(2_000_000 - sizes // 2, 0))
    outcome = start("recover", built.file, "--lost", "x", "--into", into, cwd=tmp_path)
    assert outcome.code == 3 and "make room" in outcome.err, outcome.said
    assert "Traceback" not in outcome.err
    had = whole(into)
    filling.unlink()
    subprocess.run(["mount", "-o", "remount,size=16m", small_disk], check=True)
    again = start("recover", built.file, "--lost", "x", "--into", into, "--json", "-", cwd=tmp_path)
    assert again.code == 0 and again.record["shoots"][0]["files"]["found"] == len(had), again.said
    assert whole(into) == {path for path, _ in ALL}


@pytest.mark.skipif(sys.platform == "win32", reason="a folder with open files cannot be taken away there")
def test_a_folder_that_vanishes_ends_it_with_a_reason(tmp_path: Path) -> None:
    built, into = lay(tmp_path / "s"), tmp_path / "back"
    running = begin("recover", built.file, "--lost", "x", "--into", into, "--no-ledger", cwd=tmp_path)
    while not whole_so_far(into) and running.poll() is None:
        time.sleep(0.005)
    into.rename(tmp_path / "unplugged")
    _, err = running.communicate(timeout=60)
    assert running.returncode in (0, 3), err  # 0: it was quicker
    assert "Traceback" not in err
    if not into.exists():
        (tmp_path / "unplugged").rename(into)
    end = start("recover", built.file, "--lost", "x", "--into", into, "--no-ledger", cwd=tmp_path)
    assert end.code == 0, end.said


def whole_so_far(into: Path) -> bool:
    return any((into / "terns/raw").glob("*")) if (into / "terns/raw").exists() else False
