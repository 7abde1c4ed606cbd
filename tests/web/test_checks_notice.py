"""Pages that are wrong on purpose: each check finds what it is for, and nothing on a page that is right."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

from browsing import Opened, Windows, opened
from looks import against_guidelines, cut_in_print, dead_ends, made, outside, small_targets, spread, unreached, untold
from playwright.sync_api import Page

pytestmark = [pytest.mark.outside, pytest.mark.deep]

RIGHT = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Reed</title>
<meta name="viewport" content="width=device-width">
<style>html { font: 16px/1.5 sans-serif; color: #111; background: #fff } :focus { outline: 3px solid #05c }
a { display: inline-block; min-height: 44px; min-width: 44px }</style>
<body><main><h1>Reed</h1><a href="#reed">To the reeds</a><table><caption>Reeds<tr><th scope="col">Reeds<tr><td>7</table>
<h2 id="reed">Reeds</h2><p>All stand.</p>%s</main>"""
WIDE = '<p style="width: 900px">wide'


def _with(added: str, window: Windows, folder: Path) -> AbstractContextManager[Opened]:
    file = folder / "page.html"
    file.write_text(RIGHT % added, encoding="utf-8")
    return opened(window, file, size=(360, 740), strict=False)


def _judged(check: Callable[[Page], list[str]], added: str, window: Windows, folder: Path) -> list[str]:
    with _with(added, window, folder) as shown:
        return check(shown.page)


def _keys(page: Page) -> list[str]:
    return unreached(page, at_most=9)


def _fingers(page: Page) -> list[str]:
    return small_targets(page, 44)


def _spread(page: Page) -> list[str]:
    spread(page)
    return outside(page)


WRONG = [
    (outside, WIDE),
    (outside, '<div style="overflow: hidden; width: 9em; white-space: nowrap">what is cut off on the right</div>'),
    (outside, '<div style="overflow-x: auto"><p style="width: 900px">scrolls, out of reach</p></div>'),
    (
        _spread,
        '<p style="height: 1.4em; overflow: hidden; width: 22em">just enough room for this text if it is not</p>',
    ),
    (made, '<img alt="" src="mischief">'),
    (made, "<script>0</script>"),
    (made, '<p onclick="0">press</p>'),
    (made, '<a href="javascript:0">press</a>'),
    (made, "<p>reed-\u202egnd.exe</p>"),
    (untold, '<table><tr><th scope="col">Herons<tr><td>3</table>'),
    (untold, "<table><caption>Herons<tr><th>Herons<tr><td>3</table>"),
    (untold, "<details><summary>Herons</summary><table><tr><th scope=row>2<tr><td>3</table><table></table></details>"),
    (untold, "<table><caption>Herons<tr><td>3</table>"),
    (untold, '<svg viewBox="0 0 1 1"><rect width="1" height="1"/></svg>'),
    (_keys, '<a href="#reed" style="outline: none">dark</a>'),
    (_keys, '<a href="#reed" style="position: fixed; left: -99px">away</a>'),
    (_keys, '<p tabindex="0">late</p><p tabindex="1">early</p>'),
    (dead_ends, '<p><a href="#nowhere">nowhere</a></p>'),
    (dead_ends, '<p><a href="#hidden">hidden</a></p><p id="hidden" hidden>unseen</p>'),
    (_fingers, '<ul><li><a href="#reed" style="min-height: 0">small</a></ul>'),
]
WRONG_FOR_AXE = [
    '<p style="color: #999">pale</p>',
    '<h4>too deep</h4><img src="data:image/gif;base64,R0lGODlhAQABAAAAACw=">',
]
WRONG_ON_PAPER = [
    WIDE,
    '<p style="position: absolute; left: -40px">over the edge</p>',
    '<div style="overflow: auto; height: 2em"><p>one</p><p>two</p><p>three</p><p>what is below</p></div>',
]


def test_what_is_right_is_let_pass(window: Windows, axe: str, tmp_path: Path) -> None:
    with _with("", window, tmp_path) as shown:
        for check in (outside, untold, made, dead_ends, _keys, _fingers, _spread):
            assert (check, check(shown.page)) == (check, [])
        assert against_guidelines(shown.page, axe) == []
        assert cut_in_print(shown.page, tmp_path / "print.pdf", "A4") == []
        assert shown.misdeeds == []


@pytest.mark.parametrize(("check", "added"), WRONG)
def test_what_is_wrong_is_noticed(
    check: Callable[[Page], list[str]], added: str, window: Windows, tmp_path: Path
) -> None:
    assert _judged(check, added, window, tmp_path) != []


@pytest.mark.parametrize("added", WRONG_FOR_AXE)
def test_what_keeps_no_guideline_is_noticed(added: str, window: Windows, axe: str, tmp_path: Path) -> None:
    assert _judged(lambda page: against_guidelines(page, axe), added, window, tmp_path) != []


@pytest.mark.parametrize("added", WRONG_ON_PAPER)
def test_what_is_cut_on_paper_is_noticed(added: str, window: Windows, tmp_path: Path) -> None:
    assert _judged(lambda page: cut_in_print(page, tmp_path / "print.pdf", "A4"), added, window, tmp_path) != []


MISDEEDS = [
    '<img alt="" src="https://reed.invalid/heron.png">',
    '<style>p { background: url("other.png") }</style>',
    "<script>alert(1)</script>",
    "<script>nothing.there</script>",
    "<script>console.warn('reed')</script>",
]


@pytest.mark.parametrize("added", MISDEEDS)
def test_misdeeds_are_noticed(added: str, window: Windows, tmp_path: Path) -> None:
    with _with(added, window, tmp_path) as shown:
        shown.page.wait_for_timeout(50)
        assert shown.misdeeds != []
