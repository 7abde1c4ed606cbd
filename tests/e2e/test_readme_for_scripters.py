"""The README's example for people who script their own drills, run as they would run it."""

import os
import re
import subprocess
import sys
from pathlib import Path

from runner import CHECKOUT

SECTION = re.compile(r"^## Scripting drills of your own$.*?^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def test_the_example_runs(tmp_path: Path) -> None:
    found = SECTION.search((CHECKOUT / "README.md").read_text(encoding="utf-8"))
    assert found is not None, "the README has no example for scripters any more"
    (tmp_path / "test_mine.py").write_text(found.group(1), encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-W", "error", "test_mine.py"]
    seen = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    ended = subprocess.run(
        command, cwd=tmp_path, env=seen, check=False, capture_output=True, encoding="utf-8", timeout=120
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert f"{found.group(1).count('def test_')} passed" in ended.stdout
