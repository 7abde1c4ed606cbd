"""The exit codes of `drill run`, what it says when it refuses, and that it then has written nothing."""

import signal
import sys
from pathlib import Path

import pytest
from census import census, files_below
from described import Hazard, Medium, Studio, Targets
from hand import FILES, SLOW, copy, gone, good, media, only, shoot
from runner import Outcome, begin, run_drills, start
from studios import build, link_server


def test_exit_0_when_all_is_met_and_1_when_a_target_is_not(tmp_path: Path) -> None:
    met = good(tmp_path / "met", SLOW, targets=Targets(further_failures=1))
    assert run_drills(met.file, *met.scenarios).code == 0
    missed = good(tmp_path / "missed", SLOW, targets=Targets(further_failures=2))
    outcome = run_drills(missed.file, *missed.scenarios)
    assert (outcome.code, outcome.record["drills"][0]["verdict"]) == (1, "restored")


def test_late_when_it_cannot_be_in_hand_in_time(tmp_path: Path) -> None:
    far = Medium(id="x", more={"in_hand_after": "3 h"})
    studio = Studio(
        media=(far,), shoots=(shoot(*FILES, targets=Targets(restore_within="2 h")),), copies=(copy("x", *FILES),)
    )
    built = build(tmp_path / "studio", studio, (SLOW,))
    outcome = run_drills(built.file, *built.scenarios)
    (drill,) = outcome.record["drills"]
    assert (outcome.code, drill["verdict"], drill["files"]["verified"]) == (1, "late", 3)
    assert drill["seconds"]["target"] == 7200 and drill["seconds"]["projected"] >= 10800


def _refused(outcome: Outcome, folder: Path, before: object, *words: str) -> None:
    """Exit 2: every mistake is said on standard error, and nothing was run or written."""
    assert outcome.code == 2, outcome.said
    missing = [word for word in words if word not in outcome.err]
    assert not missing, f"not said: {missing}\n{outcome.said}"
    assert "Traceback" not in outcome.err
    assert census(folder) == before, "something was written"


def test_exit_2_lists_every_mistake(tmp_path: Path) -> None:
    built = good(tmp_path / "studio")
    text = built.file.read_text(encoding="utf-8")
    text = text.replace("[[media]]\n", '[[media]]\ncolour = "red"\n', 1).replace('kind = "ssd"', 'kind = "floppy"', 1)
    text = text.replace('on = "y"', 'on = "nobody"')
    built.file.write_text(text + '\n[targets]\nrestore_within = "soon"\n', encoding="utf-8")
    (tmp_path / "studio/manifests/promise-terns.sha256").write_text("not a checksum line\n", encoding="utf-8")
    before = census(tmp_path / "studio")
    outcome = run_drills(built.file, "lost-tablet")
    words = ("colour", "floppy", "nobody", "soon", "studio.toml", "promise-terns.sha256")
    _refused(outcome, tmp_path / "studio", before, *words)


BAD_SCENARIOS = {
    "nobody": '[[hazards]]\neffect = "gone"\nhits = { medium = "nobody" }\n',
    "vanished": '[[hazards]]\neffect = "vanished"\n',
    "colour": '[[hazards]]\neffect = "gone"\ncolour = "red"\n',
    "each": '[[hazards]]\neffect = "gone"\neach = "medium"\n' * 2,
    "tricorder": '[[hazards]]\neffect = "gone"\nhits = { kind = "tricorder" }\n',
    "percent": '[[hazards]]\neffect = "truncated"\nkeep = "percent"\n',
}


@pytest.mark.parametrize("word", BAD_SCENARIOS)
def test_exit_2_when_a_scenario_is_wrong(word: str, tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    bad = tmp_path / "studio" / "bad.toml"
    bad.write_text(f'title = "Bad"\nstory = "Bad"\n{BAD_SCENARIOS[word]}', encoding="utf-8")
    before = census(tmp_path / "studio")
    _refused(run_drills(built.file, *built.scenarios, bad), tmp_path / "studio", before, word, "bad.toml")


def test_exit_2_for_what_cannot_be_meant(tmp_path: Path) -> None:
    tapes = only("tapes", Hazard(effect="gone", hits={"kind": "tape"}))
    built = good(tmp_path / "studio", SLOW, tapes)
    (tmp_path / "studio/again").mkdir()
    twice = tmp_path / "studio/again/slow.toml"
    twice.write_bytes(built.scenarios[0].read_bytes())
    before = census(tmp_path / "studio")
    _refused(run_drills(built.file, built.scenarios[0], twice), tmp_path / "studio", before, "slow")
    _refused(run_drills(built.file, built.scenarios[1]), tmp_path / "studio", before, "tapes")
    _refused(run_drills(built.file, "no-such-scenario"), tmp_path / "studio", before, "no-such-scenario")
    more = ("--shoot", "nobody")
    _refused(run_drills(built.file, built.scenarios[0], more=more), tmp_path / "studio", before, "nobody")
    missing = tmp_path / "studio/nothing.toml"
    _refused(run_drills(missing, "lost-tablet"), tmp_path / "studio", before, "nothing.toml")


@pytest.mark.parametrize("path", ["media/x", "media/x/below", "media/../media/y", "door", "door/below"])
def test_exit_2_when_scratch_is_inside_a_copy(path: str, tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    if path.startswith("door"):
        try:
            (tmp_path / "studio/door").symlink_to(tmp_path / "studio/media/x", target_is_directory=True)
        except OSError:
            pytest.skip("this system lets no symbolic link be made")
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(text.replace('scratch = "scratch"', f'scratch = "{path}"'), encoding="utf-8")
    before = census(tmp_path / "studio")
    _refused(run_drills(built.file, *built.scenarios), tmp_path / "studio", before, "scratch")


def test_exit_2_when_an_output_would_fall_inside_a_copy(tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    before = census(tmp_path / "studio")
    options = [
        option for option in ("--json", "--html", "--junit") if option in start("run", "--help", cwd=tmp_path).out
    ]
    assert "--json" in options
    for option in options:
        target = tmp_path / "studio/media/x/out"
        args = ("run", built.file, "--scenario", built.scenarios[0], "--no-ledger", "--no-reports", option, target)
        outcome = start(*args, cwd=tmp_path)
        _refused(outcome, tmp_path / "studio", before, option)
        assert "usage:" not in outcome.err, "refused for another reason"


def test_exit_2_when_a_password_s_variable_is_not_set_and_0_when_it_is(tmp_path: Path) -> None:
    py7zr = pytest.importorskip("py7zr", reason="makes the encrypted archive")
    built = good(tmp_path / "studio", gone(medium="x"))
    box = tmp_path / "studio/media/y/pictures.7z"
    with py7zr.SevenZipFile(box, "w", password="terns only") as archive:
        for path, data in FILES:
            archive.writestr(data, path)
    text = built.file.read_text(encoding="utf-8")
    locked = 'at = "media/y/pictures.7z"\npassword_env = "TEST_PICTURES_PASSWORD"'
    built.file.write_text(text.replace('at = "media/y"', locked), encoding="utf-8")
    before = census(tmp_path / "studio")
    unset = {"TEST_PICTURES_PASSWORD": None}
    refused = run_drills(built.file, *built.scenarios, env=unset)
    _refused(refused, tmp_path / "studio", before, "TEST_PICTURES_PASSWORD")
    opened = run_drills(built.file, *built.scenarios, env={"TEST_PICTURES_PASSWORD": "terns only"})
    assert opened.code == 0, opened.said
    assert opened.record["drills"][0]["sources"] == {"y": 3}
    assert "terns only" not in opened.out + opened.err


def test_exit_3_when_scratch_cannot_be_written(tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    (tmp_path / "studio/scratch").write_text("a file where a folder should be", encoding="utf-8")
    before = census(*built.sources)
    outcome = run_drills(built.file, *built.scenarios)
    assert outcome.code in (2, 3), outcome.said
    assert "scratch" in outcome.err and "Traceback" not in outcome.err
    assert census(*built.sources) == before


@pytest.mark.skipif(sys.platform == "win32", reason="sends the signal that Ctrl-C sends on POSIX systems")
def test_exit_3_when_interrupted_and_nothing_is_left(tmp_path: Path) -> None:
    kept = (Medium(id="web", kind="cloud"), *media("disk"))
    copies = (copy("web", *FILES, says=True, form="link"), copy("disk", FILES[0]))
    studio, folder = Studio(media=kept, shoots=(shoot(*FILES),), copies=copies), tmp_path / "studio"
    with link_server(folder / "cloud") as (base, served):
        built = build(folder, studio, (SLOW,), base=base)
        before = census(*built.sources)
        served.stuck = {f"/web/{path}" for path, _ in FILES}
        args = ("run", built.file, "--scenario", built.scenarios[0], "--no-ledger", "--no-reports")
        with begin(*args, cwd=tmp_path) as running:
            assert served.arrived.wait(30), "it never asked the server"
            running.send_signal(signal.SIGINT)
            out, err = running.communicate(timeout=30)
        served.release.set()
    assert running.returncode == 3, (out, err)
    assert "Traceback" not in err and err
    assert files_below(folder / "scratch") == []
    assert census(*built.sources) == before


def test_exit_2_when_the_disk_that_scratch_is_on_is_not_there(tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(text.replace('scratch = "scratch"', 'scratch = "safe-disk/scratch"'), encoding="utf-8")
    before = census(tmp_path / "studio")
    _refused(run_drills(built.file, *built.scenarios), tmp_path / "studio", before, "scratch", "plug that disk in")
    assert not (tmp_path / "studio/safe-disk").exists()


@pytest.mark.parametrize(("option", "word"), [("--seed", "five"), ("--seed", "-1"), ("--now", "yesterday")])
def test_exit_2_when_an_option_s_value_is_wrong(option: str, word: str, tmp_path: Path) -> None:
    built = good(tmp_path / "studio", SLOW)
    outcome = start("run", built.file, f"{option}={word}", cwd=tmp_path)
    assert outcome.code == 2
    assert word in outcome.err
    assert "_" not in outcome.err.splitlines()[-1].partition("error:")[2], "a programmer's word"
