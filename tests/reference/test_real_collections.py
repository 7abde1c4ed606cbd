"""Collections that nobody here arranged: Debian's wallpapers, and the test pictures of imaging libraries.

Sources: packages of Debian (lomiri-wallpapers-16.04, photographs of many people) and of the Python package index (the
test pictures of pillow and piexif, whole and malformed). Judges: hashlib's own walk, Pillow's reading of pictures and
of Exif, the coreutils and xxhsum programs. None of the files is part of this project.

Continuous integration installs the first, and fetches the second into the folder that DRILL_REAL_PICTURES names.
"""

import random
import re
import shutil
import subprocess
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from census import census
from collections_found import (
    PICTURE_ENDINGS,
    exif_time,
    odd_pictures,
    opening,
    promised,
    put,
    sha256,
    walk,
    wallpapers,
    written,
)
from runner import run_drills, start

from drill import capture

pytestmark = [pytest.mark.outside, pytest.mark.deep]

DROPPINGS = (
    ".DS_Store",
    "Thumbs.db",
    "._first.jpg",
    ".Trashes/501/thrown away.jpg",
    "System Volume Information/x.jpg",
    "$RECYCLE.BIN/gone.jpg",
    "half written.jpg.part",
)
EARLIEST = datetime(1990, 1, 1)
SECOND = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class Looked:
    """A collection that `drill new` has looked at: its media, what it wrote and said, a census from before."""

    drive: Path
    card: Path
    zipped: Path
    studio: Path
    said: str
    before: dict[str, Any]

    @property
    def shoots(self) -> dict[str, dict[str, str]]:
        """What is promised: by shoot, path → SHA-256."""
        return promised(self.studio, "sha256")


def look(root: Path, gather: Callable[[Path], Path]) -> Looked:
    """Make a drive of a collection, a card of a third of it under other names, a zip of another; look at them."""
    drive, card, computer, studio = (root / name for name in ("drive", "card", "computer", "studio"))
    gather(drive)
    files = sorted(walk(drive))
    dice = random.Random(7)
    for number, path in enumerate(dice.sample(files, len(files) // 3)):
        put(card / f"DCIM/{100 + number // 50}ABCDE/ABCD{number + 1:04}{path.suffix.upper()}", path.read_bytes())
    computer.mkdir()
    with zipfile.ZipFile(computer / "old backup.zip", "w") as packed:
        for path in dice.sample(files, len(files) // 3):
            packed.write(path, f"from the old disk/{path.relative_to(drive).as_posix()}")
    for number, name in enumerate(DROPPINGS):
        put(drive / name, b"dropping %d" % number)
    before = census(drive, card, computer)
    media = ("--medium", f"hard-disk={drive}", "--medium", f"card={card}", "--medium", f"computer={computer}")
    made = start("new", studio, *media, "--digest", "sha256", cwd=root)
    assert made.code == 0, made.said
    assert "Traceback" not in made.err
    return Looked(drive, card, computer / "old backup.zip", studio, made.out, before)


@pytest.fixture(scope="module", params=[wallpapers, odd_pictures], ids=["wallpapers", "test pictures"])
def looked(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Looked:
    """Return each collection, looked at once."""
    return look(tmp_path_factory.mktemp("found"), request.param)


def pictures(drive: Path) -> list[Path]:
    """Return what ends like a picture, is recognised as one by Pillow, and was not left behind by a system."""
    kept = [
        p
        for p in walk(drive)
        if p.relative_to(drive).as_posix() not in DROPPINGS and p.suffix.lower() in PICTURE_ENDINGS
    ]
    return opening(kept)


def check(program: str, listed: Path, *, folder: Path) -> None:
    found = shutil.which(program)
    if found is None:
        pytest.skip(f"{program} is not on this machine")
    done = subprocess.run(
        [found, "--check", "--strict", "--quiet", str(listed)], cwd=folder, capture_output=True, check=False, timeout=60
    )
    assert (done.returncode, done.stderr) == (0, b""), done.stdout[-2000:] + done.stderr[-2000:]


def test_every_list_passes_the_program_in_its_copys_folder(looked: Looked, tmp_path: Path) -> None:
    copies = {copy["id"]: copy for copy in written(looked.studio)["copies"]}
    assert len(copies) >= 4
    for id_, copy in copies.items():
        at = Path(copy["at"])
        if "manifest" not in copy:
            assert id_ == "computer"  # it holds nothing but the archive
            continue
        if at.is_file():
            shutil.unpack_archive(at, tmp_path / id_)
            at = tmp_path / id_
        check("sha256sum", looked.studio / copy["manifest"], folder=at)


def test_xxhsum_accepts_the_lists_of_the_default_kind(looked: Looked, tmp_path: Path) -> None:
    media = ("--medium", f"ssd={looked.drive}", "--medium", f"card={looked.card}")
    assert start("new", tmp_path / "studio", *media, cwd=tmp_path).code == 0
    for copy in written(tmp_path / "studio")["copies"]:
        if Path(copy["at"]).is_dir():
            check("xxhsum", tmp_path / "studio" / copy["manifest"], folder=Path(copy["at"]))


def test_every_picture_is_promised_exactly_once_by_content(looked: Looked) -> None:
    counted = Counter(digest for paths in looked.shoots.values() for digest in paths.values())
    names = {sha256(path): path.relative_to(looked.drive).as_posix() for path in pictures(looked.drive)}
    assert len(names) > 10
    missing = sorted(name for digest, name in names.items() if digest not in counted)
    assert not missing, f"{len(missing)} of {len(names)} never promised: {missing}"
    twice = sorted(name for digest, name in names.items() if counted[digest] > 1)
    assert not twice


def test_nothing_is_promised_that_is_not_there(looked: Looked) -> None:
    there = {sha256(path) for path in walk(looked.drive)}
    for shoot, paths in looked.shoots.items():
        assert set(paths.values()) <= there, shoot


def test_droppings_are_left_out_and_counted(looked: Looked) -> None:
    digests = {sha256(looked.drive / name) for name in DROPPINGS}
    assert digests.isdisjoint(digest for paths in looked.shoots.values() for digest in paths.values())
    listed = (looked.studio / "manifests" / "on-drive.sha256").read_text(encoding="utf-8")
    assert not any(digest in listed for digest in digests)
    for word in (".DS_Store", "Thumbs.db", "._*", ".Trashes/", "System Volume Information/", "$RECYCLE.BIN/", "*.part"):
        assert f"drive: {word}: 1" in looked.said


def believed(paths: Iterable[Path]) -> dict[str, datetime]:
    """Return the capture times that Pillow reads and that can be true, by SHA-256."""
    soon = datetime.now() + timedelta(days=1)
    times = {sha256(path): when for path in paths if (when := exif_time(path)) is not None}
    return {digest: when for digest, when in times.items() if EARLIEST <= when <= soon}


def test_dates_of_shoots_agree_with_pillow(looked: Looked) -> None:
    times = believed(pictures(looked.drive))
    for shoot in written(looked.studio)["shoots"]:
        days = Counter(times[d].date() for d in looked.shoots[shoot["id"]].values() if d in times)
        if days:
            assert days[shoot["date"]] == max(days.values()), shoot["id"]
        elif shoot["date"].year != 1970:  # what stands where no date is known; else a name has to carry it
            digits = shoot["date"].strftime("%Y%m%d")
            names = [re.sub(r"\D", "", path.as_posix()) for root in (looked.drive, looked.card) for path in walk(root)]
            assert any(digits in name for name in names), shoot["id"]


def test_capture_times_agree_with_pillow_picture_by_picture(looked: Looked) -> None:
    paths = pictures(looked.drive)
    expected = believed(paths)
    now = datetime.now()
    found = {}
    for path in paths:
        with path.open("rb") as file:
            taken = capture.taken(file, not_after=now) if capture.can_have(path.name) else None
        if taken is not None:
            found[sha256(path)] = taken.when.replace(microsecond=0)
    assert found == expected


def test_the_card_and_the_zip_are_seen_to_hold_what_they_hold(looked: Looked, tmp_path: Path) -> None:
    """By an independent count: how many promised files lie on the renamed card and in the zip."""
    shutil.unpack_archive(looked.zipped, tmp_path / "zip")
    everything = [digest for paths in looked.shoots.values() for digest in paths.values()]
    survey = start("survey", looked.studio / "studio.toml", "--json", "-", cwd=tmp_path).record
    there = {copy["copy"]: copy["there"] for copy in survey["copies"]}
    roots = {"drive": looked.drive, "card": looked.card, "computer-old-backup": tmp_path / "zip"}
    for id_, root in roots.items():
        held = {sha256(path) for path in walk(root)}
        assert there[id_] == sum(digest in held for digest in everything) > 0, id_
    assert not any(copy["missing"] or copy["other_size"] for copy in survey["copies"])


def test_a_drill_restores_every_promised_byte(looked: Looked) -> None:
    """Without the card all lies on the drive; what comes back is held against the promise by another program."""
    scratch = looked.studio / "scratch"
    scratch.mkdir()
    file = looked.studio / "studio.toml"
    text = file.read_text(encoding="utf-8").replace("[studio]\n", '[studio]\nscratch = "scratch"\n', 1)
    file.write_text(text, encoding="utf-8")
    run = run_drills(file, "dead-card", more=("--keep",))
    drills = run.record["drills"]
    assert {drill["verdict"] for drill in drills} == {"restored"}, run.said
    assert sum(drill["files"]["verified"] for drill in drills) == sum(map(len, looked.shoots.values()))
    originals = {sha256(path) for path in walk(looked.drive)}
    restored = Counter(sha256(path) for path in walk(scratch) if path.suffix != ".sha256")
    assert set(restored) <= originals
    assert restored == Counter(digest for paths in looked.shoots.values() for digest in paths.values())


def test_a_second_look_adds_nothing_and_nothing_was_touched(looked: Looked) -> None:
    again = start("new", looked.studio, cwd=looked.studio)
    assert again.code == 0, again.said
    assert "Nothing to add" in again.out
    assert census(looked.drive, looked.card, looked.zipped.parent) == looked.before
