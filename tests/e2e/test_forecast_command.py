"""`drill forecast` as a user starts it: what it says and writes, mistakes, and that no copy is looked at."""

import hashlib
import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from census import census
from runner import Outcome, start

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

NOW = "2026-11-26T08:00:00Z"
STUDIO = """
shoots = []
[studio]
name = "Heron Field"
{targets}
[[places]]
id = "bag"
carried = true
[[media]]
id = "card"
kind = "card"
place = "bag"
[[media]]
id = "archive"
kind = "hard-disk"
place = "house"
[[media]]
id = "cloud"
kind = "cloud"
place = "far-away"
account = "login"
[[copies]]
on = "archive"
at = "copies/archive"
{scheme}
"""
SCHEME = """
[scheme]
made_on = ["card"]
zone = "Europe/Lisbon"
home = "house"
away_for = "1 day"
[[steps]]
id = "archive"
do = "copy"
from = "card"
to = "archive"
after = "2 h"
only_when = "home"
takes = "30 min"
[[steps]]
id = "upload"
do = "copy"
from = "archive"
to = "cloud"
every = "month"
takes = "6 h"
"""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    (tmp_path / "copies/archive/reed").mkdir(parents=True)
    (tmp_path / "copies/archive/reed/R0001.DNG").write_bytes(b"not looked at")
    lay_out(tmp_path)
    return tmp_path


SHOOT = """
[[shoots]]
id = "reed"
date = 2026-11-20
manifest = "reed.sha256"
"""


def lay_out(folder: Path, *, targets: str = "", scheme: str = SCHEME) -> None:
    (folder / "studio.toml").write_text(STUDIO.format(targets=targets, scheme=scheme), encoding="utf-8")


def promise(folder: Path, *, scheme: str = SCHEME) -> None:
    """Promise two pictures: one is in the archive by its name, one nowhere."""
    lines = [f"{hashlib.sha256(name.encode()).hexdigest()}  reed/{name}" for name in ("R0001.DNG", "R0002.DNG")]
    (folder / "reed.sha256").write_text("\n".join(lines) + "\n", encoding="utf-8")
    lay_out(folder, scheme=scheme + SHOOT)
    text = (folder / "studio.toml").read_text(encoding="utf-8").replace("shoots = []", "")
    (folder / "studio.toml").write_text(text, encoding="utf-8")


def ask(home: Path, *arguments: str | Path) -> Outcome:
    now = () if "--now" in arguments else ("--now", NOW)
    return start("forecast", "studio.toml", *now, *arguments, cwd=home)


def test_it_tells_draws_and_writes_and_touches_no_copy(home: Path) -> None:
    before = census(home / "copies")
    outcome = ask(home, "--json", "record.json", "--picture", "life.svg")
    said = " ".join(outcome.out.split())
    assert outcome.code == 0, outcome.said
    assert said.startswith("Heron Field: For ") and "one failure alone takes a shoot made away" in said
    assert "made on 2026-11-27" not in said and "made away on 2026-11-27" in said
    assert max(map(len, outcome.out.splitlines())) <= 80
    assert "local law" in said and " safe " not in said
    assert ET.parse(home / "life.svg").getroot().tag.endswith("svg")
    value = json.loads((home / "record.json").read_text(encoding="utf-8"))
    assert (value["schema"], value["studio"], value["now"]) == ("restore-forecast/1", "Heron Field", NOW)
    assert [life["away"] for life in value["lives"]] == [True, False]
    assert census(home / "copies") == before
    assert sorted(path.name for path in home.iterdir()) == ["copies", "life.svg", "record.json", "studio.toml"]


def test_the_life_of_a_shoot_is_as_worked_out_by_hand(home: Path) -> None:
    """2026-11-27 from 09:00 in Lisbon (UTC in winter): home on 28 November at 18:00, the archive half an hour later, as
    the two hours are long past; the upload of 1 December at noon takes six hours."""
    life = ask(home, "--away", "--json", "-").record["lives"][0]
    moments = [stage["begins"] for stage in life["stages"]]
    assert moments == [
        "2026-11-27T09:00:00Z",
        "2026-11-28T18:00:00Z",
        "2026-11-28T18:30:00Z",
        "2026-12-01T18:00:00Z",
    ]
    assert [stage["distinct"] for stage in life["stages"]] == [1, 1, 2, 3]
    assert [stage["offsite"] for stage in life["stages"]] == [0, 0, 0, 1]
    assert [stage["survivable"] for stage in life["stages"]] == [0, 0, 0, 1]
    lack = next(one for one in life["exposures"] if one["name"] == "nothing_offsite")
    assert lack["total_s"] == (4 * 24 + 9) * 3600


def test_the_same_question_has_the_same_answer(home: Path) -> None:
    def answer() -> dict[str, object]:
        return {**ask(home, "--json", "-").record, "started": ""}

    assert answer() == answer()


def test_the_day_the_whereabouts_and_the_scenarios_are_chosen(home: Path) -> None:
    record = ask(home, "--day", "2027-03-28", "--home", "--scenario", "house-fire", "--json", "-").record
    (life,) = record["lives"]
    assert (life["day"], life["away"], life["begins"]) == ("2027-03-28", False, "2027-03-28T08:00:00Z")  # summer time
    assert {band["scenario"] for band in life["bands"]} == {"house-fire"}
    assert {chance["away"] for chance in record["chances"]} == {False}


@pytest.mark.parametrize(
    ("targets", "code"),
    [
        ("further_failures = 1", 0),
        ("further_failures = 2", 1),
        ('lose_at_most = "40 days"', 0),
        ('lose_at_most = "24 h"', 1),
        ('verified_within = "100 days"', 1),
        ('restore_within = "1 s"', 0),  # a drill's to tell
    ],
)
def test_a_target_that_is_missed_exits_1(targets: str, code: int, home: Path) -> None:
    lay_out(home, targets=f"[targets]\n{targets}")
    outcome = ask(home)
    assert outcome.code == code, outcome.said
    assert ("missed !" in outcome.out) == bool(code)


def test_a_scenario_that_takes_the_settled_shoot_exits_1(home: Path) -> None:
    lay_out(home, scheme=SCHEME.partition('[[steps]]\nid = "upload"')[0])
    outcome = ask(home)
    said = " ".join(outcome.out.split())
    assert outcome.code == 1 and "One failure alone takes a shoot made away or at home, at every moment" in said, (
        outcome.said
    )
    assert "Still so when everything that is planned has been done" in said, outcome.said


def test_shipped_schemes_go_by_their_names(home: Path) -> None:
    outcome = start("forecast", "card-and-tablet", "--now", NOW, "--json", "-", cwd=home)
    assert "reckoning" not in outcome.err + outcome.out  # progress is for a terminal
    assert outcome.code == 1 and outcome.record["falls_short"] is True
    wrong = start("forecast", "card-and-nothing", cwd=home)
    assert wrong.code == 2 and "card-and-tablet" in wrong.err and not wrong.out


def test_without_a_scheme_it_says_what_to_add_and_where_examples_are(home: Path) -> None:
    lay_out(home, scheme="")
    outcome = ask(home)
    assert outcome.code == 2 and not outcome.out, outcome.said
    assert "studio.toml: scheme" in outcome.err and "[[steps]]" in outcome.err and "card-and-tablet" in outcome.err


@pytest.mark.parametrize("scheme", [SCHEME, ""])
def test_the_shoots_of_today_are_told_too_and_alone_without_a_scheme(scheme: str, home: Path) -> None:
    promise(home, scheme=scheme)
    before = census(home)
    outcome = ask(home)
    said = " ".join(outcome.out.split())
    assert outcome.code == 1 and "The shoots that are there today" in said and "1 has files that no copy" in said
    assert ("The first year of a shoot" in said) == bool(scheme) and ("Add [scheme]" in said) == (not scheme)
    record = ask(home, "--json", "-").record
    assert record["standing"]["shoots"][0]["on_no_copy"] == 1 and bool(record["lives"]) == bool(scheme)
    without = ask(home, "--no-shoots")
    assert without.code == (0 if scheme else 2) and "The shoots that are there" not in without.out, without.said
    assert ask(home, "--picture", "life.svg").code == (1 if scheme else 2)
    (home / "life.svg").unlink(missing_ok=True)
    assert census(home) == before | {str(home): census(home)[str(home)]}  # but for the time of the folder


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--json", "copies/archive/out.json"), "falls inside the copy archive"),
        (("--picture", "copies/archive/out.svg"), "falls inside the copy archive"),
        (("--picture", "out.jpeg"), ".svg or .png"),
        (("--picture", "nowhere/out.svg"), "its folder is not there"),
        (("--picture", "studio.toml.svg", "--json", "studio.toml"), "is the studio file"),
        (("--json", "ledger.sqlite"), "where lists and readings are kept"),
        (("--picture", "one.svg", "--json", "one.svg"), "is the file of --json too"),
        (("--scenario", "no-such"), "no scenario of that name"),
        (("--day", "2027-02-29"), "is no day"),
        (("--day", "9999-12-30"), "an end of the calendar"),
        (("--day", "0001-01-01"), "an end of the calendar"),
        (("--now", "9999-12-31T23:00:00Z"), "the calendar has no day after it"),
        (("--away", "--home"), "not allowed"),
    ],
)
def test_mistakes_are_told_and_nothing_is_written(arguments: tuple[str, ...], words: str, home: Path) -> None:
    before = census(home)
    outcome = ask(home, *arguments)
    assert outcome.code == 2 and words in outcome.err and not outcome.out, outcome.said
    assert "Traceback" not in outcome.err and census(home) == before


def test_mistakes_of_the_studio_file_and_of_scenarios_are_told_together(home: Path) -> None:
    lay_out(home, scheme=SCHEME.replace('to = "cloud"', 'to = "kiln"'))
    outcome = ask(home, "--scenario", "no-such")
    assert outcome.code == 2 and "kiln" in outcome.err and "no-such" in outcome.err, outcome.said


def test_a_picture_that_cannot_be_written_is_exit_3(home: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    outcome = ask(home, "--json", "/dev/full")
    assert outcome.code == 3 and "/dev/full" in outcome.err, outcome.said


def test_help_names_every_option(home: Path) -> None:
    said = start("forecast", "--help", cwd=home).out
    assert all(
        word in said
        for word in (
            "--scenario",
            "--day",
            "--away",
            "--home",
            "--picture",
            "--json",
            "--now",
            "--compare",
            "--no-advice",
        )
    )
