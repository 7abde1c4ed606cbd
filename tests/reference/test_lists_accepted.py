"""Every list that `drill new` writes is accepted by the programs whose format it is; bags are taken at their word.

Sources: the programs themselves, run by the tests (seen with GNU coreutils 9.1 and xxhsum 0.8.1), and the `bagit`
library, an implementation of RFC 8493 by others.
"""

import hashlib
import logging
import shutil
import subprocess
import unicodedata
from datetime import datetime, timedelta
from pathlib import Path

import bagit
import pytest
from census import census
from collections_found import jpeg, promised, put, written
from runner import run_drills, start

from drill.cli.new import DIGESTS

PROGRAMS = {
    "md5": "md5sum",
    "sha1": "sha1sum",
    "sha256": "sha256sum",
    "sha512": "sha512sum",
    "blake2b": "b2sum",
    "xxh64": "xxhsum",
    "xxh3": "xxhsum",
    "xxh128": "xxhsum",
}
SHOOT = "Heron Ridge"
NAMES = [
    "ABCD0001.JPG",
    "with space.jpg",
    " lead.jpg",
    "trailing .jpg ",
    "-dash.jpg",
    "--check.jpg",
    "*star.jpg",
    "#hash.jpg",
    "(a) = b.jpg",
    "MD5 (a) = d41d8cd98f00b204e9800998ecf8427e",
    "percent%0A.jpg",
    "back\\slash.jpg",
    "return\rhere.jpg",
    "caf\u00e9 composed.jpg",
    "cafe\u0301 decomposed.jpg",
    "\u5199\u771f.jpg",
    "quote'\"`$HOME.jpg",
    "select/-dash.jpg",
]
BROKEN = "new\nline.jpg"  # xxhsum 0.8.1 has no escapes: no list of its own can hold it
TAKEN = datetime(2026, 3, 7, 9)


def check(kind: str, listed: Path, *, folder: Path) -> subprocess.CompletedProcess[bytes]:
    """Let the program whose list it is check it, in a folder."""
    found = shutil.which(PROGRAMS[kind])
    if found is None:
        pytest.skip(f"{PROGRAMS[kind]} is not on this machine")
    return subprocess.run(
        [found, "--check", "--strict", str(listed)], cwd=folder, capture_output=True, check=False, timeout=60
    )


def lay_out(drive: Path, names: list[str]) -> list[str]:
    """Write a picture for every name that this file system takes; return those it took."""
    took = []
    for number, name in enumerate(names):
        try:
            put(drive / SHOOT / name, jpeg(number, TAKEN + timedelta(minutes=number)))
            took.append(name)
        except (OSError, ValueError):
            continue
    return took


def test_there_is_a_program_for_every_kind() -> None:
    assert set(PROGRAMS) == set(DIGESTS)


@pytest.mark.outside
@pytest.mark.parametrize("kind", DIGESTS)
def test_every_list_is_accepted_where_its_files_lie(tmp_path: Path, kind: str) -> None:
    drive, studio = tmp_path / "drive", tmp_path / "studio"
    names = lay_out(drive, [*NAMES, *([] if kind.startswith("xxh") else [BROKEN])])
    made = start("new", studio, "--medium", f"hard-disk={drive}", "--digest", kind, cwd=tmp_path)
    assert made.code == 0, made.said
    manifests = studio / "manifests"
    assert sorted(path.name for path in manifests.iterdir()) == [f"heron-ridge.{kind}", f"on-drive.{kind}"]
    for listed, folder in ((manifests / f"on-drive.{kind}", drive), (manifests / f"heron-ridge.{kind}", drive / SHOOT)):
        checked = check(kind, listed, folder=folder)
        assert checked.returncode == 0, checked.stdout + checked.stderr
        assert b"WARNING" not in checked.stderr
        assert checked.stdout.count(b": OK\n") == len(names) > 10


@pytest.mark.outside
@pytest.mark.parametrize("kind", DIGESTS)
def test_a_changed_picture_fails_both_lists(tmp_path: Path, kind: str) -> None:
    drive, studio = tmp_path / "drive", tmp_path / "studio"
    names = lay_out(drive, ["-a b.jpg", "caf\u00e9.jpg"])
    assert start("new", studio, "--medium", f"ssd={drive}", "--digest", kind, cwd=tmp_path).code == 0
    file = drive / SHOOT / names[0]
    file.write_bytes(file.read_bytes()[:-1] + b"\0")
    for name, folder in ((f"on-drive.{kind}", drive), (f"heron-ridge.{kind}", drive / SHOOT)):
        checked = check(kind, studio / "manifests" / name, folder=folder)
        assert checked.returncode == 1
        assert checked.stdout.count(b": FAILED\n") == 1


@pytest.mark.outside
def test_restored_files_pass_the_list_beside_them(tmp_path: Path) -> None:
    one, two, studio = tmp_path / "one", tmp_path / "two", tmp_path / "studio"
    names = lay_out(one, [*NAMES, BROKEN])
    shutil.copytree(one, two)
    media = ("--medium", f"tablet={one}", "--medium", f"hard-disk={two}")
    assert start("new", studio, *media, "--digest", "sha256", cwd=tmp_path).code == 0
    file = studio / "studio.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("[studio]\n", '[studio]\nscratch = "scratch"\n', 1), encoding="utf-8")
    (studio / "scratch").mkdir()
    run = run_drills(file, "lost-tablet", more=("--keep",))
    assert [drill["verdict"] for drill in run.record["drills"]] == ["restored"], run.said
    (listed,) = (studio / "scratch").rglob("heron-ridge.sha256")
    checked = check("sha256", listed, folder=listed.parent)
    assert checked.returncode == 0, checked.stderr
    assert checked.stdout.count(b": OK\n") == len(names)


def test_names_that_no_promise_may_hold_are_said(tmp_path: Path) -> None:
    drive, studio = tmp_path / "drive", tmp_path / "studio"
    if len(lay_out(drive, ["ABCD0001.JPG", "\\leading.jpg"])) < 2:
        pytest.skip("this file system takes no such name")
    made = start("new", studio, "--medium", f"hard-disk={drive}", cwd=tmp_path)
    assert made.code == 0, made.said
    assert "leading.jpg" in made.out
    assert start("survey", studio / "studio.toml", cwd=tmp_path).code == 0


def test_names_of_one_folding_are_both_promised(tmp_path: Path) -> None:
    """NFC and NFD of one name are two names on some file systems: RFC 8493, 6.1.1.3, warns of that."""
    drive, studio = tmp_path / "drive", tmp_path / "studio"
    names = lay_out(drive, ["caf\u00e9.jpg", "cafe\u0301.jpg"])
    if len(list((drive / SHOOT).iterdir())) < 2:
        pytest.skip("one name to this file system")
    made = start("new", studio, "--medium", f"hard-disk={drive}", "--digest", "sha256", cwd=tmp_path)
    assert made.code == 0, made.said
    digests = {hashlib.sha256((drive / SHOOT / name).read_bytes()).hexdigest() for name in names}
    (shoot,) = promised(studio, "sha256").values()
    assert set(shoot.values()) == digests
    assert len({unicodedata.normalize("NFC", path) for path in shoot}) == 2


# --- bags -------------------------------------------------------------------------------------------------------------


def make_bag(folder: Path, *, checksums: list[str]) -> dict[str, bytes]:
    """Make a bag of four files with the library; return its payload by path."""
    files = {
        "raw/ABCD0001.JPG": jpeg(1, TAKEN),
        "raw/ABCD0002.JPG": jpeg(2, TAKEN + timedelta(minutes=1)),
        "deliver/cover.jpg": jpeg(3, TAKEN + timedelta(minutes=2)),
        "notes.txt": b"the heron came at nine\n",
    }
    for name, content in files.items():
        put(folder / name, content)
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    bagit.make_bag(str(folder), {"Source-Organization": "Saltmarsh Light"}, checksums=checksums)
    return files


@pytest.mark.parametrize(
    "checksums",
    [
        *(pytest.param(kinds, marks=pytest.mark.deep) for kinds in (["sha256"], ["sha512"], ["md5"])),
        ["sha256", "sha512"],
    ],
    ids="+".join,
)
def test_a_bag_on_a_medium_is_the_promise(tmp_path: Path, checksums: list[str]) -> None:
    drive, studio = tmp_path / "drive", tmp_path / "studio"
    bag = drive / "Heron Ridge"
    files = make_bag(bag, checksums=checksums)
    before = census(drive)
    made = start("new", studio, "--medium", f"hard-disk={drive}", "--digest", checksums[0], cwd=tmp_path)
    assert made.code == 0, made.said
    said = " ".join(made.out.split())
    for kind in checksums:
        assert f"manifest-{kind}.txt" in said.replace(" ", ""), made.out  # the table may break the name in two
        assert promised(studio, kind)["heron-ridge"] == {
            name: hashlib.new(kind, content).hexdigest() for name, content in files.items()
        }
    assert "listed in" in said, made.out
    for tag in ("bagit.txt", "bag-info.txt", "tagmanifest"):
        assert tag not in (studio / "manifests" / f"heron-ridge.{checksums[0]}").read_text(encoding="utf-8")
    survey = start("survey", studio / "studio.toml", cwd=tmp_path)
    assert survey.code == 0, survey.said
    run = run_drills(studio / "studio.toml", "locked-account", "house-fire", "silent-rot")
    assert run.code in (0, 1), run.said
    assert census(drive) == before
    assert bagit.Bag(str(bag)).validate()


def test_a_bag_outvotes_a_changed_file_in_it(tmp_path: Path) -> None:
    """RFC 8493, section 3: the manifest says what the payload is; a file that differs is not what was promised."""
    drive, studio = tmp_path / "drive", tmp_path / "studio"
    files = make_bag(drive / "Heron Ridge", checksums=["sha256"])
    wrong = drive / "Heron Ridge" / "data" / "raw" / "ABCD0002.JPG"
    wrong.write_bytes(wrong.read_bytes()[:-40] + bytes(40))
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(drive / "Heron Ridge")).validate()
    made = start("new", studio, "--medium", f"hard-disk={drive}", "--digest", "sha256", cwd=tmp_path)
    assert made.code == 0, made.said
    assert promised(studio, "sha256")["heron-ridge"] == {
        name: hashlib.sha256(content).hexdigest() for name, content in files.items()
    }
    assert "ABCD0002.JPG" in made.out
    survey = start("survey", studio / "studio.toml", cwd=tmp_path)
    assert survey.code in (0, 1), survey.said  # it lists, and reads nothing


def test_a_bag_outvotes_two_media_with_another_reading(tmp_path: Path) -> None:
    drive, tablet, phone, studio = (tmp_path / name for name in ("drive", "tablet", "phone", "studio"))
    files = make_bag(drive / "Heron Ridge", checksums=["sha512"])
    name, content = "ABCD0001.JPG", files["raw/ABCD0001.JPG"]
    for other in (tablet, phone):
        put(other / "Heron Ridge" / "raw" / name, content[:-10] + b"\1" * 10)
    media = [part for at in (drive, tablet, phone) for part in ("--medium", f"hard-disk={at}")]
    made = start("new", studio, *media, cwd=tmp_path)
    assert made.code == 0, made.said
    (shoot,) = written(studio)["shoots"]
    assert promised(studio, "sha512")[shoot["id"]][f"raw/{name}"] == hashlib.sha512(content).hexdigest()
    assert name in made.out
