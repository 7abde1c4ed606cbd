"""`drill survey` as a user starts it: exit codes, output, links, and that no picture is opened and nothing changed."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from census import census
from described import Medium, Studio
from hand import DAY, FILES, A, copy, held, media, shoot
from runner import CHECKOUT, NOW, Outcome, start
from studios import SECRET, Built, build, link_server


def take(built: Built, *more: str | Path) -> Outcome:
    return start("survey", built.file, "--now", NOW, *more, cwd=built.file.parent)


def whole(folder: Path, **parts: Any) -> Built:
    """A studio whose two drives hold all that is promised, one with a list and one without."""
    rest = {"media": media("x", "y"), "shoots": (shoot(*FILES),)} | parts
    return build(folder, Studio(copies=(copy("x", *FILES, says=True), copy("y", *FILES)), **rest))


def test_a_studio_that_is_whole(tmp_path: Path) -> None:
    built = whole(tmp_path / "s")
    before = census(tmp_path / "s")
    tables, record = take(built), take(built, "--json", "-")
    assert census(tmp_path / "s") == before
    assert (tables.code, record.code, tables.err, record.err) == (0, 0, "", ""), tables.said
    value = record.record
    assert value["schema"] == "restore-survey/1" and value["now"] == NOW and value["falls_short"] is False
    assert [(c["copy"], c["state"], c["there"]) for c in value["copies"]] == [("x", "here", 3), ("y", "here", 3)]
    assert "Nothing falls short" in tables.out and "What this does not prove" in tables.out
    assert max(map(len, tables.out.splitlines())) <= 80
    order = ["Shoot by shoot", "Copy by copy", "What this does not prove"]
    assert sorted(order, key=tables.out.index) == order


def test_what_falls_short_comes_first_and_exits_1(tmp_path: Path) -> None:
    holds = held(FILES[0], (FILES[1][0], b"shorter"))
    studio = Studio(
        media=media("x", "y"),
        shoots=(shoot(*FILES),),
        copies=(copy("x", *FILES, holds=holds, says=True), copy("y", *FILES[:2], says=True)),
    )
    built = build(tmp_path / "s", studio)
    outcome, target = take(built, "--json", "out.json"), tmp_path / "s/out.json"
    assert outcome.code == 1
    value = json.loads(target.read_text(encoding="utf-8"))
    assert value["shoots"][0]["on_no_copy"] == ["deliver/one.jpg"]
    assert [m["path"] for m in value["copies"][0]["missing"]] == ["deliver/one.jpg"]
    assert value["shoots"][0]["sizes_disagree"] == [{"path": "raw/AAAA0002.dng", "sizes": {"x": 7, "y": 5000}}]
    assert outcome.out.index("What falls short") < outcome.out.index("Shoot by shoot")
    assert set(take(built, "--json", "-").record) == set(value)


def test_the_target_for_proofs_exits_1_and_the_rules_do_not(tmp_path: Path) -> None:
    built = whole(tmp_path / "s", media=(Medium(id="x"), Medium(id="y")))
    assert take(built).code == 0  # one place, one kind, no third copy: advice
    with built.file.open("a", encoding="utf-8") as file:
        file.write('[shoots.targets]\nverified_within = "100 days"\n')
    text = built.file.read_text(encoding="utf-8")
    tail = text[text.index("[shoots.targets]") :]
    built.file.write_text(text.replace(tail, "").replace("[[copies]]", f"{tail}\n[[copies]]", 1), encoding="utf-8")
    outcome = take(built)
    assert outcome.code == 1 and "never verified" in outcome.out, outcome.said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--shoot", "nobody"), "no shoot has this id"),
        (("--json", "media/x/out.json"), "falls inside the copy x"),
        (("--json", "manifests/promise-terns.sha256"), "is the manifest"),
        (("--json", "nowhere/out.json"), "its folder is not there"),
        (("--json", "media"), "is a folder"),
        (("--now", "soon"), "no time such as"),
    ],
)
def test_exit_2_and_nothing_written(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    built = whole(tmp_path / "s")
    before = census(tmp_path / "s")
    outcome = take(built, *arguments)
    assert outcome.code == 2 and words in " ".join(outcome.err.split()), outcome.said
    assert outcome.out == "" and census(tmp_path / "s") == before


def test_a_mistake_in_the_studio_file_is_exit_2(tmp_path: Path) -> None:
    built = whole(tmp_path / "s")
    built.file.write_text(built.file.read_text(encoding="utf-8").replace('"ssd"', '"floppy"', 1), encoding="utf-8")
    outcome = take(built)
    assert outcome.code == 2 and "floppy" in outcome.err


# --- links -------------------------------------------------------------------------------------------------------


def linked(folder: Path, base: str, form: str, *, query: str = "") -> Built:
    studio = Studio(
        media=(*media("x"), Medium(id="cloud", kind="cloud", place="host")),
        shoots=(shoot(*FILES),),
        copies=(copy("x", *FILES), copy("cloud", *FILES, form=form, says=True)),
    )
    built = build(folder, studio, base=base)
    text = built.file.read_text(encoding="utf-8").replace(f"?sig={SECRET}", f"?sig={SECRET}{query}")
    built.file.write_text(text, encoding="utf-8")
    return built


@pytest.mark.parametrize("form", ["link", "link.zip"])
def test_a_link_is_asked_and_not_downloaded(tmp_path: Path, form: str) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        built = linked(tmp_path / "s", base, form, query="&se=2026-12-04")
        outcome = take(built, "--json", "-")
        assert len(served.requests) == 1 and served.body_bytes <= 1
        tables = take(built)
    cloud = outcome.record["copies"][1]
    assert (cloud["state"], cloud["found"], cloud["promised"], cloud["there"]) == ("answers", None, 3, 0)
    assert (cloud["expires"], cloud["expired"], outcome.code) == ("2026-12-04T00:00:00Z", False, 0)
    assert re.search(r"expires\s+in\s+9\s+days", " ".join(tables.out.split())) or "9 days" in tables.out
    assert SECRET not in outcome.said + tables.said


def test_a_link_that_has_expired_is_not_asked(tmp_path: Path) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        built = linked(tmp_path / "s", base, "link.zip", query="&Expires=1790000000")
        outcome = take(built, "--json", "-")
        assert served.requests == []
    cloud = outcome.record["copies"][1]
    assert (cloud["state"], cloud["expired"], outcome.code) == ("expired", True, 1)
    assert SECRET not in outcome.said
    assert outcome.record["shoots"][0]["copies"] == {"x": 3}


def test_a_link_that_refuses(tmp_path: Path) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        built = linked(tmp_path / "s", base, "link")
        served.answer = {f"/cloud/{path}": (410, b"gone") for path, _ in FILES}
        outcome = take(built, "--json", "-")
    assert (outcome.record["copies"][1]["state"], outcome.code) == ("refuses", 1)
    assert SECRET not in outcome.said


def test_a_link_that_refuses_its_first_file_alone(tmp_path: Path) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        built = linked(tmp_path / "s", base, "link")
        served.answer = {f"/cloud/{FILES[0][0]}": (404, b"not here")}
        outcome = take(built, "--json", "-")
        assert len(served.requests) == 2
    assert (outcome.record["copies"][1]["state"], outcome.code) == ("answers", 0)
    assert "refuses some of its files" in " ".join(outcome.record["notes"])


def test_a_server_that_is_not_there_leaves_it_on_paper(tmp_path: Path) -> None:
    studio = Studio(
        media=(Medium(id="cloud", kind="cloud", place="host"),),
        shoots=(shoot(*FILES),),
        copies=(copy("cloud", *FILES, form="link", says=True, out_of_reach="no server"),),
    )
    outcome = take(build(tmp_path / "s", studio), "--json", "-")
    assert (outcome.record["shoots"][0]["on_paper"], outcome.code) == (3, 0)


# --- nothing is read ---------------------------------------------------------------------------------------------


@pytest.mark.outside
def test_no_file_of_a_folder_is_opened(tmp_path: Path) -> None:
    """strace as judge: every open below a copy names a folder."""
    strace = shutil.which("strace")
    if strace is None:
        pytest.skip("strace is not installed")
    more = Medium(id="z", place="z", recognised_by="Z.txt")
    studio = Studio(
        media=(*media("x", "y"), more),
        shoots=(shoot(*FILES), shoot(("raw/renamed.dng", A), id="late", date=DAY)),
        copies=(copy("x", *FILES, says=True), copy("y", *FILES), copy("z", *FILES)),
    )
    built = build(tmp_path / "s", studio)
    trace = tmp_path / "trace"
    judge = (strace, "-f", "-e", "trace=open,openat,openat2,creat", "-o", trace)
    done = subprocess.run(
        [*judge, sys.executable, "-m", "drill", "survey", built.file],
        cwd=built.file.parent,
        env={"PYTHONPATH": str(CHECKOUT), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
    )
    if not trace.exists() or not trace.read_text(encoding="utf-8", errors="replace"):
        pytest.skip(f"strace may not trace here: {done.stderr}")
    assert done.returncode in (0, 1), done.stderr
    opened = [line for line in trace.read_text(errors="replace").splitlines() if f"{tmp_path}/s/media" in line]
    assert len(opened) >= 3  # the folders were listed
    assert [line for line in opened if "O_DIRECTORY" not in line] == []
    assert [line for line in opened if "O_RDONLY" not in line] == []


# --- folders that are locked -------------------------------------------------------------------------------------


def take_locked(built: Built) -> tuple[int, dict[str, Any]]:
    """Survey as somebody to whom locked folders are locked, as they are not to root."""
    before: list[str] = []
    if os.name == "nt":
        pytest.skip("needs POSIX permissions")
    if os.getuid() == 0:
        less = "-dac_override,-dac_read_search"
        before = ["setpriv", f"--bounding-set={less}", f"--inh-caps={less}", "--"]
        if shutil.which("setpriv") is None:
            pytest.skip("setpriv (util-linux) is not installed, and root may read everything")
    command = [*before, sys.executable, "-m", "drill", "survey", str(built.file), "--json", "-"]
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.mark.outside
@pytest.mark.parametrize("mode", [0o000, 0o600])  # not to be listed; to be listed, and nothing in it looked at
def test_a_locked_folder_falls_short(tmp_path: Path, mode: int) -> None:
    built = whole(tmp_path / "s")
    assert take_locked(built)[0] == 0
    locked = tmp_path / "s/media/y/raw"
    locked.chmod(mode)
    try:
        code, record = take_locked(built)
    finally:
        locked.chmod(0o700)
    x, y = record["copies"]
    assert (code, x["unlisted"], y["unlisted"]) == (1, [], ["raw (Permission denied)"])
    assert (x["there"], y["there"], y["falls_short"]) == (3, 1, True)
