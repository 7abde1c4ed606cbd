"""What several tests of the whole program need."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Mount one megabyte at a fresh folder."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder]
    if sys.platform != "linux" or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("a small file system can only be mounted by root on Linux")
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)
