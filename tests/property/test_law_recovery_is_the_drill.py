"""Law: rehearsed and real do not differ. What a drill verifies when media are gone is what a recovery brings back, file
by file; the rest is on paper or lost alike; with the lost media really deleted or merely said to be lost.

What comes back is held against the promised bytes themselves. A second run finds all of it and changes nothing.
"""

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import NOW, laid_out, run

from drill.ledger import Ledger
from drill.model import Hazard, Selector
from drill.recover import Options, check_into, lost_named, recover, shoots_in_order
from drill.recoverrecord import Recovery
from drill.studio import load_studio
from drill.testing.strategies import worlds
from drill.testing.world import World, content

pytestmark = pytest.mark.deep  # test_recover_rooms.py is quick

Split = dict[str, str]  # promised path → "back", "on_paper" or "lost"


def bring_back(studio_file: Path, lost: list[str], ledger: Ledger | None = None) -> Recovery:
    studio = load_studio(studio_file)
    shoots = shoots_in_order(studio, ["reed"])
    into = studio_file.parent / "back"
    check_into(studio, into, shoots)
    return recover(studio, into, shoots, Options(lost_named(studio, lost), NOW, ledger=ledger))


def rehearsed(studio_file: Path, world: World, lost: list[str]) -> Split:
    """Return how a drill splits the promise when these media are gone."""
    (drill,) = run(studio_file, [Hazard("gone", Selector(medium=(id_,))) for id_ in lost]).drills
    split = {f"raw/A{number:04d}.dng": "back" for number in range(world.files)}
    split |= {note.path: "on_paper" for note in drill.on_paper_files}
    return split | {note.path: "lost" for note in drill.lost_files}


def recovered(record: Recovery, world: World) -> Split:
    assert record.unfinished is None
    split = {f"raw/A{number:04d}.dng": "back" for number in range(world.files)}
    return split | {file.path: file.outcome for file in record.shoots[0].missing}


def standing(into: Path) -> dict[str, bytes]:
    """Return every file of the folder, by path."""
    return {path.relative_to(into).as_posix(): path.read_bytes() for path in into.rglob("*") if path.is_file()}


@settings(max_examples=40)
@given(world=worlds(), data=st.data(), deleted=st.booleans())
def test_a_recovery_brings_back_what_the_drill_verified(world: World, data: st.DataObject, deleted: bool) -> None:
    ids = [copy.id for copy in world.copies]
    lost = data.draw(st.lists(st.sampled_from(ids), unique=True))
    with laid_out(world) as studio:
        expected = rehearsed(studio, world, lost)
        for id_ in lost if deleted else ():
            shutil.rmtree(studio.parent / "media" / id_)
        record = bring_back(studio, lost)
        assert recovered(record, world) == expected
        first = standing(studio.parent / "back")
        files = dict(first)
        kept = record.shoots[0].in_parts
        assert all(expected[part.path] != "back" for part in kept)
        parts = {f"reed.in-parts/{part.path}.NOT-WHOLE{end}" for part in kept for end in ("", ".txt")}
        assert {path for path in files if path.startswith("reed.in-parts/")} == parts
        files = {path: files[path] for path in files if path not in parts}
        listed = files.pop("reed.sha256", b"")
        back = {path: number for number in range(world.files) if expected[path := f"raw/A{number:04d}.dng"] == "back"}
        assert files == {f"reed/{path}": content(number) for path, number in back.items()}
        assert sorted(line.split(b"  ")[1].decode() for line in listed.splitlines()) == sorted(files)
        again = bring_back(studio, lost)
        assert recovered(again, world) == expected
        assert (again.shoots[0].found, again.shoots[0].restored) == (len(files), 0)
        assert standing(studio.parent / "back") == first


@settings(max_examples=25)
@given(world=worlds(), data=st.data())
def test_whatever_stands_in_the_folder_already_stays_and_never_counts_for_another(
    world: World, data: st.DataObject
) -> None:
    with laid_out(world) as studio:
        into = studio.parent / "back"
        kinds = st.sampled_from(
            ["nothing", "right", "wrong", "short", "folder", *(["link"] if os.name != "nt" else [])]
        )
        planted = {number: data.draw(kinds) for number in range(world.files)}
        before: dict[str, bytes] = {}
        (into / "reed/raw").mkdir(parents=True)
        for number, how in planted.items():
            path = into / f"reed/raw/A{number:04d}.dng"
            if how == "folder":
                path.mkdir()
            elif how == "link":
                path.symlink_to(studio.parent / "manifests" / "reed.sha256")
            elif how != "nothing":
                data_ = content(number)
                path.write_bytes({"right": data_, "wrong": data_[::-1], "short": data_[:-1]}[how])
                before[path.relative_to(into).as_posix()] = path.read_bytes()
        expected = rehearsed(studio, world, [])
        record = bring_back(studio, [])
        after = standing(into)
        assert {path: after.get(path) for path in before} == before
        for number, how in planted.items():
            path = f"raw/A{number:04d}.dng"
            told = recovered(record, world)[path]
            assert told == ("back" if how == "right" else expected[path])
            if told == "back":
                home = "reed" if how in ("nothing", "right") else "reed.as-promised"
                assert after[f"{home}/{path}"] == content(number)
        assert len(record.shoots[0].elsewhere) == sum(
            how not in ("nothing", "right") and recovered(record, world)[f"raw/A{n:04d}.dng"] == "back"
            for n, how in planted.items()
        )
