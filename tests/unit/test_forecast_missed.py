"""A step forgotten once: the shoot's life without it, what that costs, and how it is told."""

from dataclasses import replace
from datetime import UTC, date, datetime

from forecasted import life as by_hand
from schemes import DAY_S, HOUR_S, MONTHLY, QUARTERLY, medium, step, studio

from drill.forecast.forgetting import missed
from drill.forecastrecord import Longer, Missed
from drill.model import Medium, Scheme, Step, Studio
from drill.report.forecast_missed_text import missed_once
from drill.report.sections import NOTHING, laid_out
from drill.stages import ground
from drill.timeline import forgotten_once, horizon, life, spans

MARCH = date(2026, 3, 10)
CARD = medium("card", "card", place="bag", carried=True)
KILN = medium("kiln")
SKY = medium("sky", "cloud", place="provider", offsite=True)
IMPORT = step("import", "copy", "card", "kiln", after_s=HOUR_S, done=0.9)
UP = step("up", "copy", "kiln", "sky", rhythm=MONTHLY)
WIPE = step("wipe", "erase", "card", after_s=9 * DAY_S)


def told(*steps: Step, media: tuple[Medium, ...] = (CARD, KILN, SKY)) -> dict[str, Missed]:
    one = studio(media, steps, ["card"])
    lived = life(one, MARCH, away=False, until=horizon(scheme_of(one), MARCH, 1))
    return {found.step: found for found in missed(lived, spans(lived, one), ground(one))}


def scheme_of(one: Studio) -> Scheme:
    assert one.scheme is not None
    return one.scheme


def more_s(found: Missed, name: str) -> float:
    return next((one.more_s for one in found.longer if one.name == name), 0.0)


def test_one_missed_monthly_upload_is_a_month_more_without_a_copy_off_site() -> None:
    """Due on 1 April at noon, done on 1 May at noon: 30 days, by hand. The times after that change nothing."""
    found = told(replace(IMPORT, done=1.0), UP)
    assert list(found) == ["up"]
    up = found["up"]
    assert up.due == "2026-04-01T11:00:00Z" and not up.lost
    assert more_s(up, "nothing_offsite") == 30 * DAY_S
    begun = datetime(2026, 3, 10, 9, tzinfo=UTC)
    assert up.apart_until_s == (datetime(2026, 5, 1, 11, tzinfo=UTC) - begun).total_seconds()


def test_what_is_not_made_up_for_before_the_card_is_cleared_loses_the_shoot() -> None:
    found = told(IMPORT, UP, WIPE)
    assert found["import"].lost and found["import"].apart_until_s is None
    assert more_s(found["import"], "no_copy") > 300 * DAY_S
    again = told(replace(IMPORT, again_s=DAY_S), UP, WIPE)["import"]
    assert not again.lost and again.apart_until_s == 34 * HOUR_S and more_s(again, "one_copy") == DAY_S


def test_a_verify_that_is_forgotten_leaves_it_unchecked_until_the_next() -> None:
    """Quarterly on the second day: 2 April, else 2 July; 91 days."""
    look = step("look", "verify", None, "kiln", rhythm=QUARTERLY)
    assert more_s(told(replace(IMPORT, done=1.0), look)["look"], "nothing_verified") == 91 * DAY_S


def test_what_never_changes_anything_and_what_is_always_done_is_not_told() -> None:
    twice = replace(IMPORT, id="twice", after_s=2 * HOUR_S)
    assert list(told(IMPORT, twice)) == ["import"]
    assert told(replace(IMPORT, done=1.0)) == {}


def test_what_was_begun_before_the_later_copy_finds_nothing() -> None:
    """Forgotten at 19:00, made up for a day later; the upload that was begun an hour before that finds nothing yet."""
    up = step("night", "copy", "kiln", "sky", after_s=24 * HOUR_S, again_s=DAY_S, takes_s=2 * HOUR_S)
    one = studio([CARD, KILN, SKY], [replace(IMPORT, again_s=DAY_S), up], ["card"])
    lived = life(one, MARCH, away=False, until=horizon(scheme_of(one), MARCH, 1))
    found = forgotten_once(lived, one, "import")
    assert found is not None
    nights = [instant for instant in found[1].instants if instant.step.id == "night"]
    assert nights[0].due == datetime(2026, 3, 12, 18, tzinfo=UTC)
    assert forgotten_once(lived, one, "nothing") is None


def test_the_table() -> None:
    upload = Missed("upload", "x", 4 * DAY_S, 36 * DAY_S, False, (Longer("nothing_offsite", "off", 31 * DAY_S),))
    lost = Missed("import", "x", HOUR_S, None, True, (Longer("no_copy", "gone", 300 * DAY_S),))
    brief = Missed("second", "x", HOUR_S, DAY_S, False, (Longer("one_copy", "on one", 1.0),))
    for width in (50, 80):
        text = laid_out([missed_once(replace(by_hand(), missed=(upload, lost, brief)))], width=width)
        assert max(map(len, text.splitlines())) <= width
    flat = " ".join(text.split())
    assert "If a step is forgotten once" in flat and "off: 31 days" in flat
    assert "the plan itself then loses the shoot" in flat and "never" in flat
    assert "Forgotten once, these make none of these times longer: second." in flat
    assert missed_once(by_hand()) == NOTHING
    assert missed_once(replace(by_hand(), missed=(brief,))) == NOTHING
