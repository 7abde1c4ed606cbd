"""Drills as tests: pytest itself, in a new process, with the entry point that pyproject.toml declares.

Exit codes: https://docs.pytest.org/en/stable/reference/exit-codes.html (0 all passed, 1 some failed, 2 interrupted,
also by mistakes in a file, 4 usage, 5 nothing collected); outcomes and reports as on
https://docs.pytest.org/en/stable/how-to/output.html.
"""

import json
import os
import shlex
import signal
import sqlite3
import subprocess
import sys
import tomllib
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree

import pytest
from census import census, files_below
from described import Hazard, Medium, Scenario, Studio
from hand import FILES, copy, media, picture, shoot
from runner import CHECKOUT, NOW, start
from studios import Built, build, link_server

pytest_plugins = ["pytester"]

pytestmark = pytest.mark.deep  # many starts of pytest; the expectations, the rehearsal have quick tests

EACH_GONE = Scenario(name="drive-gone", hazards=(Hazard(effect="gone", each="medium", hits={"medium": ["x", "y"]}),))
TAPES_GONE = Scenario(name="tapes-gone", hazards=(Hazard(effect="gone", hits={"kind": "tape"}),))
HEAD = 'studio = "studio/studio.toml"\nseed = 7\nscenarios = ["studio/scenarios/drive-gone.toml"]\n'
DUNES_ON_X = '[[accepted]]\nscenario = "drive-gone"\nvariant = "x"\nshoot = "dunes"\nreason = "y is on order"\n'
IDS = ["dunes::drive-gone[x]", "dunes::drive-gone[y]", "terns::drive-gone[x]", "terns::drive-gone[y]"]
# Of these drills one falls short: the shoot "dunes" is on x alone.


@pytest.fixture
def installed(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make pytest find this checkout's plugin by its entry point, installed or not; no test may need a proxy."""
    declared = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["entry-points"]
    about = pytester.path / "site" / "drills_of_the_checkout-0.dist-info"
    about.mkdir(parents=True)
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: drills-of-the-checkout\nVersion: 0\n")
    lines = [f"{name} = {module}\n" for name, module in declared["pytest11"].items()]
    (about / "entry_points.txt").write_text("[pytest11]\n" + "".join(lines))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([os.fspath(CHECKOUT), os.fspath(about.parent)]))
    monkeypatch.setenv("NO_PROXY", "*")
    monkeypatch.delenv("CI", raising=False)  # with it pytest tells each failure once more, in full, in its summary
    return about


@pytest.fixture
def built(pytester: pytest.Pytester, installed: Path) -> Built:
    """Lay out a studio of two shoots on two drives, one of them on x alone, and a file of expectations."""
    assert installed.is_dir()
    dunes = tuple((f"dunes/{path}", data + b"dunes") for path, data in FILES)
    studio = Studio(
        media=media("x", "y"),
        shoots=(shoot(*dunes, id="dunes"), shoot(*FILES)),
        copies=(copy("x", *dunes, *FILES), copy("y", *FILES)),
    )
    laid = build(pytester.path / "studio", studio, (EACH_GONE, TAPES_GONE))
    expect(pytester, HEAD)
    return laid


def expect(pytester: pytest.Pytester, text: str) -> None:
    (pytester.path / "quarterly.drill.toml").write_text(text, encoding="utf-8")


def ids_in(junit: Path) -> dict[str, str]:
    """Read a JUnit file back: by id, what became of each."""
    found = {}
    for case in ElementTree.parse(junit).getroot().iter("testcase"):
        shoot_id = case.attrib["classname"].rpartition(".")[2]
        found[f"{shoot_id}::{case.attrib['name']}"] = case[0].tag if len(case) else "passed"
    return found


def past_runs(built: Built, folder: Path) -> list[dict[str, object]]:
    outcome = start("history", built.file, "--json", "-", cwd=folder)
    runs: list[dict[str, object]] = outcome.record["runs"]
    return runs


def test_a_file_of_expectations_gives_an_item_for_each_scenario_variant_and_shoot(
    pytester: pytest.Pytester, built: Built
) -> None:
    before = census(*built.sources)
    result = pytester.runpytest_subprocess("-v")
    assert result.ret == pytest.ExitCode.TESTS_FAILED
    result.assert_outcomes(passed=3, failed=1)
    result.stdout.fnmatch_lines([f"*quarterly.drill.toml::{id_.replace('[', '[[]')} *" for id_ in IDS])
    text = result.stdout.str()
    assert "dunes, if this happens: " in text and "3 files would be lost" in text
    assert "Traceback" not in text and ".py:" not in text, text
    assert census(*built.sources) == before
    assert files_below(built.file.parent / "scratch") == []


def test_the_command_that_is_printed_repeats_the_drill(pytester: pytest.Pytester, built: Built) -> None:
    text = pytester.runpytest_subprocess("--drill-now", NOW).stdout.str()
    (line,) = [line for line in text.splitlines() if line.startswith("See all of it: drill run ")]
    words = shlex.split(line.removeprefix("See all of it: drill "))
    assert words[-2:] == ["--now", NOW] and words[words.index("--seed") + 1] == "7"
    outcome = start(*words, "--json", "-", "--no-reports", cwd=pytester.path)
    verdicts = {(drill["shoot"], drill["variant"]): drill["verdict"] for drill in outcome.record["drills"]}
    assert outcome.code == 1 and verdicts == {("dunes", "x"): "lost", ("dunes", "y"): "restored"}
    assert built.file.is_file()


def test_drills_are_chosen_as_tests_are(pytester: pytest.Pytester, built: Built) -> None:
    run = pytester.runpytest_subprocess
    run("-k", "terns").assert_outcomes(passed=2, deselected=2)
    assert run("-k", "nobody").ret == pytest.ExitCode.NO_TESTS_COLLECTED
    run("quarterly.drill.toml::terns").assert_outcomes(passed=2)
    run("quarterly.drill.toml::terns::drive-gone[x]").assert_outcomes(passed=1)
    run("quarterly.drill.toml::dunes::drive-gone").assert_outcomes(passed=1, failed=1)
    first = run("-x")
    first.assert_outcomes(failed=1)
    assert first.ret == pytest.ExitCode.TESTS_FAILED
    assert run("nothing.drill.toml").ret == pytest.ExitCode.USAGE_ERROR
    run().assert_outcomes(passed=3, failed=1)
    run("--lf").assert_outcomes(failed=1)
    assert not built.file.with_name("scratch").exists() or files_below(built.file.with_name("scratch")) == []


@pytest.mark.parametrize(
    "options", [("-p", "no:cacheprovider"), ("-p", "no:xdist"), ("-W", "error"), ("-p", "no:junitxml")]
)
def test_no_other_plugin_is_needed_and_no_warning_given(
    options: tuple[str, ...], pytester: pytest.Pytester, built: Built
) -> None:
    result = pytester.runpytest_subprocess(*options, "--strict-markers", "--strict-config")
    result.assert_outcomes(passed=3, failed=1, warnings=0)
    assert built.file.is_file()


@pytest.mark.parametrize("how", ["load", "loadscope", "loadfile", "loadgroup", "worksteal"])
def test_drills_are_spread_over_processes_and_noted_as_one_run(
    how: str, pytester: pytest.Pytester, built: Built
) -> None:
    before = census(*built.sources)
    result = pytester.runpytest_subprocess("-n", "2", "--dist", how, "--junitxml", "found.xml")
    result.assert_outcomes(passed=3, failed=1)
    ids = {id_.partition("@")[0]: what for id_, what in ids_in(pytester.path / "found.xml").items()}
    assert ids == dict.fromkeys(IDS, "passed") | {"dunes::drive-gone[x]": "failure"}
    assert "3 files would be lost" in result.stdout.str() and "Traceback" not in result.stdout.str()
    (run,) = past_runs(built, pytester.path)
    told = (run["kind"], run["complete"], run["drills"], run["falling_short"], run["seed"])
    assert told == ("drill", True, 4, 1, 7)
    assert census(*built.sources) == before and files_below(built.file.with_name("scratch")) == []


def test_the_command_that_repeats_a_test_fails_as_it_did(pytester: pytest.Pytester, built: Built) -> None:
    expect(pytester, HEAD + '[[expect]]\nshoots = ["terns"]\nfurther_failures = 9\n')
    text = pytester.runpytest_subprocess("--drill-now", NOW).stdout.str()
    lines = [line for line in text.splitlines() if line.startswith("Repeat it: pytest ")]
    again = pytester.runpytest_subprocess(*shlex.split(lines[0].removeprefix("Repeat it: pytest ")))
    again.assert_outcomes(failed=1)
    assert lines[0] in again.stdout.str() and "--drill-now" in lines[0]
    again.stdout.fnmatch_lines(["FAILED *terns* - Failed: all back*"])
    assert built.file.is_file()


def test_a_seed_that_is_drawn_is_the_same_in_every_process(pytester: pytest.Pytester, built: Built) -> None:
    expect(pytester, HEAD.replace("seed = 7\n", "") + "[[expect]]\nfurther_failures = 9\n")
    text = pytester.runpytest_subprocess("-n", "2").stdout.str()
    lines = [shlex.split(line) for line in text.splitlines() if line.startswith(("Repeat it: ", "See all of it: "))]
    seeds = {words[words.index("--seed" if "--seed" in words else "--drill-seed") + 1] for words in lines}
    assert len(lines) == 8 and len(seeds) == 1
    (run,) = past_runs(built, pytester.path)
    assert [str(run["seed"])] == list(seeds)
    text = pytester.runpytest_subprocess("--drill-seed", "11").stdout.str()
    assert "--seed 11" in text


def test_junit_is_read_back_with_the_reason(pytester: pytest.Pytester, built: Built) -> None:
    expect(pytester, HEAD.replace('"]', '", "studio/scenarios/tapes-gone.toml"]'))
    pytester.runpytest_subprocess("--junitxml", "found.xml")
    assert ids_in(pytester.path / "found.xml") == {
        **dict.fromkeys(IDS, "passed"),
        "dunes::drive-gone[x]": "failure",
        "dunes::tapes-gone": "skipped",
        "terns::tapes-gone": "skipped",
    }
    root = ElementTree.parse(pytester.path / "found.xml").getroot()
    (failure,) = root.iter("failure")
    assert failure.text is not None and "x is gone" in failure.text and "Repeat it: pytest " in failure.text
    assert all("hits nothing in this studio" in skipped.attrib["message"] for skipped in root.iter("skipped"))
    assert built.file.is_file()


def test_a_studio_file_by_itself_is_drilled_only_where_it_is_named(pytester: pytest.Pytester, built: Built) -> None:
    (pytester.path / "quarterly.drill.toml").unlink()
    assert pytester.runpytest_subprocess().ret == pytest.ExitCode.NO_TESTS_COLLECTED
    (pytester.path / "other.toml").write_text('studio = "studio/studio.toml"\n')
    assert pytester.runpytest_subprocess("other.toml").ret == pytest.ExitCode.USAGE_ERROR
    result = pytester.runpytest_subprocess(
        built.file, "--drill-seed", "3", "--drill-now", NOW, "--junitxml", "found.xml"
    )
    run = start("run", built.file, "--seed", "3", "--now", NOW, "--json", "-", "--no-reports", cwd=pytester.path).record
    expected = {
        f"{one['shoot']}::{one['scenario']}{'' if one['variant'] is None else '[' + one['variant'] + ']'}": "passed"
        if one["verdict"] == "restored"
        else "failure"
        for one in run["drills"]
    }
    skipped = {f"{id_}::{name}": "skipped" for id_ in ("dunes", "terns") for name in run["not_applicable"]}
    assert ids_in(pytester.path / "found.xml") == expected | skipped
    assert set(expected.values()) == {"passed", "failure"} and result.ret == pytest.ExitCode.TESTS_FAILED
    with closing(sqlite3.connect(built.file.parent / "ledger.sqlite")) as db:
        noted = db.execute("SELECT shoot, count(*), count(DISTINCT mark) FROM promises GROUP BY shoot").fetchall()
        which = db.execute("SELECT name, count(*), count(DISTINCT shipped) FROM scenarios GROUP BY name").fetchall()
    assert noted == [("dunes", 2, 1), ("terns", 2, 1)], "both kinds of run note what was promised, and alike"
    assert {name for name, _, _ in which} == {one["scenario"] for one in run["drills"]}
    assert {(runs, kinds) for _, runs, kinds in which} == {(2, 1)}, "and which scenarios they were, alike too"


def test_only_what_was_chosen_is_drilled_and_it_counts_as_a_part(pytester: pytest.Pytester, built: Built) -> None:
    result = pytester.runpytest_subprocess("--collect-only", "-q")
    assert result.ret == pytest.ExitCode.OK
    assert not (built.file.parent / "ledger.sqlite").exists() and not (built.file.parent / "scratch").exists()
    pytester.runpytest_subprocess("-k", "terns")
    pytester.runpytest_subprocess(f"quarterly.drill.toml::{IDS[0]}", "quarterly.drill.toml::terns")
    part, whole = past_runs(built, pytester.path)
    assert (whole["shoots"], whole["drills"], whole["complete"]) == (["terns"], 2, True)
    assert (part["shoots"], part["drills"], part["complete"]) == (["dunes", "terns"], 3, False)


WAYS: list[tuple[str, ...]] = [(), ("-n", "2", "--dist", "load"), ("-q",), ("--drill-no-ledger", "-p", "no:xdist")]


@pytest.mark.parametrize("options", WAYS)
def test_what_is_wrong_today_is_told_though_all_passes(
    options: tuple[str, ...], pytester: pytest.Pytester, installed: Path
) -> None:
    """A picture is wrong on y, and z has it: nothing is lost, and it is one copy less."""
    assert installed.is_dir()
    studio = Studio(media=media(*"xyz"), shoots=(shoot(*FILES),), copies=tuple(copy(id_, *FILES) for id_ in "xyz"))
    built = build(pytester.path / "studio", studio, (EACH_GONE,))
    expect(pytester, HEAD)
    assert "without any scenario" not in pytester.runpytest_subprocess(*options).stdout.str()
    path, data = FILES[0]
    for wrong in (built.file.parent / "media").glob(f"y*/{path}"):
        wrong.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    result = pytester.runpytest_subprocess(*options)
    result.assert_outcomes(passed=2)
    text = " ".join(result.stdout.str().split())
    assert "Today, without any scenario, 1 copy has files that are damaged, missing or not as promised: y." in text
    assert text.count(f"- y: {path}: not what was promised under that name") == 1
    assert "What to do about it: drill run studio/studio.toml" in result.stdout.lines


@pytest.mark.parametrize("how", ["option", "ini"])
def test_without_the_ledger_nothing_is_noted(how: str, pytester: pytest.Pytester, built: Built) -> None:
    if how == "ini":
        pytester.makeini("[pytest]\ndrill_no_ledger = true\n")
    before = files_below(built.file.parent)
    result = pytester.runpytest_subprocess(*(["--drill-no-ledger"] if how == "option" else []))
    result.assert_outcomes(passed=3, failed=1)
    assert "--no-ledger" in result.stdout.str()
    assert files_below(built.file.parent) == before


def test_an_accepted_shortfall_is_expected_until_its_day(pytester: pytest.Pytester, built: Built) -> None:
    expect(pytester, HEAD + DUNES_ON_X + "until = 2026-12-01\n")
    result = pytester.runpytest_subprocess("-ra", "--xfail-tb", "--drill-now", NOW)
    result.assert_outcomes(passed=3, xfailed=1)
    text = result.stdout.str()
    assert "3 files would be lost" in text and ".py:" not in text and "Traceback" not in text, text
    assert result.ret == pytest.ExitCode.OK
    result.stdout.fnmatch_lines(["XFAIL *dunes::drive-gone[[]x[]] - *accepted until 2026-12-01: y is on order*"])
    strict = pytester.runpytest_subprocess("--runxfail", "--drill-now", NOW)
    strict.assert_outcomes(passed=3, failed=1)
    over = pytester.runpytest_subprocess("--drill-now", "2026-12-01")
    over.assert_outcomes(passed=3, failed=1)
    over.stdout.fnmatch_lines(["*accepted until 2026-12-01 (y is on order), which is over*"])
    assert "3 files would be lost" in over.stdout.str()
    assert built.file.is_file()


def test_an_accepted_shortfall_that_is_none_any_more_fails(pytester: pytest.Pytester, built: Built) -> None:
    expect(pytester, HEAD + DUNES_ON_X.replace("dunes", "terns") + "until = 2026-12-01\n")
    result = pytester.runpytest_subprocess("--drill-now", NOW, "-k", "terns")
    result.assert_outcomes(passed=1, failed=1, deselected=2)
    result.stdout.fnmatch_lines(["*accepted[[]1[]], accepts that this falls short (y is on order)*"])
    assert "Take that table out" in " ".join(result.stdout.str().split())
    everything = DUNES_ON_X.replace('variant = "x"\n', "")
    expect(pytester, HEAD + everything + "until = 2026-12-01\n")
    of_y = pytester.runpytest_subprocess("--drill-now", NOW, "-k", "dunes")
    of_y.assert_outcomes(xfailed=1, failed=1, deselected=2)  # without x all is lost, without y nothing
    assert "Name in its `variant` only what still falls short" in " ".join(of_y.stdout.str().split())
    assert built.file.is_file()


def test_proofs_count_as_the_ledger_stood_when_it_began(pytester: pytest.Pytester, built: Built) -> None:
    expect(pytester, HEAD + '[[expect]]\nshoots = ["terns"]\nverified_within = "1 h"\n')
    first = pytester.runpytest_subprocess()
    first.assert_outcomes(failed=2)
    assert "x (3 of 3 files never): drill audit verifies them" in " ".join(first.stdout.str().split())
    assert start("audit", built.file, cwd=pytester.path).code == 0
    pytester.runpytest_subprocess().assert_outcomes(passed=2)
    without = pytester.runpytest_subprocess("--drill-no-ledger")
    without.assert_outcomes(failed=2)
    assert "without the ledger nobody knows" in " ".join(without.stdout.str().split())


def test_mistakes_are_all_listed_in_plain_words_and_nothing_is_run(pytester: pytest.Pytester, built: Built) -> None:
    expect(
        pytester,
        'studio = "studio/studio.toml"\ncolour = "red"\n[[expect]]\nshoots = ["nobody"]\nfurther_failures = -1\n',
    )
    before = files_below(built.file.parent)
    result = pytester.runpytest_subprocess()
    result.assert_outcomes(errors=1)
    assert result.ret == pytest.ExitCode.INTERRUPTED
    text = result.stdout.str()
    assert "colour: is not a key" in text and "expect[1].further_failures: must be at least 0" in text
    assert "Traceback" not in text and "Error:" not in text
    assert files_below(built.file.parent) == before


def test_what_is_odd_is_a_warning_and_an_error_in_plain_words_where_that_is_asked(
    pytester: pytest.Pytester, built: Built
) -> None:
    text = built.file.read_text(encoding="utf-8")
    assert 'place = "at-y"' in text
    built.file.write_text(text.replace('place = "at-y"', 'place = "ta-x"'), encoding="utf-8")
    result = pytester.runpytest_subprocess()
    result.assert_outcomes(passed=3, failed=1, warnings=1)
    assert "the place 'ta-x' is another than 'at-x'" in " ".join(result.stdout.str().split())
    strict = pytester.runpytest_subprocess("-W", "error")
    assert strict.ret == pytest.ExitCode.INTERRUPTED
    assert "the place 'ta-x' is another" in strict.stdout.str() and "Traceback" not in strict.stdout.str()


def test_nothing_is_written_inside_a_copy(pytester: pytest.Pytester, built: Built) -> None:
    text = built.file.read_text(encoding="utf-8")
    built.file.write_text(text.replace('scratch = "scratch"', 'scratch = "media/x/below"'), encoding="utf-8")
    before = census(built.file.parent)
    result = pytester.runpytest_subprocess()
    assert result.ret == pytest.ExitCode.INTERRUPTED and "nothing is ever written there" in result.stdout.str()
    assert census(built.file.parent) == before


def test_what_cannot_be_finished_is_an_error_in_plain_words(pytester: pytest.Pytester, built: Built) -> None:
    (built.file.parent / "scratch").write_text("a file where a folder should be", encoding="utf-8")
    result = pytester.runpytest_subprocess()
    result.assert_outcomes(errors=4)
    text = result.stdout.str()
    assert "not drilled: scratch" in text and "Traceback" not in text and ".py:" not in text, text
    assert past_runs(built, pytester.path) == []


def test_a_disk_too_small_for_one_shoot_ends_it_there_and_keeps_what_was_drilled(
    pytester: pytest.Pytester, installed: Path, small_disk: Path
) -> None:
    """The one that could not be finished fails, those after it are errors, those before it are noted."""
    big = tuple((f"a{number}.dng", picture(number, 400_000)) for number in range(4))
    studio = Studio(
        media=media("x", "y"),
        shoots=(shoot(*FILES, id="dunes"), shoot(*big, id="terns")),
        copies=(copy("x", *FILES, *big), copy("y", *FILES, *big)),
    )
    built = build(pytester.path / "studio", studio, (EACH_GONE,))
    text = built.file.read_text(encoding="utf-8").replace('scratch = "scratch"', f'scratch = "{small_disk.as_posix()}"')
    built.file.write_text(text, encoding="utf-8")
    expect(pytester, HEAD)
    result = pytester.runpytest_subprocess("--junitxml=drills.xml")
    result.assert_outcomes(passed=2, failed=1, errors=1)
    said = result.stdout.str()
    assert (
        "not finished: terns needs 1.6 MB in scratch" in said and "not drilled: terns needs 1.6 MB in scratch" in said
    )
    assert "Traceback" not in said and ".py:" not in said and "exception" not in said and installed.is_dir()
    assert ids_in(pytester.path / "drills.xml") == dict(zip(IDS, ["passed", "passed", "failure", "error"], strict=True))
    assert files_below(small_disk) == []
    [run] = past_runs(built, pytester.path)
    assert (run["complete"], run["shoots"]) == (True, ["dunes"]), "all drills of that shoot, and of no other"


@pytest.mark.skipif(sys.platform == "win32", reason="sends the signal that Ctrl-C sends on POSIX systems")
@pytest.mark.parametrize("options", [(), ("-n", "2")])
def test_ctrl_c_ends_it_and_leaves_nothing(
    options: tuple[str, ...], pytester: pytest.Pytester, installed: Path
) -> None:
    studio = Studio(
        media=(Medium(id="web", kind="cloud"), *media("x")),
        shoots=(shoot(*FILES),),
        copies=(copy("web", *FILES, says=True, form="link"), copy("x", FILES[0])),
    )
    folder = pytester.path / "studio"
    with link_server(folder / "cloud") as (base, served):
        built = build(folder, studio, (Scenario(name="drive-gone", hazards=EACH_GONE.hazards[:1]),), base=base)
        text = (folder / "scenarios/drive-gone.toml").read_text(encoding="utf-8").replace('["x", "y"]', '["x"]')
        (folder / "scenarios/drive-gone.toml").write_text(text, encoding="utf-8")
        expect(pytester, HEAD)
        before = census(*built.sources)
        served.stuck = {f"/web/{path}" for path, _ in FILES}
        with subprocess.Popen(
            [sys.executable, "-m", "pytest", *options],
            cwd=pytester.path,
            stdout=subprocess.PIPE,
            encoding="utf-8",
            start_new_session=True,
        ) as running:
            assert served.arrived.wait(60), "it never asked the server"
            os.killpg(running.pid, signal.SIGINT)  # a terminal sends it to every process that runs in it
            out, _ = running.communicate(timeout=60)
        served.release.set()
    assert running.returncode == pytest.ExitCode.INTERRUPTED, out
    assert census(*built.sources) == before and files_below(folder / "scratch") == []
    assert not list((folder / "scratch").iterdir())
    assert installed.is_dir()


def test_a_start_without_drills_loads_hardly_anything(pytester: pytest.Pytester, installed: Path) -> None:
    pytester.makepyfile("def test_nothing():\n    pass\n")
    pytester.makeconftest(
        "import json, sys\n"
        "def pytest_sessionfinish():\n"
        "    names = [name for name in sys.modules if name.partition('.')[0] == 'drill']\n"
        "    open('loaded.json', 'w').write(json.dumps(names))\n"
    )
    pytester.runpytest_subprocess().assert_outcomes(passed=1)
    loaded = set(json.loads((pytester.path / "loaded.json").read_text()))
    assert loaded == {"drill", "drill.pytest_plugin", "drill.testing", "drill.testing.fixtures"}
    assert installed.is_dir()


def test_it_can_be_switched_off(pytester: pytest.Pytester, built: Built) -> None:
    assert pytester.runpytest_subprocess("-p", "no:drill.pytest_plugin").ret == pytest.ExitCode.NO_TESTS_COLLECTED
    pytester.runpytest_subprocess("-p", "drill.pytest_plugin").assert_outcomes(passed=3, failed=1)
    assert built.file.is_file()


def test_options_that_are_wrong_are_refused(pytester: pytest.Pytester, built: Built) -> None:
    for option, value in (("--drill-seed", "five"), ("--drill-now", "yesterday")):
        result = pytester.runpytest_subprocess(f"{option}={value}")
        assert result.ret == pytest.ExitCode.USAGE_ERROR and value in result.stderr.str()
    assert built.file.is_file()
