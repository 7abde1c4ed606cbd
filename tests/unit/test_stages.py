"""What a shoot stands on in a stage of its life, what takes it, how long it lacks what."""

from dataclasses import replace
from datetime import date

import pytest
from staged import (
    ARCHIVE,
    CARD,
    CLOUD,
    DAY_S,
    DRIVE,
    HOUR_S,
    TABLET,
    at,
    held,
    medium,
    monthly,
    scheme_of,
    span,
    studio_of,
)

from drill.model import Step, Studio, Targets
from drill.stages import (
    FAILURES,
    LACKS,
    cut_sets,
    cut_words,
    days_of,
    event_words,
    facts,
    ground,
    measure,
    stage_tree,
    taken_by_need,
    worst_day,
)
from drill.timeline import Span, life, spans

FIELD = studio_of(CARD, TABLET, DRIVE, ARCHIVE, CLOUD)


def events_of(here: Span, studio: Studio, medium_id: str) -> set[str]:
    return set(stage_tree(here, studio)[1][f"copy:{medium_id}"][1])


def test_a_tree_has_one_gate_for_every_copy() -> None:
    top, gates = stage_tree(span(held("card"), held("drive", "card", since=1)), FIELD)
    assert top == "lost"
    assert gates["lost"] == ("and", ("copy:card", "copy:drive"))
    assert set(gates["copy:drive"][1]) == {"medium:drive", "place:coat", "rot:drive", "bad-source:card"}
    assert set(gates["copy:card"][1]) == {"medium:card", "place:bag", "rot:card", "bad-source:card"}


def test_on_no_copy_there_is_no_tree_and_the_shoot_is_lost_without_any_event() -> None:
    with pytest.raises(ValueError, match="lost already"):
        stage_tree(span(), FIELD)
    nothing = cut_sets(span(), FIELD)
    assert (nothing.sets, nothing.numbers, nothing.survivable) == (((),), ((0, 1),), -1)
    assert facts(span(), FIELD).survivable == -1


def test_what_is_attached_can_be_deleted_and_attacked() -> None:
    assert events_of(span(held("tablet")), FIELD, "tablet") >= {"deleted:tablet", "attack"}
    assert not events_of(span(held("archive")), FIELD, "archive") & {"deleted:archive", "attack"}


def test_what_is_needed_is_followed_to_its_end_with_its_place_and_account() -> None:
    key = medium("key", place="drawer", account="keyring")
    reader = medium("reader", place="shelf", needs=("key",))
    tape = medium("tape", "tape", needs=("reader",))
    found = events_of(span(held("tape")), studio_of(tape, reader, key), "tape")
    assert found >= {"medium:reader", "place:shelf", "medium:key", "place:drawer", "account:keyring"}
    assert "rot:key" not in found  # what is on the key is no part of the shoot


def test_a_copy_that_falls_with_what_it_needs_says_so() -> None:
    phone = medium("phone", "phone", "house", account="carrier")
    cloud = medium("cloud", "cloud", "provider", needs=("key",), account="login")
    studio = studio_of(medium("disk", place="house"), cloud, medium("key", place="safe", needs=("phone",)), phone)
    here = span(held("disk"), held("cloud"))
    assert taken_by_need("place:house", here, studio) == "cloud too, as it needs phone, which is there"
    assert taken_by_need("medium:key", here, studio) == "cloud too, as it needs key"
    assert taken_by_need("account:carrier", here, studio) == "cloud too, as it needs phone, which is behind it"
    assert not taken_by_need("account:login", here, studio) and not taken_by_need("rot:phone", here, studio)


def test_media_that_need_each_other_end() -> None:
    one, two = medium("one", needs=("two",)), medium("two", place="loft", needs=("one",))
    assert events_of(span(held("one")), studio_of(one, two), "one") >= {"medium:two", "place:loft"}


def test_a_mirror_shares_what_reaches_what_it_mirrors_unless_it_keeps_versions() -> None:
    computer = medium("computer", "computer", attached=True)
    mirror = medium("mirror", mirrors="computer")
    behind = medium("behind", mirrors="mirror")
    safe = medium("safe", mirrors="computer", keeps_versions_s=DAY_S)
    studio = studio_of(computer, mirror, behind, safe)
    here = span(*(held(id_) for id_ in studio.media))
    assert events_of(here, studio, "behind") >= {"deleted:computer", "attack", "rot:computer", "rot:mirror"}
    assert events_of(here, studio, "safe") == {"medium:safe", "place:house", "rot:safe"}
    assert facts(here, studio).copies == 2  # computer, mirror and behind are as one


def test_media_that_mirror_each_other_are_one_copy() -> None:
    one, two = medium("one", mirrors="two"), medium("two", mirrors="one")
    tail = medium("tail", mirrors="two")
    assert facts(span(held("one"), held("two"), held("tail")), studio_of(one, two, tail)).copies == 1


def test_at_home_a_fire_takes_what_is_carried_too() -> None:
    copies = (held("card"), held("archive", "card", since=1))
    assert cut_sets(span(*copies, away=True), FIELD, kinds=FAILURES).survivable == 1
    home = cut_sets(span(*copies, away=False), FIELD, kinds=FAILURES)
    assert home.smallest == (("place:house",),)
    assert "place:bag" in events_of(span(*copies, away=False), FIELD, "card")  # the bag can go from home as well


def test_without_a_known_home_the_bag_is_a_place_of_its_own() -> None:
    studio = studio_of(CARD, ARCHIVE, scheme=scheme_of(home=None))
    here = span(held("card"), held("archive", "card", since=1), away=False)
    assert facts(here, studio).places == 2


def test_a_bad_source_reaches_every_copy_that_came_through_it_until_it_is_verified() -> None:
    drive, proven = held("drive", "card", "tablet", since=2), held("drive", "card", "tablet", since=2, verified=3)
    assert events_of(span(held("card"), drive), FIELD, "drive") >= {"bad-source:card", "bad-source:tablet"}
    assert not {e for e in events_of(span(held("card"), proven), FIELD, "drive") if e.startswith("bad-source")}


def test_a_source_itself_is_bad_unless_verified_after_the_last_copy_made_from_it() -> None:
    copied = held("drive", "archive", since=10)
    early, late = held("archive", verified=5), held("archive", verified=10)
    assert "bad-source:archive" in events_of(span(early, copied), FIELD, "archive")
    assert "bad-source:archive" not in events_of(span(late, copied), FIELD, "archive")
    assert "bad-source:archive" in events_of(span(late, copied), FIELD, "drive")
    assert "bad-source:archive" not in events_of(span(early), FIELD, "archive")  # nothing was copied from it


def test_one_bad_card_takes_every_copy_that_nobody_verified() -> None:
    here = span(held("card"), held("tablet", "card", since=1), held("drive", "card", since=2), away=True)
    assert cut_sets(here, FIELD).smallest == (("bad-source:card",),)


def test_cut_sets_are_told_smallest_first_and_counted() -> None:
    found = cut_sets(span(held("card"), held("archive", "card", since=1, verified=2), away=True), FIELD)
    assert found.numbers == (
        (2, 12),
    )  # four events take the card (a bad source of the archive is none), three the archive
    assert found.sets[0] == ("bad-source:card", "medium:archive")
    assert len(found.sets) == 12


def test_many_cut_sets_are_counted_all_and_listed_in_part() -> None:
    media = [medium(f"kiln{n}", place=f"place{n}", attached=True, account=f"login{n}") for n in range(7)]
    found = cut_sets(span(*(held(m.id) for m in media)), studio_of(*media))
    assert found.numbers[0] == (1, 1)
    assert found.smallest == (("attack",),)
    assert found.numbers[-1] == (7, 5**7)
    assert len(found.sets) == 100


def test_of_more_cut_sets_than_anybody_looks_at_the_smallest_are_told() -> None:
    """Two drives in each of 21 places: one place after the other, or both its drives: 2 to the power of 21 ways."""
    media = [medium(f"kiln{n}", place=f"place{n % 21}") for n in range(42)]
    here = ground(studio_of(*media))
    full = span(*(held(m.id) for m in media))
    found = cut_sets(full, here, kinds=FAILURES)
    assert found.sets == (tuple(sorted(f"place:place{n}" for n in range(21))),) and found.numbers == ((21, 1),)
    assert facts(full, here).survivable == found.survivable == 20


def test_equal_spans_share_their_answer() -> None:
    here = ground(FIELD)
    one = span(held("card"), begins=0, ends=1)
    other = span(held("card"), begins=5, ends=6)
    assert cut_sets(one, here) is cut_sets(other, here)
    assert facts(one, here) is facts(other, here)
    assert facts(one, here) == facts(one, FIELD)


def test_what_is_carried_or_at_home_is_never_off_site() -> None:
    barn = medium("barn", place="barn", offsite=True)
    assert facts(span(held("barn")), studio_of(barn, scheme=scheme_of(home="barn"))).offsite == 0
    pouch = medium("pouch", "ssd", "pouch", carried=True, offsite=True)
    assert facts(span(held("pouch")), studio_of(pouch)).offsite == 0
    assert facts(span(held("cloud")), FIELD).offsite == 1


def test_words() -> None:
    assert event_words("place:bag", FIELD) == "loss or theft of bag"
    assert event_words("place:house", FIELD) == "fire or burglary at house"
    assert cut_words(("bad-source:card",), FIELD) == "bytes gone bad on card before they were copied on"
    assert cut_words(("medium:tablet", "place:house"), FIELD) == "tablet broken or lost and fire or burglary at house"
    assert cut_words((), FIELD) == "it is on no copy any more"
    kinds = ("medium:a", "account:a", "deleted:a", "attack", "rot:a", "bad-source:a", "place:a")
    assert len({event_words(event, FIELD) for event in kinds}) == len(kinds)


# --- a life -----------------------------------------------------------------------------------------------------------

LIFE = (
    span(held("card"), begins=0, ends=10),
    span(held("card"), held("tablet", "card", since=10), begins=10, ends=12),
    span(held("card"), held("tablet", "card", since=10), held("drive", "tablet", since=12), begins=12, ends=100),
    span(held("tablet"), held("drive", since=12), begins=100, ends=103),
    span(held("tablet"), held("drive", since=12), held("cloud", since=103, verified=104), begins=103, ends=9000),
)


def test_lacks_are_summed_and_the_longest_stretch_is_told() -> None:
    found = measure(LIFE, FIELD, Targets())
    assert list(found.lacks) == list(LACKS)
    assert (found.lacks["one_copy"].total_s, found.lacks["one_copy"].longest_from) == (10 * HOUR_S, at(0))
    assert found.lacks["one_failure"].total_s == 12 * HOUR_S
    assert found.lacks["one_place"].total_s == 12 * HOUR_S
    assert found.lacks["nothing_offsite"].longest_s == 103 * HOUR_S
    gap = (*LIFE[:2], span(held("card"), begins=12, ends=15), *LIFE[3:])
    assert measure(gap, FIELD, Targets()).lacks["one_copy"].total_s == 13 * HOUR_S
    assert measure(gap, FIELD, Targets()).lacks["one_copy"].longest_s == 10 * HOUR_S


def test_goals_have_a_first_moment_and_one_from_which_they_stay() -> None:
    found = measure(LIFE, FIELD, Targets(further_failures=1))
    assert found.goals["two_copies"].first == found.goals["two_copies"].for_good == at(10)
    assert (found.goals["three_copies"].first, found.goals["three_copies"].for_good) == (at(12), at(103))
    assert found.goals["further_failures"].for_good == at(12)
    assert found.goals["verified"].first == at(103)
    assert measure(LIFE[:4], FIELD, Targets()).goals["three_copies"].for_good is None
    assert measure(LIFE[:4], FIELD, Targets()).goals["offsite"].first is None


def test_lost_work_reaches_back_to_the_first_picture_while_one_failure_takes_the_shoot() -> None:
    assert measure(LIFE, FIELD, Targets()).lost_back_s == 12 * HOUR_S
    assert measure(LIFE[:1], FIELD, Targets()).lost_back_s is None
    apart = (span(held("card"), held("drive"), begins=0, ends=5),)
    assert measure(apart, FIELD, Targets()).lost_back_s == 0.0


def test_the_newest_proof_ages_until_the_next() -> None:
    def proof(begins: float, ends: float, verified: float | None) -> Span:
        return span(held("archive", verified=verified), begins=begins, ends=ends)

    assert measure([proof(0, 50, None)], FIELD, Targets()).proof_age_s is None
    assert measure([proof(0, 50, None), proof(50, 80, 50)], FIELD, Targets()).proof_age_s == 50 * HOUR_S
    assert measure([proof(0, 5, None), proof(5, 80, 5)], FIELD, Targets()).proof_age_s == 75 * HOUR_S
    gone = [proof(0, 5, None), proof(5, 10, 5), proof(10, 50, None)]  # made anew: the proof went with the copy
    assert measure(gone, FIELD, Targets()).proof_age_s == 50 * HOUR_S


def test_targets_are_met_or_not_as_the_year_ends() -> None:
    met = Targets(lose_at_most_s=12 * HOUR_S, further_failures=2, verified_within_s=9000 * HOUR_S, restore_within_s=1.0)
    assert measure(LIFE, FIELD, met).targets == {
        "further_failures": True,
        "lose_at_most": True,
        "verified_within": True,
    }
    missed = Targets(lose_at_most_s=11 * HOUR_S, further_failures=3, verified_within_s=100 * HOUR_S)
    assert not any(measure(LIFE, FIELD, missed).targets.values())
    assert measure(LIFE, FIELD, Targets()).targets == {}
    assert not any(measure(LIFE[:1], FIELD, met).targets.values())


def test_the_worst_moment_is_the_longest_stretch_in_which_the_same_fewest_failures_are_enough() -> None:
    worst = measure(LIFE, FIELD, Targets()).worst
    assert (worst.begins, worst.ends) == (at(0), at(10))
    assert worst.failures.smallest == (("medium:card",), ("place:bag",))
    assert ("rot:card",) in worst.events.smallest
    for lived, begins, ways in (
        ((*LIFE[:1], span(*LIFE[1].copies, begins=10, ends=30)), 10, (("place:bag",),)),
        ((*LIFE[:1], span(*LIFE[1].copies, begins=10, ends=15), span(held("tablet"), begins=15, ends=18)), 0, None),
        ((*LIFE[:2], span(begins=12, ends=13)), 12, ((),)),
        ((span(*LIFE[1].copies, ends=4), span(*LIFE[1].copies[::-1], begins=4, ends=8)), 0, (("place:bag",),)),
    ):
        found = measure(lived, FIELD, Targets()).worst
        assert found.begins == at(begins)
        assert ways is None or found.failures.smallest == ways


def test_only_the_first_365_days_count() -> None:
    long = (span(held("card"), begins=0, ends=24 * 700),)
    assert measure(long, FIELD, Targets()).lacks["one_copy"].total_s == 365 * DAY_S
    with pytest.raises(ValueError, match="without a span"):
        measure((), FIELD, Targets())


# --- the days of a year -----------------------------------------------------------------------------------------------

MONTHLY = scheme_of(
    Step("import", "copy", "card", "archive", after_s=HOUR_S, takes_s=HOUR_S), monthly("upload", "archive", "cloud")
)


def test_the_worst_day_is_the_one_with_the_longest_wait_for_the_upload() -> None:
    studio = studio_of(CARD, ARCHIVE, CLOUD, scheme=MONTHLY)
    found = worst_day(days_of(studio, date(2027, 1, 1)), studio)
    assert [(each.lack, each.away) for each in found] == [(lack, away) for lack in LACKS for away in (True, False)]
    offsite = {each.away: each for each in found if each.lack == "nothing_offsite"}[False]
    longest = life(studio, offsite.worst, away=False)
    upload = next(each.begins for each in spans(longest, studio) if any(h.medium == "cloud" for h in each.copies))
    assert offsite.worst_s == (upload - longest.begins).total_seconds()
    assert (offsite.worst, offsite.best) == (date(2027, 1, 1), date(2027, 1, 31))


def test_a_year_has_each_of_its_days_once_and_29_february_where_it_comes() -> None:
    studio = studio_of(CARD, ARCHIVE, CLOUD, scheme=MONTHLY)
    days = [lived.day for lived, _ in days_of(studio, date(2028, 1, 1)) if lived.away]
    assert len(days) == len(set(days)) == 366
    assert date(2028, 2, 29) in days
    assert max(days) == date(2028, 12, 31)
    with pytest.raises(ValueError, match="no scheme"):
        next(days_of(replace(studio, scheme=None), date(2028, 1, 1)))
