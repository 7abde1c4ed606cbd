"""The surface for people who script their own drills: studios, mishaps, assertions, and what is never touched."""

import gc
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from census import census

from drill import testing
from drill.errors import Mistakes, Unfinished
from drill.record import Run
from drill.testing import (
    Mishap,
    StudioFolder,
    UnusedWarning,
    assert_comes_back,
    assert_lost,
    assert_survives,
    deleted,
    drilled,
    encrypted,
    expired,
    lost,
    really,
    refused,
    rotten,
    slow,
    stale,
    studio_folder,
    truncated,
    unreadable,
)
from drill.testing.folder import ARCHIVES

pytest_plugins = ["pytester"]

Maker = Callable[..., StudioFolder]
AS_IT_IS = Run("s", "2026-11-26T09:00:00Z", "2026-11-26T09:00:00Z", 1, True, (), ())


# --- studios -----------------------------------------------------------------------------------------------------


def test_a_studio_is_whole_and_gone_afterwards(tmp_path: Path) -> None:
    with studio_folder(tmp_path) as studio:
        assert studio.file.is_file() and studio.folder.parent == tmp_path.resolve()
        assert set(studio.copy("tablet").holds) == set(studio.shoot("heron").files)
        assert_comes_back(drilled(studio), shoot="heron", classes=["originals"], within="1 h")
        assert studio.load().media["tablet"].carried
    assert list(tmp_path.iterdir()) == []


def test_a_studio_is_gone_after_an_error_too(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), studio_folder(tmp_path) as studio, really(studio, lost("tablet")):
        _ = 1 / 0
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("form", ["folder", "link", *ARCHIVES])
def test_a_copy_of_every_form_serves(drill_studio: StudioFolder, form: str) -> None:
    drill_studio.add_medium("other", "cloud", "elsewhere")
    drill_studio.add_copy("other", "heron", form=form)
    with lost("tablet", "drive"):
        run = drilled(drill_studio)
    assert_comes_back(run)
    assert run.drills[0].sources == {"other": 4}


def test_several_shoots_lists_and_some_of_the_files(make_drill_studio: Maker) -> None:
    files = {"raw/K0001.dng": b"kiln", "raw/K0001.xmp": b"edited"}
    studio = make_drill_studio(media={"card": "card in bag"}, shoots={"heron": 2, "kiln": files}, copies={})
    both = studio.add_copy("card", files=["*.dng"], says=True)
    assert sorted(both.holds) == ["heron/raw/HERO0001.dng", "heron/raw/HERO0002.dng", "kiln/raw/K0001.dng"]
    assert studio.load().copies[0].listed is not None
    run = drilled(studio)
    assert_comes_back(run, shoot="heron")
    assert_comes_back(run, shoot="kiln", classes=["originals"])
    assert_lost(run, "*.xmp", shoot="kiln")
    second = studio.add_copy("card", "kiln")
    assert second.id == "card-2"
    assert_comes_back(drilled(studio))


def test_what_cannot_be_added_is_told_and_changes_nothing(drill_studio: StudioFolder) -> None:
    before = drill_studio.file.read_bytes()
    wrong: list[Callable[[], object]] = [
        lambda: drill_studio.add_copy("shelf"),
        lambda: drill_studio.add_copy("drive", "marsh"),
        lambda: drill_studio.add_copy("drive", id_="tablet"),
        lambda: drill_studio.add_copy("drive", id_="../drive"),
        lambda: drill_studio.add_copy("drive", holds={"../../a.dng": b""}),
        lambda: drill_studio.add_copy("drive", holds={"/a.dng": b""}),
        lambda: drill_studio.add_copy("drive", form=".rar"),
        lambda: drill_studio.add_shoot("heron"),
        lambda: drill_studio.add_shoot("kiln", 0),
        lambda: drill_studio.add_shoot("kiln", {"../a.dng": b""}),
        lambda: drill_studio.add_medium("shelf", "wardrobe"),
        lambda: drill_studio.copy("shelf"),
    ]
    for each in wrong:
        with pytest.raises(Mistakes):
            each()
        assert drill_studio.file.read_bytes() == before
    assert_comes_back(drilled(drill_studio))


# --- mishaps -----------------------------------------------------------------------------------------------------

MISHAPS: dict[str, Callable[[], Mishap]] = {
    "lost": lambda: lost("drive"),
    "refused": lambda: refused("drive"),
    "rotten": lambda: rotten("drive", files="*0002*"),
    "unreadable": lambda: unreadable("drive"),
    "truncated": lambda: truncated("drive", keep="70%"),
    "deleted": lambda: deleted(place="house", files="*0003*"),
    "encrypted": lambda: encrypted(kind="hard-disk"),
    "expired": lambda: expired(copy="drive"),
    "stale": lambda: stale("drive", before=date(2001, 1, 1)),
}


@pytest.mark.parametrize("mishap", MISHAPS)
def test_every_mishap_takes_something_until_its_block_ends(make_drill_studio: Maker, mishap: str) -> None:
    studio = make_drill_studio(media={"drive": "hard-disk in house"})
    with MISHAPS[mishap]():
        assert_lost(drilled(studio))
    assert_comes_back(drilled(studio))
    assert_lost(drilled(studio, MISHAPS[mishap]()))
    if mishap != "unreadable":
        before = census(studio.copy("drive").root)
        with really(studio, MISHAPS[mishap]()):
            assert_lost(drilled(studio))
        assert census(studio.copy("drive").root) == before


def test_a_slow_drive_takes_longer(make_drill_studio: Maker) -> None:
    studio = make_drill_studio(media={"drive": "hard-disk in house"})
    with slow("drive", factor=0.001):
        later = drilled(studio)
    assert later.drills[0].seconds.projected > drilled(studio).drills[0].seconds.projected


def test_mishaps_add_up_and_end_in_any_order(drill_studio: StudioFolder) -> None:
    first, second = lost("tablet"), rotten("drive", files="*0001*")
    with first:
        assert_comes_back(drilled(drill_studio))
        with second:
            assert_lost(drilled(drill_studio), "*0001*")
        with lost("drive"):
            assert_lost(drilled(drill_studio), ["*0001*", "*0002*"])
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    assert_comes_back(drilled(drill_studio))
    second.__exit__(None, None, None)
    assert drilled(drill_studio).drills[0].scenario == "as-it-is"


def test_a_mishap_counts_in_every_thread(drill_studio: StudioFolder) -> None:
    found = []
    with lost("tablet", "drive"):
        thread = Thread(target=lambda: found.append(drilled(drill_studio)))
        thread.start()
        thread.join()
    assert_lost(found[0])


def test_shipped_scenarios_are_drilled_with_the_mishaps_on_top(drill_studio: StudioFolder) -> None:
    assert_comes_back(drilled(drill_studio, scenarios=["lost-tablet"]), scenario="lost-tablet", variant="tablet")
    with deleted("drive", files="*0004*"):
        run = drilled(drill_studio, scenarios=["lost-tablet", "expired-cloud-link"])
    assert_lost(run, "*0004*", scenario="lost-tablet")


IDLE: dict[str, Callable[[], Mishap]] = {
    "nobody has that id": lambda: lost("shelf"),
    "nothing is of that kind": lambda: lost(kind="tape"),
    "no file matches": lambda: rotten("drive", files="*.cr3"),
    "the file ends before that": lambda: rotten("drive", offsets=[10**6]),
    "the sector lies behind the end": lambda: unreadable("drive", sectors=[1000]),
    "more is kept than there is": lambda: truncated("drive", keep="1 MB"),
    "everything is older": lambda: stale("drive", before=date(2099, 1, 1)),
    "as quick as ever": lambda: slow("drive", factor=1),
}


@pytest.mark.parametrize("mishap", IDLE)
def test_a_mishap_that_does_nothing_is_a_mistake(drill_studio: StudioFolder, mishap: str) -> None:
    with pytest.raises(Mistakes):
        drilled(drill_studio, IDLE[mishap]())
    with pytest.raises(Mistakes), IDLE[mishap](), lost("tablet"):
        drilled(drill_studio)
    with pytest.raises(Mistakes), really(drill_studio, IDLE[mishap]()):
        pytest.fail("nothing was done and nothing said")


@pytest.mark.parametrize(
    "words",
    [
        lambda: rotten("drive", count=1, offsets=[3]),
        lambda: unreadable("drive", sectors="best"),
        lambda: truncated("drive", keep="much"),
        lambda: lost(colour="red"),
        lambda: lost(kind="tablett"),
        lambda: lost(form="zip"),
        lambda: rotten("drive", count=0),
        lambda: rotten("drive", offsets=[-3]),
        lambda: unreadable("drive", count=0),
        lambda: unreadable("drive", sectors=[-1]),
        lambda: unreadable("drive", sector_size=0),
        lambda: truncated("drive", keep=-5),
        lambda: expired("drive", status=200),
        lambda: slow("drive", factor=0),
        lambda: stale("drive", before="soon"),
        lambda: deleted("drive", files=[]),
    ],
)
def test_words_that_make_no_mishap_are_mistakes(words: Callable[[], Mishap]) -> None:
    """A drill under no bytes changed, or under a drive slower than any, would let a test pass that tests nothing."""
    with pytest.raises(Mistakes) as raised:
        words()
    assert [mistake.where.partition(" (")[0] for mistake in raised.value.mistakes] == ["what goes wrong"]


def unused(words: Callable[[], object]) -> str:
    """Return what warns when words are thrown away, once the refusal of the next drill is over."""
    with pytest.warns(UnusedWarning) as warned:
        words()
    with pytest.raises(Mistakes, match="is made and thrown away, so nothing goes wrong"):
        drilled("none.toml")
    assert [Path(one.filename).name for one in warned] == ["test_testing.py"]
    return str(warned[0].message)


def test_a_mishap_without_with_is_told_and_the_next_drill_refused(drill_studio: StudioFolder) -> None:
    def bare() -> None:
        lost("tablet")

    def in_a_function() -> None:
        def bad_day() -> Mishap:
            return rotten("drive", files="*0001*")

        bad_day()

    def done_for_real() -> None:
        really(drill_studio, deleted("drive", files="*0002*"))

    def of_a_name() -> None:
        mishap = lost("drive")
        really(drill_studio, mishap)

    assert unused(bare).startswith("lost tablet is made")
    assert unused(in_a_function).startswith("rotten drive (*0001*) is made")
    assert unused(done_for_real).startswith("really (deleted drive (*0002*)) is made")
    assert unused(of_a_name).startswith("really (lost drive) is made")
    with pytest.warns(UnusedWarning):
        bare()
    with pytest.raises(Mistakes, match="lost tablet"):
        assert_comes_back(AS_IT_IS)
    assert_comes_back(drilled(drill_studio))


def test_a_mishap_that_is_kept_or_used_is_no_waste(drill_studio: StudioFolder) -> None:
    """Warnings are errors here. What a test keeps and does not come to, or a failing one lets go of, is none of it."""

    def fails() -> None:
        mishap = lost("tablet")
        raise ZeroDivisionError(mishap.words)

    with pytest.raises(ZeroDivisionError):
        fails()
    kept = []
    kept.extend(map(lost, ["tablet", "drive"]))
    kept.clear()
    for medium in ("tablet", "drive"):
        mishap = lost(medium)
        assert mishap.words == f"lost {medium}"
    assert lost("tablet").hazard == lost("tablet").hazard
    drilled(drill_studio, lost("tablet"))
    gc.collect()
    assert_comes_back(drilled(drill_studio))


def test_a_test_that_forgets_with_fails_also_where_warnings_are_no_errors(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        """
        from drill.testing import *

        def test_forgets():
            with studio_folder() as studio:
                lost("tablet"); lost("drive")
                assert_comes_back(drilled(studio))

        def test_begins_anew():
            with studio_folder() as studio, lost("tablet"):
                assert_comes_back(drilled(studio))
        """
    )
    result = pytester.runpytest_inprocess("-p", "no:cacheprovider", "-W", "default")
    result.assert_outcomes(passed=1, failed=1, warnings=2)
    result.stdout.fnmatch_lines(["*.py, line 5: lost tablet: is made and thrown away*"])


# --- what is handed over -----------------------------------------------------------------------------------------

SLIPS: dict[str, tuple[Callable[[StudioFolder], object], str]] = {
    "files": (lambda s: s.add_copy("drive", files=3), r"files: cannot be 3; give a text"),
    "of": (lambda s: s.add_copy("drive", of=3), r"of: cannot be 3"),
    "holds": (lambda s: s.add_copy("drive", holds={"a.dng": "text"}), r"holds: cannot be 'text'; give bytes by path"),
    "says": (lambda s: s.add_copy("drive", says=["a"]), r"says: cannot be \['a'\]"),
    "pictures": (lambda s: s.add_shoot("kiln", "four"), r"files of kiln: cannot be 'four'; give a number"),
    "id": (lambda s: s.add_shoot(3), r"id: cannot be 3"),
    "within": (lambda s: assert_comes_back(AS_IT_IS, within=3), r'within: cannot be 3; give a span such as "48 h"'),
    "span": (lambda s: assert_comes_back(AS_IT_IS, within="3 moons"), r"within: '3 moons' is not written like"),
    "classes": (lambda s: assert_comes_back(AS_IT_IS, classes=3), r"classes: cannot be 3"),
    "lost": (lambda s: assert_lost(AS_IT_IS, files=3), r"files: cannot be 3"),
    "run": (assert_comes_back, r"run: cannot be <studio .+; give it what drilled\(…\) returns"),
    "studio": (lambda s: assert_survives(AS_IT_IS), r"studio: cannot be Run.+; give a studio_folder, or the path"),
    "none": (lambda s: drilled(None), r"studio: cannot be None"),
    "name": (lambda s: drilled(s, "house-fire"), r"what goes wrong: cannot be 'house-fire'.+scenarios="),
    "now": (lambda s: drilled(s, now="2026-09-12"), r"now: cannot be '2026-09-12'"),
    "path": (lambda s: really(s.file, lost("tablet")), r"studio: cannot be .+Path.+never real copies"),
    "word": (lambda s: rotten("drive", file="*.dng"), r'file: is nothing that rotten takes; did you mean "files"\?'),
    "far": (lambda s: lost("drive", files="*.dng"), r"files: is nothing that lost takes; it takes: kind, place"),
    "list": (lambda s: lost(["tablet", "drive"]), r'is no id; give the ids .+ lost\("tablet", "drive"\)'),
    "kind": (lambda s: lost(kind="tablett"), r"^what goes wrong \(lost\): kind: 'tablett' is not one of them"),
    "media": (lambda s: made_of(media=["tablet"]), r'media: cannot be \[\'tablet\'\]; write it like \{"tablet"'),
    "medium": (lambda s: made_of(media={"tablet": 3}), r"media, tablet: cannot be 3"),
    "shoots": (lambda s: made_of(shoots={"heron": "four"}), r"files of heron: cannot be 'four'"),
    "copies": (lambda s: made_of(copies=["tablet"]), r"copies: cannot be \['tablet'\]"),
}


def made_of(**words: Any) -> None:
    with studio_folder(**words):
        pytest.fail("it was laid out")


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_told_in_the_words_of_who_made_it(drill_studio: StudioFolder, slip: str) -> None:
    words, told = SLIPS[slip]
    before = drill_studio.file.read_bytes()
    with pytest.raises(Mistakes, match=told):
        words(drill_studio)
    assert drill_studio.file.read_bytes() == before


# --- never on anything but what was made here --------------------------------------------------------------------


def test_a_studio_of_ones_own_is_only_read(drill_studio: StudioFolder, tmp_path: Path) -> None:
    real = tmp_path / "real"
    shutil.copytree(drill_studio.folder, real)
    before = census(real / "media")
    with lost("tablet"):
        assert_comes_back(drilled(real / "studio.toml"))
    assert census(real / "media") == before
    with pytest.raises(Mistakes, match=r"was not made by drill\.testing"):
        StudioFolder(real, None)  # type: ignore[arg-type]
    drill_studio.folder = real
    with pytest.raises(Mistakes, match=r"was not made by drill\.testing"), really(drill_studio, lost("tablet")):
        pytest.fail("a real copy was set aside")
    assert census(real / "media") == before
    drill_studio.folder = drill_studio.file.parent


def test_no_drill_is_made_that_would_write_in_a_copy(drill_studio: StudioFolder) -> None:
    root = drill_studio.copy("drive").root
    drill_studio.file.write_text(drill_studio.file.read_text().replace('"scratch"', '"media/drive"'))
    before = census(root)
    with pytest.raises(Mistakes, match="scratch"):
        drilled(drill_studio)
    assert census(root) == before


def test_a_scenario_about_nobody_and_a_run_cut_short_are_no_drill(
    drill_studio: StudioFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = 'title = "T"\nstory = "S"\n[[hazards]]\neffect = "gone"\nhits = { medium = ["tablet", "shelf"] }\n'
    (tmp_path / "shelf.toml").write_text(text)
    with pytest.raises(Mistakes, match="no medium of this studio has the id 'shelf'"):
        drilled(drill_studio, scenarios=tmp_path / "shelf.toml")
    short = replace(drilled(drill_studio), complete=False, unfinished="the disk is full")
    monkeypatch.setattr("drill.testing.drilling.rehearse", lambda *words: short)
    with pytest.raises(Unfinished, match="the disk is full"):
        drilled(drill_studio)


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("mishap", [m for m in MISHAPS if m != "unreadable"])
def test_a_copy_that_leads_elsewhere_is_never_touched(drill_studio: StudioFolder, tmp_path: Path, mishap: str) -> None:
    real = tmp_path / "real"
    drill_studio.copy("drive").root.rename(real)
    drill_studio.copy("drive").root.symlink_to(real, target_is_directory=True)
    before = census(real)
    with pytest.raises(Mistakes, match="leads to"), really(drill_studio, MISHAPS[mishap]()):
        pytest.fail("a copy outside was touched")
    assert census(real) == before


def test_a_studio_file_changed_to_name_other_copies_is_refused(drill_studio: StudioFolder, tmp_path: Path) -> None:
    real = tmp_path / "real"
    drill_studio.copy("drive").root.rename(real)
    text = drill_studio.file.read_text().replace('"media/drive"', f"'{real}'")
    drill_studio.file.write_text(text)
    before = census(real)
    with pytest.raises(Mistakes, match="leads to"), really(drill_studio, encrypted("drive")):
        pytest.fail("a copy outside was touched")
    assert census(real) == before


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("make_link", [os.symlink, os.link])
def test_a_link_in_a_copy_never_leads_a_mishap_out(
    drill_studio: StudioFolder, tmp_path: Path, make_link: Callable[[Path, Path], None]
) -> None:
    real = tmp_path / "real.dng"
    real.write_bytes(b"the only one")
    make_link(real, drill_studio.copy("drive").root / "raw" / "X0001.dng")
    before = census(real)
    for mishap in (encrypted("drive"), deleted("drive"), rotten("drive"), lost("drive"), truncated("drive", keep=0)):
        with really(drill_studio, mishap):
            assert census(real) == before
    assert census(real) == before


def test_another_folder_under_the_same_name_is_not_removed(tmp_path: Path) -> None:
    with pytest.raises(Mistakes, match="was not made"), studio_folder(tmp_path) as studio:
        studio.folder.rename(tmp_path / "away")
        studio.folder.mkdir()
        (studio.folder / "real.dng").write_bytes(b"the only one")
    assert (studio.folder / "real.dng").read_bytes() == b"the only one"


def test_what_cannot_be_done_for_real_is_refused_before_anything(drill_studio: StudioFolder) -> None:
    drill_studio.add_medium("box")
    drill_studio.add_copy("box", form=".zip")
    before = census(drill_studio.folder / "media")
    for mishap in (unreadable("drive"), slow("drive", factor=0.5), deleted("box", files="*0001*"), expired(page=True)):
        with pytest.raises(Mistakes, match="as an overlay"), really(drill_studio, lost("tablet"), mishap):
            pytest.fail("it was done")
        assert census(drill_studio.folder / "media") == before
    with really(drill_studio, rotten("box", count=5), lost("drive", "tablet")):
        assert drilled(drill_studio).drills[0].verdict != "restored"


def test_damage_really_done_follows_mirrors_and_keys(make_drill_studio: Maker) -> None:
    studio = make_drill_studio(media={"computer": "computer in house"})
    studio.add_medium("cloud", "cloud", "away", mirrors="computer")
    studio.add_medium("phone", "phone", "house")
    studio.add_medium("vault", "hard-disk", "house", needs=["phone"])
    for on in ("cloud", "vault"):
        studio.add_copy(on)
    with really(studio, deleted("computer", files="*0001*"), lost("phone")):
        run = drilled(studio)
        assert not studio.copy("vault").root.exists()
    assert_lost(run, "*0001*")
    assert run.drills[0].files.lost == 1
    with really(studio, rotten("computer", count=40)), really(studio, lost("vault")):
        ruined = drilled(studio)
    assert_lost(ruined)
    assert_comes_back(drilled(studio))


@pytest.mark.parametrize("mishap", ["rotten", "truncated", "encrypted"])
def test_damage_twice_is_no_repair(make_drill_studio: Maker, mishap: str) -> None:
    studio = make_drill_studio(media={"drive": "hard-disk in house"})
    with really(studio, MISHAPS[mishap]()):
        for again in (MISHAPS["rotten"](), MISHAPS[mishap]()):
            with really(studio, again):
                assert_lost(drilled(studio), "*0002*")
            with again:
                assert_lost(drilled(studio), "*0002*")
    assert_comes_back(drilled(studio))


@pytest.mark.parametrize("mishap", ["rotten", "truncated", "deleted", "encrypted", "expired", "lost"])
def test_what_is_behind_a_link_is_damaged_too(make_drill_studio: Maker, mishap: str) -> None:
    studio = make_drill_studio(media={"drive": "cloud in house"}, copies={})
    studio.add_copy("drive", form="link")
    words = {"encrypted": lambda: encrypted("drive")}
    with really(studio, words.get(mishap, MISHAPS[mishap])()):
        assert_lost(drilled(studio))
    assert_comes_back(drilled(studio))


def test_rot_leaves_the_times_of_files_as_they_were(drill_studio: StudioFolder) -> None:
    file = drill_studio.copy("drive").root / "raw" / "HERO0002.dng"
    os.utime(file, (1e9, 1e9))
    before = file.read_bytes()
    with really(drill_studio, rotten("drive", files="*0002*")):
        assert file.read_bytes() != before
        assert file.stat().st_mtime == 1e9


def test_nothing_to_do_is_a_mistake(drill_studio: StudioFolder) -> None:
    with pytest.raises(Mistakes, match="nothing would be done"), really(drill_studio):
        pytest.fail("nothing was done and nothing said")


def test_blocks_within_blocks_take_and_give_back_in_turn(drill_studio: StudioFolder) -> None:
    root = drill_studio.copy("drive").root
    before = census(root)
    with really(drill_studio, rotten("drive", files="*0001*")):
        once = census(root)
        with really(drill_studio, rotten("drive", files="*0001*")):
            assert census(root) not in (before, once)
            with lost("tablet"), rotten("drive", files="*0001*"):
                assert_lost(drilled(drill_studio), "*0001*")
            with really(drill_studio, lost("drive")):
                assert not root.exists()
        assert {path: fact.content for path, fact in census(root).items()} == {
            path: fact.content for path, fact in once.items()
        }
    assert census(root) == before


# --- assertions --------------------------------------------------------------------------------------------------


def test_a_failed_assertion_says_what_and_why(drill_studio: StudioFolder) -> None:
    run = drilled(drill_studio, lost("tablet"), rotten("drive", files="*0002*"))
    with pytest.raises(
        AssertionError, match=r"heron under lost tablet, rotten drive \(\*0002\*\): 3 of 4 files came back; lost: 'raw/"
    ):
        assert_comes_back(run)
    with pytest.raises(AssertionError, match=r"\(\*0002\*\): \*0001\* is not lost; lost: 'raw/HERO0002"):
        assert_lost(run, "*0001*")
    with pytest.raises(AssertionError, match=r"late: the restore would take .+, and .+ are allowed") as raised:
        assert_comes_back(drilled(drill_studio), within="1 ms")
    takes, allowed = str(raised.value).partition("take ")[2].split(", and ")
    assert takes not in allowed
    with pytest.raises(AssertionError, match="survives 1 further failure, not 2: "):
        assert_survives(drill_studio, further_failures=2)
    with pytest.raises(AssertionError, match="is lost already"), lost("tablet"), deleted("drive", files="*0001*"):
        assert_survives(drill_studio, further_failures=0)
    assert_survives(drill_studio)


def test_what_is_only_on_paper_did_not_come_back(make_drill_studio: Maker) -> None:
    studio = make_drill_studio(copies={})
    studio.add_copy("drive", says=True)
    with really(studio, lost("drive")):
        run = drilled(studio)
    assert run.drills[0].files.on_paper == 4
    with pytest.raises(AssertionError, match="0 of 4 files came back; only on paper: "):
        assert_comes_back(run)
    with pytest.raises(AssertionError, match="is not lost"):
        assert_lost(run)


def test_late_is_not_back_unless_another_span_is_asked_for(make_drill_studio: Maker) -> None:
    studio = make_drill_studio(media={"drive": "hard-disk in house"})
    studio.set_targets(restore_within="2 s")
    assert_comes_back(drilled(studio))
    with slow("drive", factor=0.000001):
        run = drilled(studio)
    assert run.drills[0].verdict == "late"
    with pytest.raises(AssertionError, match=r"heron under slow drive: late: the restore would take .+, and 2 s are"):
        assert_comes_back(run)
    assert_comes_back(run, within="9 days")
    assert_comes_back(run, classes="originals")


def test_rot_at_the_same_place_of_every_copy_is_past_mending_and_elsewhere_is_not(drill_studio: StudioFolder) -> None:
    with rotten():
        run = drilled(drill_studio)
    assert_comes_back(run)
    with rotten(files="*0002*", offsets=[100]):
        assert_lost(drilled(drill_studio), "*0002*")
    with really(drill_studio, rotten(files="*0002*", offsets=[100])):
        assert_lost(drilled(drill_studio), "*0002*")


def test_a_failing_assertion_is_shown_at_the_test_s_own_line(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        """
        from drill.testing import *

        def test_falls_short():
            with studio_folder() as studio, lost("tablet", "drive"):
                assert_comes_back(drilled(studio))
        """
    )
    text = pytester.runpytest_inprocess("-p", "no:cacheprovider").stdout.str()
    assert "heron under lost tablet drive: 0 of 4 files came back" in text
    assert "asserting.py" not in text and "test_a_failing" in text


def test_an_assertion_about_what_was_not_drilled_fails(drill_studio: StudioFolder) -> None:
    run = drilled(drill_studio, scenarios=["lost-tablet", "expired-cloud-link"])
    with pytest.raises(AssertionError, match="no drill of shoot marsh; it has: heron under lost-tablet"):
        assert_comes_back(run, shoot="marsh")
    with pytest.raises(AssertionError, match="expired-cloud-link hits nothing"):
        assert_comes_back(run, scenario="expired-cloud-link")
    with pytest.raises(AssertionError, match="nothing promised is of the class edits"):
        assert_comes_back(run, classes=["edits"])
    with pytest.raises(AssertionError):
        assert_lost(run)
    short = replace(drilled(drill_studio), complete=False, unfinished="the disk is full")
    for ask in (assert_comes_back, assert_lost):
        with pytest.raises(AssertionError, match=r"was cut short \(the disk is full\), so it shows nothing"):
            ask(short)
    with pytest.raises(AssertionError, match="no files are named"):
        assert_lost(drilled(drill_studio, lost("tablet", "drive")), [])


def test_a_single_word_may_stand_by_itself(drill_studio: StudioFolder) -> None:
    run = drilled(drill_studio, shoots="heron", scenarios="lost-tablet")
    assert [(drill.shoot, drill.scenario) for drill in run.drills] == [("heron", "lost-tablet")]
    assert_comes_back(run, classes="originals")
    assert_survives(drill_studio, shoots="heron")


# --- the door ----------------------------------------------------------------------------------------------------


def test_every_public_name_is_there() -> None:
    assert sorted(testing.__all__) == sorted(set(testing._HOME_OF) - {"damage", "schemes", "worlds"})
    for name in testing._HOME_OF:
        assert getattr(testing, name).__name__ == name
    with pytest.raises(AttributeError, match="no attribute 'backup'"):
        _ = testing.backup


def test_loading_the_fixtures_loads_nothing_else() -> None:
    asked = "import sys, pytest; before = set(sys.modules); import drill.testing.fixtures; "
    asked += "print(*sorted(m for m in set(sys.modules) - before if m.split('.')[0] != 'importlib'))"
    loaded = subprocess.run([sys.executable, "-c", asked], check=True, capture_output=True, text=True).stdout.split()
    assert loaded == ["drill", "drill.testing", "drill.testing.fixtures"]


def test_without_hypothesis_the_rest_works_and_the_strategies_say_what_to_do() -> None:
    asked = "import sys; sys.modules['hypothesis'] = None; from drill.testing import *; lost, laid_out; "
    asked += "from drill.testing import worlds"
    ended = subprocess.run([sys.executable, "-c", asked], check=False, capture_output=True, text=True)
    assert ended.returncode == 1
    assert "is not installed here: python -m pip install 'restore-drill[testing]'" in ended.stderr.splitlines()[-1]
