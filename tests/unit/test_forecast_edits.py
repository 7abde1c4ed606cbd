"""Edits in a forecast: until when one failure takes them, by plan, on the day shown and the worst; what falls short.

That work is up to a month from its first off-site copy where the archive is uploaded monthly is common practice, no
source.
"""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from schemes import DAY_S, HOUR_S, MONTHLY, NEVER_S, medium, step
from schemes import studio as scheme_of

from drill.advice import compare
from drill.edits import held_by_plan
from drill.forecast.run import Options, forecast
from drill.forecastrecord import EditsThen, Forecast, dump
from drill.model import Medium, Place, Step, Studio, Targets
from drill.report.forecast_text import forecast_text
from drill.timeline import horizon, life

NOW = datetime(2026, 9, 11, 12, tzinfo=UTC)
DAY = date(2026, 9, 12)
MEDIA = (
    medium("card", "card", place="bag", carried=True),
    medium("tablet", "tablet", place="bag", carried=True),
    medium("kiln"),
    medium("mirror", place="studio", mirrors="kiln"),
    medium("cloud", "cloud", place="far-away", account="login", offsite=True),
)
IMPORT = step("import", "copy", "card", "tablet", after_s=HOUR_S)
TO_KILN = step("to-kiln", "copy", "tablet", "kiln", after_s=2 * HOUR_S, only_when="home")
EDIT = step("retouch", "edit", None, "tablet", after_s=2 * DAY_S)
EDITS_TO_KILN = replace(TO_KILN, id="edits-to-kiln", follows="retouch", after_s=HOUR_S)
UPLOAD = step("upload", "copy", "kiln", "cloud", rhythm=MONTHLY, takes_s=10 * HOUR_S)


def studio(*steps: Step, lose_at_most_s: float | None = None, **more: object) -> Studio:
    found = scheme_of(MEDIA, steps, ["card"], **({"replaced_within_s": NEVER_S} | more))
    return replace(found, targets=Targets(lose_at_most_s=lose_at_most_s))


def told(here: Studio, *, away: bool = False) -> Forecast:
    return forecast(here, [], Options(started=NOW, now=NOW, day=DAY, away=(away,)))


def edits(here: Studio, *, away: bool = False) -> EditsThen:
    [one] = told(here, away=away).lives[0].edits
    return one


def test_where_the_plan_has_them_from_moment_to_moment() -> None:
    """Made on Monday at six, home by Tuesday at six; copied an hour later, to the mirror too, uploaded on 1 October."""
    here = studio(IMPORT, TO_KILN, EDIT, EDITS_TO_KILN, UPLOAD)
    lived = life(here, DAY, away=True, until=horizon(here.scheme, DAY, 1))  # type: ignore[arg-type]
    told_ = [(f"{s.begins:%d %H}", f"{s.ends:%d %H}", s.away, s.media) for s in held_by_plan(lived, here, EDIT)]
    assert told_ == [  # UTC: an hour less than in Lisbon
        ("14 17", "15 17", True, ("tablet",)),
        ("15 17", "01 21", False, ("tablet", "kiln", "mirror")),
        ("01 21", "12 08", False, ("tablet", "kiln", "mirror", "cloud")),
    ]


def test_a_mirror_that_keeps_versions_gets_edits_as_well() -> None:
    media = tuple(replace(one, keeps_versions_s=30 * DAY_S) if one.id == "mirror" else one for one in MEDIA)
    here = replace(studio(IMPORT, TO_KILN, EDIT, EDITS_TO_KILN), media={one.id: one for one in media})
    assert edits(here).media == ("tablet", "kiln", "mirror")


def test_a_mirror_far_away_has_them_at_once_and_mistakes_are_not_counted() -> None:
    media = tuple(replace(one, mirrors="tablet") if one.id == "cloud" else one for one in MEDIA)
    here = replace(studio(IMPORT, TO_KILN, EDIT), media={one.id: one for one in media})
    assert (edits(here).one_failure_age_s, edits(here).offsite_age_s) == (0.0, 0.0)
    said = " ".join(forecast_text(told(here), width=200).split())
    assert "none does none does (2026-09-12) at once" in said  # a deletion on the tablet reaches the cloud, too
    assert "mistakes, attacks and rot are not counted" in said


def test_a_copy_that_waits_for_another_medium_brings_no_edits_before() -> None:
    """Nothing brings the shoot to the cloud, for which it waits."""
    waits = replace(EDITS_TO_KILN, only_once_on=("cloud",))
    assert edits(studio(IMPORT, TO_KILN, EDIT, waits)).media == ("tablet",)


def test_one_failure_takes_them_until_they_are_on_two_places() -> None:
    one = edits(studio(IMPORT, TO_KILN, EDIT, EDITS_TO_KILN, UPLOAD))
    assert (one.step, one.medium, one.made) == ("retouch", "tablet", "2026-09-14T17:00:00Z")
    assert one.made_s == 2 * DAY_S + 9 * HOUR_S
    assert one.one_failure == "tablet broken or lost"
    assert one.one_failure_age_s == HOUR_S  # a fire at home takes what is carried too, but not the mirror in the studio
    assert one.offsite_age_s == 17 * DAY_S + 4 * HOUR_S
    assert one.media == ("tablet", "kiln", "mirror", "cloud")
    assert (one.lost_age_s, one.lost_on, one.met) == (None, None, None)


def with_media(here: Studio, *more: Medium) -> Studio:
    places = {one.place: Place(one.place, carried=one.carried, offsite=one.offsite) for one in more}
    return replace(here, media=here.media | {one.id: one for one in more}, places={**here.places, **places})


STICK = medium("stick", "ssd", place="coat", carried=True)
TO_STICK = step("stick", "copy", "tablet", "stick", follows="retouch", after_s=HOUR_S)


def test_two_bags_are_two_places_away_and_one_at_home() -> None:
    """Edited a day before one comes home; a fire there takes what is carried, too."""
    to_cloud = step("cloud", "copy", "tablet", "cloud", follows="retouch", after_s=10 * HOUR_S)
    both = with_media(studio(IMPORT, EDIT, TO_STICK), STICK)
    assert edits(both, away=True).one_failure_age_s is None
    here = with_media(studio(IMPORT, EDIT, TO_STICK, to_cloud), STICK)
    found = forecast(here, [], Options(started=NOW, now=NOW, day=DAY, away=(True, False)))
    assert [life.edits[0].one_failure_age_s for life in found.lives] == [HOUR_S, 10 * HOUR_S]


def test_what_is_carried_is_not_off_site() -> None:
    assert edits(with_media(studio(IMPORT, EDIT, TO_STICK), replace(STICK, offsite=True))).offsite_age_s is None


def test_two_clouds_behind_one_login_fall_to_one_failure() -> None:
    other = medium("kiln-cloud", "cloud", place="elsewhere", account="login", offsite=True)
    copies = [step(id_, "copy", "tablet", id_, follows="retouch", after_s=HOUR_S) for id_ in ("cloud", "kiln-cloud")]
    clear = step("clear", "erase", "tablet", after_s=20 * DAY_S)
    assert edits(with_media(studio(IMPORT, EDIT, *copies, clear), other)).one_failure_age_s is None
    alone = replace(other, account="another")
    assert edits(with_media(studio(IMPORT, EDIT, *copies, clear), alone)).one_failure_age_s == HOUR_S


def test_at_worst_they_wait_a_month_for_the_upload() -> None:
    """Shot on 29 September, edited on 1 October at six in the evening, after the upload of noon; the next ends on 1
    November at ten in the evening: 31 days and four hours, and the hour of the clock change."""
    no_mirror = [one for one in MEDIA if one.id != "mirror"]
    here = replace(studio(IMPORT, TO_KILN, EDIT, EDITS_TO_KILN, UPLOAD), media={one.id: one for one in no_mirror})
    one = edits(here)
    assert (one.worst_day, one.worst_age_s) == ("2026-09-29", 31 * DAY_S + 5 * HOUR_S)


@pytest.mark.parametrize(("at_most_s", "met"), [(3600.0, True), (3599.0, False), (None, None)])
def test_what_is_lost_at_most_counts_for_edits_too(at_most_s: float | None, met: bool | None) -> None:
    here = studio(IMPORT, TO_KILN, EDIT, EDITS_TO_KILN, lose_at_most_s=at_most_s)
    found = told(here)
    [one] = found.lives[0].edits
    assert one.met is met
    said = " ".join(forecast_text(found, width=200).split())
    assert ("until 1 h old (2026-09-12) !" in said) == (met is False)
    assert "Edits, as long as nothing fails" in said and "drill search tells what loses the edits" in said


def test_edits_that_no_copy_takes_along_are_told_to_the_end_and_miss_the_target() -> None:
    found = told(studio(IMPORT, TO_KILN, EDIT, lose_at_most_s=400 * DAY_S))
    [one] = found.lives[0].edits
    assert (one.one_failure_age_s, one.offsite_age_s, one.met) == (None, None, False)
    assert found.falls_short
    assert "to the end (2026-09-12) !" in " ".join(forecast_text(found, width=200).split())


@pytest.mark.parametrize(("further", "met"), [(None, None), (0, None), (1, False)])
def test_a_further_failure_is_not_survived_by_edits_that_one_takes_to_the_end(
    further: int | None, met: bool | None
) -> None:
    here = studio(IMPORT, TO_KILN, EDIT)
    found = told(replace(here, targets=Targets(further_failures=further)))
    assert found.lives[0].edits[0].met is met
    sentence = "One failure alone can take the edits made on tablet (retouch), of a shoot of 2026-09-12, to the end of"
    assert sentence in found.verdict
    kept = told(replace(studio(IMPORT, TO_KILN, EDIT, EDITS_TO_KILN), targets=Targets(further_failures=further)))
    assert kept.lives[0].edits[0].met is (None if met is None else True)
    assert "can take the edits" not in kept.verdict


def test_a_plan_that_loses_edits_says_so_first_and_falls_short() -> None:
    clear = step("clear", "erase", "tablet", after_s=20 * DAY_S, only_once_on=("kiln",))
    found = told(studio(IMPORT, TO_KILN, EDIT, clear))
    [one] = found.lives[0].edits
    assert one.lost_age_s == one.one_failure_age_s == 18 * DAY_S and one.media == ()
    assert found.falls_short
    assert "The plan itself loses edits: of those made on tablet (retouch), of a shoot of 2026-09-12" in found.verdict
    text = forecast_text(found, width=72)
    assert max(map(len, text.splitlines())) <= 72
    assert "nothing, 18 days after !" in " ".join(forecast_text(found, width=200).split())


def test_a_scheme_that_edits_nothing_is_told_nothing_of_edits() -> None:
    without = told(studio(IMPORT, TO_KILN))
    assert without.lives[0].edits == () and "Edits" not in forecast_text(without)
    assert without.lives[0].never_edited == ()


@pytest.mark.parametrize("nothing", [replace(EDIT, target="cloud"), replace(EDIT, after_s=500 * DAY_S)])
def test_a_step_that_edits_nothing_is_told(nothing: Step) -> None:
    found = told(studio(IMPORT, TO_KILN, nothing))
    assert (found.lives[0].edits, found.lives[0].never_edited) == ((), ("retouch",))
    text = " ".join(forecast_text(found, width=200).split())
    assert "The step retouch edits nothing of a shoot made at home on 2026-09-12 in its first year" in text
    both = told(studio(IMPORT, TO_KILN, EDIT, replace(nothing, id="late")))
    assert [one.step for one in both.lives[0].edits] == ["retouch"] and both.lives[0].never_edited == ("late",)
    assert "The step late edits nothing" in forecast_text(both, width=400)


def test_two_schemes_are_compared_by_their_edits_too() -> None:
    early, late = told(studio(IMPORT, TO_KILN, EDIT, EDITS_TO_KILN)), told(studio(IMPORT, TO_KILN, EDIT))
    [row] = [row for row in compare(early, late).rows if row.group == "edits"]
    assert (row.one, row.other, row.change) == (HOUR_S, None, "worse")  # never: they stay on the tablet alone
    [other] = [row for row in compare(told(studio(IMPORT)), early).rows if row.group == "edits"]
    assert other.change == "not both"


def test_the_record_has_them() -> None:
    assert '"step": "retouch"' in dump(told(studio(IMPORT, TO_KILN, EDIT)))


def test_edits_change_nothing_of_what_is_told_of_the_pictures() -> None:
    plain, edited = told(studio(IMPORT, TO_KILN)), told(studio(IMPORT, TO_KILN, EDIT))
    lives = tuple(replace(one, edits=()) for one in edited.lives)
    assert edited.verdict.startswith(plain.verdict)
    assert replace(edited, lives=lives, verdict=plain.verdict) == plain
