"""Law: the shortest story that loses the edits of a step is the shortest there is.

Held against brute force by the second engine of the forecast, over random schemes in which somebody edits: the same as
`test_law_shortest_story.py` does for the shoot.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from brute import fewest, mishaps_there_are, points_of
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from simulation.days import Days, days_of
from simulation.edits import planned_edits

from drill.model import Studio
from drill.search.exhaustive import search
from drill.search.legs import Course, course_of, first_leg_from
from drill.search.mishaps import KINDS
from drill.testing.draft import DAYS, Draft, Table
from drill.testing.strategies import come_again_once, schemes
from drill.timeline import life

SHOOT_DAYS = st.sampled_from(DAYS)
SPANS = st.sampled_from(["0 h", "36 min", "2 h", "1 day", "30 h", "3 days"])
EDIT = "edit-0"
FEW_KINDS = ("medium", "medium forget", "rot", "rot forget", "deleted early", "early forget", "place", "account attack")
MOST_OPTIONS = 120


def share(of_all: float) -> settings:
    """Return settings for a share of the examples that the profile asks for."""
    return settings(max_examples=max(1, round(settings.default.max_examples * of_all)))


@st.composite
def schemes_with_edits(draw: st.DrawFn) -> Draft:
    """Draw a scheme with a step `edit-0` somewhere among the others, which may follow one and be followed."""
    draft = draw(schemes(most_steps=4))
    order = [step["id"] for step in draft.steps]
    by_id = sorted(draft.steps, key=lambda step: str(step["id"]))
    reached = list(draft.scheme["made_on"])
    for step in by_id:
        if step["do"] in ("copy", "move"):
            if draw(st.integers(0, 2)):  # else most of them have nothing to copy
                step["from"] = draw(st.sampled_from(reached))
            assume(step["from"] != step["to"])
            reached.append(step["to"])
    place = draw(st.integers(0, len(by_id)))
    edit = draw(edit_tables(reached, [step["id"] for step in by_id[:place]]))
    for step in by_id[place:]:
        if draw(st.sampled_from([False, False, True])):
            step["follows"] = EDIT
    by_id.insert(place, edit)
    come_again_once(by_id)
    order.insert(draw(st.integers(0, len(order))), EDIT)
    draft.steps = sorted(by_id, key=lambda step: order.index(step["id"]))
    return draft


@st.composite
def edit_tables(draw: st.DrawFn, media: Sequence[str], earlier: Sequence[str]) -> Table:
    """Draw the step that edits on one of these media, and may follow an earlier one."""
    table: Table = {"id": EDIT, "do": "edit", "to": draw(st.sampled_from(media))}
    if draw(st.booleans()):
        table["after"] = draw(SPANS)
    if earlier and draw(st.booleans()):
        table["follows"] = draw(st.sampled_from(earlier))
    only_when = draw(st.sampled_from([None, None, None, "home", "away"]))
    if only_when:
        table["only_when"] = only_when
    if draw(st.integers(0, 2)) == 0:
        table["takes"] = draw(st.sampled_from(["45 min", "1 day"]))
    return table


def course(studio: Studio, days: Days, day: date, *, away: bool, without: tuple[str, ...] = ()) -> Course:
    assert studio.scheme
    [edit] = [step for step in studio.scheme.steps if step.id == EDIT]
    return course_of(life(studio, day, away=away, until=days.until), studio, studio.scheme, without, edit=edit)


def days_for(studio: Studio, day: date, weeks: int, *, away: bool) -> Days:
    until = datetime(day.year, day.month, day.day, 23, 58, 57, tzinfo=UTC) + timedelta(weeks=weeks)
    return days_of(studio, day, away=away, until=until)


def shortest(found: Course, depth: int, start: int = 0) -> int | None:
    levels = search(found.legs, found.first, depth=depth, start=start).levels
    return levels[0].mishaps if levels else None


@given(schemes_with_edits(), SHOOT_DAYS, st.booleans(), st.sampled_from([1, 2, 4]))
def test_no_story_is_shorter(draft: Draft, day: date, away: bool, weeks: int) -> None:
    studio = draft.load()
    days = days_for(studio, day, weeks, away=away)
    options = len(mishaps_there_are(studio, days, ()))
    assume(options * len(days.acts) < 20_000)
    most = 2 if options < MOST_OPTIONS else 1
    by_hand = fewest(studio, days, most=most, edit=EDIT)
    event(f"{by_hand} of {most}")
    assert shortest(course(studio, days, day, away=away), most) == by_hand


@given(schemes_with_edits(), SHOOT_DAYS, st.booleans(), st.sampled_from(FEW_KINDS), st.sampled_from([1, 2, 4]))
def test_with_mishaps_of_few_kinds(draft: Draft, day: date, away: bool, kinds: str, weeks: int) -> None:
    """Of all of them one is enough in nearly every scheme that is drawn; and in many nobody comes to edit."""
    studio = draft.load()
    days = days_for(studio, day, weeks, away=away)
    most_copies = max((len(plan.there) for plan in planned_edits(studio, days, EDIT)), default=0)
    assume(most_copies)
    without = tuple(kind for kind in KINDS if kind not in kinds.split())
    options = len(mishaps_there_are(studio, days, without))
    assume(options * len(days.acts) < 20_000)
    most = 3 if options < MOST_OPTIONS // 4 else 2 if options < MOST_OPTIONS else 1
    by_hand = fewest(studio, days, most=most, without=without, edit=EDIT)
    event(f"{by_hand} of {most}, on {most_copies}")
    assert shortest(course(studio, days, day, away=away, without=without), most) == by_hand


@share(0.6)
@given(schemes_with_edits(), SHOOT_DAYS, st.booleans(), st.data())
def test_from_a_moment_on_no_story_is_shorter(draft: Draft, day: date, away: bool, data: st.DataObject) -> None:
    studio = draft.load()
    days = days_for(studio, day, 1, away=away)
    since = data.draw(st.sampled_from(points_of(days)))
    options = len(mishaps_there_are(studio, days, (), since=since))
    assume(options < MOST_OPTIONS and len(days.acts) < 60)
    found = course(studio, days, day, away=away)
    by_hand = fewest(studio, days, most=2, since=since, edit=EDIT)
    event(f"{by_hand}")
    assert shortest(found, 2, first_leg_from(found, since)) == by_hand


@share(0.6)
@given(schemes_with_edits(), SHOOT_DAYS, st.booleans())
def test_a_step_that_edits_does_nothing_to_the_shoot(draft: Draft, day: date, away: bool) -> None:
    """The shortest story that loses the shoot is as long as by hand where a step edits, and others follow that one."""
    studio = draft.load()
    days = days_for(studio, day, 1, away=away)
    assume(len(mishaps_there_are(studio, days, ())) < MOST_OPTIONS and len(days.acts) < 60)
    assert studio.scheme
    found = course_of(life(studio, day, away=away, until=days.until), studio, studio.scheme, ())
    assert shortest(found, 2) == fewest(studio, days, most=2)
