"""One browser for this folder, its judge, and each page written once."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from every_page import PAGES
from mischief import Laid

PageOf = Callable[[str], Path]


@pytest.fixture(scope="package")
def window() -> Iterator[object]:
    """Start Chromium as the system has it (`DRILL_CHROMIUM` names another)."""
    program = os.environ.get("DRILL_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("chromium is not installed")
    driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    from browsing import FLAGS, windows  # noqa: PLC0415  # it needs the driver

    with driver.sync_playwright() as started:
        chromium = started.chromium.launch(executable_path=program, args=list(FLAGS))
        yield windows(chromium)
        chromium.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """Read axe-core's source: `DRILL_AXE` names its axe.min.js (npm package axe-core)."""
    file = os.environ.get("DRILL_AXE")
    if not file:
        pytest.skip("DRILL_AXE does not name axe-core's axe.min.js")
    return Path(file).read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def page_of(tmp_path_factory: pytest.TempPathFactory) -> PageOf:
    """Give the file of a page by its name, written when first asked for."""
    laid = Laid(tmp_path_factory.mktemp("studio"))
    written: dict[str, Path] = {}

    def page(name: str) -> Path:
        if name not in written:
            written[name] = PAGES[name](laid)
        return written[name]

    return page
