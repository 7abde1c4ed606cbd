"""What `drill run` leaves behind: kept restores, reports, nothing else."""

import json
import subprocess
from pathlib import Path

import pytest
from agreement import disagreements
from cases_away import link_case
from census import census, files_below
from described import Hazard
from hand import (
    FILES,
    MOMENT,
    SLOW,
    good,
    only,
)
from oracle import expect_run
from runner import NOW, run_drills, start
from studios import SECRET, build, link_server


def _checks(folder: Path, name: str) -> bool:
    """Say whether every line of a kept checksum list holds, as `sha256sum -c --strict` does it."""
    done = subprocess.run(
        ["sha256sum", "-c", "--strict", "--quiet", name], cwd=folder, capture_output=True, check=False
    )
    return done.returncode == 0 and not done.stderr


@pytest.mark.outside
def test_keep_leaves_the_restored_files_beside_a_list_that_checks_them(tmp_path: Path) -> None:
    if subprocess.run(["sha256sum", "--version"], capture_output=True, check=False).returncode:
        pytest.skip("sha256sum is not on this machine")
    turn = only("turn", Hazard(effect="gone", each="medium"))
    built = good(tmp_path / "studio", SLOW, turn)
    before = census(*built.sources)
    outcome = run_drills(built.file, *built.scenarios, more=("--keep",))
    assert outcome.code == 0, outcome.said
    assert census(*built.sources) == before
    (fresh,) = (tmp_path / "studio/scratch").iterdir()
    kept = {f"{name}/terns/{path}" for name in ("slow", "turn--x", "turn--y") for path, _ in FILES}
    lists = {f"{name}/terns.sha256" for name in ("slow", "turn--x", "turn--y")}
    assert set(files_below(fresh)) == kept | lists
    for name in ("slow", "turn--x", "turn--y"):
        assert all((fresh / name / "terns" / path).read_bytes() == data for path, data in FILES)
        assert _checks(fresh / name, "terns.sha256")
    (fresh / "slow/terns" / FILES[0][0]).write_bytes(b"x")
    assert not _checks(fresh / "slow", "terns.sha256")


def test_scratch_that_was_there_keeps_what_was_in_it(tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    mine = tmp_path / "studio/scratch/mine.txt"
    mine.parent.mkdir()
    mine.write_text("keep me", encoding="utf-8")
    assert run_drills(built.file, *built.scenarios).code == 0
    assert files_below(mine.parent) == ["mine.txt"] and [p.name for p in mine.parent.iterdir()] == ["mine.txt"]


def test_reports_and_ledger_appear_only_when_wanted(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    case = link_case()._replace(scenarios=link_case().scenarios[:3])
    with link_server(folder / "cloud") as (base, _):
        built = build(folder, case.studio, case.scenarios, base=base)
        before = census(*built.sources)
        chosen = [part for path in built.scenarios for part in ("--scenario", path)]
        outputs = ("--json", "out.json", "--html", "out.html", "--junit", "out.xml")
        outcome = start("run", built.file, *chosen, *outputs, "--seed", "7", "--now", NOW, cwd=tmp_path)
    assert outcome.code == 1, outcome.said
    assert census(*built.sources) == before
    assert {path.name for path in tmp_path.iterdir()} == {"studio", "out.json", "out.html", "out.xml"}
    assert (folder / "ledger.sqlite").is_file() and files_below(folder / "reports")
    record = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert disagreements(expect_run(case.studio, case.scenarios, MOMENT), record, 1) == []
    assert "slow" in outcome.out and "terns" in outcome.out, "tables on standard output"
    written = [path for path in tmp_path.rglob("*") if path.is_file() and path != built.file]
    written = [path for path in written if (folder / "cloud") not in path.parents]
    assert not [path for path in written if SECRET.encode() in path.read_bytes()]
    assert SECRET not in outcome.out + outcome.err
