"""`drill search` as a user starts it: the story it tells, the files it writes, mistakes, and no copy is touched."""

import hashlib
import json
import os
import shlex
import signal
import sys
import time
from pathlib import Path

import pytest
from census import census
from runner import Outcome, begin, start

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

NOW = "2026-09-11T08:00:00Z"
STUDIO = """
[studio]
name = "Heron Field"
[[places]]
id = "bag"
carried = true
[[places]]
id = "house"
[[media]]
id = "card"
kind = "card"
place = "bag"
[[media]]
id = "tablet"
kind = "tablet"
place = "bag"
[[copies]]
on = "card"
at = "copies/card"
[[copies]]
on = "tablet"
at = "copies/tablet"
[[shoots]]
id = "reed"
date = 2026-09-01
manifest = "reed.sha256"
[scheme]
made_on = ["card"]
zone = "Europe/Lisbon"
home = "house"
[[steps]]
id = "import"
do = "copy"
from = "card"
to = "tablet"
after = "1 h"
takes = "0 h"
[[steps]]
id = "format"
do = "erase"
from = "card"
after = "1 day"
"""
ONLY_FORGETTING = [f"--without={kind}" for kind in ("medium", "place", "rot", "early", "deleted", "attack")]


@pytest.fixture
def home(tmp_path: Path) -> Path:
    for medium in ("card", "tablet"):
        (tmp_path / "copies" / medium).mkdir(parents=True)
        (tmp_path / "copies" / medium / "R0001.DNG").write_bytes(b"a picture")
    digest = hashlib.sha256(b"a picture").hexdigest()
    (tmp_path / "reed.sha256").write_text(f"{digest}  R0001.DNG\n", encoding="utf-8")
    (tmp_path / "studio.toml").write_text(STUDIO, encoding="utf-8")
    return tmp_path


def ask(home: Path, *arguments: str | Path, cwd: Path | None = None) -> Outcome:
    return start("search", home / "studio.toml", "--now", NOW, *arguments, cwd=cwd or home)


def test_a_dated_story_and_no_copy_touched(home: Path) -> None:
    before = census(home / "copies")
    outcome = ask(home, "--home", *ONLY_FORGETTING)
    said = " ".join(outcome.out.split())
    assert outcome.code == 1, outcome.said
    assert "one mishap can lose it, and no fewer (proved shortest)" in said
    assert "! Sat 12 Sep 2026 19:00 import forgotten" in said
    assert "Sun 13 Sep 2026 18:00 format: card erased: the one picture gone" in said
    assert max(map(len, outcome.out.splitlines())) <= 80
    assert census(home / "copies") == before
    assert sorted(path.name for path in home.iterdir()) == ["copies", "reed.sha256", "search.corpus", "studio.toml"]


def test_the_ending_is_drilled_on_the_real_copies(home: Path) -> None:
    """In the story neither card nor tablet has anything, so nothing of the real shoot comes back either."""
    before = census(home / "copies")
    outcome = ask(home, "--home", *ONLY_FORGETTING, "--save", "the worst.toml")
    assert outcome.code == 1, outcome.said
    told = next(line for line in outcome.err.splitlines() if line.startswith("drill it: drill "))
    words = [word.strip('"') for word in shlex.split(told.removeprefix("drill it: drill "), posix=os.name != "nt")]
    drilled = start(*words, "--no-ledger", "--json", "-", cwd=home)
    assert drilled.code == 1, drilled.said
    assert [drill["verdict"] for drill in drilled.record["drills"]] == ["lost"]
    assert census(home / "copies") == before


def test_a_theft_takes_the_drive_in_the_bag_that_no_step_names(home: Path) -> None:
    """What lies at home, and no step names either, is what helps."""
    text = (home / "studio.toml").read_text(encoding="utf-8")
    for id_, place in (("field-ssd", "bag"), ("kiln", "house")):
        (home / "copies" / id_).mkdir()
        (home / "copies" / id_ / "R0001.DNG").write_bytes(b"a picture")
        text += f'[[media]]\nid = "{id_}"\nkind = "ssd"\nplace = "{place}"\n'
        text += f'[[copies]]\non = "{id_}"\nat = "copies/{id_}"\n'
    (home / "studio.toml").write_text(text, encoding="utf-8")
    kinds = [f"--without={kind}" for kind in ("medium", "rot", "early", "deleted", "attack", "forget")]
    assert ask(home, "--away", *kinds, "--save", "worst.toml").code == 1
    drilled = start("run", "studio.toml", "--scenario", "worst.toml", "--no-ledger", "--json", "-", cwd=home)
    [drill] = drilled.record["drills"]
    assert (drill["verdict"], drill["sources"]) == ("restored", {"kiln": 1}), drilled.said
    (home / "copies/kiln/R0001.DNG").unlink()
    drilled = start("run", "studio.toml", "--scenario", "worst.toml", "--no-ledger", "--json", "-", cwd=home)
    assert [drill["verdict"] for drill in drilled.record["drills"]] == ["lost"], drilled.said


def test_kept_stories_are_tried_first_and_told(home: Path) -> None:
    assert ask(home, "--home", *ONLY_FORGETTING).code == 1
    assert len(list((home / "search.corpus").iterdir())) == 1
    again = ask(home, "--home", *ONLY_FORGETTING, "--day", "2027-01-30", "--json", "-")
    assert (again.record["lives"][0]["known"], again.record["lives"][0]["outlived"]) == (1, 0)
    text = (home / "studio.toml").read_text(encoding="utf-8")
    (home / "studio.toml").write_text(f'{text}only_once_on = ["tablet"]\n', encoding="utf-8")
    better = ask(home, "--home", *ONLY_FORGETTING)
    assert better.code == 0, better.said
    assert "kept from earlier runs 1 does not lose it any more." in " ".join(better.out.split())
    assert "does not say that it is safe" in " ".join(better.out.split())


def test_by_chance_from_a_seed_and_nothing_left_behind(home: Path) -> None:
    """Started inside a copy: Hypothesis keeps things where it is started unless it is told not to."""
    before = census(home / "copies")
    outcome = ask(
        home,
        "--home",
        *ONLY_FORGETTING,
        "--budget",
        "8 s",
        "--seed",
        "4",
        "--no-keep",
        "--json",
        "-",
        cwd=home / "copies/card",
    )
    chance = outcome.record["lives"][0]["chance"]
    assert (chance["mishaps"], chance["seed"], chance["why_not"]) == (1, 4, ""), outcome.said
    assert chance["story"]["mishaps"] == ["forget:import"]
    assert census(home / "copies") == before
    assert not (home / "search.corpus").exists()


def test_nothing_found_and_not_all_tried_is_no_0(home: Path) -> None:
    outcome = ask(home, "--home", "--without=forget:import", *ONLY_FORGETTING, "--budget", "0 s")
    assert outcome.code == 3, outcome.said
    assert ask(home, "--home", "--without=forget:import", *ONLY_FORGETTING).code == 0


def test_nothing_left_to_try_is_a_mistake(home: Path) -> None:
    for option, asked in (("--without", ["--without=forget", *ONLY_FORGETTING]), ("--after", ["--after", "2 years"])):
        outcome = ask(home, *asked)
        assert outcome.code == 2, outcome.said
        assert f"{option}: no mishap is left that may come to a shoot made away" in outcome.err
    assert not (home / "search.corpus").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="no signal that only ends a started program")
def test_broken_off_it_tells_what_it_has(home: Path) -> None:
    scratch = home / "scratch"
    scratch.mkdir()
    text = (home / "studio.toml").read_text(encoding="utf-8")
    (home / "studio.toml").write_text(text.replace("[studio]", '[studio]\nscratch = "scratch"'), encoding="utf-8")
    arguments = ("search", "studio.toml", "--now", NOW, "--home", *ONLY_FORGETTING, "--budget", "10 min", "--no-keep")
    running = begin(*arguments, cwd=home)
    end_s = time.monotonic() + 60
    while len(list(scratch.iterdir())) < 2 and time.monotonic() < end_s:  # the judge's folder, then that of chance
        time.sleep(0.05)
    time.sleep(0.5)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert running.returncode == 3, out + err
    assert "one mishap can lose it, and no fewer (proved shortest)" in " ".join(out.split())
    assert "interrupted" in err
    assert list(scratch.iterdir()) == []


def test_a_shipped_scheme_keeps_nothing(tmp_path: Path) -> None:
    outcome = start("search", "card-and-tablet", "--now", NOW, "--depth", "1", "--json", "-", cwd=tmp_path)
    assert "drill it" not in outcome.err  # it promises nothing that could be drilled
    assert outcome.code == 1, outcome.said
    assert [life["away"] for life in outcome.record["lives"]] == [True, False]
    assert not list(tmp_path.iterdir())


def test_no_file_but_a_saved_story_is_written_over(home: Path) -> None:
    ours = home / "worst.toml"
    assert ask(home, "--home", *ONLY_FORGETTING, "--save", "worst.toml").code == 1
    first = ours.read_text(encoding="utf-8")
    again = ask(home, "--home", "--without=forget", "--without=rot", "--depth", "1", "--save", "worst.toml")
    assert again.code == 1, again.said
    assert ours.read_text(encoding="utf-8") != first
    for name, text in (("heron.toml", 'title = "Heron"\n'), ("season.drill.toml", ""), ("empty.toml", "")):
        (home / name).write_text(text, encoding="utf-8")
        outcome = ask(home, "--home", "--save", name)
        assert (outcome.code, name in outcome.err) == (2, True), outcome.said
        assert (home / name).read_text(encoding="utf-8") == text
    assert ask(home, "--home", "--save", "new.drill.toml").code == 2
    outcome = ask(home, "--home", "--save", "studio.toml")
    assert outcome.code == 2 and "is the studio file, and nothing is ever written there" in outcome.err, outcome.said


def test_how_to_drill_a_story_of_a_shipped_scheme_names_no_scheme(home: Path) -> None:
    """`drill run` knows no schemes by name."""
    outcome = start("search", "card-and-tablet", "--home", "--depth", "1", "--save", "c.toml", cwd=home)
    assert outcome.code == 1, outcome.said
    assert "drill run YOUR-studio.toml --scenario c.toml" in outcome.err
    assert "where your media have the names of this scheme" in outcome.err
    outcome = ask(home, "--home", "--depth", "1", "--save", "my worst.toml")
    assert f"drill run {home / 'studio.toml'} --scenario " in outcome.err
    assert "'my worst.toml'" in outcome.err or '"my worst.toml"' in outcome.err


def test_every_mistake_is_told_and_nothing_is_written(home: Path) -> None:
    outcome = ask(home, "--without", "rot:kiln", "--depth", "9", "--save", "worst.txt", "--json", "copies/card/x.json")
    assert outcome.code == 2, outcome.said
    for told in ("rot:kiln", "--depth", "--save", "inside the copy card"):
        assert told in outcome.err
    assert not (home / "search.corpus").exists()
    text = (home / "studio.toml").read_text(encoding="utf-8")
    inside = text.replace('name = "Heron Field"', 'name = "Heron Field"\nledger = "copies/card/l.sqlite"')
    (home / "studio.toml").write_text(inside, encoding="utf-8")
    outcome = ask(home, "--home")
    assert outcome.code == 2, outcome.said
    assert "[studio] ledger" in outcome.err
    (home / "studio.toml").write_text(text.partition("[scheme]")[0], encoding="utf-8")
    outcome = ask(home)
    assert outcome.code == 2 and "[scheme]" in outcome.err, outcome.said


def test_the_record_is_the_documented_one(home: Path) -> None:
    assert ask(home, "--json", "record.json").code == 1
    value = json.loads((home / "record.json").read_text(encoding="utf-8"))
    asked = ("schema", "found", "complete", "studio", "now", "depth")
    assert tuple(value[key] for key in asked) == ("restore-search/1", True, True, "Heron Field", NOW, 3)
    level = value["lives"][0]["levels"][0]
    assert level["different"] >= len(level["stories"]) > 1
    assert set(level["stories"][0]) == {"mishaps", "earliest", "latest", "lost_at", "happenings", "ends", "edit"}
    assert [life["edit"] for life in value["lives"]] == [None, None]


def test_what_loses_edits_is_told_and_saved(home: Path) -> None:
    edit = '[[steps]]\nid = "retouch"\ndo = "edit"\nto = "tablet"\nafter = "2 days"\n'
    file = home / "studio.toml"
    file.write_text(file.read_text(encoding="utf-8") + edit, encoding="utf-8")
    outcome = ask(home, "--edits", "--home", "--depth", "1", "--json", "record.json", "--save", "story.toml")
    assert outcome.code == 1, outcome.said
    assert "The edits of a shoot made at home" in outcome.out and "these edits gone" in outcome.out
    [found] = json.loads((home / "record.json").read_text(encoding="utf-8"))["lives"]
    assert (found["edit"]["step"], found["edit"]["medium"]) == ("retouch", "tablet")
    assert found["levels"][0]["stories"][0]["edit"] == "retouch"
    drilled = start("run", "studio.toml", "--scenario", "story.toml", "--no-ledger", "--json", "-", cwd=home)
    assert [drill["verdict"] for drill in drilled.record["drills"]] == ["restored"], "the pictures are left alone"
    assert ask(home, "--without", "edit", "--edits").code == 2
