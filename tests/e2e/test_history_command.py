"""`drill history` as a user starts it: after drills and damage, when one is due, and that only outputs are written."""

import json
from datetime import date, datetime
from pathlib import Path

import icalendar
import pytest
from census import census
from dated import dated
from described import Studio
from hand import FILES, copy, gone, media, shoot
from runner import Outcome, start
from studios import Built, build

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

MONTH = "2026-09-20T10:00:00Z", "2026-10-20T10:00:00Z", "2026-11-01T10:00:00Z"


def studio(folder: Path) -> Built:
    """Two drives that hold all that is promised; the scenario takes one away, then the other."""
    both = Studio(media=media("x", "y"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES), copy("y", *FILES)))
    return build(folder, both, [gone(medium="x")])


def drill(built: Built, now: str, *more: str) -> Outcome:
    scenario = built.scenarios[0]
    fixed = ("--scenario", scenario, "--no-reports", "--seed", "7", "--now", now)
    outcome = start("run", built.file, *fixed, *more, cwd=built.file.parent)
    assert outcome.code in (0, 1), outcome.said
    dated(built.file.parent / "ledger.sqlite", now)
    return outcome


def history(built: Built, *more: str | Path, now: str = MONTH[2]) -> Outcome:
    return start("history", built.file, "--now", now, *more, cwd=built.file.parent)


def test_without_a_ledger_there_is_no_history_yet(tmp_path: Path) -> None:
    built = studio(tmp_path / "s")
    before = census(tmp_path / "s")
    outcome = history(built)
    assert (outcome.code, outcome.err) == (0, ""), outcome.said
    assert "no history yet" in outcome.out and "due now" in outcome.out
    assert census(tmp_path / "s") == before
    value = history(built, "--json", "-").record
    assert (value["schema"], value["runs"], value["falls_short"]) == ("restore-history/1", [], False)


def test_what_got_worse_exits_1_and_a_repair_ends_it(tmp_path: Path) -> None:
    built = studio(tmp_path / "s")
    drill(built, MONTH[0])
    calm = history(built)
    assert calm.code == 0 and "Nothing got worse" in calm.out and "due on 2026-12-20" in calm.out, calm.said
    picture = tmp_path / "s/media/y/raw/AAAA0001.dng"
    right = picture.read_bytes()
    picture.write_bytes(right[:-1] + bytes([right[-1] ^ 1]))
    drill(built, MONTH[1])
    before = census(tmp_path / "s/media")
    outcome = history(built, "--json", "record.json")
    assert outcome.code == 1 and outcome.err == "", outcome.said
    assert "terns, gone: partial, was restored; 1 file lost" in " ".join(outcome.out.split())
    assert max(map(len, outcome.out.splitlines())) <= 80
    value = json.loads((tmp_path / "s/record.json").read_text(encoding="utf-8"))
    (worse,) = value["worse"]["drills"]
    assert (worse["before"]["verdict"], worse["last"]["verdict"], worse["last"]["lost"]) == ("restored", "partial", 1)
    assert [run["at"] for run in value["runs"]] == [MONTH[1], MONTH[0]] and value["falls_short"]
    assert census(tmp_path / "s/media") == before
    picture.write_bytes(right)
    drill(built, MONTH[2])
    assert history(built).code == 0


def test_more_damage_in_an_audit_exits_1_until_it_is_repaired(tmp_path: Path) -> None:
    built = studio(tmp_path / "s")
    drill(built, MONTH[0])
    picture = tmp_path / "s/media/y/raw/AAAA0002.dng"
    right = picture.read_bytes()

    def audited(now: str, *more: str) -> Outcome:
        assert start("audit", built.file, "--now", now, *more, cwd=built.file.parent).code in (0, 1)
        dated(built.file.parent / "ledger.sqlite", now)
        return history(built)

    assert audited(MONTH[0]).code == 0
    picture.write_bytes(b"x" * len(right))
    outcome = audited(MONTH[1])
    said = " ".join(outcome.out.split())
    assert outcome.code == 1 and "y: 1 file damaged or missing on 2026-10-20, none on 2026-09-20" in said, outcome.said
    assert "drill audit --copy y" in said and "copies: x, y" in said
    assert audited(MONTH[1], "--budget", "1 B").code == 1  # it read less, and heals nothing
    assert audited(MONTH[1], "--copy", "x").code == 1
    picture.write_bytes(right)
    assert audited(MONTH[2]).code == 0


def test_a_spot_check_is_shown_and_counts_for_nothing_due(tmp_path: Path) -> None:
    built = studio(tmp_path / "s")
    drill(built, MONTH[0])
    drill(built, MONTH[1], "--budget", "5 kB")
    value = history(built, "--json", "-").record
    assert [run["spot_check"] for run in value["runs"]] == [True, False]
    assert value["due"]["shoots"][0]["last_drilled"] == MONTH[0] and not value["worse"]["drills"]


def test_the_next_drill_as_a_calendar_event(tmp_path: Path) -> None:
    """Read back by the package icalendar."""
    built = studio(tmp_path / "s")
    drill(built, MONTH[0])
    for now, code, day in ((MONTH[2], 0, date(2026, 12, 20)), ("2027-02-01T10:00:00Z", 1, date(2027, 2, 1))):
        outcome = history(built, "--calendar", "drill.ics", now=now)
        assert outcome.code == code, outcome.said
        (event,) = icalendar.Calendar.from_ical((tmp_path / "s/drill.ics").read_bytes()).events
        assert event.start == day and str(event["SUMMARY"]).startswith("Restore drill: ")
        assert datetime.fromisoformat(now) == event.DTSTAMP
        assert "drill run" in str(event["DESCRIPTION"])
    assert "overdue since 2026-12-20" in " ".join(outcome.out.split())


def verified_within(built: Built, span: str) -> None:
    text = built.file.read_text(encoding="utf-8")
    targets = f'[shoots.targets]\nverified_within = "{span}"\n'
    built.file.write_text(text.replace("[[copies]]", f"{targets}\n[[copies]]", 1), encoding="utf-8")


def test_a_target_moves_the_day(tmp_path: Path) -> None:
    built = studio(tmp_path / "s")
    drill(built, MONTH[0])
    verified_within(built, "30 days")
    value = history(built, "--json", "-")
    assert value.code == 1
    assert value.record["due"] | {"shoots": 0} == {
        "at": "2026-10-20T10:00:00Z",
        "day": "2026-10-20",
        "overdue": True,
        "shoots": 0,
    }


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--json", "media/x/out.json"), "falls inside the copy x"),
        (("--calendar", "media/x/out.ics"), "falls inside the copy x"),
        (("--calendar", "nowhere/out.ics"), "its folder is not there"),
        (("--calendar", "ledger.sqlite"), "is where the ledger is kept"),
        (("--calendar", "studio.toml"), "is the studio file"),
        (("--calendar", "-"), "only --json can go to standard output"),
        (("--calendar", "one", "--json", "one"), "is the file of --json too"),
    ],
)
def test_outputs_that_are_refused(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    built = studio(tmp_path / "s")
    before = census(tmp_path / "s")
    outcome = history(built, *arguments)
    assert outcome.code == 2 and words in outcome.err and outcome.out == "", outcome.said
    assert census(tmp_path / "s") == before


def test_a_ledger_that_is_none_or_lies_in_a_copy(tmp_path: Path) -> None:
    built = studio(tmp_path / "s")
    (tmp_path / "s/ledger.sqlite").write_text("something else altogether, and long enough to look at" * 9)
    outcome = history(built)
    assert outcome.code == 2 and "ledger.sqlite" in outcome.err, outcome.said
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(text.replace("[studio]", '[studio]\nledger = "media/x/l.sqlite"', 1), encoding="utf-8")
    outcome = history(built)
    assert outcome.code == 2 and "[studio] ledger" in outcome.err, outcome.said


def test_a_calendar_of_a_day_that_never_comes_is_refused(tmp_path: Path) -> None:
    built = studio(tmp_path / "s")
    drill(built, MONTH[0])
    verified_within(built, "9000000 days")
    assert "No drill is due" in history(built).out
    outcome = history(built, "--calendar", "drill.ics")
    assert outcome.code == 2 and "no drill is ever due" in outcome.err, outcome.said
    assert not (tmp_path / "s/drill.ics").exists()


def test_help_names_every_option(tmp_path: Path) -> None:
    said = start("history", "--help", cwd=tmp_path).out
    assert all(word in said for word in ("--calendar", "--json", "--now", "exit codes"))
