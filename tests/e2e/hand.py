"""Small parts that hand-made tests are written with: pictures, shoots, copies, and holding a run against the judge.

Flows in: a described studio, numbers worked out by hand. Flows out: failed assertions, or the record.
It must not import the program under test.
"""

from collections.abc import Mapping
from datetime import date, datetime
from hashlib import shake_128
from pathlib import Path
from typing import Any, NamedTuple

from agreement import disagreements
from census import census, files_below
from described import MODIFIED, Copy, Hazard, Held, Medium, Scenario, Shoot, Studio
from oracle import expect_run
from runner import NOW, Outcome, run_drills
from studios import Built, build

MOMENT = datetime.fromisoformat(NOW)
DAY = date(2026, 9, 12)


def picture(number: int, size: int = 5000) -> bytes:
    """Return bytes that no compressor shortens, the same for the same number."""
    return shake_128(f"picture {number}".encode()).digest(size)


A, B, C, D = (picture(number) for number in range(4))
FILES = (("raw/AAAA0001.dng", A), ("raw/AAAA0002.dng", B), ("deliver/one.jpg", C))


def held(*files: tuple[str, bytes], modified: datetime = MODIFIED) -> tuple[Held, ...]:
    """Store these files as they are promised."""
    return tuple(Held(path, data, modified) for path, data in files)


def shoot(*files: tuple[str, bytes], **more: Any) -> Shoot:
    """Promise these files."""
    return Shoot(id=more.pop("id", "terns"), date=more.pop("date", DAY), promise=files, **more)


def copy(name: str, *files: tuple[str, bytes], on: str | None = None, **more: Any) -> Copy:
    """Make a copy that really stores these files; `says=True`: with a faithful list."""
    if more.get("says") is True:
        more["says"] = files
    return Copy(id=name, on=on or name, holds=more.pop("holds", held(*files)), **more)


def gone(**hits: Any) -> Scenario:
    """Take away what is hit."""
    return Scenario(name="gone", hazards=(Hazard(effect="gone", hits=hits),))


def only(name: str, *hazards: Hazard) -> Scenario:
    """Name a scenario."""
    return Scenario(name=name, hazards=hazards)


SLOW = only("slow", Hazard(effect="slow", factor=0.5))


class Case(NamedTuple):
    """A studio, its scenarios, and by hand: (scenario, variant) → (verified, on paper, lost) of its first shoot."""

    studio: Studio
    scenarios: tuple[Scenario, ...]
    by_hand: Mapping[Any, tuple[int, int, int]]


def media(*names: str, **more: Any) -> tuple[Medium, ...]:
    """Make plain drives, each in its own place."""
    return tuple(Medium(id=name, place=f"at-{name}", **more) for name in names)


def hold(built: Built, outcome: Outcome, case: Case) -> dict[str, Any]:
    """Hold an outcome against the judge and the numbers worked out by hand; return the record."""
    assert outcome.code in (0, 1), outcome.said
    record = outcome.record
    expected = expect_run(case.studio, case.scenarios, MOMENT)
    assert disagreements(expected, record, outcome.code) == [], outcome.said
    first = case.studio.shoots[0].id
    counted = {(d["scenario"], d["variant"]): d["files"] for d in record["drills"] if d["shoot"] == first}
    told = {key: (row["verified"], row["on_paper"], row["lost"]) for key, row in counted.items()}
    assert {key: told.get(key) for key in case.by_hand} == case.by_hand
    assert files_below(built.file.parent / "scratch") == []
    return record


def agree(folder: Path, case: Case, *, base: str | None = None) -> dict[str, Any]:
    """Build, run, and hold the outcome against the judge; nothing may have changed on any source."""
    built = build(folder, case.studio, case.scenarios, base=base)
    before = census(*built.sources)
    outcome = run_drills(built.file, *built.scenarios)
    assert census(*built.sources) == before
    beside = {path.name for path in folder.iterdir()} - {"scratch"}
    assert beside == {"media", "cloud", "manifests", "scenarios", "studio.toml"}, "something else was written"
    return hold(built, outcome, case)


def good(folder: Path, *scenarios: Scenario, **more: Any) -> Built:
    """Build a small sound studio."""
    studio = Studio(media=media(*"xy"), shoots=(shoot(*FILES, **more),), copies=(copy("x", *FILES), copy("y", *FILES)))
    return build(folder, studio, scenarios)
