"""Drills over real links, served on this machine: what they find, how much they ask for, what they may show."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cases_away import link_case
from described import Hazard, Medium, Studio
from hand import (
    SLOW,
    A,
    B,
    Case,
    agree,
    copy,
    hold,
    media,
    only,
    shoot,
)
from runner import run_drills
from studios import SECRET, build, link_server


def test_links_agree_and_keep_their_secrets(tmp_path: Path) -> None:
    case = link_case()
    folder = tmp_path / "studio"
    with link_server(folder / "cloud") as (base, served):
        record = agree(folder, case, base=base)
        assert served.body_bytes > 0
        told = run_drills(folder / "studio.toml", *sorted((folder / "scenarios").iterdir()))
    assert SECRET not in json.dumps(record) and SECRET not in told.out + told.err


def test_what_links_hold_is_downloaded_about_once_and_asked_for_in_every_drill(tmp_path: Path) -> None:
    """Drills that leave the bytes alone share a download; a link may expire between two of them, so each asks again."""
    case = link_case()
    folder = tmp_path / "studio"
    drives = [only(f"no-disk-{number}", Hazard(effect="gone", hits={"medium": "disk"})) for number in range(6)]
    with link_server(folder / "cloud") as (base, served):
        built = build(folder, case.studio, drives, base=base)
        size = sum(len(file.data) for file in case.studio.copies[0].holds)
        size += (folder / "cloud/box/pictures.zip").stat().st_size
        asked, read = [], []
        for number in (1, 6):
            served.clear()
            outcome = run_drills(built.file, *built.scenarios[:number])
            assert outcome.code == 0, outcome.said
            asked.append(len(served.requests))
            read.append(served.body_bytes)
    assert read[0] >= sum(len(file.data) for file in case.studio.copies[0].holds), "one drill reads every picture"
    assert read[1] <= size * 1.1, f"six drills read {read[1]} bytes of {size}"
    assert asked[1] - asked[0] >= 5, f"one drill asks {asked[0]} times, six ask {asked[1]} times"


def test_a_link_that_has_really_expired_holds_nothing_and_a_page_is_no_picture(tmp_path: Path) -> None:
    case = link_case()._replace(scenarios=(SLOW,), by_hand={("slow", None): (2, 0, 2)})
    folder = tmp_path / "studio"
    with link_server(folder / "cloud") as (base, served):
        built = build(folder, case.studio, case.scenarios, base=base)
        served.answer["/web/raw/A & B #1 \u00fc.dng"] = (410, b"gone")
        served.answer["/web/deliver/one.jpg"] = (200, b"<!doctype html><p>Please log in")
        outcome = run_drills(built.file, *built.scenarios)
    really = tuple(
        replace(h, data=b"<") if "one" in h.path else h for h in case.studio.copies[0].holds if "#" not in h.path
    )
    copies = (replace(case.studio.copies[0], holds=really), *case.studio.copies[1:])
    record = hold(built, outcome, case._replace(studio=replace(case.studio, copies=copies)))
    assert record["drills"][0]["unchecked"] == {"right": 2, "silently_wrong": 1, "failed": 1}
    assert SECRET not in outcome.out + outcome.err


def test_a_server_that_cannot_be_connected_to_leaves_its_list_on_paper(tmp_path: Path) -> None:
    files = (("a.jpg", A), ("b.jpg", B))
    kept = (Medium(id="web", kind="cloud", place="far"), Medium(id="box", kind="cloud", place="far"), *media("disk"))
    copies = (
        copy("web", *files, says=True, form="link", out_of_reach="no server"),
        copy("box", *files, form="link.7z", out_of_reach="no server"),
        copy("disk", files[0]),
    )
    studio = Studio(media=kept, shoots=(shoot(*files),), copies=copies)
    scenarios = (SLOW, only("expired", Hazard(effect="expired", hits={"form": "link"})))
    hand: dict[Any, tuple[int, int, int]] = {("slow", None): (1, 1, 0), ("expired", None): (1, 0, 1)}
    record = agree(tmp_path / "studio", Case(studio, scenarios, hand))
    assert record["drills"][0]["verdict"] == "unproven"


@pytest.mark.parametrize("status", [429, pytest.param(503, marks=pytest.mark.deep)])
def test_a_server_that_is_busy_for_good_is_out_of_reach(status: int, tmp_path: Path) -> None:
    files = (("a.jpg", A), ("b.jpg", B))
    web = copy("web", *files, says=True, form="link")
    kept = (Medium(id="web", kind="cloud", place="far"), *media("disk"))
    studio = Studio(media=kept, shoots=(shoot(*files),), copies=(web, copy("disk", files[0])))
    folder = tmp_path / "studio"
    with link_server(folder / "cloud") as (base, served):
        built = build(folder, studio, (SLOW,), base=base)
        served.answer |= {f"/web/{path}": (status, b"later") for path, _ in files}
        outcome = run_drills(built.file, *built.scenarios)
        assert len(served.requests) < 20, "retries are bounded"
    away = replace(studio, copies=(replace(web, out_of_reach="no server"), studio.copies[1]))
    hold(built, outcome, Case(away, (SLOW,), {("slow", None): (1, 1, 0)}))
