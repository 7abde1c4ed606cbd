"""Every page in a real browser, from a file, with the network off: on a tablet, a phone and paper, in light and dark,
by keyboard, with names that want to be more than names.

Skipped without Debian's chromium and poppler-utils, the Python package playwright, and npm's axe-core (`DRILL_AXE`).
"""

import time
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

from browsing import PHONE, SCHEMES, TABLET, Windows, opened, unfold
from conftest import PageOf
from every_page import LARGE, PAGES, WITH_NAMES
from looks import (
    PAPERS,
    against_guidelines,
    below_the_first_screen,
    brightness,
    cut_in_print,
    dead_ends,
    made,
    outside,
    small_targets,
    spread,
    unreached,
    untold,
)

pytestmark = [pytest.mark.outside, pytest.mark.deep]
every = pytest.mark.parametrize("name", [name for name in PAGES if name not in LARGE])
WIDTHS = (320, 360, 768, 1280)  # 320 px is the width of reflow (WCAG 2.2, 1.4.10)
MEGABYTE = 1_000_000


@every
def test_it_asks_for_nothing_and_names_are_nothing_but_names(name: str, page_of: PageOf, window: Windows) -> None:
    assert page_of(name).stat().st_size < MEGABYTE
    with opened(window, page_of(name)) as shown:
        unfold(shown.page)
        assert made(shown.page) == []
        assert name not in WITH_NAMES or "mischief" in shown.page.inner_text("body")
        shown.page.wait_for_timeout(50)  # what a handler would do, it does now
        assert shown.misdeeds == []
        assert shown.page.title().strip()


@every
def test_the_answer_is_in_the_first_screen(name: str, page_of: PageOf, window: Windows) -> None:
    with opened(window, page_of(name)) as shown:
        assert below_the_first_screen(shown.page, TABLET, PHONE) == []


@every
@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_guidelines_are_kept(name: str, scheme: str, page_of: PageOf, window: Windows, axe: str) -> None:
    with opened(window, page_of(name), scheme=scheme, strict=False) as shown:
        unfold(shown.page)
        assert (brightness(shown.page) < 0.5) == (scheme == "dark")
        assert untold(shown.page) == []
        assert against_guidelines(shown.page, axe, colours_only=scheme == "dark") == []


@every
def test_nothing_scrolls_sideways_or_is_cut_off(name: str, page_of: PageOf, window: Windows) -> None:
    found: dict[tuple[str, int], list[str]] = {}
    with opened(window, page_of(name), strict=False) as shown:
        for way, change in (("as it opens", None), ("all open", unfold), ("all open, spaced", spread)):
            if change:
                change(shown.page)
            for width in WIDTHS:
                shown.page.set_viewport_size({"width": width, "height": 740})
                found[way, width] = outside(shown.page)
    assert {where: wrong for where, wrong in found.items() if wrong} == {}


@every
def test_keys_and_fingers_reach_everything(name: str, page_of: PageOf, window: Windows) -> None:
    with opened(window, page_of(name)) as shown:
        assert small_targets(shown.page, 44) == []
        assert unreached(shown.page, at_most=150) == []
        assert dead_ends(shown.page) == []
        unfold(shown.page)
        assert small_targets(shown.page, 44) == []


@every
@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_is_cut_on_paper(name: str, paper: str, page_of: PageOf, window: Windows, tmp_path: Path) -> None:
    with opened(window, page_of(name)) as shown:
        if paper == "A4":  # the narrower one: everything; the other as it opens
            unfold(shown.page)
        assert cut_in_print(shown.page, tmp_path / "print.pdf", paper) == []


@pytest.mark.parametrize("name", LARGE)
def test_the_largest_is_small_enough_and_opens_at_once(
    name: str, page_of: PageOf, window: Windows, tmp_path: Path
) -> None:
    assert page_of(name).stat().st_size < MEGABYTE
    began = time.monotonic()
    with opened(window, page_of(name), size=PHONE) as shown:
        assert time.monotonic() - began < 20, "it takes long to open"  # one second, on a machine that does nothing else
        assert below_the_first_screen(shown.page, TABLET, PHONE) == []
        assert outside(shown.page) == []
        assert small_targets(shown.page, 44) == []
        assert cut_in_print(shown.page, tmp_path / "print.pdf", "A4") == []
        assert shown.misdeeds == []
