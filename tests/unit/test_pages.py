"""Pages: one file that asks for nothing, safe with any name, in order for those who hear it, small with any number."""

import re
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jinja2 import UndefinedError
from many_drills import many_drills
from page_read import NASTY, Read

from drill.record import Count, Drill, FileNote, FurtherFailures, LostWork, Mend, Run, Sample, Seconds, Unchecked
from drill.report.pages import run_page
from drill.report.pages.base import MOST_BYTES, render, say_day, shortened
from drill.report.pages.drills import DETAILS
from drill.report.pages.verdict import run_verdict

ONE = many_drills(shoots=1, scenarios=1, variants=1, always_short=False)
COMMAND = "drill run 'studio of reed.toml' --seed 7"


def read(run: Run) -> Read:
    return Read(run_page(run, command=COMMAND))


def back(run: Run) -> Run:
    """Return the same run as if nothing had been wrong anywhere."""
    whole = [
        replace(
            drill,
            verdict="restored",
            score=100.0,
            files=Count(120, 120, 0, 0),
            lost_files=(),
            by_class={"originals": Count(120, 120, 0, 0)},
            unchecked=Unchecked(120, 0, 0),
            lost_work=LostWork(None, 86400.0, met=True),
            further_failures=FurtherFailures(2, 1, (("medium:cloud", "place:bag", "place:home"),)),
        )
        for drill in run.drills
    ]
    return replace(run, drills=tuple(whole), mends=(), findings=())


def only(run: Run, **changes: object) -> Run:
    return replace(run, drills=tuple(replace(drill, **changes) for drill in run.drills))  # type: ignore[arg-type]


def test_a_page_asks_for_nothing_from_elsewhere() -> None:
    page = read(many_drills(shoots=3, scenarios=9))
    assert not {"script", "link", "img", "iframe", "object", "form", "base"} & set(page.tags)
    assert all(value.startswith("#") for value in page.valued("href"))
    assert not page.valued("src")
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    assert any(value.startswith("default-src 'none'") for value in page.valued("content"))
    assert not re.search(r"url\(|@import|https?:", run_page(ONE, command=COMMAND))


@pytest.mark.parametrize("run", [many_drills(shoots=3, scenarios=9), many_drills(shoots=90), back(ONE)])
def test_every_cell_opens_something_that_is_there_once(run: Run) -> None:
    page = read(run)
    ids = Counter(page.valued("id"))
    assert max(ids.values()) == 1
    assert {value[1:] for value in page.valued("href")} <= set(ids)
    opened = {value for value in page.valued("href") if re.fullmatch(r"#d\d+", value)}
    assert len(opened) == len({(drill.shoot, drill.scenario) for drill in run.drills})


@pytest.mark.parametrize("run", [many_drills(shoots=3, scenarios=9), many_drills(shoots=90), back(ONE)])
def test_those_who_hear_a_page_find_their_way(run: Run) -> None:
    page = read(run)
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    assert all(after <= before + 1 for before, after in zip(page.headings, page.headings[1:], strict=False))
    assert page.valued("lang") == ["en-GB"]
    assert page.tags["table"] <= page.tags["caption"] + page.valued("class").count("lean")
    named = set(page.valued("aria-labelledby"))
    assert named <= set(page.valued("id"))
    assert page.valued("role").count("region") <= len(page.valued("aria-label"))


@pytest.mark.parametrize("shoots", [2, 90])
def test_a_name_is_nothing_but_text(shoots: int) -> None:
    run = many_drills(shoots=shoots)
    note = FileNote(f"raw/{NASTY}", f"why {NASTY}")
    run = only(run, lost_files=[note] * 3, by_class={NASTY: Count(3, 0, 0, 3)})
    run = replace(
        run, studio=NASTY, findings=(NASTY,), notes=(NASTY,), titles=dict.fromkeys(run.titles, NASTY), unfinished=NASTY
    )
    text = run_page(replace(run, complete=False), command=NASTY)
    page = Read(text)
    assert not {"script", "img"} & set(page.tags)
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    assert "49" not in "".join(part for part in page.texts if "7*7" in part)
    assert not set("\x1b\x00\u202e\u2066") & set(text)
    assert "\\u202egnp.exe" in text
    text.encode("utf-8")


def named(name: str) -> str:
    drills = tuple(replace(drill, sources={name: 3}) for drill in ONE.drills)
    return run_page(replace(ONE, studio=name, notes=(name,), drills=drills), command=COMMAND)


PLAIN_TAGS = Read(named("reed")).tags


@settings(max_examples=50)  # a page takes a hundredth of a second, and each is read twice
@given(st.text(st.characters(codec=None), max_size=40))
def test_no_text_breaks_out_of_a_page(name: str) -> None:
    page = named(name)
    assert Read(page).tags == PLAIN_TAGS
    assert all(char.isprintable() or char == "\n" for char in page)


@pytest.mark.deep
def test_two_hundred_shoots_in_fifteen_scenarios_are_under_a_megabyte() -> None:
    """Each of them falls short and tells another story, in three variants."""
    run = many_drills()
    page = run_page(run, command=COMMAND)
    assert len(page.encode()) < MOST_BYTES
    assert len(set(re.findall(r"<tr id=(d\d+)>", page))) == 3000


@pytest.mark.deep
def test_what_is_larger_still_says_so_and_keeps_the_overview() -> None:
    run = only(many_drills(shoots=220), sources={f"copy-{'x' * 60}-{n}": 9 - n for n in range(9)})
    page = run_page(run, command=COMMAND)
    assert len(page.encode()) < MOST_BYTES
    assert "told in short, and only the 1500 worst" in page
    assert page.count("<td class=poor") == 220 * 15
    assert set(re.findall(r"href=#(d\d+)>", page)) == set(re.findall(r"<tr id=(d\d+)>", page))


@pytest.mark.parametrize("detail", DETAILS[:4])
def test_no_lost_file_goes_uncounted(detail: object) -> None:
    run = many_drills(shoots=2, scenarios=1, variants=1)
    drills = DETAILS.index(detail)  # type: ignore[arg-type]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("drill.report.pages.run.DETAILS", DETAILS[drills : drills + 1])
        page = Read(run_page(run, command=COMMAND))
    told = " ".join(page.texts)
    for drill in run.drills:
        if detail is DETAILS[0]:
            counted = sum(int(count) for count in re.findall(r"(\d+) files? for other reasons", told))
            assert counted == sum(max(0, drill.files.lost - 6) for drill in run.drills)
        else:
            assert f"{drill.files.verified}/{drill.files.promised}" in told


def test_the_page_tells_what_a_drill_found() -> None:
    drill = many_drills(shoots=1, scenarios=1, variants=1).drills[0]
    drill = replace(drill, seconds=Seconds(41.2, 7520.0, 3600.0), unchecked=Unchecked(110, 7, 3), salvaged=2)
    text = " ".join(" ".join(read(replace(ONE, drills=(drill,))).texts).split())
    for said in (
        "2 h 5 min",
        "1 h",
        "41 s",
        "7 wrong without a word",
        "archive-a",
        "deliverables",
        "12 Sep 2026",
        COMMAND,
    ):
        assert said in text, said
    assert drill.lost_files[0].why in text
    assert drill.lost_files[0].path in text


# --- the one sentence ------------------------------------------------------------------------------------------------

ALL_BACK = back(many_drills(shoots=2, scenarios=2, variants=1))
SLOW = Seconds(1.0, 90_000.0, 3600.0)
LEFT_OUT = Count(120, 20, 100, 0)
ON_PAPER = Count(120, 100, 20, 0)
SAID = [FileNote(f"raw/R{n}.DNG", "said to be on attic-disk") for n in range(20)]


@pytest.mark.parametrize(
    ("run", "begins", "says"),
    [
        (ALL_BACK, "Yes: all 240 files of 2 shoots", "in time, every byte as promised, in each of the 2 scenarios"),
        (many_drills(shoots=3, scenarios=4), "No: shoot-", "Something of kind"),
        (
            many_drills(shoots=1, scenarios=1, variants=1),
            "No: shoot-000-heron-ridge would lose 1 of its 120",
            "one more",
        ),
        (only(ALL_BACK, verdict="late", seconds=SLOW), "Not in time", "25 h where the target is 1 h"),
        (only(ALL_BACK, further_failures=FurtherFailures(0, 1, (("medium:cloud",),))), "Only just", "medium cloud"),
        (
            only(ALL_BACK, verdict="unproven", files=ON_PAPER, on_paper_files=SAID),
            "Not proved: nothing was lost",
            "plug these",
        ),
        (
            only(ALL_BACK, verdict="unproven", files=LEFT_OUT, sample=Sample(20, 0, 100, 0.95, 3)),
            "Not proved as a whole",
            "left out 200 files",
        ),
        (
            replace(
                only(ALL_BACK, verdict="unproven", files=LEFT_OUT, sample=Sample(20, 0, 100, 0.95, 3)),
                mends=(Mend("kiln", 1, 0, None, 0, 0, is_archive=False),),
            ),
            "Not proved as a whole",
            "left out 200 files, and kiln has damaged",
        ),
        (
            only(ALL_BACK, verdict="unproven", files=Count(120, 0, 120, 0), sample=Sample(0, 0, 120, None, None)),
            "Nothing was tried",
            "left out 240 files",
        ),
        (replace(ALL_BACK, mends=(Mend("kiln", 1, 0, None, 0, 0, is_archive=False),)), "Not yet: all 240", "kiln has"),
        (replace(ALL_BACK, complete=False), "Not finished", "What was not tried is not known"),
        (replace(ALL_BACK, drills=()), "Not known", "says nothing about your pictures"),
    ],
)
def test_the_sentence_says_whether_which_from_what_and_what_to_do(run: Run, begins: str, says: str) -> None:
    sentence = run_verdict(run)
    assert sentence.startswith(begins)
    assert says in sentence
    assert sentence in " ".join(" ".join(read(run).texts).split())


def test_the_worst_shoots_come_first_in_the_tables() -> None:
    hands = (Unchecked(120, 0, 0), Unchecked(110, 0, 10), Unchecked(117, 3, 0))
    takes = (Seconds(1, 7_200, 90_000), Seconds(1, 108_000, 90_000), Seconds(1, 10_800, 7_200))
    shoots = ("dune", "fen", "weir")
    drills = [
        replace(ALL_BACK.drills[0], shoot=shoot, unchecked=by_hand, seconds=seconds)
        for shoot, by_hand, seconds in zip(shoots, hands, takes, strict=True)
    ]
    failing = replace(drills[2], unchecked=Unchecked(115, 0, 5))  # it hides no wrong files of its shoot
    text = run_page(replace(ALL_BACK, drills=(failing, *drills)), command=COMMAND)
    for caption, order in (
        ("Files that a restore by hand", "weir fen dune"),
        ("The slowest restore of", "fen weir dune"),
    ):
        table = text.partition(f"<caption>{caption}")[2].partition("</table>")[0]
        assert sorted(shoots, key=table.index) == order.split()


def test_files_that_are_lost_in_every_scenario_come_first() -> None:
    gone = FileNote("raw/R000001.DNG", "on no copy")
    lost: dict[str, object] = {"verdict": "partial", "files": Count(120, 119, 0, 1), "lost_files": (gone,)}
    first = tuple(replace(d, **lost) if d.shoot.startswith("shoot-000") else d for d in ALL_BACK.drills)  # type: ignore[arg-type]
    said = run_verdict(replace(ALL_BACK, drills=first))
    assert said.startswith("No: 1 file of shoot-000-heron-ridge came back in no scenario at all: look for it now")


def test_files_that_are_only_said_to_be_somewhere_came_back_in_no_scenario_too() -> None:
    gone, said = FileNote("raw/R000001.DNG", "on no copy"), FileNote("raw/R000002.DNG", "said to be on attic-disk")
    lost: dict[str, object] = {
        "verdict": "partial",
        "files": Count(120, 118, 1, 1),
        "lost_files": (gone,),
        "on_paper_files": (said,),
    }
    first = tuple(replace(d, **lost) if d.shoot.startswith("shoot-000") else d for d in ALL_BACK.drills)  # type: ignore[arg-type]
    sentence = run_verdict(replace(ALL_BACK, drills=first))
    assert (
        "2 files of shoot-000-heron-ridge came back in no scenario at all, 1 of them said to be on copies" in sentence
    )
    assert "look for them now" in sentence


@given(st.lists(st.sampled_from(many_drills(shoots=4, scenarios=3).drills + ALL_BACK.drills), min_size=1))
def test_no_drill_that_falls_short_is_called_safe(drills: list[Drill]) -> None:
    run = replace(ALL_BACK, drills=tuple(drills))
    assert run_verdict(run).startswith("Yes") == (not any(drill.falls_short for drill in drills))


# --- the base --------------------------------------------------------------------------------------------------------


def test_a_value_that_is_missing_is_an_error() -> None:
    with pytest.raises(UndefinedError):
        render("run.html", title="Reed", verdict="Yes.")


def test_a_page_without_a_command_tells_of_none() -> None:
    assert "How to do this again" not in render("base.html", title="Reed", verdict="Yes.")


@pytest.mark.parametrize(
    ("when", "said"),
    [
        ("2026-09-12", "12 Sep 2026"),
        ("2026-11-24T20:00:00Z", "24 Nov 2026, 20:00 UTC"),
        ("2026-01-01T00:30:00+02:00", "31 Dec 2025, 22:30 UTC"),
    ],
)
def test_days_have_their_month_in_letters(when: str, said: str) -> None:
    assert say_day(when) == said


def test_a_long_name_keeps_both_its_ends() -> None:
    assert shortened("a" * 50 + "b" * 500 + ".dng", 60).startswith("aaaa")
    assert shortened("a" * 50 + "b" * 500 + ".dng", 60).endswith("b.dng")
    assert len(shortened("ab" * 500, 60)) == 60
    assert shortened("reed.dng") == "reed.dng"


def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    digits = colour if len(colour) == 6 else "".join(digit * 2 for digit in colour)
    parts = [int(digits[n : n + 2], 16) / 255 for n in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_all_colours_can_be_read_in_light_in_dark_and_on_paper() -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    blocks = re.findall(r":root\{[^}]*--paper[^}]*\}", render("base.html", title="Reed", verdict="Yes."))
    assert len(blocks) == 3
    for block in blocks:
        colours = dict(re.findall(r"--([a-z-]+):#([0-9a-f]+)", block))
        pairs = [(f"{tone}-ink", tone) for tone in ("good", "fair", "poor", "bad")]
        pairs += [(ink, ground) for ink in ("ink", "soft", "deep") for ground in ("paper", "sheet")]
        for ink, ground in pairs:
            bright, dim = sorted((_luminance(colours[ink]), _luminance(colours[ground])), reverse=True)
            assert (bright + 0.05) / (dim + 0.05) >= 4.5, (ink, ground)
