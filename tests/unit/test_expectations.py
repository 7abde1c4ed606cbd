"""Files of expectations: every mistake with file and key, what is expected of which drill, what falls short of it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from plain_studio import sha256_list

from drill.errors import Mistakes
from drill.expectations import Due, Expected, Sheet, read_sheet, shortfall, studio_sheet
from drill.model import Promised, ProofAge, Scenario, Shoot, Targets
from drill.pytest_plugin.items import _way_out
from drill.record import (
    ByteCount,
    Count,
    Drill,
    FileNote,
    FurtherFailures,
    LostWork,
    Seconds,
    Unchecked,
)
from drill.rehearse import Exercise

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
STUDIO = """
[studio]
name = "Reed"
[classes]
originals = ["*.dng"]
deliverables = ["deliver/**"]
[[media]]
id = "kiln"
kind = "ssd"
place = "home"
[[media]]
id = "heron"
kind = "ssd"
place = "bag"
[[copies]]
on = "kiln"
[[copies]]
on = "heron"
[[shoots]]
id = "reed"
date = 2026-09-12
manifest = "reed.sha256"
[[shoots]]
id = "saltmarsh"
date = 2026-09-13
manifest = "saltmarsh.sha256"
"""
LOST = 'title = "A drive is gone"\nstory = "S"\n[[hazards]]\neffect = "gone"\neach = "medium"\n'
TAPES = 'title = "Tapes are gone"\nstory = "S"\n[[hazards]]\neffect = "gone"\nhits = { kind = "tape" }\n'
HEAD = 'studio = "studio.toml"\nscenarios = ["lost.toml", "tapes.toml"]\n'
ACCEPTED = '[[accepted]]\nscenario = "lost"\nshoot = "reed"\nreason = "on order"\nuntil = 2027-01-31\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "studio.toml").write_text(STUDIO)
    (tmp_path / "reed.sha256").write_text(sha256_list({"a.dng": b"a", "b.dng": b"b"}))
    (tmp_path / "saltmarsh.sha256").write_text(sha256_list({"c.dng": b"c", "deliver/c.jpg": b"jpg"}))
    (tmp_path / "lost.toml").write_text(LOST)
    (tmp_path / "tapes.toml").write_text(TAPES)
    return tmp_path


def sheet(folder: Path, text: str) -> Sheet:
    path = folder / "season.drill.toml"
    path.write_text(text, encoding="utf-8")
    return read_sheet(path)


def due(found: Sheet) -> list[tuple[str, str, str | None]]:
    return [one.exercise.key for _, rows in found.due for one in rows]


ALL = [(shoot, "lost", drive) for shoot in ("reed", "saltmarsh") for drive in ("kiln", "heron")]


def test_without_expectations_all_is_due_and_asked_what_a_run_asks(folder: Path) -> None:
    found = sheet(folder, HEAD + "seed = 7\n")
    assert due(found) == ALL and found.seed == 7
    assert all(one.expected == (Expected(),) for _, rows in found.due for one in rows)
    assert {id_: [s.name for s in rest] for id_, rest in found.not_applicable.items()} == {
        "reed": ["tapes"],
        "saltmarsh": ["tapes"],
    }


def test_a_studio_file_by_itself_asks_it_of_every_shipped_scenario(folder: Path) -> None:
    found = studio_sheet(folder / "studio.toml")
    assert {key[0] for key in due(found)} == {"reed", "saltmarsh"}
    assert ("reed", "stolen-bag", "bag") not in due(found)  # the bag is not carried, so the scenario does not apply
    assert "stolen-bag" in [one.name for one in found.not_applicable["reed"]]
    assert ("reed", "house-fire", "home") in due(found)


def test_of_what_nothing_is_expected_nothing_is_due(folder: Path) -> None:
    only = sheet(folder, HEAD + '[[expect]]\nshoots = "reed"\nvariants = ["kiln"]\ncomes_back = true\n')
    assert due(only) == [("reed", "lost", "kiln")] and only.not_applicable == {"reed": (), "saltmarsh": ()}
    by_class = sheet(folder, HEAD + '[[expect]]\nscenarios = ["lost"]\nclasses = ["deliverables"]\n')
    assert due(by_class) == ALL[2:]  # reed promises no deliverable
    assert due(sheet(folder, HEAD + 'shoots = ["saltmarsh"]\n')) == ALL[2:]


def test_all_expectations_of_a_drill_are_held_together(folder: Path) -> None:
    text = HEAD + '[[expect]]\ncomes_back = true\n[[expect]]\nshoots = ["reed"]\nrestored_within = "2 h"\n'
    rows = {shoot.id: rows for shoot, rows in sheet(folder, text).due}
    assert [one.at for one in rows["reed"][0].expected] == ["expect[1]", "expect[2]"]
    assert rows["reed"][0].expected[1].restored_within_s == 7200
    assert [one.at for one in rows["saltmarsh"][0].expected] == ["expect[1]"]


def test_what_is_accepted_is_found_by_variant_or_for_all_of_them(folder: Path) -> None:
    def accepted(text: str) -> list[str | None]:
        rows = sheet(folder, HEAD + text).due[0][1]
        return [None if one.accepted is None else one.accepted.reason for one in rows]

    assert accepted(ACCEPTED) == ["on order", "on order"]
    one = ACCEPTED + 'variant = "heron"\n'
    assert accepted(one) == [None, "on order"]
    assert accepted(one + ACCEPTED.replace("on order", "sold") + 'variant = "kiln"\n') == ["sold", "on order"]


def test_one_table_may_accept_of_several_shoots(folder: Path) -> None:
    both = sheet(folder, HEAD + ACCEPTED.replace('"reed"', '["reed", "saltmarsh"]'))
    assert [[due.accepted and due.accepted.reason for due in rows] for _, rows in both.due] == [["on order"] * 2] * 2
    due = both.due[0][1][0]
    assert due.accepted is not None
    assert _way_out(due.accepted, due.exercise).startswith("Name in its `shoot` and `variant` only what still falls")


WRONG = {
    "": "studio: is missing",
    HEAD.replace(
        '["lost.toml", "tapes.toml"]', "[]"
    ): "scenarios: is an empty list; name one at least, or leave it out",
    HEAD + 'shoots = [""]\n': "shoots: has a text that is empty; write something in it",
    HEAD + 'shoots = ""\n': "shoots: is empty",
    HEAD + "shoots = 3\n": "shoots: must be a text in quotes, or a list of them",
    HEAD + ACCEPTED.replace('shoot = "reed"\n', ""): "accepted[1].shoot: is missing",
    HEAD + ACCEPTED.replace('"reed"', '["reed", "heath"]'): "accepted[1].shoot: 'heath': no shoot of this file",
    HEAD + ACCEPTED + ACCEPTED.replace('"reed"', '["saltmarsh", "reed"]'): "accepted[2]: accepts what another table",
    HEAD
    + '[[expect]]\nshoots = ["reed"]\n'
    + ACCEPTED.replace('"reed"', '["reed", "saltmarsh"]'): "accepted[1]: nothing is expected of saltmarsh in lost",
    'studio = "nowhere.toml"\n': "nowhere.toml: there is no such file",
    HEAD + "colour = 1\n": "colour: is not a key",
    HEAD + "seed = -1\n": "seed: must be at least 0",
    HEAD.replace("lost.toml", "losst.toml"): "losst.toml: there is no such file",
    HEAD.replace("lost.toml", "lost-tablets"): "season.drill.toml: scenarios: 'lost-tablets': no scenario of that name",
    'studio = "studio.toml"\nscenarios = ["tapes.toml"]\n': "season.drill.toml: scenarios: no scenario hits anything",
    'studio = "studio.toml"\nscenarios = ["lost.toml", "lost.toml"]\n': "scenarios: 'lost': is there twice",
    HEAD + 'shoots = ["heath"]\n': "shoots: 'heath': no shoot has this id; shoots: reed, saltmarsh",
    HEAD + '[[expect]]\nshoots = ["heath"]\n': "expect[1].shoots: 'heath'",
    HEAD + '[[expect]]\nscenarios = ["house-fire"]\n': "expect[1].scenarios: 'house-fire': no scenario of this file",
    HEAD + '[[expect]]\nvariants = ["reed"]\n': "expect[1].variants: 'reed': no drill of these has this variant",
    HEAD + '[[expect]]\nclasses = ["raw"]\n': "expect[1].classes: 'raw': no class has this name; there are: originals",
    HEAD + '[[expect]]\nshoots = ["reed"]\nclasses = ["deliverables"]\n': "expect[1].classes: reed promises no file",
    HEAD + '[[expect]]\nclasses = ["other"]\n': "expect[1].classes: no shoot promises a file of these classes",
    HEAD + "[[expect]]\ncomes_back = false\n": "expect[1].comes_back: false expects nothing",
    HEAD
    + '[[expect]]\nclasses = ["originals"]\nfurther_failures = 1\n': "expect[1].further_failures: is about a whole",
    HEAD + '[[expect]]\nrestored_within = "soon"\n': "expect[1].restored_within: ",
    HEAD + "[[expect]]\nverified_within = 3\n": "expect[1].verified_within: ",
    HEAD + "[[expect]]\nfurther_failures = 1.5\n": "expect[1].further_failures: ",
    HEAD
    + "[[expect]]\nfurther_failurs = 1\n": 'expect[1].further_failurs: is not a key this table has; did you mean "fur',
    HEAD + ACCEPTED.replace('reason = "on order"\n', ""): "accepted[1].reason: is missing",
    HEAD + ACCEPTED.replace("until = 2027-01-31\n", ""): "accepted[1].until: is missing",
    HEAD + ACCEPTED.replace("2027-01-31", '"spring"'): "accepted[1].until: must be a date or time",
    HEAD + ACCEPTED.replace('"reed"', '"heath"'): "accepted[1].shoot: 'heath': no shoot of this file",
    HEAD + ACCEPTED.replace('"lost"', '"tapes"'): "accepted[1].scenario: tapes hits nothing in this studio",
    HEAD + ACCEPTED.replace('"lost"', '"fire"'): "accepted[1].scenario: 'fire': no scenario of this file",
    HEAD + ACCEPTED + 'variant = "reed"\n': "accepted[1].variant: 'reed': no drill",
    HEAD + ACCEPTED + ACCEPTED: "accepted[2]: accepts what another table accepts",
    HEAD + ACCEPTED + ACCEPTED + 'variant = "kiln"\n': "accepted[2]: accepts what another table accepts",
    HEAD + '[[expect]]\nshoots = ["saltmarsh"]\n' + ACCEPTED: "accepted[1]: nothing is expected of reed in lost",
    "studio = \nseed = 1\n": "line 1",
}


@pytest.mark.parametrize("text", WRONG, ids=[said[:50] for said in WRONG.values()])
def test_each_mistake_names_the_file_and_the_key(text: str, folder: Path) -> None:
    with pytest.raises(Mistakes) as caught:
        sheet(folder, text)
    said = [str(mistake) for mistake in caught.value.mistakes]
    assert any(WRONG[text] in one for one in said), said
    assert all(one.startswith(str(folder)) for one in said)


def test_mistakes_in_all_files_are_listed_at_once(folder: Path) -> None:
    (folder / "studio.toml").write_text(STUDIO.replace('"ssd"', '"floppy"'))
    (folder / "lost.toml").write_text(LOST.replace("gone", "vanished"))
    with pytest.raises(Mistakes) as caught:
        sheet(folder, HEAD + 'colour = "red"\n[[expect]]\nfurther_failures = -1\n')
    text = str(caught.value)
    assert all(word in text for word in ("floppy", "vanished", "colour", "expect[1].further_failures"))


def test_names_are_looked_at_in_the_same_round_as_kinds(folder: Path) -> None:
    with pytest.raises(Mistakes) as caught:
        sheet(folder, HEAD + '[[expect]]\ncomes_back = 3\nshoots = ["osprey"]\nclasses = ["original"]\n')
    text = str(caught.value)
    assert all(word in text for word in ("comes_back", "'osprey'", "'original'")), text


def test_a_selector_that_names_what_nobody_has_is_a_mistake(folder: Path) -> None:
    (folder / "lost.toml").write_text(LOST + 'hits = { medium = "tern" }\n')
    with pytest.raises(Mistakes, match="no medium of this studio has the id 'tern'"):
        sheet(folder, HEAD)


# --- what falls short ------------------------------------------------------------------------------------------------

PROMISE = (
    *(Promised(f"{n}.dng", (), None, "originals") for n in "ab"),
    Promised("deliver/c.jpg", (), None, "deliverables"),
)
SHOOT = Shoot("reed", NOW, None, PROMISE, Targets())
SCENARIO = Scenario("lost", "A drive is gone", "S", ())
WHOLE = Drill(
    scenario="lost",
    variant="kiln",
    shoot="reed",
    verdict="restored",
    score=100.0,
    files=Count(3, 3, 0, 0),
    bytes=ByteCount(30, 30, 0, 0, 0),
    by_class={"originals": Count(2, 2, 0, 0), "deliverables": Count(1, 1, 0, 0)},
    sources={"heron": 3},
    stitched=0,
    unchecked=Unchecked(3, 0, 0),
    lost_files=(),
    on_paper_files=(),
    seconds=Seconds(1.0, 7200.0, None),
    lost_work=LostWork(None, None, met=True),
    further_failures=FurtherFailures(0, None, (("medium:heron",),)),
)
ONE_LOST = replace(
    WHOLE,
    verdict="partial",
    score=50.0,
    files=Count(3, 2, 0, 1),
    by_class={"originals": Count(2, 1, 0, 1), "deliverables": Count(1, 1, 0, 0)},
    lost_files=(FileNote("a.dng", "kiln is gone"),),
    further_failures=FurtherFailures(-1, None, ()),
)
ON_PAPER = replace(
    WHOLE,
    verdict="unproven",
    files=Count(3, 2, 1, 0),
    by_class={"originals": Count(2, 2, 0, 0), "deliverables": Count(1, 0, 1, 0)},
    on_paper_files=(FileNote("deliver/c.jpg", "heron is away"),),
)


def short(record: Drill, *expected: Expected, ages: Sequence[ProofAge] | None = None) -> str:
    """Hold a record against expectations."""
    one = Due(Exercise(SHOOT, SCENARIO, "kiln"), expected or (Expected(),))
    return shortfall(one, record, ages=lambda: ages, now=NOW, where="season.drill.toml")


def test_without_demands_it_is_what_a_run_says() -> None:
    assert short(WHOLE) == ""
    assert short(ONE_LOST).startswith(
        "1 of 3 files lost\nreed, if this happens: A drive is gone (kiln). 1 file would be lost (1 original)"
    )
    assert short(ON_PAPER).startswith("1 of 3 files only on paper\n")
    assert "heron is away" in short(ON_PAPER)
    missed = replace(WHOLE, further_failures=FurtherFailures(0, 1, (("medium:heron",),)))
    assert "0 further failures are survivable and the target is 1" in short(missed)
    assert short(missed).startswith("one failure too close to a loss\n")
    late = short(replace(WHOLE, verdict="late", seconds=Seconds(1.0, 7200.0, 3600.0)))
    assert late.startswith("back too late: after 2 h\n")


def test_demands_take_the_place_of_the_studio_s_targets() -> None:
    missed = replace(WHOLE, further_failures=FurtherFailures(0, 1, (("medium:heron",),)))
    assert short(missed, Expected("expect[1]", comes_back=True)) == ""
    assert short(missed, Expected("expect[1]", comes_back=True), Expected())


def test_one_expectation_that_is_broken_is_enough() -> None:
    broken, held = Expected("expect[1]", comes_back=True), Expected("expect[2]", classes=("deliverables",))
    for both in ((broken, held), (held, broken), (Expected(), held), (held, Expected())):
        assert short(ONE_LOST, *both).startswith("1 of 3 files lost\n")
    assert short(ONE_LOST, held, held) == ""


@pytest.mark.parametrize(
    ("record", "expected", "words"),
    [
        (WHOLE, Expected("expect[1]", comes_back=True), ""),
        (
            ONE_LOST,
            Expected("expect[1]", comes_back=True),
            "all 3 files are to come back, and 2 did, 1 lost, such as a.dng",
        ),
        (ONE_LOST, Expected("expect[1]", classes=("deliverables",)), ""),
        (
            ONE_LOST,
            Expected("expect[2]", classes=("originals",)),
            "expect[2]: all 2 files (originals) are to come back",
        ),
        (ON_PAPER, Expected("expect[1]", classes=("originals",)), ""),
        (ON_PAPER, Expected("e", classes=("deliverables",)), "1 only on paper, such as deliver/c.jpg: heron is away"),
        (WHOLE, Expected("expect[1]", restored_within_s=7200.0), ""),
        (WHOLE, Expected("expect[1]", restored_within_s=7199.0), "the restore takes 2 h"),
        (ONE_LOST, Expected("expect[1]", restored_within_s=7200.0), "all 3 files are to come back"),
        (WHOLE, Expected("expect[1]", further_failures=0), ""),
        (WHOLE, Expected("e", further_failures=1), "1 further failure is to be survivable, and 0 are: medium heron"),
        (ONE_LOST, Expected("expect[1]", further_failures=0), "something is lost already"),
    ],
)
def test_each_demand_holds_up_to_its_bound(record: Drill, expected: Expected, words: str) -> None:
    said = short(record, expected)
    assert (said == "") == (words == "")
    assert words in said
    assert not said or said.splitlines()[1].startswith("reed, if this happens: A drive is gone (kiln).")


def proof(days: float, **more: object) -> ProofAge:
    oldest = (NOW - timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%SZ")
    return replace(ProofAge("heron", 3, 3, 0, oldest, ()), **more)  # type: ignore[arg-type]


def test_verified_within_asks_it_of_every_copy_that_is_left() -> None:
    wanted = Expected("expect[1]", verified_within_s=100 * 86400.0)
    assert short(WHOLE, wanted, ages=[proof(100)]) == ""
    assert "the oldest proof made 101 days ago" in short(WHOLE, wanted, ages=[proof(3), proof(101)])
    assert "1 of 3 files never" in short(WHOLE, wanted, ages=[proof(3, proven=2, never=1)])
    assert "1 wrong when last read" in short(WHOLE, wanted, ages=[proof(3, proven=2, refuted=("a.dng",))])
    assert "no copy that is left" in short(WHOLE, wanted, ages=[])
    assert "without the ledger nobody knows" in short(WHOLE, wanted, ages=None)
    assert "heron (3 of 3 files never)" in short(WHOLE, wanted, ages=[ProofAge("heron", 3, 0, 3, None, ())])


def test_names_in_what_is_said_move_no_cursor() -> None:
    odd = replace(ONE_LOST, lost_files=(FileNote("a\x1b[2J.dng", "gone\nfor good"),))
    said = short(odd, Expected("expect[1]", comes_back=True))
    assert said.count("\n") == 2 and "\x1b" not in said


def test_the_example_of_the_readme_is_one(folder: Path) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    section = readme.partition("## Drills as tests")[2]
    example = section.partition("```toml\n")[2].partition("```")[0]
    studio = STUDIO.replace('"saltmarsh"', '"glasshouse"').replace('"reed"', '"heron-ridge"')
    (folder / "studio.toml").write_text(studio + '[[places]]\nid = "bag"\ncarried = true\n')
    rows = {shoot.id: of_shoot for shoot, of_shoot in sheet(folder, example).due}
    fire = next(one for one in rows["heron-ridge"] if one.exercise.key[1:] == ("house-fire", "home"))
    assert [one.at for one in fire.expected] == ["expect[2]", "expect[3]", "expect[4]"]
    assert fire.accepted is not None and fire.accepted.until.date().isoformat() == "2027-03-31"
    asked = [one.at for due in rows["glasshouse"] for one in due.expected if due.exercise.scenario.name == "house-fire"]
    assert set(asked) == {"expect[3]"}
