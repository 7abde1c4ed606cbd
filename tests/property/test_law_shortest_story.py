"""Law: the shortest story that is told is the shortest there is.

Held against brute force by the second engine of the forecast, over random schemes; against the forecast's smallest cut
sets; and scenes, with real bytes, against the states of the exhaustive search.
"""

from datetime import UTC, date, datetime, timedelta

from brute import fewest, mishaps_there_are, points_of
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from simulation.days import days_of

from drill.edits import held_by_plan
from drill.model import Step, Studio
from drill.search.exhaustive import Searched, search
from drill.search.legs import Course, Stretch, course_of, first_leg_from, is_away
from drill.search.mishaps import KINDS, all_mishaps, edits_asked, forget_name
from drill.search.play import Play, Ways
from drill.search.scenes import Scenes
from drill.stages import cut_sets, ground
from drill.testing.draft import DAYS, Draft
from drill.testing.strategies import schemes
from drill.timeline import life, spans

SHOOT_DAYS = st.sampled_from(DAYS)
LETTERS = {"G": "right", "R": "wrong", "F": "failed", "N": "not there"}
NOT_IN_A_STAGE = ("forget", "early")
KINDS_LEFT_OUT = st.sampled_from(["medium", "place", "account", "deleted", "rot", "attack", "early", "forget"])


def share(of_all: float) -> settings:
    """Return settings for a share of the examples that the profile asks for."""
    return settings(max_examples=max(1, round(settings.default.max_examples * of_all)))


def course(
    studio: Studio, day: date, until: datetime, *, away: bool, without: tuple[str, ...] = (), edit: Step | None = None
) -> Course:
    assert studio.scheme
    return course_of(life(studio, day, away=away, until=until), studio, studio.scheme, without, edit=edit)


def weeks_after(day: date, weeks: int) -> datetime:
    return datetime(day.year, day.month, day.day, 23, 58, 57, tzinfo=UTC) + timedelta(weeks=weeks)


def searched(found: Course, depth: int) -> Searched:
    return search(found.legs, found.first, depth=depth)


def shortest(found: Course, depth: int) -> int | None:
    levels = searched(found, depth).levels
    return levels[0].mishaps if levels else None


@share(0.6)
@given(schemes(most_steps=4), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 2, 4]))
def test_no_story_is_shorter(draft: Draft, day: date, away: bool, weeks: int) -> None:
    studio = draft.load()
    days = days_of(studio, day, away=away, until=weeks_after(day, weeks))
    options = len(mishaps_there_are(studio, days, ()))
    assume(options * len(days.acts) < 20_000)
    most = 2 if options < 120 else 1
    by_hand = fewest(studio, days, most=most)
    event(f"{by_hand} of {most}")
    assert shortest(course(studio, day, days.until, away=away), most) == by_hand


@share(0.6)
@given(schemes(most_steps=4), SHOOT_DAYS, st.booleans(), st.lists(KINDS_LEFT_OUT, min_size=1, max_size=5, unique=True))
def test_what_is_left_out_is_left_out(draft: Draft, day: date, away: bool, kinds: list[str]) -> None:
    studio = draft.load()
    days = days_of(studio, day, away=away, until=weeks_after(day, 1))
    without = tuple(kinds)
    options = len(mishaps_there_are(studio, days, without))
    assume(options < 120 and len(days.acts) < 60)
    found = course(studio, day, days.until, away=away, without=without)
    by_hand = fewest(studio, days, most=2, without=without)
    event(f"{by_hand}")
    assert shortest(found, 2) == by_hand


@share(0.6)
@given(schemes(most_steps=4), SHOOT_DAYS, st.booleans(), st.data())
def test_from_a_moment_on_no_story_is_shorter(draft: Draft, day: date, away: bool, data: st.DataObject) -> None:
    studio = draft.load()
    days = days_of(studio, day, away=away, until=weeks_after(day, 1))
    since = data.draw(st.sampled_from(points_of(days)))
    options = len(mishaps_there_are(studio, days, (), since=since))
    assume(options < 120 and len(days.acts) < 60)
    found = course(studio, day, days.until, away=away)
    levels = search(found.legs, found.first, depth=2, start=first_leg_from(found, since)).levels
    by_hand = fewest(studio, days, most=2, since=since)
    event(f"{by_hand}")
    assert (levels[0].mishaps if levels else None) == by_hand


@share(0.6)
@given(schemes(), SHOOT_DAYS, st.booleans(), st.sampled_from(["medium", "medium forget", "rot", "deleted early"]))
def test_each_level_begins_and_ends_where_it_does(draft: Draft, day: date, away: bool, kinds: str) -> None:
    """Searched from each leg anew, the least number is that of the level which the leg lies in, and none after them.

    With mishaps of few kinds, as of all of them one is enough to the end in nearly every scheme that is drawn.
    """
    studio = draft.load()
    without = tuple(kind for kind in KINDS if kind not in kinds.split())
    found = course(studio, day, weeks_after(day, 3), away=away, without=without)
    whole = searched(found, 3)
    event(f"levels of {[level.mishaps for level in whole.levels]}")
    assume(not whole.levels or whole.levels[0].mishaps)
    for start in range(len(found.legs)):
        here = [level.mishaps for level in whole.levels if level.start <= start <= level.last]
        levels = search(found.legs, found.first, depth=3, start=start).levels
        assert [level.mishaps for level in levels[:1]] == here


@given(schemes(), SHOOT_DAYS, st.booleans())
def test_no_story_is_longer_than_the_smallest_cut_set(draft: Draft, day: date, away: bool) -> None:
    """What takes a shoot within one stage is a story; a story may come to pass over several stages in fewer."""
    studio = draft.load()
    until = weeks_after(day, 6)
    smallest = smallest_cut(studio, day, until, away=away)
    found = shortest(course(studio, day, until, away=away, without=NOT_IN_A_STAGE), 4)
    assert found is not None
    assert found <= smallest


@share(0.4)
@given(schemes(most_steps=4), SHOOT_DAYS, st.booleans())
def test_a_story_begins_where_it_is_said_that_one_may(draft: Draft, day: date, away: bool) -> None:
    """On each leg of a level a story of so many mishaps begins just where a search from there on finds one."""
    studio = draft.load()
    found = course(studio, day, weeks_after(day, 2), away=away)
    for level in searched(found, 2).levels:
        opening = []
        for number in range(level.start, level.last + 1 if level.mishaps else level.start):
            [first, *_] = search(found.legs, found.first, depth=level.mishaps, start=number).levels
            assert first.mishaps == level.mishaps
            opening += [number] if min(way.earliest for _, way in first.ways) == number else []
        event(f"{level.mishaps}: {'all' if len(opening) == level.last - level.start + 1 else 'some'}")
        assert level.openings == tuple(opening)


@given(schemes(), SHOOT_DAYS)
def test_where_nothing_is_erased_they_are_as_long(draft: Draft, day: date) -> None:
    """Then the copies that the camera wrote have to be taken in every story, and that takes as much in one stage."""
    draft.steps = [step for step in draft.steps if step["do"] in ("copy", "verify")]
    kept = {step["id"] for step in draft.steps}
    draft.steps = [step for step in draft.steps if step.get("follows", step["id"]) in kept]
    assume(draft.steps and all(step.get("follows") in {None, *(s["id"] for s in draft.steps)} for step in draft.steps))
    studio = draft.load()
    until = weeks_after(day, 6)
    found = shortest(course(studio, day, until, away=False, without=NOT_IN_A_STAGE), 4)
    assert found == smallest_cut(studio, day, until, away=False)


def smallest_cut(studio: Studio, day: date, until: datetime, *, away: bool) -> int:
    here = ground(studio)
    return min(cut_sets(span, here).numbers[0][0] for span in spans(life(studio, day, away=away, until=until), studio))


@st.composite
def edited_schemes(draw: st.DrawFn) -> Draft:
    """Draw a scheme that also edits, mostly where the shoot comes to be."""
    draft: Draft = draw(schemes(most_steps=4))
    media = [*draft.scheme["made_on"], *(step["to"] for step in draft.steps if step["do"] in ("copy", "move"))]
    step = {"id": "retouch", "do": "edit", "to": draw(st.sampled_from(media))}
    step |= draw(
        st.sampled_from([{}, {"after": "1 h"}, {"after": "3 days"}, {"after": "20 days"}, {"takes": "2 days"}])
    )
    for other in draw(st.lists(st.sampled_from(draft.steps), max_size=2)):  # some copies come after it
        if "every" not in other and other["do"] != "edit" and "again" not in other:
            other["follows"] = "retouch"
    draft.steps.insert(draw(st.integers(0, len(draft.steps))), step)
    return draft


@given(st.one_of(schemes(), edited_schemes()), SHOOT_DAYS, st.booleans(), st.data())
def test_bytes_and_states_tell_the_same(draft: Draft, day: date, away: bool, data: st.DataObject) -> None:
    studio = draft.load()
    asked = edits_asked(studio, ())
    edit = data.draw(st.sampled_from(asked)) if asked else None
    found = course(studio, day, weeks_after(day, 6), away=away, edit=edit)
    event("shoot" if edit is None else "edits made" if found.edited_at else "edits never made")
    scenes = Scenes(studio, found)
    state, scene = found.first, scenes.first
    for leg in found.legs:
        if isinstance(leg, Stretch):
            befalls = leg.hits.named(state)
            named = {name for _, name in befalls}
            idle = [name for name in all_mishaps(studio) if name not in named and not name.startswith("forget:")]
            for name in data.draw(st.lists(st.sampled_from(idle), max_size=2)) if idle else []:
                assert scenes.befall(scene, name, away=is_away(found, leg)) == scene, name
            for after, name in data.draw(st.lists(st.sampled_from(befalls), max_size=1)) if befalls else []:
                state, scene = after, scenes.befall(scene, name, away=is_away(found, leg))
        elif leg.step is None or data.draw(st.integers(0, 9), label=forget_name(leg.step)) < 9:
            state, scene = leg.change[state], scenes.turn(scene, leg)
        if not state:
            assert scenes.is_lost(scene)
            return
        pictures, edits = found.edited.unpack(state) if found.edited else (state, state)
        assert scenes.of(scene).is_made == (edits is not None)
        if edits is None and not pictures:
            return  # the pictures are lost before anything was edited: there is nothing to ask about
        letters = found.shelf.letters(edits or 0, found.shelf.media)
        failed = found.shelf.letters(pictures, found.shelf.media)
        expected = [
            LETTERS["F" if of_shoot == "F" else letter] for letter, of_shoot in zip(letters, failed, strict=True)
        ]
        assert list(scenes.left(scene).values()) == expected


@given(edited_schemes(), SHOOT_DAYS, st.booleans())
def test_where_nothing_goes_wrong_edits_are_where_the_plan_has_them(draft: Draft, day: date, away: bool) -> None:
    """The states of the search against the plan, which the forecast tells of: at each turn, and from span to span."""
    studio = draft.load()
    edit = next(step for step in edits_asked(studio, ()) if step.id == "retouch")
    found = course(studio, day, weeks_after(day, 9), away=away, edit=edit)
    assert found.edited is not None
    spans_ = held_by_plan(found.life, studio, edit)
    state, told = found.first, []
    for leg in found.legs:
        edits = found.edited.unpack(state)[1] if state else 0
        if isinstance(leg, Stretch):
            is_home = not found.life.away or leg.begins >= found.life.home_at
            told += [] if edits is None else [(leg.begins, leg.ends, not is_home, edits)]
            continue
        assert leg.edits_planned == (edits or 0)
        state = leg.change[state]
    event(f"on up to {max((len(span.media) for span in spans_), default=0)}")
    assert bool(spans_) == (found.edited_at is not None)
    for begins, ends, is_away_then, edits in told:
        [span] = [span for span in spans_ if span.begins <= begins and ends <= span.ends]
        assert (span.away, found.shelf.bits(span.media)) == (is_away_then, edits)


@given(schemes(), SHOOT_DAYS, st.booleans(), st.data())
def test_a_play_that_loses_is_no_shorter_than_the_shortest(
    draft: Draft, day: date, away: bool, data: st.DataObject
) -> None:
    """However a story is played, passing over moments at which nothing changes, it has as many mishaps at least."""
    studio = draft.load()
    found = course(studio, day, weeks_after(day, 6), away=away)
    ways = Ways(found, Scenes(studio, found), 0)
    names = sorted({name for leg in found.legs if isinstance(leg, Stretch) for _, name in leg.hits.named(found.first)})
    names += [f"forget:{step.id}" for step in (studio.scheme.steps if studio.scheme else ())]
    play = Play(ways)
    for moments, name in data.draw(st.lists(st.tuples(st.integers(0, 5), st.sampled_from(names)), max_size=3)):
        play.go_on(moments)
        play.befall(name)
    scene, mishaps = play.end()
    least = shortest(found, 3)
    assert not ways.scenes.is_lost(scene) or (least is not None and least <= len(mishaps))
