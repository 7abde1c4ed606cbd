"""Advice on a scheme: each sort of change is tried where it can matter, and ranked; two schemes side by side."""

from dataclasses import replace
from datetime import date
from functools import cache

import pytest
from forecasted import forecast
from schemes import DAY_S, HOUR_S, MONTHLY, medium, step, studio, usual_studio

from drill.advice import advise, compare
from drill.advice.changes import Change, changes
from drill.advice.price import minutes_a_year, money_a_year, shoots_a_year
from drill.advicerecord import Advice, Compared, Comparison, Tried, advice_json
from drill.forecastrecord import Band, Stretch
from drill.model import Costs, Medium, Rhythm, Shoot, Step, Studio, Targets
from drill.odds import odds, rates
from drill.report.advice_text import advised
from drill.report.compare_text import compare_text
from drill.report.sections import laid_out
from drill.scenario import scheme_path
from drill.studio import load_studio
from drill.timeline import horizon, life, spans

MARCH = date(2026, 3, 2)
CARD = medium("card", "card", place="bag", carried=True)
COSTS = Costs("EUR", 30.0, {"hard-disk": 100.0, "ssd": 50.0}, {"cloud": 120.0})


def changes_of(one: Studio) -> list[Change]:
    assert one.scheme is not None
    lived = life(one, MARCH, away=True, until=horizon(one.scheme, MARCH, 1))
    return changes(one, spans(lived, one)[-1], 99)


def found_for(one: Studio) -> list[tuple[str, str]]:
    return [(change.kind, change.what) for change in changes_of(one)]


def tried(advice: Advice, start: str) -> Tried:
    return next(one for one in (*advice.helps, *advice.hardly) if one.what.startswith(start))


def plain(*steps: Step, media: tuple[Medium, ...] = (), **more: object) -> Studio:
    return studio([CARD, *media], steps, ["card"], **more)


KILN = medium("kiln")
SKY = medium("sky", "cloud", place="provider", offsite=True)
IMPORT = step("import", "copy", "card", "kiln", only_when="home")
SECOND = step("second", "copy", "card", "heron")
UP = step("up", "copy", "card", "kiln", rhythm=MONTHLY)
WIPE = step("wipe", "erase", "card", after_s=9 * DAY_S)


def test_no_copy_that_takes_edits_along_is_to_come_before_them() -> None:
    """What costs nothing and removes most would leave the edits where they were made."""
    edit = step("retouch", "edit", None, "kiln", after_s=5 * DAY_S)
    late = step("late", "copy", "kiln", "sky", after_s=9 * DAY_S)
    on = step("on", "copy", "sky", "heron", after_s=10 * DAY_S, only_when="home")
    media = (KILN, SKY, medium("heron", "ssd", place="bag", carried=True))

    def sooner(*steps: Step) -> list[str]:
        found = found_for(plain(replace(IMPORT, only_when=None), *steps, media=media))
        return [what.partition(",")[0] for kind, what in found if kind == "sooner"]

    assert sooner(late, on) == [
        "Do on also while away",
        "Do late at once when the shoot is over",
        "Do on at once when the shoot is over",
    ]
    assert sooner(late, on, edit) == []
    assert sooner(edit, replace(late, follows="retouch")) == ["Do late at once after retouch"]
    assert sooner(edit, replace(edit, id="proofs", after_s=7 * DAY_S), replace(late, follows="retouch")) == []
    from_card = step("third", "copy", "card", "heron", after_s=DAY_S)
    assert sooner(edit, from_card) == ["Do third at once when the shoot is over"]
    assert sooner(edit, replace(late, rhythm=MONTHLY))[0] == "Do late every week"


@cache
def advice_on_usual() -> Advice:
    return advise(usual_studio(), MARCH, away=True)


@cache
def advice_with_costs() -> Advice:
    """Advice on a small scheme, with prices, that is shipped."""
    return advise(load_studio(scheme_path("card-and-tablet")), MARCH, away=True)


@pytest.mark.parametrize(
    ("steps", "media", "kind", "what"),
    [
        ((UP,), (KILN,), "sooner", "Do up every week, not every month."),
        ((UP,), (KILN,), "sooner", "Do up every day, not every month."),
        ((replace(IMPORT, after_s=HOUR_S),), (KILN,), "sooner", "Do import at once when the shoot is over"),
        ((step("up", "copy", "card", "sky", only_when="home"),), (SKY,), "sooner", "Do up also while away"),
        ((replace(IMPORT, done=0.9),), (KILN,), "surer", "Check the day after whether import was done"),
        ((IMPORT,), (KILN,), "verify", "Verify kiln byte for byte every quarter."),
        ((IMPORT,), (KILN,), "one more copy", "Keep one more copy at house, a hard disk"),
        ((IMPORT,), (KILN,), "one more copy", "Copy card to one more SSD"),
        ((IMPORT,), (KILN,), "off-site", "Upload each shoot to one more cloud, under an account of its own"),
        ((IMPORT,), (KILN,), "off-site", "Take a hard disk with a copy of kiln to somebody else's house"),
        ((IMPORT, WIPE), (KILN,), "later erasing", "Wait 30 days longer before wipe clears card."),
        (
            (IMPORT, replace(WIPE, again_s=DAY_S)),
            (KILN,),
            "later erasing",
            "Clear card only once kiln has the shoot.",
        ),
        (
            (IMPORT, WIPE),
            (KILN,),
            "later erasing",
            "Clear card only once kiln has the shoot, and look again every week until so.",
        ),
        ((replace(IMPORT, do="move"),), (KILN,), "later erasing", "Copy from card to kiln instead of moving"),
        ((IMPORT,), (replace(KILN, attached=True),), "unplug", "Unplug kiln"),
        ((IMPORT,), (KILN, medium("twin", mirrors="kiln")), "versions", "Let twin keep versions for 30 days"),
        ((IMPORT, SECOND), (KILN, medium("heron")), "another kind", "Let kiln be an SSD instead"),
        (
            (IMPORT, SECOND),
            (replace(KILN, account="a"), medium("heron", account="a")),
            "another account",
            "Put kiln under an account of its own, not that of heron.",
        ),
    ],
)
def test_each_sort_of_change_is_tried(steps: tuple[Step, ...], media: tuple[Medium, ...], kind: str, what: str) -> None:
    found = [said for sort, said in found_for(plain(*steps, media=media)) if sort == kind]
    assert any(said.startswith(what) for said in found), found


def test_a_second_way_is_tried_to_what_needs_something() -> None:
    laptop, phone = medium("laptop", "computer", attached=True), medium("phone", "phone", attached=True)
    media = (replace(KILN, needs=("laptop",)), replace(SKY, needs=("phone", "laptop")), laptop, phone)
    one = plain(IMPORT, replace(IMPORT, id="up", target="sky"), media=media)
    found = {change.what: change.studio.media for change in changes_of(one) if change.kind == "a second way"}
    assert list(found) == [
        "Set up a second way to log in to sky, so that it does not need laptop.",
        "Make sure that any other computer reads kiln, so that it does not need laptop.",
        "Set up a second way to log in to sky, so that it does not need phone.",
    ]
    left = [(media["kiln"].needs, media["sky"].needs) for media in found.values()]
    assert left == [(("laptop",), ("phone",)), ((), ("phone", "laptop")), (("laptop",), ("laptop",))]
    advice = advise(one, MARCH, away=False)
    assert tried(advice, "Set up a second way to log in to sky, so that it does not need laptop").money == 0
    assert max(one.removes for one in advice.helps if one.kind == "a second way") > 0.1


def test_what_is_kept_longer_takes_room_and_is_not_free() -> None:
    """26 shoots a year of 60 GB, each kept 30 days longer: 30 / 365.25 of 1.56 TB."""
    priced = plain(IMPORT, step("w", "erase", "kiln", after_s=30 * DAY_S), media=(KILN,), costs=COSTS)
    advice = advise(priced, MARCH, away=False)
    later = tried(advice, "Wait 30 days longer before w clears kiln. That keeps about 130 GB more on kiln at any time.")
    assert later.room == pytest.approx(26 * 60e9 * 30 / 365.25, rel=0.001) and later.money == 0
    never = tried(advice, "Do not clear kiln at all, as long as it has room. That keeps about 1.4 TB more on kiln")
    assert never.money is None and never.room == pytest.approx(26 * 60e9 * 335 / 365.25, rel=0.01)


def test_a_guarded_erase_still_clears_the_card_in_the_end() -> None:
    """The upload comes on 1 April only, long after the one time on which the card was to be cleared; of the second the
    plan itself loses the shoot: the copy is made after the card is cleared."""
    up = step("up", "copy", "kiln", "sky", rhythm=MONTHLY)
    for one, left in (
        (plain(IMPORT, up, WIPE, media=(KILN, SKY)), ["kiln", "sky"]),
        (plain(UP, WIPE, media=(KILN,)), ["kiln"]),
    ):
        guarded = next(change for change in changes_of(one) if change.what.startswith("Clear card only once")).studio
        assert guarded.scheme is not None
        lived = life(guarded, MARCH, away=True, until=horizon(guarded.scheme, MARCH, 1))
        assert [copy.medium for copy in spans(lived, guarded)[-1].copies] == left


def test_nothing_impossible_is_advised() -> None:
    """A drive in the house is not filled while away; what is checked, plugged out or guarded already is left alone."""
    check = step("check", "verify", None, "kiln", rhythm=Rhythm("month", (1,), 0.0))
    wipe = replace(WIPE, only_once_on=("kiln",))
    found = [what for _, what in found_for(plain(IMPORT, check, wipe, media=(KILN,)))]
    for start in (
        "Do import also while away",
        "Verify kiln byte for byte every quarter",
        "Unplug",
        "Clear card only once",
    ):
        assert not any(what.startswith(start) for what in found), start
    home = [change for change in changes_of(plain(IMPORT, media=(KILN,))) if "Keep one more copy" in change.what]
    assert home and all(c.studio.scheme and c.studio.scheme.steps[-1].only_when == "home" for c in home)


def test_a_change_is_reckoned_as_its_scheme_would_be() -> None:
    advice = advice_on_usual()
    one = tried(advice, "Do archive every day")
    scheme = usual_studio().scheme
    assert scheme is not None
    steps = tuple(replace(s, rhythm=Rhythm("day", (), 12 * HOUR_S)) if s.id == "archive" else s for s in scheme.steps)
    changed = replace(usual_studio(), scheme=replace(scheme, steps=steps))
    lived = life(changed, MARCH, away=True, until=horizon(scheme, MARCH, 1))
    exactly = odds(lived, changed, rates(changed), [lived.until]).lost[0]
    assert one.after == pytest.approx(exactly, rel=0.05)
    assert 0.3 < one.removes < 0.45
    assert one.minutes == 0 and one.money == 0


def test_more_copies_never_add_risk_and_the_best_come_first() -> None:
    advice = advice_on_usual()
    for one in (*advice.helps, *advice.hardly):
        if one.kind in ("one more copy", "off-site", "verify", "versions", "unplug", "another account"):
            assert one.removes > -0.01, one
    assert not advice.priced
    assert [one.removes for one in advice.helps] == sorted((one.removes for one in advice.helps), reverse=True)
    assert all(one.removes < 0.02 for one in advice.hardly)
    assert advice.helps[0].ten_after is not None and advice.helps[-1].ten_after is None
    assert advice.most == advice.helps[0]


def test_with_costs_the_order_is_by_what_it_costs() -> None:
    advice = advice_with_costs()
    assert advice.priced and advice.currency == "EUR"

    def worth(one: Tried) -> float:
        return (one.before - one.after) / max(1.0, (one.money or 0.0) + one.minutes / 2)

    much = [one for one in advice.helps if one.removes >= 0.1]
    assert list(advice.helps[: len(much)]) == much and len(much) < len(advice.helps)
    assert [worth(one) for one in much] == sorted(map(worth, much), reverse=True)
    assert tried(advice, "Keep one more copy at house, a hard disk").money == pytest.approx(22.0)
    assert tried(advice, "Upload each shoot").money == pytest.approx(120.0)


def test_prices() -> None:
    before = plain(IMPORT, media=(KILN,))
    more = replace(before, media={**before.media, "heron": medium("heron"), "sky": medium("sky", "cloud")})
    assert money_a_year(before, more, COSTS) == pytest.approx(100 / 5 + 120)
    assert money_a_year(before, before, COSTS) == 0
    assert (
        money_a_year(before, replace(before, media={**before.media, "disc": medium("disc", "optical")}), COSTS) is None
    )
    steps = (step("a", "copy", minutes=2.0), step("b", "copy", minutes=3.0, rhythm=Rhythm("week", (0, 3), 0.0)))
    assert minutes_a_year(steps, 10) == 2 * 10 + 3 * 104


def test_how_many_shoots_a_year() -> None:
    dates = [date(2024, 1, 1), date(2025, 10, 1), date(2026, 1, 1), date(2026, 9, 12)]
    shoots = tuple(Shoot(str(day), day, None, (), Targets()) for day in dates)
    assert shoots_a_year(replace(plain(IMPORT, media=(KILN,)), shoots=shoots)) == (3, True)
    assert shoots_a_year(plain(IMPORT, media=(KILN,))) == (26, False)


def test_the_text_of_the_advice() -> None:
    advice = advice_with_costs()
    text = laid_out(advised(advice), width=90)
    flat = " ".join(text.split())
    assert "for a shoot made away on 2026-03-02" in flat and "An hour of yours counts 30 EUR" in flat
    assert (
        "26 shoots a year (assumed)" in flat and "Tried, and removes next to nothing of the first year's risk" in flat
    )
    assert f"What removes most, {int(advice.most.removes * 100) if advice.most else 0} %" in flat
    assert all(len(line) <= 90 for line in text.splitlines())
    assert "safe" not in flat
    assert advice_json(advice)["helps"][0]["removes"] == advice.helps[0].removes
    costless = advise(plain(IMPORT, media=(KILN,)), MARCH, away=False)
    unpriced = " ".join(laid_out(advised(costless), width=90).split())
    assert "the studio file has no [costs]" in unpriced and "made at home" in unpriced


def test_a_scheme_that_nothing_helps() -> None:
    tried_once = Tried("versions", "Do so.", 0.1, 0.2, "1 in 10", "2 in 10", None, None, 0, 0, 0.0, 0)
    advice = replace(advice_on_usual(), helps=(), hardly=(tried_once,))
    text = " ".join(laid_out(advised(advice), width=80).split())
    assert "No single change that was tried helps" in text
    assert "Would make it worse - Do so. (risk +100%)" in text


# --- two schemes -------------------------------------------------------------------------------------------------


def test_a_scheme_beside_itself() -> None:
    same = compare(forecast(), forecast())
    assert {row.change for row in same.rows} == {"same"}
    assert "the same on all" in compare_text(same)


def test_one_fact_is_told_once_in_a_comparison() -> None:
    def row(group: str, what: str, one: float) -> Compared:
        return Compared(group, what, "seconds", one, 7200.0, "better")

    rows = (
        row("in the first year", "it is in one place only (away)", 90000.0),
        row("longest stretch", "it is in one place only (away)", 90000.0),
        row("longest stretch", "nothing of it is off-site (away)", 90000.0),
        row("scenarios", "fire would take it (away)", 90000.0),
        row("scenarios", "fire would take it (at home)", 90000.0),
        row("worst day", "it is in one place only (away)", 99000.0),
    )
    text = compare_text(Comparison("Reed", "Heron", rows), width=120)
    body = [" ".join(line.split()) for line in text.split("What gets better")[1].split("\n\n")[0].splitlines()[3:]]
    assert " ".join(body) == (
        "in the first year, longest stretch it is in one place only, nothing of it is off-site (away) 25 h 2 h "
        "scenarios fire would take it (away and at home) 25 h 2 h "
        "worst day it is in one place only (away) 27 h 30 min 2 h"
    )
    assert "each by its own studio file: its rates" in " ".join(text.split())


def test_better_worse_and_never() -> None:
    one = forecast()
    life_ = one.lives[0]
    slower = replace(life_.firsts[0], after_s=None)
    stolen = replace(life_.bands[1], stretches=(Stretch(0, 86400.0, "lost"), Stretch(86400.0, 9e6, "held")))
    gone = Band("house-fire", "barn", "x", (Stretch(0, 9e6, "not about it"),))
    lived = replace(life_, firsts=(slower, *life_.firsts[1:]), bands=(life_.bands[0], stolen, gone))
    chances = (replace(one.chances[0], middle=one.chances[0].middle / 2), *one.chances[1:])
    other = replace(one, studio="Reed Bank", lives=(lived, *one.lives[1:]), chances=chances)
    found = compare(one, other)
    by = {(row.group, row.what): row for row in found.rows}
    assert by["from when on", f"{slower.what} (away)"].change == "worse"
    assert by["from when on", f"{slower.what} (away)"].other is None
    assert by["scenarios", "stolen-bag would take it (away)"].change == "better"
    assert by["scenarios", "house-fire would take it (away)"].change == "not both"
    assert [row.change for row in found.rows if row.unit == "chance"].count("better") == 1
    back = compare(other, one)
    swapped = {"better": "worse", "worse": "better"}
    assert [row.change for row in back.rows] == [swapped.get(row.change, row.change) for row in found.rows]
    text = compare_text(found, width=100)
    assert text.index("What gets worse") < text.index("What gets better") and "never" in text
    assert all(len(line) <= 100 for line in text.splitlines())
