"""Cut sets of a stage: what brute force finds; another copy never makes one smaller, verifying drops bad sources."""

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st
from simulation.blows import hit_by
from staged import held, medium, scheme_of, span, studio_of

from drill.model import Medium, Studio
from drill.stages import FAILURES, Facts, cut_sets, facts, stage_tree
from drill.timeline import Held, Span

IDS = ("reed", "kiln", "heron", "marsh")
PLACES = ("bag", "house", "loft")


@st.composite
def media(draw: st.DrawFn) -> list[Medium]:
    found = []
    for number, id_ in enumerate(IDS):
        place = draw(st.sampled_from(PLACES))
        others = [None, *IDS[:number]]
        found.append(
            medium(
                id_,
                draw(st.sampled_from(("card", "hard-disk", "cloud"))),
                place,
                carried=place == "bag",
                offsite=place == "loft",
                attached=draw(st.booleans()),
                account=draw(st.sampled_from((None, "login"))),
                needs=tuple(draw(st.sets(st.sampled_from([i for i in IDS if i != id_]), max_size=1))),
                mirrors=draw(st.sampled_from(others)),
                keeps_versions_s=draw(st.sampled_from((None, 60.0))),
            )
        )
    return found


@st.composite
def stages(draw: st.DrawFn) -> tuple[Studio, Span]:
    """Draw a studio, and a span in which each copy came through some of the media before it."""
    home = draw(st.sampled_from((None, "house")))
    studio = studio_of(*draw(media()), scheme=scheme_of(home=home, made_on=("reed",)))
    on = draw(st.lists(st.sampled_from(IDS), unique=True, min_size=1).map(lambda ids: sorted(ids, key=IDS.index)))
    copies = []
    for id_ in on:
        through = draw(st.lists(st.sampled_from([*IDS[: IDS.index(id_)], "reed"]), unique=True, max_size=2))
        since = draw(st.integers(0, 5))
        verified = draw(st.none() | st.integers(since, 9))
        copies.append(held(id_, *(i for i in through if i != id_), since=since, verified=verified))
    return studio, span(*copies, away=draw(st.booleans()))


def takes(studio: Studio, stage: Span) -> dict[str, set[str]]:
    _, gates = stage_tree(stage, studio)
    found: dict[str, set[str]] = {}
    for copy in stage.copies:
        for event in gates[f"copy:{copy.medium}"][1]:
            found.setdefault(event, set()).add(copy.medium)
    return found


@given(stages())
def test_cut_sets_are_minimal_and_all_of_them_as_brute_force_finds(drawn: tuple[Studio, Span]) -> None:
    studio, stage = drawn
    by_event = takes(studio, stage)
    everything = {copy.medium for copy in stage.copies}
    minimal: list[frozenset[str]] = []
    for size in range(1, len(everything) + 1):  # a minimal set has no more events than there are copies
        for events in map(frozenset, combinations(sorted(by_event), size)):
            lost = set().union(*(by_event[event] for event in events))
            if lost == everything and not any(smaller < events for smaller in minimal):
                minimal.append(events)
    found = cut_sets(stage, studio)
    assert sum(number for _, number in found.numbers) == len(minimal)
    assert dict(found.numbers) == {
        size: sum(len(events) == size for events in minimal) for size in {len(events) for events in minimal}
    }
    assert {frozenset(events) for events in found.sets} <= set(minimal)
    assert len(found.sets) == min(100, len(minimal))
    assert list(found.sets) == sorted(found.sets, key=lambda events: (len(events), events))


@given(stages())
def test_another_copy_never_makes_a_cut_set_smaller_nor_a_count(drawn: tuple[Studio, Span]) -> None:
    studio, stage = drawn
    for left_out in stage.copies:
        fewer = Span(stage.begins, stage.ends, stage.away, tuple(c for c in stage.copies if c is not left_out))
        for kinds in (None, FAILURES):
            less = cut_sets(fewer, studio, kinds=kinds)
            assert less.survivable <= cut_sets(stage, studio, kinds=kinds).survivable
        before, after = counts(facts(fewer, studio)), counts(facts(stage, studio))
        assert all(less <= more for less, more in zip(before, after, strict=True))


def counts(has: Facts) -> tuple[int, ...]:
    return (has.copies, has.kinds, has.places, has.offsite, has.verified, has.off_card, has.survivable)


@given(stages())
def test_verifying_every_copy_again_leaves_no_bad_source(drawn: tuple[Studio, Span]) -> None:
    studio, stage = drawn
    proven = tuple(held_again(copy) for copy in stage.copies)
    after = Span(stage.begins, stage.ends, stage.away, proven)
    assert not [event for event in takes(studio, after) if event.startswith("bad-source:")]
    assert cut_sets(after, studio).survivable >= cut_sets(stage, studio).survivable


def held_again(copy: Held) -> Held:
    return Held(copy.medium, copy.since, copy.made_from, held("reed", verified=20).verified)


@given(stages())
def test_being_at_home_is_never_better_than_being_away(drawn: tuple[Studio, Span]) -> None:
    studio, stage = drawn
    away, home = (Span(stage.begins, stage.ends, is_away, stage.copies) for is_away in (True, False))
    assert cut_sets(home, studio).survivable <= cut_sets(away, studio).survivable
    assert facts(home, studio).places <= facts(away, studio).places + 1


@given(stages())
def test_each_event_takes_what_the_simulation_says(drawn: tuple[Studio, Span]) -> None:
    studio, stage = drawn
    places = [f"place:{place}" for place in (*PLACES, "house")]
    others = [f"{kind}:{id_}" for kind in ("medium", "deleted", "rot") for id_ in IDS]
    able = [e for e in others if not e.startswith("deleted:") or studio.media[e.partition(":")[2]].attached]
    on = {copy.medium for copy in stage.copies}
    expected = {e: hit_by(studio, e, away=stage.away)[0] & on for e in (*places, *able, "account:login", "attack")}
    found = {event: taken for event, taken in takes(studio, stage).items() if not event.startswith("bad-source:")}
    assert found == {event: taken for event, taken in expected.items() if taken}
