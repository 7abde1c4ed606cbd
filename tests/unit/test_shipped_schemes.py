"""The shipped schemes: whole studio files that load, by bare name, and do what their first lines say."""

from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from drill.errors import Mistakes
from drill.scenario import scheme_path, shipped_names, shipped_schemes
from drill.studio import load_studio
from drill.timeline import Span, life, spans

DAY = date(2026, 9, 12)


def plan(name: str, *, away: bool) -> tuple[Span, ...]:
    studio = load_studio(scheme_path(name))
    return spans(life(studio, DAY, away=away), studio)


def media(span: Span) -> set[str]:
    return {held.medium for held in span.copies}


@pytest.mark.parametrize("name", shipped_schemes())
def test_each_loads_without_a_warning_and_promises_nothing(name: str) -> None:
    studio = load_studio(scheme_path(name))
    assert (studio.warnings, studio.shoots, studio.copies) == ((), (), ())
    assert studio.scheme is not None and studio.scheme.home == "house"
    text = scheme_path(name).read_text(encoding="utf-8")
    assert text.startswith("# ") and f"drill forecast {name}" in text


@pytest.mark.parametrize("name", shipped_schemes())
def test_each_keeps_the_shoot_somewhere_as_long_as_nothing_fails(name: str) -> None:
    for away in (True, False):
        assert all(span.copies for span in plan(name, away=away))


def test_the_four_are_there_and_no_scenario_among_them() -> None:
    assert shipped_schemes() == [
        "card-and-tablet",
        "checked-and-early",
        "home-archive-monthly-upload",
        "third-copy-in-the-field",
    ]
    assert not set(shipped_schemes()) & set(shipped_names())


def test_card_and_tablet_end_as_one_copy() -> None:
    assert [media(span) for span in plan("card-and-tablet", away=False)] == [{"card"}, {"card", "tablet"}, {"tablet"}]


def test_in_the_field_a_third_copy_is_there_before_the_card_is_formatted() -> None:
    parts = plan("third-copy-in-the-field", away=True)
    gone = next(before for before, after in pairwise(parts) if media(before) - media(after))
    assert media(gone) == {"card", "tablet", "pocket-drive"}


def test_the_monthly_upload_is_weeks_behind_and_the_nightly_one_hours() -> None:
    def first_in_the_cloud(name: str) -> timedelta:
        parts = plan(name, away=False)
        return next(span.begins for span in parts if "cloud" in media(span)) - parts[0].begins

    assert first_in_the_cloud("home-archive-monthly-upload") > timedelta(days=19)
    assert first_in_the_cloud("checked-and-early") < timedelta(days=1)


def test_where_it_is_checked_every_copy_that_stays_is_proved_every_quarter() -> None:
    parts = plan("checked-and-early", away=True)
    for span in parts[len(parts) // 2 :]:
        assert media(span) == {"archive-a", "archive-b", "cloud"}
        for held in span.copies:
            assert held.verified is not None and span.ends - held.verified <= timedelta(days=100)


def test_a_name_or_a_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert scheme_path("card-and-tablet").is_file()
    assert scheme_path("my/card-and-tablet") == Path("my/card-and-tablet")
    assert scheme_path("own.toml") == Path("own.toml")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "card-and-tablet").mkdir()
    assert scheme_path("card-and-tablet").name == "card-and-tablet.toml"  # a folder of that name is no studio file
    (tmp_path / "checked-and-early").touch()
    assert scheme_path("checked-and-early") == Path("checked-and-early")
    with pytest.raises(
        Mistakes, match="no scheme of that name is shipped; give the path of a studio file, or"
    ) as caught:
        scheme_path("card-and-tabel")
    assert "card-and-tablet, checked-and-early" in str(caught.value)
