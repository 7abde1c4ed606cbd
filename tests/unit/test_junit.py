"""The test report of a run: what is a case, what fails and why, and that no name breaks it."""

from collections.abc import Iterable
from dataclasses import replace
from xml.etree import ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st
from told import GOOD, LOST, RUN

from drill.record import Count, Drill, FileNote, FurtherFailures, LostWork, Run, Sample, Seconds
from drill.report.junit import MOST_FILES, junit_text


def _read(run: Run) -> ET.Element:
    return ET.fromstring(junit_text(run).encode())


def _only(drill: Drill) -> tuple[str, str, str]:
    """The type, message and text of the one failure there is."""
    (failure,) = _read(replace(RUN, drills=(drill,))).iterfind(".//failure")
    return failure.attrib["type"], failure.attrib["message"], failure.text or ""


def _names(cases: Iterable[ET.Element]) -> list[tuple[str, str]]:
    return [(case.attrib["classname"], case.attrib["name"]) for case in cases]


def test_each_shoot_is_a_suite_and_each_drill_a_case_with_its_measured_seconds() -> None:
    fire = replace(GOOD, scenario="house-fire", variant=None, seconds=Seconds(1.25e-5, 7520.0, None))
    root = _read(replace(RUN, drills=(GOOD, LOST, fire)))
    assert _names(root.iterfind(".//testcase")) == [
        ("heron-ridge", "lost-tablet (tablet)"),
        ("heron-ridge", "house-fire"),
        ("otter", "house-fire"),
    ]
    heron, otter = root
    assert (heron.attrib["name"], heron.attrib["package"], heron.attrib["id"]) == ("heron-ridge", "Reed Bank", "0")
    assert [heron.attrib[key] for key in ("tests", "failures", "errors", "time")] == ["2", "0", "0", "0.100"]
    assert [otter.attrib[key] for key in ("id", "tests", "failures", "errors")] == ["1", "1", "1", "0"]
    assert [case.attrib["time"] for case in heron.iterfind("testcase")] == ["0.100", "0.000"]
    assert heron.attrib["timestamp"] == "2026-11-24T20:00:00"


def test_the_seed_the_moment_and_what_was_left_out_stand_in_the_properties() -> None:
    said = {one.attrib["name"]: one.attrib["value"] for one in _read(RUN)[0].iterfind("properties/property")}
    assert said["seed"] == "7" and said["now"] == said["started"] == "2026-11-24T20:00:00Z"
    assert said["not about this studio"] == "dead-card"


def test_lost_files_are_named_with_their_reasons_and_the_rest_is_counted() -> None:
    notes = tuple(FileNote(f"raw/{n}.dng", f"bad sector {n}") for n in range(MOST_FILES + 2))
    kind, message, text = _only(replace(LOST, lost_files=notes))
    assert (kind, message) == ("partial", "1 of 2 files lost")
    assert "raw/0.dng: bad sector 0" in text and f"raw/{MOST_FILES - 1}.dng" in text
    assert f"raw/{MOST_FILES}.dng" not in text and "and 2 more" in text
    assert "0 right, 1 WRONG without any error message, 1 fail" in text


def test_paper_lateness_and_targets_each_say_what_falls_short() -> None:
    paper = replace(GOOD, verdict="unproven", files=Count(2, 1, 1, 0), on_paper_files=(FileNote("a.dng", "away"),))
    kind, message, text = _only(paper)
    assert (kind, message) == ("unproven", "1 of 2 files only on paper") and "a.dng: away" in text
    late = replace(GOOD, verdict="late", seconds=Seconds(1.0, 7520.0, 3600.0))
    kind, message, text = _only(late)
    assert (kind, message) == ("late", "all back, in 2 h 5 min, the target is 1 h")
    few = replace(GOOD, further_failures=FurtherFailures(0, 1, (("place:bag",),)))
    kind, message, text = _only(few)
    assert (kind, message) == ("target", "0 further failures survivable afterwards, target 1")
    assert "place bag" in text
    old = replace(LOST, lost_work=LostWork("2026-09-12", 86400.0, met=False))
    assert "The lost work reaches back to 2026-09-12; the target allows 24 h." in _only(old)[2]


def test_what_a_spot_check_left_out_is_no_advice_to_copy_anything() -> None:
    left = Sample(chosen=1, not_back=0, left_out=1, confidence=None, not_back_at_most=None)
    spot = replace(GOOD, verdict="unproven", files=Count(2, 1, 1, 0), sample=left, on_paper_files=(FileNote("a", "-"),))
    kind, _, text = _only(spot)
    assert kind == "unproven" and "A spot check left files out" in text and "Plug it in" not in text


def test_a_run_that_did_not_end_is_an_error_even_when_no_drill_was_made() -> None:
    for drills in ((), (GOOD,)):
        root = _read(replace(RUN, drills=drills, complete=False, unfinished="the disk that holds scratch is full"))
        (error,) = root.iterfind(".//error")
        assert error.attrib["type"] == "unfinished" and "the disk that holds scratch is full" in error.attrib["message"]
        assert [suite.attrib["errors"] for suite in root] == ["0"] * len(drills) + ["1"]
    assert not list(_read(RUN).iterfind(".//error"))


def test_what_xml_cannot_hold_is_shown_as_on_a_terminal() -> None:
    _, _, text = _only(replace(LOST, lost_files=(FileNote("\x00\x1b[31m\udcff\u202e\uffff<b>&]]>\n.dng", "gone"),)))
    assert "\\x00\\x1b[31m\\udcff\\u202e\\uffff<b>&]]>\\x0a.dng: gone" in text


@given(st.text(alphabet=st.characters(), min_size=1, max_size=30))
def test_any_names_at_all_give_xml_that_reads_back(name: str) -> None:
    odd = replace(LOST, scenario=name, variant=name, shoot=name, lost_files=(FileNote(name, name),), sources={name: 1})
    run = replace(RUN, studio=name, drills=(odd,), not_applicable=(name,), complete=False, unfinished=name)
    text = junit_text(run)
    assert all(char.isprintable() or char == "\n" for char in text)
    assert len(list(ET.fromstring(text.encode()).iterfind(".//testcase"))) == 2
