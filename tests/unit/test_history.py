"""History: what counts as worse and what hides nothing, when a shoot is due, what the report says of it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from dated import dated

from drill import clock
from drill.errors import Mistakes
from drill.history import QUARTER_S, Past, due_of, look_back, slower_media, worse_copies, worse_drills
from drill.historyrecord import to_json
from drill.ledger import AuditedCopy, Ledger, MeasuredRate, PastDrill, PastRun
from drill.model import Copy, Listed, Shoot, Targets
from drill.record import (
    ByteCount,
    Count,
    Drill,
    FurtherFailures,
    LostWork,
    Sample,
    Seconds,
    Unchecked,
)
from drill.report.history_text import history_text
from drill.studio import load_studio

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
DAY = timedelta(days=1)
GOOD = PastDrill(1, "gone", "a", "reed", "restored", 100.0, 10, 10, 0, 0, 1, None, 1.0, 1.0, None, True, "")
PARTIAL = replace(GOOD, verdict="partial", score=90.0, verified=9, lost=1, survivable=-1)
ELSE = replace(GOOD, scenario="rot")
THIRD = replace(GOOD, scenario="fire")
WHOLE = AuditedCopy("a", True, 40, 0, 0, 0, 0, 0, 0, 0, 10**9, 10.0)
HURT = replace(WHOLE, verified=37, altered=1, unreadable=1, missing=1)
PART = replace(WHOLE, verified=10, not_read=30)


def run_of(number: int, kind: str, *, complete: bool = True) -> PastRun:
    at = NOW - (100 - number) * DAY
    return PastRun(number, kind, at, at + timedelta(minutes=5), at, 7, complete, "0")


def drilled(*runs: Sequence[PastDrill], spot: Sequence[int] = (), broken: Sequence[int] = ()) -> list[Past]:
    """Runs in their order; `spot` and `broken`: the numbers of those that were spot checks or did not end."""
    found = []
    for number, drills in enumerate(runs):
        sampled = frozenset(range(len(drills))) if number in spot else frozenset()
        run = run_of(number, "drill", complete=number not in broken)
        found.append(Past(run, drills=tuple(drills), sampled=sampled))
    return found


def audited(*audits: AuditedCopy) -> list[Past]:
    return [Past(run_of(number, "audit"), audits=(one,)) for number, one in enumerate(audits)]


def copy(listed: int | None = None) -> Copy:
    names = None if listed is None else tuple(Listed(f"{number}.dng", ()) for number in range(listed))
    return Copy("a", "a", Path("a"), None, "folder", None, names)


def shoot(id_: str = "reed", verified_within_s: float | None = None) -> Shoot:
    return Shoot(id_, NOW.date(), None, (), Targets(verified_within_s=verified_within_s))


# --- drills ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"verdict": "late"},
        {"verdict": "unproven", "verified": 9, "on_paper": 1},
        {"score": 99.9},
        {"survivable": 0},
        {"verdict": "partial", "lost": 1},
    ],
)
def test_each_of_these_alone_is_worse_and_its_contrary_is_not(change: dict[str, object]) -> None:
    bad = replace(GOOD, **change)
    (found,) = worse_drills(drilled([GOOD], [bad]), ["reed"])
    assert (found.shoot, found.scenario, found.variant) == ("reed", "gone", "a")
    assert (found.before.run, found.last.run) == (0, 1) and found.last.verdict == bad.verdict
    assert not worse_drills(drilled([bad], [GOOD]), ["reed"])
    assert not worse_drills(drilled([bad], [bad]), ["reed"])
    assert not worse_drills(drilled([bad]), ["reed"])


def test_only_the_time_before_counts_and_only_the_studios_shoots() -> None:
    assert not worse_drills(drilled([GOOD], [PARTIAL], [PARTIAL]), ["reed"])
    assert not worse_drills(drilled([GOOD], [PARTIAL]), ["heron"])


def test_a_drill_of_something_else_hides_nothing() -> None:
    other = replace(ELSE, shoot="heron")
    for since in ([ELSE], [other], [replace(GOOD, shoot="heron")]):
        assert worse_drills(drilled([GOOD, ELSE, THIRD], [PARTIAL, ELSE, THIRD], since), ["reed"])
    assert worse_drills(drilled([GOOD], [PARTIAL], [ELSE, THIRD]), ["reed"])  # nothing tells that it is over


def test_what_a_later_drill_of_all_the_rest_no_longer_has_is_over() -> None:
    both = [GOOD, ELSE], [PARTIAL, ELSE]
    assert not worse_drills(drilled(*both, [ELSE]), ["reed"])
    assert not worse_drills(drilled(*both, [replace(GOOD, variant="b"), ELSE]), ["reed"])
    assert worse_drills(drilled(*both, [ELSE], broken=[2]), ["reed"])
    assert worse_drills(drilled(*both, [ELSE], spot=[2]), ["reed"])


def test_a_spot_check_shows_that_more_is_lost_and_nothing_else() -> None:
    left_out = replace(GOOD, verdict="unproven", score=20.0, verified=2, on_paper=8)
    assert not worse_drills(drilled([GOOD], [left_out], spot=[1]), ["reed"])
    assert not worse_drills(drilled([left_out], [replace(GOOD, score=90.0)], spot=[0]), ["reed"])
    assert worse_drills(drilled([GOOD], [PARTIAL], [left_out], spot=[2]), ["reed"])  # and does not heal it
    (found,) = worse_drills(drilled([GOOD], [replace(left_out, verdict="partial", lost=1)], spot=[1]), ["reed"])
    assert found.last.spot_check and found.last.lost == 1
    assert not worse_drills(drilled([left_out], [left_out], [GOOD], spot=[0, 1]), ["reed"])
    spot = replace(PARTIAL, score=99.0, survivable=0)
    assert not worse_drills(drilled([GOOD], [spot], [PARTIAL], spot=[1]), ["reed"])
    assert worse_drills(drilled([GOOD], [spot], [PARTIAL]), ["reed"])


def test_the_worst_comes_first() -> None:
    lost = replace(ELSE, verdict="lost", score=0.0, verified=0, lost=10, survivable=-1)
    found = worse_drills(drilled([GOOD, ELSE, THIRD], [PARTIAL, lost, replace(THIRD, survivable=0)]), ["reed"])
    assert [one.scenario for one in found] == ["rot", "gone", "fire"]


# --- copies ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["altered", "unreadable", "missing"])
def test_more_damage_is_worse(kind: str) -> None:
    hurt = replace(WHOLE, verified=39, **{kind: 1})
    (found,) = worse_copies(audited(WHOLE, hurt), [copy()])
    assert (found.copy, found.before.damaged, found.last.damaged, found.last.verified) == ("a", 0, 1, 39)
    assert not worse_copies(audited(hurt, WHOLE), [copy()])
    assert not worse_copies(audited(hurt, hurt), [copy()])
    assert not worse_copies(audited(WHOLE, hurt), [])


def test_an_audit_of_less_heals_nothing() -> None:
    away = replace(WHOLE, reached=False, verified=0, not_read=40)
    for less in (PART, replace(WHOLE, verified=38, not_read=2), replace(WHOLE, verified=10), away):
        assert worse_copies(audited(WHOLE, HURT, less), [copy()])
    assert not worse_copies(audited(away, HURT), [copy()])  # there was nothing to compare with
    assert worse_copies(audited(PART, HURT, PART), [copy()])


def test_an_audit_of_some_shoots_heals_nothing() -> None:
    *before, last = audited(WHOLE, HURT, WHOLE)
    of_one = replace(last, run=replace(last.run, shoots=("reed",)))
    assert worse_copies([*before, of_one], [copy()]) and not worse_copies([*before, last], [copy()])


def test_what_was_repaired_thrown_away_or_listed_anew_is_over() -> None:
    for since in (WHOLE, replace(WHOLE, verified=37)):
        assert not worse_copies(audited(WHOLE, HURT, since), [copy()])
    assert not worse_copies(audited(WHOLE, HURT, replace(WHOLE, verified=20)), [copy(listed=20)])
    assert worse_copies(audited(WHOLE, HURT, replace(WHOLE, verified=19)), [copy(listed=20)])
    assert not worse_copies(audited(WHOLE, HURT, WHOLE), [copy(listed=50)])  # the list grew since


# --- media -------------------------------------------------------------------------------------------------------


def rates(*took: float, size: int = 10**9, files: int = 100, maybe_cached: bool = False) -> list[MeasuredRate]:
    return [
        MeasuredRate("a", files, size, took_s, maybe_cached, NOW - (50 - number) * DAY)
        for number, took_s in enumerate(took)
    ]


def test_a_rate_that_fell_by_a_good_part() -> None:
    (found,) = slower_media({"a": rates(10, 9, 11, 20)}, now=NOW)
    assert (found.medium, found.earlier, found.median_bps, found.last_bps) == ("a", 3, 10**8, 5 * 10**7)
    for calm in (rates(10, 9, 11, 13), rates(10, 9, 11, 5), rates(10, 9, 20), rates(20, 20, 20, 20)):
        assert not slower_media({"a": calm}, now=NOW)
    assert not slower_media({"a": rates(10, 9, 11, 20)}, now=NOW - 60 * DAY)


def test_what_may_have_come_from_memory_is_no_rate() -> None:
    cached = rates(0.5, 0.5, 0.5, maybe_cached=True) + rates(0.9, 0.9, 0.9)
    assert not slower_media({"a": cached + rates(10)}, now=NOW)
    assert slower_media({"a": rates(10, 10, 10, 20) + rates(1.5, maybe_cached=True)}, now=NOW)


def test_many_small_files_are_not_a_slow_drive() -> None:
    """At 10 ms a file and 100 MB/s, 3000 files of 1 GB take 40 s: a quarter of the usual rate, and as expected."""
    usual = rates(11, 11) + rates(21, files=1100) + rates(16, files=600)
    assert not slower_media({"a": usual + rates(40, files=3000)}, now=NOW)
    assert slower_media({"a": usual + rates(80, files=3000)}, now=NOW)


# --- due ---------------------------------------------------------------------------------------------------------


def test_the_soonest_shoot_decides_by_its_target_else_a_quarter() -> None:
    at = NOW - 100 * DAY
    pasts = drilled([GOOD, replace(GOOD, shoot="heron")])
    due = due_of(pasts, [shoot(), shoot("heron", 120 * 86400.0)], now=NOW)
    assert [one.at for one in due.shoots] == [clock.rfc3339(at + 91 * DAY), clock.rfc3339(at + 120 * DAY)]
    assert [one.is_target for one in due.shoots] == [False, True]
    assert (due.at, due.overdue) == (due.shoots[0].at, True)
    assert [one.overdue for one in due.shoots] == [True, False]
    assert due.shoots[0].every_seconds == QUARTER_S
    early = due_of(pasts, [shoot()], now=NOW - 20 * DAY)
    assert not early.overdue and early.day == (at + 91 * DAY).astimezone().date().isoformat()


def test_a_shoot_never_drilled_is_due_now() -> None:
    for pasts in (
        [],
        drilled([replace(GOOD, shoot="heron")]),
        drilled([GOOD], broken=[0]),
        drilled([GOOD], spot=[0]),
        drilled([replace(GOOD, on_paper=1, verified=9)]),
        audited(WHOLE),
    ):
        due = due_of(pasts, [shoot()], now=NOW)
        (one,) = due.shoots
        assert (due.at, due.overdue) == (one.at, one.overdue) == (clock.rfc3339(NOW), True)
        assert one.last_drilled is None
    kept = drilled([GOOD], [replace(GOOD, on_paper=1)], [GOOD], broken=[2])
    assert due_of(kept, [shoot()], now=NOW).shoots[0].last_drilled == clock.rfc3339(NOW - 100 * DAY)


def test_a_day_outside_the_calendar_never_comes() -> None:
    due = due_of(drilled([GOOD]), [shoot(verified_within_s=1e17)], now=NOW)
    assert (due.at, due.day, due.overdue, due.shoots[0].at) == (None, None, False, None)
    assert due_of([], [], now=NOW).at is None


# --- the whole, from a ledger --------------------------------------------------------------------------------------


STUDIO = """[studio]
name = "Reed\\u202e \\u001b[31m"
[targets]
verified_within = "60 days"
[[media]]
id = "a"
kind = "hard-disk"
place = "home"
[[shoots]]
id = "reed"
date = 2026-09-01
manifest = "reed.sha256"
[[copies]]
on = "a"
manifest = "reed.sha256"
"""


def result(*, lost: int = 0, sample: Sample | None = None) -> Drill:
    count = Count(4, 4 - lost, 0, lost)
    return Drill(
        scenario="a\udcff-very-long-name-of-a-scenario-that-somebody-wrote",
        variant=None,
        shoot="reed",
        verdict="partial" if lost else "restored",
        score=100.0 - 25 * lost,
        files=count,
        bytes=ByteCount(4, 4 - lost, 0, lost, 0),
        by_class={"sample": count},
        sources={},
        stitched=0,
        unchecked=Unchecked(4, 0, 0),
        lost_files=(),
        on_paper_files=(),
        seconds=Seconds(1.0, 2.0, None),
        lost_work=LostWork(None, None, met=True),
        further_failures=FurtherFailures(1, None, ()),
        sample=sample,
    )


@pytest.fixture
def ledger() -> Ledger:
    return Ledger.open(None)


def drill_run(ledger: Ledger, drill: Drill, *, now: datetime, seed: int = 7) -> None:
    run = ledger.begin_run("drill", now=now, seed=seed)
    ledger.add_drills(run, [drill])
    ledger.end_run(run, complete=True)
    dated(ledger._db, now)


def history_of(tmp_path: Path, ledger: Ledger, now: datetime = NOW) -> tuple[dict[str, object], str]:
    (tmp_path / "reed.sha256").write_text("0" * 64 + "  a.dng\n")
    (tmp_path / "studio.toml").write_text(STUDIO, encoding="utf-8")
    history = look_back(load_studio(tmp_path / "studio.toml"), ledger, now=now)
    for width in (60, 80, 120):
        text = history_text(history, width=width)
        assert max(map(len, text.splitlines())) <= width
        assert text.replace("\n", "").isprintable()
    return to_json(history), " ".join(history_text(history, width=120).split())


# Runs of the past. At 10 h UTC it is the same day in all but a few places.
THEN, LATER = datetime(2020, 1, 1, 10, tzinfo=UTC), datetime(2020, 2, 1, 10, tzinfo=UTC)


def test_a_history_from_the_ledger(tmp_path: Path, ledger: Ledger) -> None:
    drill_run(ledger, result(), now=THEN)
    drill_run(ledger, result(lost=1), now=LATER, seed=8)
    for one, now in ((WHOLE, THEN), (HURT, LATER)):
        run = ledger.begin_run("audit", now=now)
        ledger.add_audit(run, one)
        ledger.add_audit(run, replace(WHOLE, copy="kiln", reached=False, verified=0))
        ledger.end_run(run, complete=True)
        dated(ledger._db, now)
    ledger.end_run(ledger.begin_run("new", now=LATER), complete=True)
    value, text = history_of(tmp_path, ledger, datetime(2020, 2, 2, 10, tzinfo=UTC))
    assert [(run["kind"], run["at"][:10]) for run in value["runs"]] == [
        ("audit", "2020-02-01"),
        ("drill", "2020-02-01"),
        ("audit", "2020-01-01"),
        ("drill", "2020-01-01"),
    ]
    audit, drill = value["runs"][:2]
    assert (audit["damaged"], audit["verified"], audit["not_reached"]) == (3, 37, ("kiln",))
    assert (drill["worst"]["verdict"], drill["falling_short"], drill["spot_check"]) == ("partial", 1, False)
    assert value["falls_short"] and not value["due"]["overdue"]
    assert len(value["worse"]["drills"]) == len(value["worse"]["copies"]) == 1
    for words in (
        "2 drills and 2 audits",
        "The next drill is due on 2020-04-01, in 59 days.",
        "a: 3 files damaged or missing on 2020-02-01, none on 2020-01-01",
        "1 file lost, none before; score 75.0, was 100.0",
        "the two drew by lot differently",
        "drill audit --copy a",
        "see what would be lost of reed, and what to do: drill run --shoot reed",
    ):
        assert words in text
    assert text.index("What got worse") < text.index("Past drills")


def test_a_loss_is_not_spoken_of_where_only_further_failures_fell(tmp_path: Path, ledger: Ledger) -> None:
    drill_run(ledger, result(), now=THEN)
    drill_run(ledger, replace(result(), further_failures=FurtherFailures(0, None, ())), now=LATER)
    _, text = history_of(tmp_path, ledger, LATER)
    assert "survives no more failure afterwards, was 1" in text
    assert "see why reed got worse, though no file is lost for it: drill run --shoot reed" in text
    assert "what would be lost" not in text


@pytest.mark.parametrize(("apart", "words"), [(90, "10:00 UTC, 10:01 UTC"), (7, "10:00:00 UTC, 10:00:07 UTC")])
def test_two_runs_of_one_day_are_told_apart(tmp_path: Path, ledger: Ledger, apart: int, words: str) -> None:
    then, last = words.split(", ")
    for at, drill, one in (
        (THEN, result(), WHOLE),
        (THEN + timedelta(seconds=apart), result(lost=1), HURT),
    ):
        drill_run(ledger, drill, now=at)
        run = ledger.begin_run("audit", now=at)
        ledger.add_audit(run, one)
        ledger.end_run(run, complete=True)
        dated(ledger._db, at)
    _, text = history_of(tmp_path, ledger, LATER)
    assert f"drilled on 2020-01-01 {last}, before that on 2020-01-01 {then}" in text
    assert f"a: 3 files damaged or missing on 2020-01-01 {last}, none on 2020-01-01 {then}" in text


def test_nothing_worse_and_nothing_due(tmp_path: Path, ledger: Ledger) -> None:
    drill_run(ledger, result(), now=THEN)
    value, text = history_of(tmp_path, ledger, LATER)
    assert not value["falls_short"] and "Nothing got worse" in text and "What to do first" not in text
    value, text = history_of(tmp_path, ledger, datetime(2020, 5, 1, 10, tzinfo=UTC))
    assert value["falls_short"] and "A drill is overdue since 2020-03-01." in text and "drill again" in text


def test_without_drills_and_audits_there_is_no_history(tmp_path: Path, ledger: Ledger) -> None:
    ledger.end_run(ledger.begin_run("lists", now=THEN), complete=True)
    value, text = history_of(tmp_path, ledger)
    assert not value["falls_short"] and value["due"]["overdue"] and "no history yet" in text


def test_runs_of_the_future_count_for_nothing(tmp_path: Path, ledger: Ledger) -> None:
    drill_run(ledger, result(), now=LATER)
    value, text = history_of(tmp_path, ledger, THEN)
    assert value["runs"] == [] and "1 run is dated later than now" in text


def test_a_spot_check_and_a_class_of_that_name_are_told_apart(tmp_path: Path, ledger: Ledger) -> None:
    drill_run(ledger, result(sample=Sample(2, 0, 2, 0.95, 1)), now=THEN)
    value, text = history_of(tmp_path, ledger, LATER)
    assert value["runs"][0]["spot_check"] and "1 scenario, a spot check" in text
    assert value["due"]["overdue"] and "reed was never drilled as a whole" in text


def test_a_run_that_was_killed_is_shown(tmp_path: Path, ledger: Ledger) -> None:
    ledger.begin_run("drill", now=THEN)
    dated(ledger._db, THEN)
    value, text = history_of(tmp_path, ledger, LATER)
    (run,) = value["runs"]
    assert (run["seconds"], run["complete"], run["worst"]) == (None, False, None)
    assert "not noted" in text and "NOT FINISHED" in text


def test_a_part_that_was_chosen_is_no_drill_that_broke_off(tmp_path: Path, ledger: Ledger) -> None:
    for at, complete in ((THEN, True), (LATER, False)):
        run = ledger.begin_run("drill", now=at)
        ledger.add_drills(run, [result()])
        ledger.end_run(run, complete=complete)
        dated(ledger._db, at)
    value, text = history_of(tmp_path, ledger, LATER)
    said = " ".join(text.split())
    assert [run["complete"] for run in value["runs"]] == [False, True]
    assert said.count("a part: the rest was not drilled") == 1 and "NOT FINISHED" not in said
    assert "how many fall short of the studio file's own targets, whatever a test expected of them" in said


def test_recoveries_are_told_of_and_compared_with_nothing(tmp_path: Path, ledger: Ledger) -> None:
    drill_run(ledger, result(), now=THEN)
    for shoots in (["reed"], ["reed", "kiln"]):
        ledger.end_run(ledger.begin_run("recovery", now=THEN, shoots=shoots), complete=len(shoots) == 1)
        dated(ledger._db, THEN)
    value, text = history_of(tmp_path, ledger, LATER)
    told = [(run["kind"], run["shoots"], run["complete"]) for run in value["runs"] if run["kind"] == "recovery"]
    assert told == [("recovery", ("reed", "kiln"), False), ("recovery", ("reed",), True)]
    assert value["worse"] == {"drills": [], "copies": [], "media": []}
    assert "1 drill and 2 recoveries" in text and "it came to its end" in text and "reed, kiln" in text


@pytest.mark.parametrize("change", ["verdict = 'restoreb'", "record = '{'", "record = '[]'"])
def test_a_damaged_row_is_said_and_not_used(tmp_path: Path, ledger: Ledger, change: str) -> None:
    drill_run(ledger, result(), now=THEN)
    ledger._db.execute(f"UPDATE drills SET {change}")
    with pytest.raises(Mistakes, match="run 1: is damaged"):
        history_of(tmp_path, ledger)


def test_what_was_as_bad_before_is_not_passed_over(tmp_path: Path, ledger: Ledger) -> None:
    for at in (THEN, THEN + timedelta(days=1)):
        drill_run(ledger, result(lost=1), now=at)
        run = ledger.begin_run("audit", now=at)
        ledger.add_audit(run, HURT)
        ledger.end_run(run, complete=True)
        dated(ledger._db, at)
    value, text = history_of(tmp_path, ledger, LATER)
    said = "But the last drill fell short in 1 of 1 drill and the last audit found 3 files damaged or missing."
    assert not value["falls_short"] and "Nothing got worse" in text and said in text
    assert "see what falls short in the last drill, and what to do: drill run --shoot" in text
    assert "look at what is damaged, and where it is intact: drill audit" in text
