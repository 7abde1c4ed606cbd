"""The committed sample in reports/ against a fresh one: the same keys, tables, lists and headings."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from runner import CHECKOUT
from shapes import headings, keys, sections

pytestmark = pytest.mark.deep  # it lays the demo out and drills it in every scenario

STALE = "the sample is stale: python reports/regenerate.py"


def test_a_fresh_sample_has_the_same_structure(tmp_path: Path) -> None:
    command = [sys.executable, CHECKOUT / "reports/regenerate.py", tmp_path]
    subprocess.run(command, check=True, timeout=600, env={**os.environ, "PYTHONPATH": os.fspath(CHECKOUT)})
    old, new = (
        {name: (folder / name).read_text(encoding="utf-8") for name in ("demo.json", "demo.txt", "demo.html")}
        for folder in (CHECKOUT / "reports", tmp_path)
    )
    assert keys(json.loads(old["demo.json"])) == keys(json.loads(new["demo.json"])), STALE
    assert sections(old["demo.txt"]) == sections(new["demo.txt"]) != set(), STALE
    assert headings(old["demo.html"]) == headings(new["demo.html"]) != set(), STALE
    assert os.fspath(tmp_path.parent) not in "".join(new.values()), "no folder of this computer"
