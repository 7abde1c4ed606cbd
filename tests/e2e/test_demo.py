"""`drill demo`: lays out, drills everything, leaves reports, stops what it started; its studio can be drilled again."""

import json
import socket
import tomllib
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from census import census
from runner import CHECKOUT, Outcome, start

pytestmark = pytest.mark.deep  # it drills six shoots in every scenario; how it lays them out has quick tests


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Outcome]:
    folder = tmp_path_factory.mktemp("demo") / "studio"
    return folder, start("demo", folder, cwd=folder.parent)


def record_of(folder: Path) -> dict[str, object]:
    found: dict[str, object] = json.loads((folder / "reports/latest/drill.json").read_text(encoding="utf-8"))
    return found


def test_it_ends_well_whatever_its_drills_found_and_leaves_reports(demo: tuple[Path, Outcome]) -> None:
    folder, outcome = demo
    assert outcome.code == 0, outcome.said
    assert "Traceback" not in outcome.err
    for words in ("What comes back", "Shoot by shoot", "Wrong on the copies today", "What to do first"):
        assert words in outcome.out
    record = record_of(folder)
    assert record["complete"] is True
    shipped = {path.stem for path in (CHECKOUT / "scenarios").glob("*.toml")}
    drills = record["drills"]
    assert isinstance(drills, list)
    assert {drill["scenario"] for drill in drills} == shipped
    assert {drill["verdict"] for drill in drills} == {"restored", "late", "unproven", "partial", "lost"}
    assert list((folder / "scratch").iterdir()) == []


def test_its_ledger_has_a_drill_and_an_audit_and_what_it_says_to_try_next_works(demo: tuple[Path, Outcome]) -> None:
    folder, outcome = demo
    _, _, rest = outcome.out.partition("How old the proofs are")
    assert "Both are in the demo's ledger now." in " ".join(rest.split()), outcome.said
    (field,) = (line.split() for line in rest.splitlines() if line.startswith("glassworks        field-ssd"))
    assert field[-2:] == ["43", "1"], "what never arrived, and what was cut short"
    tried = [line.split()[1:] for line in rest.splitlines() if line.startswith("  drill ")]
    assert len(tried) == 6 and "\n  pytest studio.toml  " in rest
    found = {words[0]: start(*words[: 3 if words[0] == "retire" else 2], cwd=folder) for words in tried}
    assert {outcome.code for outcome in found.values()} == {1}, [one.said for one in found.values()]
    assert "1 drill and 2 audits" in found["history"].out
    assert "No: card must be kept" in found["retire"].out
    assert "all 900 pictures gone" in " ".join(found["search"].out.split())
    assert "1 altered" in found["audit"].out and "45 found damaged or missing" in " ".join(found["audit"].out.split())


def test_the_planted_damage_is_found(demo: tuple[Path, Outcome]) -> None:
    _, outcome = demo
    said = " ".join(outcome.out.split())
    assert "archive-a: 2026/marsh-ponies/originals/QLLN2213.TIF: not what was promised" in said
    assert "gallery: glass-01.jpg, glass-02.jpg" in said
    assert "field-ssd, today: 43 files are missing or cannot be read and 1 file is not what was promised." in said
    assert "and 11 more: a web page comes in place of the file" in said
    assert "the link says it expired" in said


def test_what_it_started_has_stopped(demo: tuple[Path, Outcome]) -> None:
    folder, _ = demo
    copies = tomllib.loads((folder / "studio.toml").read_text(encoding="utf-8"))["copies"]
    ports = {urlsplit(copy["at"]).port for copy in copies if copy.get("at", "").startswith("http")}
    assert len(ports) == 1
    with socket.socket() as probe:
        probe.settimeout(2)
        assert probe.connect_ex(("127.0.0.1", ports.pop() or 0)) != 0


def test_its_studio_can_be_drilled_again_from_another_folder(demo: tuple[Path, Outcome], tmp_path: Path) -> None:
    folder, _ = demo
    before = census(folder / "media", folder / "manifests")
    arguments = (
        "run",
        folder / "studio.toml",
        "--scenario",
        "lost-tablet",
        "--seed",
        "3",
        "--no-reports",
        "--json",
        "-",
    )
    outcome = start(*arguments, cwd=tmp_path)
    assert outcome.code == 1, outcome.said
    assert census(folder / "media", folder / "manifests") == before
    drills = json.loads(outcome.out)["drills"]
    assert {drill["shoot"] for drill in drills} == {drill["shoot"] for drill in record_of(folder)["drills"]}  # type: ignore[attr-defined]
    assert "token=" not in outcome.out + outcome.err


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    outcome = start("demo", tmp_path, cwd=tmp_path)
    assert outcome.code == 2
    assert "holds something already" in outcome.err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
