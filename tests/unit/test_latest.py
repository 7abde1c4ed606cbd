"""The reports folder: a fresh folder a run, and `latest`, which is always a whole report and never somebody else's."""

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from told import RUN

from drill.errors import Unfinished
from drill.report import latest
from drill.report.files import save_report

CHECKOUT = Path(__file__).resolve().parents[2]
NAMES = ["drill.html", "drill.json", "drill.txt"]


def _save(reports: Path, text: str, *, seed: int = 7) -> tuple[Path, list[str]]:
    """Save a report; return its folder and what was said."""
    said: list[str] = []
    run = replace(RUN, seed=seed)
    return save_report(reports, run, text, f"<p>{text}</p>", warn=said.append), said


def _without_links(monkeypatch: pytest.MonkeyPatch) -> None:
    """Behave as on a file system that knows no links: no such one can be mounted everywhere the tests run."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "symlink", refuse)


@pytest.fixture(params=["linked", "copied"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """How `latest` is kept."""
    if request.param == "copied":
        _without_links(monkeypatch)
    elif os.name == "nt":
        pytest.skip("on Windows it is a copy")
    return str(request.param)


def test_each_run_has_a_folder_of_its_own_and_latest_shows_the_last(way: str, tmp_path: Path) -> None:
    for number in range(3):
        folder, said = _save(tmp_path / "reports", f"report {number}", seed=number)
        shown = tmp_path / "reports/latest"
        assert not said
        assert [(shown / name).read_bytes() for name in NAMES] == [(folder / name).read_bytes() for name in NAMES]
        assert json.loads((shown / "drill.json").read_bytes())["seed"] == number
    assert shown.is_symlink() == (way == "linked")
    made = sorted(path.name for path in (tmp_path / "reports").iterdir())
    assert made == ["20261124T200000Z", "20261124T200000Z-2", "20261124T200000Z-3", "latest"]
    for name in made[:3]:
        assert sorted(path.name for path in (tmp_path / "reports" / name).iterdir()) == NAMES


@pytest.mark.skipif(os.name == "nt", reason="on Windows it is a copy")
def test_the_link_is_relative_so_that_the_folder_can_be_moved(tmp_path: Path) -> None:
    _save(tmp_path / "reports", "first")
    (tmp_path / "reports").rename(tmp_path / "elsewhere")
    assert (tmp_path / "elsewhere/latest/drill.txt").read_text(encoding="utf-8") == "first"


def test_a_link_to_a_report_that_was_thrown_away_is_ours_still(way: str, tmp_path: Path) -> None:
    folder, _ = _save(tmp_path / "reports", "first")
    for file in folder.iterdir():
        file.unlink()
    folder.rmdir()
    _save(tmp_path / "reports", "second")
    assert (tmp_path / "reports/latest/drill.txt").read_text(encoding="utf-8") == "second"


@pytest.mark.skipif(os.name == "nt", reason="on Windows it is a copy from the start")
def test_where_links_stop_working_a_copy_takes_the_link_s_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _save(tmp_path / "reports", "first")
    _without_links(monkeypatch)
    _save(tmp_path / "reports", "second")
    shown = tmp_path / "reports/latest"
    assert not shown.is_symlink() and (shown / "drill.txt").read_text(encoding="utf-8") == "second"
    assert (tmp_path / "reports/20261124T200000Z/drill.txt").read_text(encoding="utf-8") == "first"


def test_what_lies_beside_the_copied_files_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _without_links(monkeypatch)
    _save(tmp_path / "reports", "first")
    mine, outside = tmp_path / "reports/latest/mine.txt", tmp_path / "outside.html"
    mine.write_text("mine", encoding="utf-8")
    outside.write_text("outside", encoding="utf-8")
    (tmp_path / "reports/latest/drill.html").unlink()
    (tmp_path / "reports/latest/drill.html").hardlink_to(outside)
    _save(tmp_path / "reports", "second")
    assert mine.read_text(encoding="utf-8") == "mine"
    assert outside.read_text(encoding="utf-8") == "outside"
    assert (tmp_path / "reports/latest/drill.html").read_text(encoding="utf-8") == "<p>second</p>"


@pytest.mark.parametrize("what", ["folder", "file", "link", "link elsewhere", "dangling link"])
def test_what_somebody_put_there_is_left_and_said(what: str, tmp_path: Path) -> None:
    reports, own = tmp_path / "reports", tmp_path / "own"
    shown = reports / "latest"
    for folder in (reports, own, reports / "keep"):
        folder.mkdir()
        (folder / "drill.txt").write_text("mine", encoding="utf-8")
    if what == "folder":
        shown.mkdir()
        (shown / "drill.txt").write_text("mine", encoding="utf-8")
    elif what == "file":
        shown.write_text("mine", encoding="utf-8")
    elif os.name == "nt":
        pytest.skip("making a link asks for rights on Windows")
    else:
        where = {"link": Path("keep"), "link elsewhere": own, "dangling link": Path("nowhere")}[what]
        shown.symlink_to(where, target_is_directory=True)
    folder, said = _save(reports, "new")
    assert len(said) == 1 and str(shown) in said[0] and str(folder) in said[0] and "left as it is" in said[0]
    assert (folder / "drill.txt").read_text(encoding="utf-8") == "new"
    for kept in (own / "drill.txt", reports / "keep/drill.txt"):
        assert kept.read_text(encoding="utf-8") == "mine"
    if what != "dangling link":
        assert (shown if what == "file" else shown / "drill.txt").read_text(encoding="utf-8") == "mine"


def test_where_latest_cannot_be_written_the_report_is_there_and_it_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _without_links(monkeypatch)
    _save(tmp_path / "reports", "first")
    (tmp_path / "reports/latest/drill.html").unlink()
    (tmp_path / "reports/latest/drill.html").mkdir()
    with pytest.raises(Unfinished, match=r"the report is in .*20261124T200000Z-2; latest beside it cannot be written"):
        _save(tmp_path / "reports", "second")
    assert (tmp_path / "reports/20261124T200000Z-2/drill.txt").read_text(encoding="utf-8") == "second"


SAVER = """
import os, sys
from dataclasses import replace
from pathlib import Path
from told import RUN
from drill.report.files import save_report
if sys.argv[2] == "copied":
    def refuse(*_, **__):
        raise OSError(1, "Operation not permitted")
    os.symlink = refuse
for number in range(int(sys.argv[3]), int(sys.argv[3]) + 10_000):
    page = f"{number} " * 20_000
    run = replace(RUN, seed=number, started="2026-11-%02dT%02d:%02d:%02dZ" % (
        number // 86400 + 1, number // 3600 % 24, number // 60 % 60, number % 60))
    save_report(Path(sys.argv[1]), run, page, page, warn=print)
    print("saved", flush=True)
"""


def _saver(reports: Path, way: str, first: int) -> "subprocess.Popen[str]":
    paths = os.pathsep.join([str(CHECKOUT), str(CHECKOUT / "tests/shared")])
    return subprocess.Popen(
        [sys.executable, "-c", SAVER, str(reports), way, str(first)],
        env={**os.environ, "PYTHONPATH": paths},
        stdout=subprocess.PIPE,
        text=True,
    )


def _whole(reports: Path) -> None:
    """Each file that `latest` shows is there, and is one report from its first word to its last."""
    for name in ("drill.txt", "drill.html"):
        words = (reports / "latest" / name).read_text(encoding="utf-8").split()
        assert len(words) == 20_000 and len(set(words)) == 1
    assert json.loads((reports / "latest/drill.json").read_bytes())["schema"] == "restore-drill/1"


@pytest.mark.deep
@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGKILL")
def test_killed_at_any_moment_latest_is_whole(way: str, tmp_path: Path) -> None:
    reports = tmp_path / "reports"
    for number in range(7):
        with _saver(reports, way, number * 600) as running:
            assert running.stdout is not None
            assert running.stdout.readline() == "saved\n"
            end = time.monotonic() + 0.007 * number
            while time.monotonic() < end:
                _whole(reports)
            running.send_signal(signal.SIGKILL)
        _whole(reports)
    last, _ = _save(reports, "after")
    assert (reports / "latest/drill.txt").read_text(encoding="utf-8") == "after"
    assert (reports / "latest").is_symlink() == (way == "linked") and last.is_dir()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGKILL")
def test_two_runs_at_once_both_end_and_latest_is_one_of_them(way: str, tmp_path: Path) -> None:
    reports = tmp_path / "reports"
    with _saver(reports, way, 0) as one, _saver(reports, way, 0) as other:
        for running in (one, other):
            assert running.stdout is not None
            for _ in range(20):
                assert running.stdout.readline() == "saved\n"
                _whole(reports)
        for running in (one, other):
            running.kill()
    _whole(reports)


def test_what_a_killed_run_left_aside_is_taken_away_by_the_next_of_its_number(tmp_path: Path) -> None:
    reports = tmp_path / "reports"
    aside = reports / f".{latest.NAME}-{os.getpid()}"
    aside.mkdir(parents=True)
    (aside / "drill.txt").write_text("half", encoding="utf-8")
    _save(reports, "whole")
    assert not aside.exists() and (reports / "latest/drill.txt").read_text(encoding="utf-8") == "whole"


def test_nothing_else_is_written_where_a_report_lies(way: str, tmp_path: Path) -> None:
    folder, _ = _save(tmp_path / "reports", "first")
    inside = [
        tmp_path / "reports/latest/a.html",
        tmp_path / "reports/latest",
        folder / "a.html",
        folder / "deep/a.html",
    ]
    assert all(latest.in_a_report(file, tmp_path / "reports") for file in inside)
    beside = [
        tmp_path / "reports/a.html",
        tmp_path / "latest/a.html",
        tmp_path / "reports",
        tmp_path / "reports/mine/a",
    ]
    assert not any(latest.in_a_report(file, tmp_path / "reports") for file in beside)
