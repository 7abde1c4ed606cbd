"""Recoveries of studios that nobody would think of, as a user starts them, held against the drill of the same loss.

The studios are those of `test_random_studios`: every form of copy, lists that lie, rot, other letters, mirrors, needs.
What is lost is drawn by lot, and really deleted or only said to be lost. No source may change.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest
from census import census, files_below
from described import Hazard, Scenario, Studio
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st
from runner import NOW, run_drills, start
from studios import build, link_server
from test_random_studios import rules

_QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]


@st.composite
def losses(draw: st.DrawFn) -> tuple[Studio, list[str], bool]:
    """Draw a studio, what is lost ("medium:x", …), and whether it is really gone."""
    studio, _ = draw(rules())
    known = [f"medium:{medium.id}" for medium in studio.media] + [f"place:{medium.place}" for medium in studio.media]
    known += [f"account:{medium.account}" for medium in studio.media if medium.account]
    return studio, draw(st.lists(st.sampled_from(known), min_size=1, max_size=2, unique=True)), draw(st.booleans())


def split_of_drill(drill: dict[str, Any], studio: Studio) -> dict[str, str]:
    shoot = next(shoot for shoot in studio.shoots if shoot.id == drill["shoot"])
    split = {path: "back" for path, _ in shoot.promise}
    split |= {row["path"]: "lost" for row in drill["lost_files"]}
    return split | {row["path"]: "on_paper" for row in drill["on_paper_files"]}


def split_of_recovery(told: dict[str, Any], studio: Studio) -> dict[str, str]:
    shoot = next(shoot for shoot in studio.shoots if shoot.id == told["shoot"])
    return {path: "back" for path, _ in shoot.promise} | {row["path"]: row["outcome"] for row in told["missing"]}


def hit(studio: Studio, lost: list[str]) -> set[str]:
    """Return the media that are named as lost, without what needs them."""
    found = set()
    for medium in studio.media:
        keys = {f"medium:{medium.id}", f"place:{medium.place}", f"account:{medium.account}"}
        found |= {medium.id} if keys.intersection(lost) else set()
    return found


def check(studio: Studio, lost: list[str], really: bool) -> None:
    hazards = [Hazard(effect="gone", hits={key.partition(":")[0]: key.partition(":")[2]}) for key in lost]
    with tempfile.TemporaryDirectory() as aside:
        folder, into = Path(aside) / "studio", Path(aside) / "back"
        with link_server(folder / "cloud") as (base, served):
            built = build(folder, studio, (Scenario(name="loss", hazards=tuple(hazards)),), base=base)
            note(f"{lost}\n{built.file.read_text(encoding='utf-8')}")
            rehearsed = run_drills(built.file, *built.scenarios)
            gone = [copy.id for copy in studio.copies if copy.on in hit(studio, lost)]
            for id_ in gone if really else ():
                shutil.rmtree(folder / "media" / id_, ignore_errors=True)
                shutil.rmtree(folder / "cloud" / id_, ignore_errors=True)
            served.clear()
            before = census(*built.sources)
            named = [part for key in lost for part in ("--lost", key)]
            fixed = ("--into", into, "--no-ledger", "--now", NOW, "--json", "-")
            outcome = start("recover", built.file, *named, *fixed, cwd=folder)
            asked = {path.split("/")[1] for _, path in served.requests}
        assert census(*built.sources) == before
        assert outcome.code in (0, 1), outcome.said
        assert not asked.intersection(gone), "what is lost was asked for"
        drills = {drill["shoot"]: drill for drill in rehearsed.record["drills"]}
        promised = {shoot.id: dict(shoot.promise) for shoot in studio.shoots}
        for told in outcome.record["shoots"]:
            split = split_of_recovery(told, studio)
            assert split == split_of_drill(drills[told["shoot"]], studio), outcome.said
            back = {path for path, state in split.items() if state == "back"}
            home = into / told["shoot"]
            assert set(files_below(home)) == back if home.exists() else not back
            assert all((home / path).read_bytes() == promised[told["shoot"]][path] for path in back)
        assert outcome.code == (0 if outcome.record["all_back"] else 1)
        assert files_below(folder / "scratch") == [] and not (into / ".drill-recovery").exists()


@pytest.mark.deep
@settings(
    max_examples=int(os.environ.get("DRILL_DEEP_STUDIOS", "120")),
    derandomize="DRILL_DEEP_STUDIOS" not in os.environ,
    deadline=None,
    database=None,
    suppress_health_check=_QUIET,
    print_blob=True,
)
@given(losses())
def test_a_recovery_of_a_random_studio_is_its_drill(drawn: tuple[Studio, list[str], bool]) -> None:
    check(*drawn)
