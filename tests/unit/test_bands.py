"""Every scenario at every moment of a shoot's life: held or lost, what is left, when it is not about the shoot."""

from dataclasses import replace
from pathlib import Path

from staged import ARCHIVE, CARD, CLOUD, DAY_S, DRIVE, HOUR_S, TABLET, at, held, medium, scheme_of, span, studio_of

from drill.bands import HELD, LOST, NOT_ABOUT, Band, scenario_bands
from drill.model import Copy, Hazard, Scenario, Selector, Studio
from drill.scenario import load_scenarios
from drill.timeline import Span

FIELD = studio_of(CARD, TABLET, DRIVE, ARCHIVE, CLOUD)
LIFE = (
    span(held("card"), begins=0, ends=10),
    span(held("card"), held("tablet", "card", since=10), begins=10, ends=12),
    span(held("card"), held("tablet", "card", since=10), held("cloud", since=12), begins=12, ends=100),
)


def scenario(effect: str = "gone", *, each: str | None = None, **more: object) -> Scenario:
    hits = {key: more.pop(key) for key in list(more) if key in Selector.__slots__}
    return Scenario("s", "t", "s", (Hazard(effect=effect, hits=Selector(**hits), each=each, **more),))  # type: ignore[arg-type]


def only(what: Scenario, studio: Studio = FIELD, life: tuple[Span, ...] = LIFE) -> Band:
    (band,) = scenario_bands(life, studio, [what])
    return band


def told(band: Band) -> list[tuple[str, tuple[str, ...]]]:
    return [(stretch.outcome, stretch.left) for stretch in band.stretches]


def shipped(name: str, studio: Studio, life: tuple[Span, ...]) -> dict[str | None, list[tuple[str, tuple[str, ...]]]]:
    return {band.variant: told(band) for band in scenario_bands(life, studio, load_scenarios([name]))}


def test_what_is_gone_is_not_left() -> None:
    band = only(scenario(place=("bag",)))
    assert told(band) == [(LOST, ()), (HELD, ("cloud",))]
    assert [(stretch.begins, stretch.ends) for stretch in band.stretches] == [(at(0), at(12)), (at(12), at(100))]


def test_each_id_hit_in_any_span_has_a_band() -> None:
    bands = scenario_bands(LIFE, FIELD, [scenario("altered", each="copy", count=3)])
    assert [band.variant for band in bands] == ["card", "tablet", "cloud"]
    assert told(bands[1])[:2] == [(NOT_ABOUT, ()), (HELD, ("card",))]


def test_a_scenario_that_hits_nothing_in_a_span_is_not_about_it() -> None:
    assert told(only(scenario(form=("archive",)))) == [(NOT_ABOUT, ())]
    assert told(only(scenario(kind=("tape",)))) == [(NOT_ABOUT, ())]


def test_any_damage_makes_a_copy_count_for_nothing_even_of_some_files() -> None:
    for effect, more in (
        ("altered", {"count": 1}),
        ("unreadable", {"count": 1}),
        ("truncated", {"keep": 0.7}),
        ("encrypted", {"files": ("*.xmp",)}),
        ("deleted", {"files": ("*.xmp",)}),
        ("expired", {}),
        ("refused", {}),
    ):
        assert told(only(scenario(effect, medium=("card",), **more)))[0] == (LOST, ()), effect


def test_what_is_slow_is_still_there() -> None:
    assert told(only(scenario("slow", factor=0.1)))[0] == (HELD, ("card",))


def test_stale_leaves_what_was_copied_before() -> None:
    band = only(scenario("stale", kind=("tablet", "cloud"), before=at(11)))
    assert told(band) == [(HELD, ("card",)), (HELD, ("card", "tablet"))]
    assert told(only(scenario("stale", kind=("tablet",), before=at(10))))[-1] == (HELD, ("card", "cloud"))
    again = (span(held("tablet", since=1), ends=5), span(held("tablet", since=6), begins=6, ends=9))
    assert told(only(scenario("stale", before=at(3)), life=again)) == [(HELD, ("tablet",)), (LOST, ())]


def test_a_link_of_the_studio_is_a_link_here_and_a_deletion_reaches_the_mirror() -> None:
    link = Copy("shared", "cloud", None, "https://reed.example/", "link", None, None)
    studio = replace(FIELD, copies=(link,))
    assert told(only(scenario("expired", form=("link",)), studio))[-1] == (HELD, ("card", "tablet"))
    assert told(only(scenario(copy=("shared",)), studio))[-1] == (HELD, ("card", "tablet"))
    mirrored = studio_of(
        TABLET, medium("mirror", mirrors="tablet"), medium("safe", mirrors="tablet", keeps_versions_s=DAY_S)
    )
    life = (span(held("tablet"), held("mirror"), held("safe")),)
    assert told(only(scenario("deleted", kind=("tablet",)), mirrored, life)) == [(HELD, ("safe",))]
    assert told(only(scenario("gone", kind=("tablet",)), mirrored, life)) == [(HELD, ("mirror", "safe"))]


def test_the_copy_of_a_span_has_the_form_of_the_studios_first_copy_there() -> None:
    own = [Copy(id_, "archive", Path(id_), None, form, None, None) for id_, form in (("a", "archive"), ("b", "folder"))]
    studio = replace(FIELD, copies=tuple(own))
    life = (span(held("archive")),)
    assert told(only(scenario("truncated", form=("archive",), keep=0.5), studio, life)) == [(LOST, ())]
    assert told(only(scenario("truncated", form=("folder",), keep=0.5), studio, life)) == [(NOT_ABOUT, ())]


def test_at_home_the_house_burns_with_the_bag_and_the_bag_can_still_be_stolen() -> None:
    copies = (held("card"), held("drive"), held("archive"))
    life = (span(*copies, away=True, ends=5), span(*copies, away=False, begins=5, ends=9))
    assert shipped("house-fire", FIELD, life)["house"] == [(HELD, ("card", "drive")), (LOST, ())]
    assert shipped("stolen-bag", FIELD, life)["bag"] == [(HELD, ("drive", "archive"))]
    roaming = studio_of(CARD, DRIVE, ARCHIVE, scheme=scheme_of(home=None))
    assert shipped("house-fire", roaming, life)["house"] == [(HELD, ("card", "drive"))]


def test_a_bag_that_is_at_home_is_not_elsewhere() -> None:
    pouch = medium("pouch", "ssd", "pouch", carried=True, offsite=True)
    studio = studio_of(pouch, ARCHIVE)
    life = (span(held("pouch"), held("archive"), away=False),)
    assert shipped("only-elsewhere-is-left", studio, life)[None] == [(LOST, ())]


def test_what_a_lost_medium_was_needed_for_is_lost_too_also_where_it_held_nothing() -> None:
    phone = medium("phone", "phone", "pocket", carried=True)
    cloud = replace(CLOUD, needs=("phone",))
    band = only(scenario(kind=("phone",)), studio_of(phone, cloud), (span(held("cloud")),))
    assert told(band) == [(LOST, ())]


def test_every_shipped_scenario_has_a_band() -> None:
    bands = scenario_bands(LIFE, FIELD, load_scenarios([]))
    assert {band.scenario.name for band in bands} == {scenario.name for scenario in load_scenarios([])}
    for band in bands:
        assert (band.stretches[0].begins, band.stretches[-1].ends) == (at(0), at(100))
        assert all(one.ends == other.begins for one, other in zip(band.stretches, band.stretches[1:], strict=False))
        assert all((stretch.outcome == HELD) == bool(stretch.left) for stretch in band.stretches)


def test_without_a_span_on_any_copy_everything_that_applies_has_lost_it() -> None:
    assert told(only(scenario(kind=("card",)), life=(span(ends=HOUR_S),))) == [(LOST, ())]
