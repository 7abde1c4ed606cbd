"""What `drill run` leaves behind: kept restores, reports, nothing else."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from agreement import disagreements
from cases_away import link_case
from census import census, files_below
from described import Hazard, Studio
from hand import (
    FILES,
    MOMENT,
    SLOW,
    A,
    B,
    C,
    D,
    copy,
    good,
    media,
    only,
    shoot,
)
from oracle import expect_run
from runner import NOW, Outcome, run_drills, start
from studios import SECRET, build, link_server


def _checks(folder: Path, name: str) -> bool:
    """Say whether every line of a kept checksum list holds, as `sha256sum -c --strict` does it."""
    done = subprocess.run(
        ["sha256sum", "-c", "--strict", "--quiet", name], cwd=folder, capture_output=True, check=False
    )
    return done.returncode == 0 and not done.stderr


@pytest.mark.outside
def test_keep_leaves_the_restored_files_beside_a_list_that_checks_them(tmp_path: Path) -> None:
    if shutil.which("sha256sum") is None:
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


@pytest.mark.outside
@pytest.mark.parametrize(("kind", "program"), [("sha256", "sha256sum"), ("md5", "md5sum"), ("xxh128", "xxhsum")])
def test_kept_lists_check_names_that_lists_must_escape(kind: str, program: str, tmp_path: Path) -> None:
    if shutil.which(program) is None or os.name == "nt":
        pytest.skip(f"{program} is not on this machine, or its file system knows no such names")
    files: tuple[tuple[str, bytes], ...] = (
        (" leading", A),
        ("*star", B),
        ("f\u00fc/M\u0308.jpg", C),
        ("MD5 (x) = y", D),
    )
    if sys.platform == "linux":  # elsewhere file systems take these two for one
        files += (("q/Case.jpg", A + B), ("q/case.jpg", B + C))
    if kind != "xxh128":  # xxhsum 0.8.1 writes and reads no escapes (seen on the machine)
        files += (("new\nline", C + D), ("back\\slash", D + A))
    studio = Studio(media=media("x"), shoots=(shoot(*files, promised_in=(kind,)),), copies=(copy("x", *files),))
    built = build(tmp_path / "studio", studio, (SLOW,))
    outcome = run_drills(built.file, *built.scenarios, more=("--keep",))
    assert (outcome.code, outcome.record["drills"][0]["files"]["verified"]) == (0, len(files)), outcome.said
    (fresh,) = (tmp_path / "studio/scratch").iterdir()
    assert all((fresh / "slow/terns" / path).read_bytes() == data for path, data in files)
    checked = [program, "-c", "--strict", "--quiet", f"terns.{kind}"]
    done = subprocess.run(checked, cwd=fresh / "slow", capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b""), done.stdout


def test_scratch_that_was_there_keeps_what_was_in_it(tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    mine = tmp_path / "studio/scratch/mine.txt"
    mine.parent.mkdir()
    mine.write_text("keep me", encoding="utf-8")
    assert run_drills(built.file, *built.scenarios).code == 0
    assert files_below(mine.parent) == ["mine.txt"] and [p.name for p in mine.parent.iterdir()] == ["mine.txt"]


def _run_in_full(folder: Path, *more: str) -> Outcome:
    """Run the first link scenarios with all that is written by default, and `more`; check record and secrets."""
    case = link_case()._replace(scenarios=link_case().scenarios[:3])
    with link_server(folder / "cloud") as (base, _):
        built = build(folder, case.studio, case.scenarios, base=base)
        before = census(*built.sources)
        chosen = [part for path in built.scenarios for part in ("--scenario", path)]
        fixed = ("--json", "out.json", "--seed", "7", "--now", NOW)
        outcome = start("run", built.file, *chosen, *fixed, *more, cwd=folder.parent)
    assert outcome.code == 1, outcome.said
    assert census(*built.sources) == before
    record = json.loads((folder.parent / "out.json").read_text(encoding="utf-8"))
    assert disagreements(expect_run(case.studio, case.scenarios, MOMENT), record, 1) == []
    written = [path for path in folder.parent.rglob("*") if path.is_file() and path != built.file]
    written = [path for path in written if (folder / "cloud") not in path.parents]
    assert not [path for path in written if SECRET.encode() in path.read_bytes()]
    assert SECRET not in outcome.out + outcome.err
    return outcome


def test_reports_appear_when_wanted_and_show_no_secret(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    outcome = _run_in_full(folder, "--no-ledger")
    assert "slow" in outcome.out and "terns" in outcome.out, "tables on standard output"
    assert files_below(folder / "reports")
    assert {path.name for path in tmp_path.iterdir()} == {"studio", "out.json"}
    assert not [path for path in folder.iterdir() if path.name.startswith("ledger")]


def test_the_page_and_the_test_report_appear_when_asked_for(tmp_path: Path) -> None:
    _run_in_full(tmp_path / "studio", "--html", "out.html", "--junit", "out.xml", "--no-reports", "--no-ledger")
    assert {path.name for path in tmp_path.iterdir()} == {"studio", "out.json", "out.html", "out.xml"}
    assert not files_below(tmp_path / "studio/reports")
    suite = ElementTree.parse(tmp_path / "out.xml").getroot()
    assert len(suite.findall(".//testcase")) >= 4 and suite.findall(".//failure")


def test_the_ledger_appears_beside_the_studio_file(tmp_path: Path) -> None:
    _run_in_full(tmp_path / "studio")
    assert (tmp_path / "studio/ledger.sqlite").is_file()
