"""Law: the shortest story that loses the edits of a step is the shortest there is.

Held against brute force by the second engine of the forecast, over random schemes in which somebody edits: the same as
`test_law_shortest_story.py` does for the shoot.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from brute import Tale, fewest, mishaps_there_are, points_of, world_of
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from simulation.days import Days, days_of
from simulation.edits import planned_edits
from simulation.statuses import at_first

from drill.model import Studio
from drill.search.exhaustive import search
from drill.search.legs import Course, Stretch, Turn, course_of, first_leg_from
from drill.search.mishaps import KINDS
from drill.testing.draft import DAYS, NAMES, Draft, Table
from drill.testing.strategies import come_again_once, schemes
from drill.timeline import life

EDITED, NIGHTLY = date(2026, 7, 4), datetime(2026, 7, 4, 18, 1, tzinfo=UTC)
SHOOT_DAYS = st.sampled_from(DAYS)
SPANS = st.sampled_from(["0 h", "36 min", "2 h", "1 day", "30 h", "3 days"])
WHEN = st.sampled_from(["0 h", "1 day", "2 days", "3 days"])
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
    place = draw(st.integers(0, len(by_id)))
    reached = [*draft.scheme["made_on"], *(step["to"] for step in by_id if step["do"] in ("copy", "move"))]
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


@st.composite
def schemes_of_an_editor(draw: st.DrawFn) -> Draft:
    """Draw a scheme as people who edit have it: taken over, edited, and what there is copied on, checked and erased.

    Of schemes that are drawn at random few bring edits anywhere. Much of it comes at whole days after the shoot, or
    every day at that time, so that what is due just then is drawn too.
    """
    draft = Draft()
    media = NAMES[: draw(st.integers(2, 4))]
    for number, name in enumerate(media):
        draft.media.append({"id": name, "kind": "ssd", "place": "house", "attached": draw(st.booleans())})
        mirrored = draw(st.sampled_from([None, None, *media[:number]]))
        if mirrored:
            draft.media[-1] |= {"mirrors": mirrored} | draw(st.sampled_from([{}, {"keeps_versions": "30 days"}]))
    draft.media = list(draw(st.permutations(draft.media)))
    replaced = draw(st.sampled_from(["3 days", "5 days"]))
    draft.scheme = {"made_on": [media[0]], "zone": "UTC", "replaced_within": replaced}
    edit: Table = {"id": EDIT, "do": "edit", "to": draw(st.sampled_from(media[:2])), "after": draw(WHEN)}
    if draw(st.booleans()):
        edit["follows"] = draw(st.sampled_from(["import", "nightly"]))
    steps: list[Table] = [{"id": "import", "do": "copy", "from": media[0], "to": media[1], "takes": "0 h"}, edit]
    steps.append({"id": "nightly", "do": "verify", "to": media[0], "every": "day", "at": "18:00", "takes": "0 h"})
    reached = [edit["to"]]
    for number in range(draw(st.integers(1, 4))):
        steps.append(draw(onward_tables(media, reached, f"step-{number}")))
        reached += [steps[-1]["to"]] if steps[-1]["do"] in ("copy", "move") else []
    draft.steps = list(draw(st.permutations(steps)))
    return draft


@st.composite
def onward_tables(draw: st.DrawFn, media: Sequence[str], reached: Sequence[str], name: str) -> Table:
    """Draw a step that may come after the edits, or too early for them, mostly where they are by then."""
    do = draw(st.sampled_from(["copy", "copy", "copy", "copy", "move", "verify", "verify", "erase"]))
    here = draw(st.sampled_from(reached if draw(st.integers(0, 4)) else media))
    other = draw(st.sampled_from([id_ for id_ in media if id_ != here]))
    table: Table = {"id": name, "do": do, "takes": draw(st.sampled_from(["0 h", "0 h", "1 day"]))}
    table |= {"to": here} if do == "verify" else {"from": here}
    table |= {"to": other} if do in ("copy", "move") else {}
    table |= draw(
        st.one_of(
            st.fixed_dictionaries({"after": WHEN}),
            st.fixed_dictionaries({"after": WHEN, "again": st.just("1 day")}),
            st.just({"every": "day", "at": "18:00"}),
            st.fixed_dictionaries({"follows": st.sampled_from(["import", "nightly", EDIT]), "after": WHEN}),
        )
    )
    others = [id_ for id_ in media if do == "verify" or id_ != (here if do == "erase" else other)]
    waits = draw(st.sampled_from([False, False, True]))
    return table | ({"only_once_on": [draw(st.sampled_from(others))]} if waits else {})


def in_few_steps(*steps: Table, keeps_versions: bool = False) -> Draft:
    """Return a scheme that is made on kiln and copied to reed at once, with these steps; `keeps_versions`: reed mirrors
    kiln, and keeps versions."""
    kiln, reed, heron, marsh = ({"id": id_, "kind": "ssd", "place": "house", "attached": False} for id_ in NAMES)
    reed |= {"mirrors": "kiln", "keeps_versions": "30 days"} if keeps_versions else {}
    first = {"id": "import", "do": "copy", "from": "kiln", "to": "reed", "takes": "0 h"}
    ids = (EDIT if step["do"] == "edit" else f"step-{number}" for number, step in enumerate(steps))
    numbered = [{"id": id_, "takes": "0 h"} | step for id_, step in zip(ids, steps, strict=True)]
    scheme: Table = {"made_on": ["kiln"], "zone": "UTC", "replaced_within": "3 days"}
    return Draft([kiln, reed, heron, marsh], [first, *numbered], scheme)


RARELY_DRAWN = (
    in_few_steps(  # edits that rot before they are copied on, and are right on a mirror
        {"do": "edit", "to": "kiln", "after": "1 day"},
        {"do": "copy", "from": "kiln", "to": "heron", "after": "2 days"},
        {"do": "verify", "to": "heron", "after": "3 days"},
        keeps_versions=True,
    ),
    in_few_steps(  # a check that was begun before there were edits
        {"do": "edit", "to": "kiln", "after": "1 day"},
        {"do": "verify", "to": "kiln", "after": "12 h", "takes": "1 day"},
        {"do": "verify", "to": "reed", "after": "24 h", "takes": "1 day"},
        keeps_versions=True,
    ),
    in_few_steps(  # a copy of what should have been erased by then
        {"do": "edit", "to": "kiln", "after": "1 day"},
        {"do": "copy", "from": "kiln", "to": "marsh", "after": "25 h"},
        {"do": "erase", "from": "kiln", "after": "2 days", "only_once_on": ["reed"]},
        {"do": "copy", "from": "kiln", "to": "heron", "after": "3 days"},
    ),
    in_few_steps(  # a move that was first due before there were edits, and a copy that was
        {"do": "copy", "from": "reed", "to": "heron", "after": "2 h"},
        {"do": "edit", "to": "reed", "after": "30 h"},
        {"do": "copy", "from": "kiln", "to": "marsh", "after": "32 h"},
        {"do": "move", "from": "reed", "to": "heron", "after": "29 h", "again": "1 day", "only_once_on": ["marsh"]},
        {"do": "copy", "from": "reed", "to": "marsh", "after": "29 h", "again": "1 day", "only_once_on": ["heron"]},
    ),
    in_few_steps(  # a check of what should have been erased by then
        {"do": "edit", "to": "reed", "after": "1 day"},
        {"do": "copy", "from": "reed", "to": "heron", "after": "25 h"},
        {"do": "erase", "from": "reed", "after": "2 days"},
        {"do": "verify", "to": "reed", "after": "3 days"},
        {"do": "verify", "to": "heron", "after": "4 days"},
    ),
)


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


@share(0.4)
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


@given(schemes_of_an_editor(), st.sampled_from([5, 7]), st.data())
def test_a_story_of_an_editor_is_as_short(draft: Draft, days_long: int, data: st.DataObject) -> None:
    """Of a few mishaps that are drawn by name, as of all of them one is mostly enough."""
    studio = draft.load()
    days = days_of(studio, EDITED, away=False, until=NIGHTLY + timedelta(days=days_long))
    every = sorted({name for _, _, name in mishaps_there_are(studio, days, ("place",))})
    kept = data.draw(st.lists(st.sampled_from(every), min_size=1, max_size=5, unique=True))
    without = ("place", *(name for name in every if name not in kept))
    options = len(mishaps_there_are(studio, days, without))
    most = 3 if options < MOST_OPTIONS // 4 else 2 if options < MOST_OPTIONS else 1
    by_hand = fewest(studio, days, most=most, without=without, edit=EDIT)
    event(f"{by_hand} of {most}")
    assert shortest(course(studio, days, EDITED, away=False, without=without), most) == by_hand


@given(
    schemes_of_an_editor() | schemes_with_edits() | st.sampled_from(RARELY_DRAWN), SHOOT_DAYS, st.booleans(), st.data()
)
def test_the_same_story_leaves_the_same(draft: Draft, day: date, away: bool, data: st.DataObject) -> None:
    """Told with the same mishaps the edits are lost at the same moment, and so they are when all other media than one
    fail then: by that each moment tells which media have them right."""
    studio = draft.load()
    days = days_for(studio, day, 1, away=away)
    found = course(studio, days, day, away=away)
    assume(len(found.legs) < 300)
    mishaps = sorted({name for _, _, name in mishaps_there_are(studio, days, ("forget",))})
    often = [name for name in mishaps if name.startswith(("rot:", "early:", "medium:"))]
    stretches = [number for number, leg in enumerate(found.legs) if isinstance(leg, Stretch)]
    turns = [number for number, leg in enumerate(found.legs) if isinstance(leg, Turn) and leg.step and leg.forgotten]
    forgotten = data.draw(st.lists(st.sampled_from(turns), max_size=4) if turns else st.just([]), label="forgotten")
    name_drawn = st.sampled_from(often) | st.sampled_from(mishaps)
    befallen = data.draw(st.lists(st.tuples(st.sampled_from(stretches), name_drawn), max_size=4), label="befallen")
    tale, state = Tale(world_of(studio, days, EDIT), at_first(studio)), found.first
    left_out = set[tuple[datetime, str]]()
    for number, leg in enumerate(found.legs):
        if isinstance(leg, Turn):
            if number in forgotten and leg.step:
                left_out.add((leg.at, leg.step.id))
            else:
                state = leg.change[state]
            continue
        tale.go_on(leg.begins, left_out)
        assert tale.is_over == (not state)
        for name in (name for place, name in befallen if place == number):
            state = after(leg, state, name)
            tale.befall(name, away=days.is_away(leg.begins))
        assert not disagreed(leg, state, tale, away=days.is_away(leg.begins))


def disagreed(leg: Stretch, state: int, tale: Tale, *, away: bool) -> list[str]:
    """Return the media of which one says that they alone keep the edits from being lost, and the other does not."""
    found = []
    for alone in tale.world.studio.media:
        more, now = replace(tale), state
        for id_ in tale.world.studio.media:
            if id_ != alone:
                now = after(leg, now, f"medium:{id_}")
                more.befall(f"medium:{id_}", away=away)
        found += [alone] if more.is_over != (not now) else []
    return found


def after(leg: Stretch, state: int, name: str) -> int:
    return next((after for after, other in leg.hits.named(state) if other == name), state) if state else 0
