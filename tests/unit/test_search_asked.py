"""What is asked of a search and told of it: times, how much of a year, what differs at home, what leaves nothing."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from planned import DAY, HOUR, copy
from planned import studio as plain
from schemes import medium, step
from schemes import studio as scheme_of

from drill.errors import Mistakes
from drill.model import Rhythm, Step, Studio
from drill.report.search_text import search_text
from drill.search import Options, search_scheme
from drill.search.corpus import KeptStory
from drill.searchrecord import Life, Search

NOW = datetime(2026, 9, 11, 12, tzinfo=UTC)
FORMAT = Step(id="format", do="erase", source="card", after_s=DAY, takes_s=0.0)
ALL_BUT_MEDIA = ("place", "account", "deleted", "rot", "attack", "forget", "early")


def search(studio: Studio, **more: object) -> Search:
    asked = Options(NOW, NOW, date(2026, 9, 12), (False,), 3, 1, 0.0, (), 7, None)
    return search_scheme(studio, replace(asked, **more)).record  # type: ignore[arg-type]


def life_of(studio: Studio, **more: object) -> Life:
    return search(studio, **more).lives[0]


def told(found: Search) -> str:
    return search_text(found, width=1000)


def card_and_tablet() -> Studio:
    return plain(copy("import", "card", "tablet", after_s=HOUR), FORMAT)


def slow_upload() -> Studio:
    """At eight in the evening, for an hour and six minutes; the card is erased the next day."""
    evening = Rhythm("day", (), 20 * HOUR)
    upload = Step(id="upload", do="copy", source="card", target="cloud", rhythm=evening, takes_s=66 * 60.0)
    return plain(upload, replace(FORMAT, after_s=5 * HOUR))


def on_and_off() -> Studio:
    """The loss of the tablet is enough, but for the days on which card or kiln has it too; it is replaced each day."""
    tablet_only = Step(id="clear", do="erase", source="kiln", after_s=20 * DAY, takes_s=0.0)
    both = copy("to-kiln", "tablet", "kiln", after_s=5 * DAY)
    return plain(copy("import", "card", "tablet", after_s=HOUR), FORMAT, both, tablet_only, replaced_within_s=DAY)


def test_what_is_forgotten_is_told_when_it_was_due_and_by_when_it_would_have_been_done() -> None:
    [story] = life_of(slow_upload(), without=("medium", "place", "rot", "early", "deleted")).levels[0].stories
    first, forgotten, erased = story.happenings
    assert (forgotten.local, forgotten.at) == ("Sat 12 Sep 2026 20:00", "2026-09-12T19:00:00Z")
    assert forgotten.words == "upload forgotten, or it did not come through by 21:06"
    assert [one.at for one in (first, forgotten, erased)] == sorted(one.at for one in story.happenings)
    assert story.earliest == story.latest == forgotten.local


def test_a_step_under_way_when_mishaps_may_begin_is_told_from_then_on() -> None:
    after = 11.5 * HOUR  # half past eight
    [story] = (
        life_of(slow_upload(), without=("medium", "place", "rot", "early", "deleted"), after_s=after).levels[0].stories
    )
    assert [(one.local, one.what) for one in story.happenings if not one.by_plan] == [
        ("Sat 12 Sep 2026 20:30", "forget:upload")
    ]
    assert story.earliest == "Sat 12 Sep 2026 20:30"


@pytest.mark.parametrize(
    ("asked", "option"),
    [
        ({"after_s": 2 * 365 * DAY}, "--after"),
        ({"after_s": 400 * DAY, "years": 1}, "--after"),
        ({"without": ("medium", *ALL_BUT_MEDIA)}, "--without"),
        ({"without": ("medium", *ALL_BUT_MEDIA), "after_s": HOUR}, "--without"),
        ({"without": ("medium", "place", "rot", "early"), "after_s": 30 * DAY}, "--after"),
    ],
)
def test_nothing_to_try_is_a_mistake(asked: dict[str, object], option: str) -> None:
    with pytest.raises(Mistakes, match="no mishap is left that may come") as raised:
        search(card_and_tablet(), **asked)
    assert [mistake.where for mistake in raised.value.mistakes] == [option]
    if option == "--after" and asked["after_s"] != 30 * DAY:
        assert "or more --years" in raised.value.mistakes[0].advice
        assert search(card_and_tablet(), **asked | {"years": 3}).shortest is not None


def test_one_mishap_all_year_is_said() -> None:
    found = search(card_and_tablet())
    assert found.lives[0].levels[-1].always
    said = told(found)
    assert (
        "There is no time until 2027-09-12 from which on it takes more: one mishap can be enough at any moment from"
        in said
    )


def test_one_mishap_on_and_off_is_said_with_how_long() -> None:
    """Not from the import at 19:00 to 09:00, when what was lost until then is replaced, nor from 18:00 on the fifth day
    to 09:00 on the twentieth."""
    found = search(on_and_off(), without=ALL_BUT_MEDIA)
    [level, *_] = found.lives[0].levels
    year = datetime.fromisoformat(level.ends) - datetime.fromisoformat(level.begins)
    assert not level.always
    assert level.open_s == year.total_seconds() - 14 * HOUR - (15 * DAY - 9 * HOUR)
    assert "one mishap can be enough for 350 days in all, the last time until Sun 12 Sep 2027 09:00" in told(found)


def test_what_may_only_be_forgotten_is_said_so() -> None:
    only_forgetting = ("medium", "place", "rot", "early", "deleted")
    daily = Step(id="copy-daily", do="copy", source="card", target="tablet", rhythm=Rhythm("day", (), 0.0), takes_s=0.0)
    last = Step(id="format", do="erase", source="card", rhythm=Rhythm("year", (912,), 8 * HOUR), takes_s=0.0)
    studio = plain(daily, replace(last, only_once_on=()))
    found = search(studio, without=only_forgetting, depth=1)
    assert found.lives[0].levels == () or found.lives[0].levels[-1].open_s == 0.0


def test_later_it_takes_more_and_nothing_is_said_of_all_year() -> None:
    found = search(plain(copy("import", "card", "tablet", after_s=HOUR)), without=("rot", "place"), depth=1)
    assert found.lives[0].clear_from_local == "Sat 12 Sep 2026 19:00"
    assert "There is no time" not in told(found)


def test_a_story_beyond_what_was_tried_is_proved_where_all_shorter_ones_were() -> None:
    two = KeptStory(False, (("medium:card", 12 * HOUR), ("medium:tablet", 13 * HOUR)))
    studio = plain(copy("import", "card", "tablet", after_s=HOUR))
    asked = {"without": ("rot", "place"), "after_s": 11 * HOUR, "kept": (two,)}
    assert "two mishaps can lose it, and no fewer (proved shortest" in told(search(studio, depth=1, **asked))
    three = KeptStory(False, (*two.mishaps, ("medium:kiln", 14 * HOUR)))
    wide = plain(copy("import", "card", "tablet", after_s=HOUR), copy("more", "card", "kiln", after_s=HOUR))
    said = told(search(wide, depth=1, **asked | {"kept": (three,)}))
    assert (
        "3 mishaps" not in said and "three mishaps can lose it (shortest found, which is no proof; fewer than 2" in said
    )


def test_the_times_told_are_examples_of_a_range() -> None:
    said = told(search(plain(copy("import", "card", "tablet", after_s=HOUR)), without=("rot", "place"), depth=1))
    as_early = "may come as early as Sat 12 Sep 2026 09:00, and as late as Sat 12 Sep 2026 19:00"
    assert f"The time of the mishap is an example: it {as_early}" in said


def bag_and_house(*more: Step) -> Studio:
    media = [medium("card", "card", place="bag", carried=True), medium("tablet", place="bag", carried=True)]
    media += [medium("kiln"), medium("heron", place="barn")]
    steps = [step("import", "copy", "card", "tablet", after_s=HOUR), *more]
    return scheme_of(media, steps, ["card"])


def test_at_home_only_what_differs_from_away_is_told() -> None:
    found = search(bag_and_house(), away=(True, False), depth=1, without=("rot", "medium"))
    said = told(found)
    assert (
        "A shoot made at home on 2026-09-12: one mishap can lose it, and no fewer (proved shortest). It is the same"
        in said
    )
    assert "but for what follows; --home tells it with its own times.\n- from Sat 12 Sep 2026 09:00 on: Sat 12" in said
    assert said.count("first picture, on card") == 1
    assert said.count("Tried: every story") == 2
    alone = told(search(bag_and_house(), away=(False,), depth=1, without=("rot", "medium")))
    assert alone.count("first picture, on card") == 1 and "It is the same" not in alone


def test_where_much_differs_at_home_it_is_told_in_full() -> None:
    archive = step("archive", "copy", "tablet", "heron", after_s=2 * HOUR, only_when="home")
    found = search(bag_and_house(archive), away=(True, False), depth=2, without=("rot",))
    assert [len(life.levels) for life in found.lives] == [2, 2]
    assert told(found).count("first picture, on card") == 2 and "It is the same" in told(found)
    longer = replace(found, lives=(found.lives[0], replace(found.lives[1], levels=found.lives[1].levels[:1])))
    assert told(longer).count("first picture, on card") == 3
    assert "It is the same" not in told(longer)


def test_more_stories_than_are_told_are_counted_with_where_they_are() -> None:
    media = (medium("card", "card"), medium("tablet", "tablet", attached=True))
    found = search(plain(copy("import", "card", "tablet", after_s=HOUR), FORMAT, media=media), depth=1)
    level = found.lives[0].levels[0]
    assert 7 < level.different == len(level.stories) <= 12
    assert f"… and {level.different - 7} more that differ in their mishaps (--json FILE has them)" in told(found)
    many = replace(level, different=30)
    said = told(replace(found, lives=(replace(found.lives[0], levels=(many,)),)))
    assert f"… and 23 more that differ in their mishaps (--json FILE has the {len(level.stories)} likeliest)" in said


def test_what_is_taken_for_a_usual_shoot_is_told() -> None:
    assert "Reckoned with: A shoot is taken to be of 60 GB in 1,000 files." in told(search(card_and_tablet(), depth=1))
    studio = card_and_tablet()
    assert studio.scheme
    unknown = replace(studio, scheme=replace(studio.scheme, size=None))
    copying = replace(unknown.scheme.steps[0], takes_s=None) if unknown.scheme else None
    assert unknown.scheme and copying
    unknown = replace(unknown, scheme=replace(unknown.scheme, steps=(copying, FORMAT)))
    said = told(search(unknown, depth=1))
    assert "of 40 GB (a round figure: nothing says how big yours are; add size to [scheme]) in 1,000 files" in said
    assert "a step lasts as long as its slower medium needs: import" in said and "card 80 MB/s" in said


def test_kept_stories_are_counted_in_plain_words(tmp_path: Path) -> None:
    lost, alive = KeptStory(False, (("medium:card", HOUR),)), KeptStory(False, (("medium:kiln", HOUR),))
    found = search(card_and_tablet(), depth=1, kept=(lost, alive))
    assert "kept from earlier runs 1 still loses it, 1 does not lose it any more." in told(found)
    assert "kept from earlier runs 1 does not lose it any more." in told(
        search(card_and_tablet(), depth=1, kept=(alive,))
    )
    assert "earlier runs" not in told(search(card_and_tablet(), depth=1))
