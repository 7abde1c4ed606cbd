"""A home where nothing is kept but what is carried burns as often as any other."""

from datetime import date

from drill.odds import blows, odds, rates, shares
from drill.scenario import scheme_path
from drill.studio import load_studio
from drill.timeline import horizon, life


def test_a_fire_at_home_takes_what_is_carried_also_where_nothing_else_is_kept_there() -> None:
    studio = load_studio(scheme_path("third-copy-in-the-field"))
    scheme = studio.scheme
    assert scheme is not None and scheme.home == "house"
    assert all(medium.place != "house" for medium in studio.media.values())
    assert rates(studio).per_year["place:house"] > 0
    assert {medium for medium, _ in blows(studio, away=False)["place:house"]} == set(studio.media)
    assert "place:house" not in blows(studio, away=True)  # nothing is there to be hit
    day = date(2027, 3, 27)
    lived = life(studio, day, away=False, until=horizon(scheme, day, 1))
    assert odds(lived, studio, rates(studio), [lived.until]).lost[0] > 0.004  # 1 - exp(-0.005) is 0.00499
    assert next(iter(shares(lived, studio, rates(studio), lived.until))) == "place:house"
