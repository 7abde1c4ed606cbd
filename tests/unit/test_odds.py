"""The odds: closed forms on the smallest schemes, each rule of the statuses, and words that never promise too much."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from math import expm1

import pytest

from drill.faulttree import probability
from drill.model import Place, Risks, Scheme, Studio
from drill.odds import LEVELS, LOST, Rates, blows, distribution, in_words, odds, rates, shares, without
from drill.stages import stage_tree
from drill.studio import KINDS
from drill.timeline import Life, horizon, life, spans
from tests.shared.schemes import DAY_S, HOUR_S, NEVER_S, YEAR_S, medium, step, studio, usual_studio, wide_studio

FRIDAY = date(2026, 9, 11)
TWO = (medium("kiln"), medium("reed"))
ONCE_S = 30 * DAY_S
CERTAIN = 1000.0  # a year: whatever has that rate has happened within days


def after(found: Life, seconds: float) -> datetime:
    return found.begins + timedelta(seconds=seconds)


def only(**per_year: float) -> Rates:
    """Return rates where nothing else happens; the first "_" of a name stands for its ":"."""
    return Rates({event.replace("_", ":", 1): rate for event, rate in per_year.items()}, {})


def lost_by(of: Studio, happens: Rates, years: float, *, away: bool = False) -> float:
    found = life(of, FRIDAY, away=away)
    return odds(found, of, happens, [after(found, years * YEAR_S)]).lost[0]


def chances(of: Studio, happens: Rates, days: float) -> dict[str, float]:
    """Return how likely each combination of statuses is after so many days, written as one word."""
    found = life(of, FRIDAY, away=False)
    return {"".join(s) or "lost": p for s, p in distribution(found, of, happens, after(found, days * DAY_S)).items()}


def likeliest(of: Studio, happens: Rates, days: float) -> str:
    found = chances(of, happens, days)
    return max(found, key=lambda statuses: found[statuses])


# --- closed forms ------------------------------------------------------------------------------------------------


def test_one_medium_alone_is_lost_when_it_fails() -> None:
    one = studio(TWO[:1], [], ["kiln"])
    assert lost_by(one, only(medium_kiln=0.2), 3.0) == pytest.approx(-expm1(-0.6), rel=1e-12)


def test_two_media_are_lost_when_both_have_failed() -> None:
    two = studio(TWO, [], ["kiln", "reed"], replaced_within_s=NEVER_S)
    happens = only(medium_kiln=0.2, medium_reed=0.5)
    assert lost_by(two, happens, 3.0) == pytest.approx(expm1(-0.6) * expm1(-1.5), rel=1e-9)


def test_what_was_replaced_in_time_is_lost_only_when_both_fail_in_one_stretch() -> None:
    two = studio(TWO, [], ["kiln", "reed"], replaced_within_s=YEAR_S / 10)
    q = -expm1(-0.02)
    assert lost_by(two, only(medium_kiln=0.2, medium_reed=0.2), 1.0) == pytest.approx(1 - (1 - q * q) ** 10, rel=1e-6)


def test_one_event_for_both_is_no_chance_for_the_second() -> None:
    two = studio(TWO, [], ["kiln", "reed"])
    assert lost_by(two, only(place_house=0.1), 2.0) == pytest.approx(-expm1(-0.2), rel=1e-12)


def test_a_step_that_is_forgotten_once_in_five() -> None:
    copies = step("in", "copy", "kiln", "reed", done=0.8)
    erases = step("out", "erase", "kiln", after_s=HOUR_S)
    assert lost_by(studio(TWO, [copies, erases], ["kiln"]), only(), 1.0) == pytest.approx(0.2)
    guarded = replace(erases, only_once_on=("reed",))
    assert lost_by(studio(TWO, [copies, guarded], ["kiln"]), only(), 1.0) == 0.0


@pytest.mark.parametrize(("away", "years", "expected"), [(True, 2 / 365.25, 0.0), (True, 1.0, 0.6), (False, 1.0, 0.6)])
def test_the_house_takes_what_is_carried_once_one_is_home(away: bool, years: float, expected: float) -> None:
    bag = studio([medium("card", "card", place="bag", carried=True)], [], ["card"])
    bag = replace(bag, places={**bag.places, "house": Place("house")})
    found = lost_by(bag, only(place_house=1.0), years, away=away)
    assert found == pytest.approx(expected, abs=0.04)
    assert (found == 0.0) == (expected == 0.0)


def test_within_a_stretch_it_is_the_tree_of_its_cut_sets() -> None:
    of = studio(
        [
            medium("card", "card", place="bag", carried=True, attached=True),
            medium("kiln", needs=("heron",)),
            medium("reed", mirrors="card"),
            medium("heron", place="barn"),
        ],
        [],
        ["card", "kiln", "reed"],
        replaced_within_s=NEVER_S,
    )
    happens = rates(of, "high")
    found = life(of, FRIDAY, away=False)
    (span,) = spans(found, of)
    top, gates = stage_tree(span, of)
    years = 4.0
    p = {event: -expm1(-rate * years) for event, rate in happens.per_year.items()}
    p |= {f"bad-source:{id_}": 0.0 for id_ in of.media}
    expected = probability(top, gates, p)
    assert expected > 0.01
    assert odds(found, of, happens, [after(found, years * YEAR_S)]).lost[0] == pytest.approx(expected, rel=1e-6)


# --- statuses ----------------------------------------------------------------------------------------------------


def test_a_rotten_source_makes_rotten_copies_which_a_check_finds() -> None:
    copies = step("in", "copy", "kiln", "reed", after_s=20 * DAY_S)
    checks = step("check", "verify", None, "reed", after_s=40 * DAY_S)
    of = studio((*TWO, medium("heron")), [copies, checks], ["kiln", "heron"])
    assert likeliest(of, only(rot_kiln=CERTAIN), 15) == "RNG"
    assert likeliest(of, only(rot_kiln=CERTAIN), 25) == "RRG"
    assert likeliest(of, only(rot_kiln=CERTAIN), 45) == "RGG"


def test_what_is_gone_and_what_was_deleted() -> None:
    twice = step("in", "copy", "kiln", "reed", again_s=20 * DAY_S)
    of = studio((medium("kiln"), medium("reed", attached=True)), [twice], ["kiln"])
    assert chances(of, only(medium_reed=CERTAIN), 25)["GF"] == pytest.approx(1.0)  # no copy over what is to be replaced
    assert chances(of, only(medium_reed=CERTAIN), 30)["GG"] == pytest.approx(1.0)
    deleted = chances(of, only(deleted_reed=20.0), 20 + 9 / 24)  # the second copy was made at that very moment
    assert deleted == pytest.approx({"GG": 1.0})
    assert chances(of, only(deleted_reed=CERTAIN), 29)["GN"] == pytest.approx(1.0)


def test_what_failed_and_is_not_planned_is_not_replaced() -> None:
    erases = step("out", "erase", "kiln", done=0.5)
    of = studio(TWO, [erases], ["kiln", "reed"])
    assert chances(of, only(medium_kiln=CERTAIN), 29) == pytest.approx({"NG": 0.5, "FG": 0.5})
    assert chances(of, only(medium_kiln=CERTAIN), 30) == pytest.approx({"NG": 1.0})


def test_a_move_leaves_what_it_could_not_bring_over() -> None:
    moves = step("move", "move", "kiln", "reed", done=0.5)
    assert chances(studio(TWO, [moves], ["kiln"]), only(), 1) == pytest.approx({"NG": 0.5, "GN": 0.5})


@pytest.mark.parametrize(("keeps", "expected"), [(None, "NNG"), (ONCE_S, "NGG")])
def test_a_mirror_follows_unless_it_keeps_versions(keeps: float | None, expected: str) -> None:
    mirror = medium("reed", mirrors="kiln", keeps_versions_s=keeps)
    media = (medium("kiln", attached=True), mirror, medium("heron"))
    of = studio(media, [step("in", "copy", "heron", "kiln")], ["heron"])
    assert chances(of, only(), 1) == pytest.approx({"GGG": 1.0})
    assert likeliest(of, only(deleted_kiln=CERTAIN), 20) == expected
    erased = replace(of, scheme=replace(_scheme(of), steps=(*_scheme(of).steps, step("out", "erase", "kiln"))))
    assert chances(erased, only(), 1) == pytest.approx({expected: 1.0})


def _scheme(of: Studio) -> Scheme:
    assert of.scheme
    return of.scheme


def test_all_is_told_and_nothing_comes_back_from_lost() -> None:
    of = usual_studio()
    found = life(of, FRIDAY, away=True)
    told = distribution(found, of, rates(of, "high"), after(found, 5 * DAY_S))
    assert sum(told.values()) == pytest.approx(1.0, abs=1e-11)
    assert all("G" in statuses for statuses in told if statuses != LOST)
    marks = [after(found, n * 50 * DAY_S) for n in range(8)]
    lost = odds(found, of, rates(of, "high"), marks).lost
    assert lost[0] == 0.0 and list(lost) == sorted(lost) and lost[1] > 0


def test_a_mark_past_the_end_and_no_scheme() -> None:
    of = usual_studio()
    found = life(of, FRIDAY, away=True, until=horizon(_scheme(of), FRIDAY, 1))
    with pytest.raises(ValueError, match="the life ends"):
        odds(found, of, rates(of), [found.until + timedelta(seconds=1)])
    with pytest.raises(ValueError, match="no scheme"):
        odds(found, replace(of, scheme=None), rates(of), [found.until])


# --- what was left out -------------------------------------------------------------------------------------------


def test_what_is_left_out_is_bounded_and_told() -> None:
    of = usual_studio()
    found = life(of, FRIDAY, away=True, until=horizon(_scheme(of), FRIDAY, 1))
    exact = odds(found, of, rates(of), [found.until])
    rough = odds(found, of, rates(of), [found.until], precision=1e-2)
    assert 0 < exact.left_out <= 1e-6 * exact.lost[0]
    assert exact.left_out < rough.left_out <= 1e-2 * exact.lost[0]
    assert rough.lost[0] <= exact.lost[0] + exact.left_out <= rough.lost[0] + rough.left_out + exact.left_out


def test_where_very_much_can_happen_the_most_that_matters_is_kept() -> None:
    of = wide_studio()
    found = life(of, FRIDAY, away=True, until=horizon(_scheme(of), FRIDAY, 1))
    told = odds(found, of, rates(of), [found.until], precision=1e-2)
    assert 0 < told.left_out < 0.02 * told.lost[0]


# --- rates, shares, words ----------------------------------------------------------------------------------------


def test_every_kind_has_a_rate_and_every_rate_a_source() -> None:
    kinds = sorted(KINDS)
    of = studio([medium(kind, kind, account="login", attached=True) for kind in kinds], [], ["card"])
    low, middle, high = (rates(of, level) for level in LEVELS)
    assert middle.per_year.keys() == middle.sources.keys() == blows(of, away=False).keys()
    assert all(source for source in middle.sources.values())
    assert all(0 < rate < 0.2 for rate in middle.per_year.values())
    for event, rate in middle.per_year.items():
        assert (low.per_year[event], high.per_year[event]) == pytest.approx((rate / 3, rate * 3))
    with pytest.raises(ValueError, match="middle"):
        rates(of, "usual")


def test_the_studios_own_rates_come_first() -> None:
    of = studio(
        [medium("kiln", fails_per_year=0.5, attached=True)], [], ["kiln"], risks=Risks(fire=0.25, rot=0.0, spread=2)
    )
    found = rates(of)
    assert (found.per_year["medium:kiln"], found.per_year["place:house"], found.per_year["rot:kiln"]) == (
        0.5,
        0.25,
        0.0,
    )
    assert found.sources["medium:kiln"] == found.sources["rot:kiln"] == "the studio file"
    assert rates(of, "high").per_year["medium:kiln"] == 1.0


def test_the_share_of_an_event_is_what_would_not_be_lost_without_it() -> None:
    two = studio(TWO, [], ["kiln", "reed"], replaced_within_s=NEVER_S)
    happens = only(medium_kiln=0.2, medium_reed=0.5, place_house=0.1, rot_heron=1.0)
    found = life(two, FRIDAY, away=False)
    mark = after(found, YEAR_S)
    told = shares(found, two, happens, mark)
    assert list(told) == ["place:house", "medium:kiln", "medium:reed"]
    whole = odds(found, two, happens, [mark]).lost[0]
    assert told["medium:reed"] == pytest.approx(whole - -expm1(-0.1), rel=1e-6)
    assert told["medium:kiln"] == pytest.approx(told["medium:reed"], rel=1e-6)
    assert without(happens, "medium:kiln").per_year == {**happens.per_year, "medium:kiln": 0.0}


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.0, "less than one in a million shoots"),
        (9.9e-7, "less than one in a million shoots"),
        (1e-6, "1 in 1,000,000 shoots"),
        (0.0029, "1 in 340 shoots"),
        (1 / 12345, "1 in 12,000 shoots"),
        (0.01, "1 in 100 shoots"),
        (0.14, "1 in 7 shoots"),
        (0.31, "4 in 10 shoots"),
        (0.9, "9 in 10 shoots"),
        (0.901, "91 in 100 shoots"),
        (0.9901, "more than 99 in 100 shoots"),
        (1.0, "more than 99 in 100 shoots"),
    ],
)
def test_odds_in_words(p: float, words: str) -> None:
    assert in_words(p) == words


@pytest.mark.parametrize("p", [-0.1, 1.1, float("nan")])
def test_what_is_no_probability(p: float) -> None:
    with pytest.raises(ValueError, match="no probability"):
        in_words(p)


def test_words_never_tell_less_than_the_figure() -> None:
    for n in range(1, 1000):
        p = n / 1000
        count, _, of = in_words(p).removeprefix("more than ").partition(" in ")
        told = int(count) / int(of.split()[0].replace(",", ""))
        assert told >= p - 0.01 * (p > 0.99) - 1e-12
