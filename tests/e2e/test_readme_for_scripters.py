"""The README's examples for people who script their own drills, run as they would run them."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from runner import CHECKOUT

SECTION = re.compile(r"^## Scripting drills of your own$(.*?)^## ", re.MULTILINE | re.DOTALL)
BLOCK = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
WITHOUT_HYPOTHESIS = 'import sys\n\nsys.modules["hypothesis"] = None\n'


def examples() -> list[str]:
    section = SECTION.search((CHECKOUT / "README.md").read_text(encoding="utf-8"))
    assert section is not None, "the README has no section for scripters any more"
    return BLOCK.findall(section.group(1))


@pytest.mark.parametrize("number", [0, pytest.param(1, marks=pytest.mark.deep)])
def test_the_example_runs(tmp_path: Path, number: int) -> None:
    """The first one also where Hypothesis is not installed."""
    found = examples()
    assert len(found) == 2 and ["hypothesis" in text for text in found] == [False, True]
    (tmp_path / "test_mine.py").write_text(found[number], encoding="utf-8")
    (tmp_path / "conftest.py").write_text("" if number else WITHOUT_HYPOTHESIS, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-W", "error", "test_mine.py"]
    command += [] if number else ["-p", "no:hypothesispytest"]
    seen = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    ended = subprocess.run(
        command, cwd=tmp_path, env=seen, check=False, capture_output=True, encoding="utf-8", timeout=120
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert f"{found[number].count('def test_')} passed" in ended.stdout
