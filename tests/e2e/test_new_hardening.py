"""What an adversary found in `drill new`: each of these once promised too little, wrote too much, or broke a file."""

import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from census import census
from piles import jpeg
from runner import CHECKOUT, Outcome, start

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

NINE = datetime(2026, 9, 12, 9)
LONG_AGO = 1_700_000_000


def put(path: Path, content: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    os.utime(path, (LONG_AGO, LONG_AGO))
    return path


def shot(number: int, camera: str = "Reed One") -> bytes:
    return jpeg(number, NINE + timedelta(minutes=number), camera)


def new(folder: Path, *more: str | Path) -> Outcome:
    return start("new", folder, *more, cwd=folder.parent)


def lines(path: Path) -> list[str]:
    return [line.split("  ", 1)[1] for line in path.read_text(encoding="utf-8").splitlines()]


def test_one_disk_is_never_two_media(tmp_path: Path) -> None:
    put(tmp_path / "drive/heron ridge/1.jpg", shot(1))
    assert new(tmp_path / "st", "--medium", f"hard-disk={tmp_path / 'drive/heron ridge'}").code == 0
    outcome = new(tmp_path / "st", "--medium", f"hard-disk={tmp_path / 'drive'}", "--add")
    assert outcome.code == 2
    assert "would count as two copies" in outcome.err
    same = new(tmp_path / "st", "--medium", f"hard-disk={tmp_path / 'drive/heron ridge'}")
    assert "Nothing to add" in same.out


def test_a_list_that_was_left_behind_is_never_added_to(tmp_path: Path) -> None:
    put(tmp_path / "card/DCIM/100REED_/REED0001.JPG", shot(1))
    put(tmp_path / "drive/heron/REED0001.JPG", shot(1))
    st = tmp_path / "st"
    assert new(st, "--medium", f"card={tmp_path / 'card'}", "--medium", f"ssd={tmp_path / 'drive'}").code == 0
    text = (st / "studio.toml").read_text(encoding="utf-8")
    blocks = text.split("\n\n[[")
    kept = [b for b in blocks if not (b.startswith(("media]]", "copies]]")) and 'id = "card"' in b)]
    (st / "studio.toml").write_text("\n\n[[".join(kept), encoding="utf-8")
    put(tmp_path / "card/DCIM/100REED_/REED0001.JPG", shot(50))  # formatted, and shot again
    before = (st / "manifests/on-card.xxh128").read_bytes()
    assert new(st, "--medium", f"card={tmp_path / 'card'}", "--add").code == 0
    assert (st / "manifests/on-card.xxh128").read_bytes() == before
    record = start("survey", st / "studio.toml", "--json", "-", cwd=tmp_path).record
    assert {shoot["shoot"]: len(shoot["on_one_copy"]) for shoot in record["shoots"]} == {"heron": 1, "2026-09-12": 1}


def test_a_second_cameras_sidecar_of_the_same_number_is_new(tmp_path: Path) -> None:
    put(tmp_path / "ssd/heron/cam1/IMG_0001.JPG", shot(1))
    put(tmp_path / "ssd/heron/cam1/IMG_0001.xmp", b"<x>one</x>")
    st = tmp_path / "st"
    assert new(st, "--medium", f"ssd={tmp_path / 'ssd'}").code == 0
    put(tmp_path / "ssd/heron/cam2/IMG_0001.JPG", shot(2, "Reed Two"))
    put(tmp_path / "ssd/heron/cam2/IMG_0001.xmp", b"<x>two</x>")
    assert new(st, "--add").code == 0
    assert sorted(lines(st / "manifests/heron.xxh128")) == [
        f"cam{camera}/IMG_0001.{ending}" for camera in (1, 2) for ending in ("JPG", "xmp")
    ]
    put(tmp_path / "ssd/heron/cam2/IMG_0001.xmp", b"<x>edited</x>")
    changed = new(st)
    assert "Nothing to add" in changed.out
    assert "not what was promised" in " ".join(changed.out.split())


def test_a_damaged_copy_of_what_is_promised_is_no_new_promise(tmp_path: Path) -> None:
    for number in (1, 2, 3):
        put(tmp_path / f"ssd/heron/{number}.jpg", shot(number))
    st = tmp_path / "st"
    assert new(st, "--medium", f"ssd={tmp_path / 'ssd'}").code == 0
    put(tmp_path / "ssd/heron/2.jpg", shot(2)[:1500])
    outcome = new(st, "--add")
    assert outcome.code == 0
    assert "no longer what was promised" in " ".join(outcome.out.split())
    assert lines(st / "manifests/heron.xxh128") == ["1.jpg", "2.jpg", "3.jpg"]
    assert new(st, "--add", "--relist", "ssd").code == 0
    assert lines(st / "manifests/heron.xxh128") == ["1.jpg", "2.jpg", "3.jpg"]
    done = start("run", st / "studio.toml", "--scenario", "silent-rot", "--seed", "1", "--no-reports", cwd=tmp_path)
    assert "heron/2.jpg: its own list has other bytes than promised" in " ".join(done.out.split())


@pytest.mark.parametrize(
    "inside", ["manifests", "ledger.sqlite", "ledger.sqlite-wal", "ledger.sqlite-shm", "studio.toml"]
)
def test_nothing_is_written_in_a_copy_through_a_link_in_the_folder(tmp_path: Path, inside: str) -> None:
    put(tmp_path / "card/DCIM/1.jpg", shot(1))
    (tmp_path / "card/lists").mkdir()
    (tmp_path / "st").mkdir()
    target = tmp_path / "card" / ("lists" if inside == "manifests" else inside)
    (tmp_path / "st" / inside).symlink_to(target)
    before = census(tmp_path / "card")
    outcome = new(tmp_path / "st", "--medium", f"card={tmp_path / 'card'}")
    assert outcome.code == 2, outcome.said
    assert "nothing is ever written there" in outcome.err
    assert census(tmp_path / "card") == before


def test_a_studio_file_that_cannot_be_added_to_is_left_alone(tmp_path: Path) -> None:
    put(tmp_path / "ssd/heron/1.jpg", shot(1))
    st = tmp_path / "st"
    assert new(st, "--medium", f"ssd={tmp_path / 'ssd'}").code == 0
    text = (st / "studio.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[[media]]")
    body, _, tail = rest.partition("\n[[")
    pairs = [line.split("   #")[0] for line in body.splitlines() if " = " in line and not line.startswith("#")]
    inline = f"media = [{{ {', '.join(pairs)} }}]\n"
    (st / "studio.toml").write_text(inline + head + "[[" + tail, encoding="utf-8")
    put(tmp_path / "card/DCIM/9.jpg", shot(9))
    before = census(st)
    outcome = new(st, "--medium", f"card={tmp_path / 'card'}", "--add")
    assert outcome.code == 2, outcome.said
    assert "[[media]]" in outcome.err
    kept = {path: seen for path, seen in census(st).items() if "ledger" not in path and path != str(st)}
    assert kept == {path: seen for path, seen in before.items() if "ledger" not in path and path != str(st)}


def test_a_name_that_an_archive_has_twice_breaks_no_list(tmp_path: Path) -> None:
    (tmp_path / "drive").mkdir()
    for number in (1, 2):
        put(tmp_path / f"in{number}/a.jpg", shot(number))
    with tarfile.open(tmp_path / "drive/heron.tar", "w") as box:
        for number in (1, 2):
            box.add(tmp_path / f"in{number}/a.jpg", "a.jpg")
        box.add(tmp_path / "in1/a.jpg", "b.jpg")
    with zipfile.ZipFile(tmp_path / "drive/kiln.zip", "w") as box:
        box.writestr("k.jpg", shot(5))
    st = tmp_path / "st"
    outcome = new(st, "--medium", f"hard-disk={tmp_path / 'drive'}")
    assert outcome.code == 0, outcome.said
    assert "there twice" in outcome.out
    assert start("survey", st / "studio.toml", cwd=tmp_path).code in (0, 1)


def test_an_interrupted_writing_is_finished_by_the_same_command(tmp_path: Path) -> None:
    put(tmp_path / "ssd/heron/1.jpg", shot(1))
    st = tmp_path / "st"
    assert new(st, "--medium", f"ssd={tmp_path / 'ssd'}").code == 0
    text = (st / "studio.toml").read_bytes()
    (st / "studio.toml").unlink()
    assert new(st, "--medium", f"ssd={tmp_path / 'ssd'}").code == 0
    assert (st / "studio.toml").read_bytes() == text


@pytest.mark.skipif(os.name == "nt", reason="Windows names are always text")
def test_names_that_are_no_text_are_mistakes_before_anything_is_read(tmp_path: Path) -> None:
    put(tmp_path / "ssd/heron/1.jpg", shot(1))
    medium = ["--medium", f"ssd={tmp_path / 'ssd'}"]
    for folder, more in ((os.fsdecode(os.fsencode(tmp_path) + b"/s\xff"), []), (str(tmp_path / ("n" * 300)), [])):
        outcome = start("new", folder, *medium, *more, cwd=tmp_path)
        assert outcome.code == 2, outcome.said
        assert "Traceback" not in outcome.err
    outcome = start("new", "st", *medium, "--name", os.fsdecode(b"a\xff"), cwd=tmp_path)
    assert outcome.code == 2
    assert not (tmp_path / "st").exists()


def test_what_is_there_and_in_no_list_of_ours_is_not_called_gone(tmp_path: Path) -> None:
    put(tmp_path / "ssd/heron/1.jpg", shot(1))
    put(tmp_path / "ssd/heron/old.rar", b"Rar!")
    st = tmp_path / "st"
    assert new(st, "--medium", f"ssd={tmp_path / 'ssd'}").code == 0
    listed = st / "manifests/on-ssd.xxh128"
    listed.write_text(listed.read_text() + "0" * 32 + "  heron/old.rar\n")
    assert "no longer there" not in new(st).out
    assert new(st, "--add", "--relist", "ssd").code == 0
    assert "heron/old.rar" in lines(listed)


def test_a_folder_of_music_is_no_shoot_and_a_camera_file_of_any_ending_is_one(tmp_path: Path) -> None:
    put(tmp_path / "drive/songs/1.mp3", b"ID3" + bytes(5000))
    put(tmp_path / "drive/heron/1.jpg", shot(1))
    put(tmp_path / "card/DCIM/100REED_/REED0007.ZZZ", b"a camera of tomorrow" * 300)
    put(tmp_path / "card/DCIM/100REED_/REED0006.JPG", shot(6))
    st = tmp_path / "st"
    outcome = new(st, "--medium", f"hard-disk={tmp_path / 'drive'}", "--medium", f"card={tmp_path / 'card'}")
    assert "1 file (songs/1.mp3) in no shoot" in outcome.out
    assert lines(st / "manifests/2026-09-12.xxh128") == ["100REED_/REED0006.JPG", "100REED_/REED0007.ZZZ"]


def test_days_of_an_archive_follow_the_shoot_that_they_are_of(tmp_path: Path) -> None:
    for day in (0, 1):
        for number in range(4):
            when = NINE + timedelta(days=day, minutes=number)
            one = jpeg(day * 10 + number, when, "Reed One")
            if number < 3:
                put(tmp_path / f"ssd/Weddings/Okafor and Lind/Day {day + 1}/{day}{number}.jpg", one)
            put(tmp_path / f"drive/2026/06/{when:%Y-%m-%d}/{day}{number}.jpg", one)
    st = tmp_path / "st"
    outcome = new(st, "--medium", f"ssd={tmp_path / 'ssd'}", "--medium", f"hard-disk={tmp_path / 'drive'}")
    assert outcome.code == 0, outcome.said
    assert len(lines(st / "manifests/okafor-and-lind.xxh128")) == 8  # the two that only the archive has, too


def test_a_folder_of_deliveries_elsewhere_is_no_shoot_of_its_own(tmp_path: Path) -> None:
    for number in range(4):
        put(tmp_path / f"ssd/heron/raw/{number}.jpg", shot(number))
        put(tmp_path / f"ssd/heron/deliver/{number}-web.jpg", shot(number + 100))
    with zipfile.ZipFile(tmp_path / "ssd/gallery for the client.zip", "w") as box:
        for number in range(4):
            box.writestr(f"{number}-web.jpg", shot(number + 100))
    st = tmp_path / "st"
    assert new(st, "--medium", f"ssd={tmp_path / 'ssd'}").code == 0
    assert sorted(path.name for path in (st / "manifests").iterdir() if not path.name.startswith("on-")) == [
        "heron.xxh128"
    ]
    assert len(lines(st / "manifests/heron.xxh128")) == 8


def test_pictures_that_are_cut_short_everywhere_are_said(tmp_path: Path) -> None:
    put(tmp_path / "ssd/heron/1.jpg", shot(1))
    put(tmp_path / "ssd/heron/2.jpg", shot(2)[:-200])
    put(tmp_path / "ssd/heron/3.jpg", b"no picture at all" * 500)
    outcome = new(tmp_path / "st", "--medium", f"ssd={tmp_path / 'ssd'}")
    said = " ".join(outcome.out.split())
    assert "2 pictures (ssd: heron/2.jpg, ssd: heron/3.jpg) cut short" in said


@pytest.mark.outside
def test_a_folder_that_cannot_be_listed_is_said_and_nothing_in_it_called_gone(tmp_path: Path) -> None:
    unlike_root = without_root()
    put(tmp_path / "drive/forest/1.jpg", shot(1))
    put(tmp_path / "drive/wedding/2.jpg", shot(2))
    st = tmp_path / "st"
    medium = ["--medium", f"hard-disk={tmp_path / 'drive'}"]
    (tmp_path / "drive/wedding").chmod(0)
    first = drill_as(unlike_root, tmp_path, "new", str(st), *medium)
    assert "the folder wedding (Permission denied) could not be listed" in " ".join(first.split())
    (tmp_path / "drive/wedding").chmod(0o777)
    assert "wedding" in drill_as(unlike_root, tmp_path, "new", str(st), "--add")
    (tmp_path / "drive/wedding").chmod(0)
    again = drill_as(unlike_root, tmp_path, "new", str(st))
    (tmp_path / "drive/wedding").chmod(0o777)
    assert "no longer there" not in again


def without_root() -> list[str]:
    """Return what to put before a command so that locked folders are locked for it too."""
    if os.name == "nt" or shutil.which("setpriv") is None:
        pytest.skip("setpriv (util-linux) is not installed")
    if os.getuid() != 0:
        return []
    less = "-dac_override,-dac_read_search"
    return ["setpriv", f"--bounding-set={less}", f"--inh-caps={less}", "--"]


def drill_as(before: list[str], cwd: Path, *arguments: str) -> str:
    command = [*before, sys.executable, "-m", "drill", *arguments]
    environment = {**os.environ, "PYTHONPATH": os.fspath(CHECKOUT), "HOME": os.fspath(cwd)}
    done = subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    return done.stdout
