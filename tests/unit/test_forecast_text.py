"""The forecast as text and as JSON: it fits the terminal, and says what matters."""

import json
from dataclasses import replace

import pytest
from forecasted import DAY, YEAR_S, forecast, life

from drill import standingrecord
from drill.advicerecord import Advice, Tried
from drill.forecastrecord import Band, Chance, Day, Exposure, Forecast, Rate, Stretch, dump
from drill.report.forecast_odds_text import say_share
from drill.report.forecast_text import forecast_text
from drill.report.forecast_words import say_band, span_words
from drill.standingrecord import ShootStands, Standing


def said(found: Forecast, width: int = 80) -> str:
    return " ".join(forecast_text(found, width=width).split())


@pytest.mark.parametrize("width", [50, 60, 80, 120])
def test_the_text_fits_the_terminal_and_says_what_matters(width: int) -> None:
    text = forecast_text(forecast(), width=width)
    assert max(len(line) for line in text.splitlines()) <= width
    words = " ".join(text.split())
    assert "For 4 days after a shoot away one everyday failure is enough to lose it" in words
    assert "local law" in words and "What this forecast does not know" in words and "No byte was read" in words
    assert " safe" not in words.lower()


def test_a_stage_says_when_it_begins_what_changes_and_what_takes_it_alone() -> None:
    lines = forecast_text(replace(forecast(), zone="Europe/Lisbon"), width=120).splitlines()
    marked = [line.split() for line in lines if line.endswith((" 1 !", " 2 !", " 3 !"))]
    assert [(" ".join(row[:4]), row[-2]) for row in marked] == [
        ("Tue 31 Mar, 09:00", "3"),
        ("Tue 31 Mar, 19:00", "2"),
        ("Sat 4 Apr, 09:00", "1"),
    ]
    assert any("4 days home +archive -card" in " ".join(line.split()) for line in lines)
    assert "two places after 4 days, Sat 4 Apr, 09:00, for good after 40 days, Sun 10 May, 09:00" in " ".join(
        " ".join(lines).split()
    )


@pytest.mark.parametrize("width", [50, 60, 72, 80])
def test_no_id_is_cut_on_a_narrow_terminal(width: int) -> None:
    ids = ("archive-number-one", "cloud-of-the-saltmarsh")
    first, *others = life().stages
    long = tuple(replace(first.copies[0], medium=id_) for id_ in ids)
    text = forecast_text(
        replace(forecast(), lives=(replace(life(), stages=(replace(first, copies=long), *others)),)), width=width
    )
    assert all(f"+{id_}" in text for id_ in ids)


def test_a_usual_terminal_has_room_for_the_table_of_stages() -> None:
    lines = forecast_text(forecast(), width=80).splitlines()
    assert any(line.split()[-5:] == ["1", "-", "0", "3", "!"] for line in lines)
    assert any(line.startswith("- Tue 31 Mar") for line in forecast_text(forecast(), width=60).splitlines())


def test_a_copy_that_is_planned_and_never_made_is_told() -> None:
    told = said(replace(forecast(), planned=("card", "tape")))
    assert "The plan copies to tape too, but no copy of a shoot made away on 2026-03-31 ever gets there" in told
    assert "The plan copies to" not in said(replace(forecast(), planned=("card", "cloud")))


def test_a_scenario_is_told_at_each_moment_by_its_worst_variant() -> None:
    longer = Band("stolen-bag", "pouch", "The bag is stolen", (Stretch(30 * DAY, YEAR_S, "lost"),))
    held = Band("stolen-bag", "box", "The bag is stolen", (Stretch(0, YEAR_S, "held"),))
    found = replace(forecast(), lives=(replace(life(), bands=(held, *life().bands, longer)),))
    assert "lost in its first 4 days and from 30 days on (bag, pouch: 2 of 3) !" in said(found)
    assert found.falls_short and not forecast().falls_short


def test_a_missed_target_falls_short_and_a_mere_wish_does_not() -> None:
    assert any(first.after_s is None for first in life().firsts) and not forecast().falls_short
    missed = replace(life(), targets=(replace(life().targets[0], met=False),))
    assert replace(forecast(), lives=(missed,)).falls_short
    assert "missed !" in said(replace(forecast(), lives=(missed,)))


def test_what_is_so_only_later_for_good_is_told() -> None:
    gone = replace(life(), firsts=(replace(life().firsts[0], for_good_s=None),))
    assert ", not for good" in said(replace(forecast(), lives=(gone,))) and ", not for good" not in said(forecast())


@pytest.mark.parametrize(
    ("stretches", "words"),
    [
        ([(0, 4, "lost"), (4, 9, "held")], "lost in its first 4 days, then held"),
        ([(0, 2, "held"), (2, 3, "lost"), (3, 4, "lost"), (4, 9, "held")], "lost from 2 days to 4 days, then held"),
        ([(0, 2, "lost"), (2, 3, "held"), (3, 9, "lost")], "lost in its first 2 days and from 3 days on"),
        ([(0, 9, "lost")], "lost always"),
        ([(0, 9, "held")], "held throughout"),
        ([(0, 9, "not about it")], "not about it"),
        ([(0, 1, "not about it"), (1, 9, "held")], "held throughout"),
    ],
)
def test_a_band_in_words(stretches: list[tuple[int, int, str]], words: str) -> None:
    # Two days and more are told in days: 2 days are 48 h.
    assert say_band([Stretch(a * DAY, b * DAY, outcome) for a, b, outcome in stretches]) == words


def test_spans_and_shares_are_never_rounded_to_nothing() -> None:
    assert (span_words(30), span_words(3 * DAY), span_words(31.4 * DAY)) == ("30 s", "3 days", "31 days")
    assert (say_share(0), say_share(0.0123), say_share(0.5), say_share(1)) == ("0", "1.2 %", "50 %", "100 %")
    assert (say_share(1e-30), say_share(0.9951), say_share(0.994)) == ("< 0.0000001 %", "> 99 %", "99 %")
    assert (say_share(1e-7), say_share(9.99e-4), say_share(0.00991)) == ("0.000010 %", "0.10 %", "0.99 %")


@pytest.mark.parametrize(
    ("kind", "words", "together"),
    [
        ("deleted", "deletion by mistake on {}", "deletion by mistake on a, on, b"),
        ("medium", "{} broken or lost", "a, on, b broken or lost"),
        ("place", "fire or burglary at {}", "fire or burglary at a, on, b"),
    ],
)
def test_events_that_differ_in_a_name_alone_are_one_row_whatever_the_name(kind: str, words: str, together: str) -> None:
    rates = tuple(Rate(f"{kind}:{id_}", words.format(id_), 0.01, 0.03, 0.09, "assumed") for id_ in ("a", "on", "b"))
    assert f" {together} 0.01 0.03 0.09 assumed " in said(replace(forecast(), rates=rates), width=120)


def test_what_to_do_comes_before_what_it_rests_on() -> None:
    tried = Tried("sooner", "Do it.", 0.1, 0.05, "a", "b", None, None, 0, 0, None, 0)
    advice = Advice("2026-03-31", True, "", 0, priced=False, shoots_a_year=26, counted=False, helps=(tried,), hardly=())
    text = said(replace(forecast(), advice=advice, not_applicable=("dead-card",)))
    order = (
        "The first year of a shoot",
        "Every scenario",
        "This studio has nothing that these could hit",
        "How likely",
        "What would help",
    )
    places = [text.index(words) for words in (*order, "What it takes to lose it", "How often each event is reckoned")]
    assert places == sorted(places)


def test_the_shoots_of_today_are_in_the_first_sentences() -> None:
    text = said(replace(forecast(), standing=Standing(1, (), (), (), ())))
    assert text.index("There is no shoot in the studio file yet") < text.index("The first year of a shoot")


def test_shoots_of_today_that_stand_badly_come_before_all_else() -> None:
    chance = standingrecord.Chance(1.0, 1.0, 1.0, "certain")
    bad = ShootStands("kiln", "2026-01-02", 9, 9, 0, 1, (), -1, None, (), "", chance, ())
    text = said(replace(forecast(), standing=Standing(1, (bad,), (), (), ())))
    assert text.startswith("The shoots that are there today, on paper: Of 1 shoot, 1 has files that no copy holds")
    assert text.index("Shoot by shoot") < text.index("The first year of a shoot")


def test_all_shoots_of_a_year_are_told_in_bounds_and_only_where_there_are_several() -> None:
    both = Chance("best day", "2026-02-27", True, 1, 0.0002, 0.0006, 0.0018, "about 1 in 1,700 shoots")
    found = replace(forecast(), chances=(*forecast().chances, both), shoots_a_year=20)
    assert "something is lost between 0.060 % and 2.4 % everything is lost at most 0.12 %" in said(found)
    assert "20 (assumed)" in said(found) and "20 (as many as" in said(replace(found, shoots_counted=True))
    assert "between 0.060 % and 100 %" in said(replace(found, shoots_a_year=2000))
    assert "something is lost" not in said(replace(found, shoots_a_year=1)) + said(forecast())


def test_the_measures_of_fault_trees_are_told_when_asked_for() -> None:
    plain, full = (" ".join(forecast_text(forecast(), measures=asked).split()) for asked in (False, True))
    assert "Birnbaum" not in plain and "settled, a shoot made away: fire at house (95%)." in plain
    assert full.index("Birnbaum") > full.index("What this forecast does not know")


def test_what_is_alike_on_every_day_is_told_too() -> None:
    always = Day("no_copy", "no copy of it is left", True, "2026-03-31", 9 * DAY, "2026-03-31", 9 * DAY)
    never = replace(always, what="it rains", worst_s=0.0, best_s=0.0)
    told = said(replace(forecast(), days=(*forecast().days, always, never)))
    assert "whatever day of the year it is made - no copy of it is left (away): 9 days" in told
    assert "just misses what is done every so often" in told and "it rains" not in told


def test_days_on_no_copy_are_not_called_days_on_one() -> None:
    gone = Exposure("no_copy", "no copy of it is left", 9 * DAY, 9 * DAY, 0.0)
    found = replace(life(), exposures=(gone, *life().exposures))
    assert "on one copy only, or on none" in said(replace(forecast(), lives=(found,)))
    assert "or on none" not in said(forecast())


def test_a_level_that_is_met_does_not_hide_that_one_failure_takes_the_shoot() -> None:
    met = replace(forecast().levels[0], met=True)
    alone = replace(life(), stages=life().stages[:3])
    assert "Met, and yet one failure alone" in said(replace(forecast(), levels=(met,), lives=(alone,)))
    assert "and yet one failure" not in said(replace(forecast(), levels=(met,)))


def test_no_name_moves_the_cursor() -> None:
    found = replace(forecast(), studio="Heron\x1b[31m", verdict="a\u202eb")
    assert "\x1b" not in forecast_text(found) and "\u202e" not in forecast_text(found)


def test_the_record_is_json_that_keeps_everything() -> None:
    value = json.loads(dump(forecast()))
    assert (value["schema"], value["falls_short"], value["studio"]) == ("restore-forecast/1", False, "Heron Field")
    assert value["lives"][0]["stages"][1]["cut_sets"] == [["place:bag"], ["bad-source:card"]]
    assert value["weights"][0]["events"][0]["rrw"] is None
