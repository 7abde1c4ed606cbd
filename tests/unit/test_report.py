"""The report: safe on a terminal, folded to its width, the worst first, the record as the contract has it."""

import json
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from told import GOOD, LOST, RUN
from wcwidth import wcswidth

from drill.record import (
    Count,
    FileNote,
    FurtherFailures,
    LostWork,
    Mend,
    Seconds,
    Unchecked,
    dump,
)
from drill.report import run_text
from drill.report.words import fitted, fold, safe, table


def test_the_record_has_the_contract_s_keys_and_no_others() -> None:
    value = json.loads(dump(RUN))
    assert list(value) == ["schema", "studio", "started", "now", "seed", "complete", "not_applicable", "drills"]
    assert list(value["drills"][0]) == [
        *("scenario", "variant", "shoot", "verdict", "score", "files", "bytes", "by_class", "sources", "stitched"),
        *("unchecked", "lost_files", "on_paper_files", "seconds", "lost_work", "further_failures"),
    ]
    assert value["drills"][1]["by_class"] == {"originals": {"promised": 2, "verified": 1, "on_paper": 0, "lost": 1}}
    assert value["drills"][0]["further_failures"]["weakest"] == [["medium:drive", "place:home"]]
    assert value["schema"] == "restore-drill/1"


def test_names_that_are_no_unicode_survive_as_escapes() -> None:
    odd = replace(LOST, lost_files=(FileNote("raw/\udcff.dng", "why"),))
    text = dump(replace(RUN, drills=(odd,)))
    assert "\\udcff" in text
    assert text.isascii()


def test_the_worst_comes_first_and_what_to_do_is_said() -> None:
    text = run_text(RUN, width=80)
    table_, shoots, to_do = (text.index(words) for words in ("What comes back", "Shoot by shoot", "What to do first"))
    assert table_ < shoots < to_do
    assert text.index("otter") < text.index("heron-ridge")
    assert "1 file would be lost (1 original)" in text
    assert "1 WRONG" in text
    assert "What this does not prove" in text
    assert "dead-card" in text


def test_what_falls_short_of_its_target_comes_before_what_does_not() -> None:
    short = replace(GOOD, shoot="zander", further_failures=FurtherFailures(0, 1, (("place:bag",),)))
    text = run_text(replace(RUN, drills=(GOOD, short)), width=80)
    assert text.index("zander") < text.index("heron-ridge")
    assert "place bag would then take files" in " ".join(text.split())


def test_no_escape_sequence_reaches_the_terminal() -> None:
    text = run_text(RUN, width=80)
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "\\x1b[31mred\\u202e" in re.sub(r"\s+", "", text)


def test_an_unfinished_run_says_so_first() -> None:
    text = run_text(replace(RUN, complete=False, unfinished="interrupted"), width=80)
    assert text.startswith("NOT FINISHED (interrupted)")
    head = " ".join(run_text(replace(RUN, drills=(), complete=False), width=80).split())
    assert "no drill came to its end" in head and "falls short" not in head


@pytest.mark.parametrize("width", [60, 80, 100, 120])
def test_nothing_is_wider_than_the_terminal(width: int) -> None:
    long = replace(
        LOST, shoot="the-long-walk-along-the-northern-shore-in-the-rain", scenario="second-drive-falters", variant="a-b"
    )
    text = run_text(replace(RUN, drills=(GOOD, LOST, long)), width=width)
    assert max(wcswidth(line) for line in text.splitlines()) <= width


@given(st.text(max_size=60))
def test_safe_text_is_printable_and_keeps_what_is(text: str) -> None:
    assert safe(text).isprintable() and safe(safe(text)) == safe(text)
    if text.isascii() and text.isprintable():
        assert safe(text) == text


SEEN = (
    "Zo\u00eb",
    "Zoe\u0308",
    "\u6f22\u5b57",
    "\u05d0\u05d1\u05d2",
    "\u0e19\u0e49\u0e33",
    "\u0928\u093f",
    "\U0001f48d",
    "100 %",
)


@pytest.mark.parametrize("text", SEEN)
def test_what_people_write_is_left_as_it_is(text: str) -> None:
    assert safe(text) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\u200bb", "a\\u200bb"),
        ("\u3164.jpg", "\\u3164.jpg"),  # Hangul filler: a letter to Unicode, and nothing is to be seen
        ("a\ufe0f", "a\\ufe0f"),
        ("a\u2800b", "a\\u2800b"),
        ("\U000e0101", "\\U000e0101"),
        ("\u0301a", "\\u0301a"),  # it would stand on what comes before the name
        ("a" + "\u0301" * 31, "a" + "\u0301" * 30 + "\\u0301"),
        ("a\xa0b", "a\\xa0b"),
        ("\x7f\x9b31m", "\\x7f\\x9b31m"),
    ],
)
def test_what_is_not_to_be_seen_is_shown(text: str, shown: str) -> None:
    assert safe(text) == shown


def test_a_mark_stays_with_its_letter_when_a_word_is_folded() -> None:
    assert fold("e\u0301" * 8, 4) == ["e\u0301" * 4] * 2


@given(st.text(alphabet="ab \u6f22e\u0301", max_size=40), st.integers(1, 20))
def test_a_fitted_text_has_exactly_its_columns(text: str, width: int) -> None:
    shown = fitted(safe(text), width)
    assert wcswidth(shown) == width
    assert safe(text).startswith(shown.rstrip(" "))


@given(st.text(alphabet="ab-/ \u6f22\u5b57e\u0301", max_size=60), st.integers(4, 30))
def test_folding_loses_nothing_and_fits(text: str, width: int) -> None:
    lines = fold(text, width)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(wcswidth(line) <= width for line in lines)


WRITTEN = st.text(
    st.sampled_from("ab \u6f22\uff21\u05d0\u0e19\u0e49e\u0301\U0001f48d\u200b\x1b\ufe0f\u1100"), max_size=30
)


@given(st.lists(WRITTEN, min_size=1, max_size=4))
def test_columns_of_a_table_stand_under_each_other_whatever_is_in_them(names: list[str]) -> None:
    text = table(["Name", "Number", "End"], [[name, f"#{n}", "end"] for n, name in enumerate(names)], 60, right=(1,))
    lines = [line for line in text.splitlines() if line.endswith("end")]
    assert len(lines) == len(names)
    assert {wcswidth(line) for line in lines} == {wcswidth(text.splitlines()[1])}
    assert {wcswidth(line[: line.rindex("#")]) for line in lines} == {wcswidth(lines[0][: lines[0].rindex("#")])}


def test_tables_fold_wide_names_by_columns_not_by_characters() -> None:
    text = table(["Name", "N"], [["\u6f22\u5b57" * 20, "1"], ["plain", "22"]], 30, right=(1,))
    assert max(wcswidth(line) for line in text.splitlines()) <= 30


def test_what_no_scenario_brings_back_comes_first_with_advice_of_its_own() -> None:
    fire, theft = (replace(LOST, scenario=name) for name in ("house-fire", "stolen-bag"))
    text = " ".join(run_text(replace(RUN, drills=(fire, theft, GOOD)), width=80).split())
    assert "1. otter: 1 file came back in no scenario, such as" in text
    assert "look for these now" in text
    assert "Put these files on" not in text  # there is nothing left to copy


def test_the_shoot_table_names_the_scenario_of_each_thing_it_says() -> None:
    near = replace(GOOD, shoot="otter", further_failures=FurtherFailures(0, 2, (("place:bag",),)))
    far = replace(near, scenario="dead-card", variant=None, further_failures=FurtherFailures(1, 2, (("place:bag",),)))
    text = run_text(replace(RUN, drills=(LOST, far, near)), width=200)
    (row,) = (line for line in text.partition("Shoot by shoot")[2].splitlines() if line.startswith("otter"))
    cells = [cell.strip() for cell in re.split(" {2,}", row)]
    assert cells[3:] == ["partial in house-fire", "lost-tablet (tablet): survives 0 more (target 2)", "place bag"]


def test_what_is_lost_anyway_is_told_from_what_a_scenario_takes() -> None:
    notes = (FileNote("raw/a.dng", "nowhere"), FileNote("raw/b.dng", "drive is gone"))
    fire = replace(LOST, files=Count(3, 1, 0, 2), by_class={"originals": Count(3, 1, 0, 2)}, lost_files=notes)
    theft = replace(LOST, scenario="stolen-bag", lost_files=notes[:1])
    text = " ".join(run_text(replace(RUN, drills=(fire, theft)), width=120).split())
    assert "2 files would be lost (2 originals; 1 of these in every scenario), such as raw/b.dng" in text


def test_the_legend_explains_what_the_table_has_and_nothing_else() -> None:
    paper = replace(GOOD, verdict="unproven", files=Count(2, 0, 2, 0), on_paper_files=(FileNote("a.dng", "away"),))
    late = replace(GOOD, verdict="late", shoot="otter")
    some, none = run_text(replace(RUN, drills=(paper, late)), width=80), run_text(RUN, width=80)
    assert "which is no proof" in " ".join(some.split()) and "Late: " in some
    assert "which is no proof" not in " ".join(none.split()) and "Late: " not in none


def test_findings_stand_before_the_advice() -> None:
    text = run_text(
        replace(RUN, findings=("ssd: a.dng: cannot be read in the ordinary way (I/O error at byte 0)",)), width=80
    )
    assert text.index("Wrong on the copies today") < text.index("What to do first")
    assert "- ssd: a.dng: cannot be read in the ordinary way" in " ".join(text.split())


@pytest.mark.parametrize(
    ("mend", "words"),
    [
        (
            Mend("zip", 8, 0, "ssd", 8, 0, True),
            "Make zip anew from ssd, where they were read in this run and are right",
        ),
        (Mend("zip", 1, 0, "ssd", 1, 0, True), "Make zip anew from ssd, where it was read in this run and is right"),
        (
            Mend("ssd", 0, 1, "zip", 0, 1, False),
            "Look at it first: a file may have been edited since. Copy it anew from",
        ),
        (
            Mend("ssd", 3, 0, "zip", 1, 2, False),
            "(1 file of them is right, the others were not read in this run: drill",
        ),
        (Mend("ssd", 3, 2, "zip", 1, 2, False), "zip has 3, and 1 of these were read in this run and are right"),
        (Mend("ssd", 3, 2, "zip", 0, 2, False), "zip should have 2, and none of these was read in this run"),
        (Mend("ssd", 3, 0, None, 0, 0, False), "No other copy here is known to have all of them: drill recover"),
        (Mend("zip", 0, 0, None, 0, 0, True), "drill audit --copy zip."),
    ],
)
def test_what_is_damaged_today_is_in_the_head_and_comes_first_in_the_advice(mend: Mend, words: str) -> None:
    text = " ".join(run_text(replace(RUN, drills=(GOOD,), mends=(mend,)), width=80).split())
    assert "none falls short. Today, without any scenario, 1 copy has files that are damaged" in text
    advice = text[text.index("What to do first") :]
    assert advice.startswith(f"What to do first 1. {mend.copy}") and words in advice
    if mend.failed + mend.other:
        assert "Keep what is there until the new one is verified" in advice


def test_advice_for_damage_of_today_leaves_room_for_one_scenario() -> None:
    mends = tuple(Mend(f"d{n}", 1, 0, None, 0, 0, False) for n in range(7))
    text = " ".join(run_text(replace(RUN, mends=mends), width=80).split())
    assert "7 copies have" in text and "d4 and 2 more" in text
    assert "3. d2, today" in text and "d3, today" not in text and "4. otter, if this happens" in text
    assert "Today, without any scenario" not in run_text(RUN, width=200)


def test_a_restored_drill_that_misses_its_target_is_marked_and_the_mark_explained() -> None:
    short = replace(GOOD, further_failures=FurtherFailures(0, 1, (("place:bag",),)))
    text = run_text(replace(RUN, drills=(short,)), width=80)
    assert "restored !" in text
    assert "! Everything comes back, and fewer further failures" in " ".join(text.split())
    assert "restored !" not in run_text(replace(RUN, drills=(GOOD,)), width=80)


def test_the_shoot_table_says_how_close_a_loss_is_where_all_comes_back() -> None:
    close = replace(
        GOOD, shoot="otter", further_failures=FurtherFailures(0, None, (("medium:drive",), ("place:home",)))
    )
    text = " ".join(run_text(replace(RUN, drills=(LOST, close)), width=200).split())
    assert "partial in house-fire" in text
    assert "lost-tablet (tablet): survives 0 more" in text
    assert "medium drive (or 1 other way)" in text


def test_sources_and_scores_have_their_columns_where_there_is_room() -> None:
    wide, narrow = run_text(RUN, width=120), run_text(RUN, width=80)
    assert "drive 2" in wide
    assert "Comes from" not in narrow
    assert any(line.startswith("Shoot") and "Score" in line for line in wide.splitlines())
    assert "100.0" in wide


def test_lost_work_that_reaches_back_too_far_is_said() -> None:
    old = replace(LOST, lost_work=LostWork("2026-09-12", 86400.0, met=False))
    text = " ".join(run_text(replace(RUN, drills=(old,)), width=80).split())
    assert "The lost work reaches back to 2026-09-12; the target allows 24 h." in text


def test_what_came_only_out_of_damage_is_said_and_is_no_key_of_the_record() -> None:
    saved = replace(GOOD, scenario="worn-drives", variant=None, salvaged=1, stitched=1)
    text = run_text(replace(RUN, drills=(saved, GOOD)))
    assert "Saved out of damage" in text
    assert re.search(r"heron-ridge +worn-drives +2/2 +1", text)
    assert "salvaged" not in dump(replace(RUN, drills=(saved,)))


def test_nothing_is_said_of_damage_where_no_drill_met_any() -> None:
    assert "Saved out of damage" not in run_text(replace(RUN, drills=(GOOD,)))


def test_what_came_back_nowhere_counts_what_is_only_said_to_be_on_a_copy() -> None:
    said = FileNote("raw/b.dng", "said to be on attic-disk")
    lost: dict[str, object] = {"files": Count(2, 0, 0, 2), "lost_files": (*LOST.lost_files, said)}
    fire = replace(LOST, files=Count(2, 0, 1, 1), on_paper_files=(said,))
    theft = replace(LOST, scenario="stolen-bag", **lost)  # type: ignore[arg-type]
    text = " ".join(run_text(replace(RUN, drills=(fire, theft, GOOD)), width=80).split())
    assert "otter: 2 files came back in no scenario, 1 of them said to be on copies that could not be read" in text
    back = replace(theft, scenario="dead-card", files=Count(2, 1, 0, 1), lost_files=LOST.lost_files)
    text = " ".join(run_text(replace(RUN, drills=(fire, theft, back)), width=80).split())
    assert "otter: 1 file came back in no scenario, such as" in text


def test_by_hand_is_the_worst_of_all_variants() -> None:
    right = replace(LOST, variant="card-a", unchecked=Unchecked(2, 0, 0))
    wrong = replace(GOOD, scenario=LOST.scenario, shoot=LOST.shoot, variant="card-b", unchecked=Unchecked(0, 2, 0))
    text = run_text(replace(RUN, drills=(right, wrong)), width=120)
    row = next(line for line in text.splitlines() if "house-fire" in line)
    assert "worst of 2" in text and "2 WRONG" in row and "partial" in row


def test_what_did_not_come_back_takes_no_time() -> None:
    notes = [FileNote(f"raw/{name}.dng", "said to be on attic-disk") for name in "ab"]
    paper = replace(GOOD, verdict="unproven", files=Count(2, 0, 2, 0), on_paper_files=notes)
    paper = replace(paper, seconds=Seconds(0.1, 0.2, None))
    assert "under 1 s" not in run_text(replace(RUN, drills=(paper,)), width=120)
    assert "under 1 s" in run_text(replace(RUN, drills=(replace(paper, files=Count(2, 1, 1, 0)),)), width=120)


def test_where_nothing_falls_short_that_is_said_before_the_restore_by_hand() -> None:
    deceived = replace(GOOD, unchecked=Unchecked(1, 1, 0))
    text = run_text(replace(RUN, drills=(deceived,)), width=120)
    assert "What to do first\nNothing falls short.\nA restore by hand would have looked fine" in text
    assert "Nothing falls short" not in run_text(replace(RUN, drills=(deceived, LOST)), width=120)
