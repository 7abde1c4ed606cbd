"""`--html` of audit, history, forecast and bad-sector as a user starts them: a page, and where none may be written."""

import re
import zipfile
from html import unescape
from pathlib import Path

import pytest
from census import census
from described import Studio
from hand import FILES, copy, media, shoot
from page_read import Read
from runner import Outcome, start
from studios import Built, build

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own

COMMANDS = ("audit", "history", "forecast", "bad-sector")
NOW = "2026-11-24T20:00:00Z"


@pytest.fixture
def built(tmp_path: Path) -> Built:
    """Two drives that hold all that is promised, and an archive beside them, in a folder whose name needs quotes."""
    both = Studio(media=media("x", "y"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES), copy("y", *FILES)))
    one = build(tmp_path / "s & t", both)
    with zipfile.ZipFile(one.file.parent / "kiln.zip", "w") as archive:
        for name, content in FILES:
            archive.writestr(name, content)
    return one


def tell(built: Built, command: str, *more: str | Path) -> Outcome:
    folder = built.file.parent
    if command == "bad-sector":
        return start(command, folder / "kiln.zip", "--studio", built.file, *more, cwd=folder)
    return start(command, built.file, "--now", NOW, *more, cwd=folder)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_page_beside_the_text(built: Built, command: str) -> None:
    folder = built.file.parent
    if command == "bad-sector":  # it is told of any archive; with --studio it has to be a copy
        outcome = start(command, folder / "kiln.zip", "--html", "page.html", "--json", "-", cwd=folder)
    else:
        outcome = tell(built, command, "--html", "page.html", "--json", "-")
    assert outcome.code == (command == "forecast"), outcome.said
    assert str(outcome.record["schema"]).startswith("restore-")
    text = (folder / "page.html").read_text(encoding="utf-8")
    page = Read(text)
    assert page.headings[:2] == [1, 2] and 'id="verdict"' in text
    (again,) = (unescape(one) for one in re.findall("<code>(.*?)</code>", text))
    assert again.startswith(f"drill {command} ") and "--html" not in again and "s & t" in again
    assert again.count("'") or again.count('"')
    assert ("--seed" in again) == (command == "audit")


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("where", ["media/x/page.html", "media/x/raw/AAAA0001.dng", "nowhere/page.html", "both.html"])
def test_no_page_is_written_into_a_copy_nor_over_another_output(built: Built, command: str, where: str) -> None:
    if command == "bad-sector" and where.startswith("media"):
        where = "kiln.zip"
    before = census(built.file.parent)
    more = ("--json", where) if where == "both.html" else ()
    outcome = tell(built, command, "--html", where, *more)
    assert outcome.code == 2 and "--html" in outcome.err, outcome.said
    assert census(built.file.parent) == before


@pytest.mark.parametrize("command", ["audit", "history", "forecast"])
def test_no_page_is_written_over_the_ledger(built: Built, command: str) -> None:
    assert tell(built, "audit").code == 0
    outcome = tell(built, command, "--html", built.file.parent / "ledger.sqlite")
    assert outcome.code == 2 and "--html" in outcome.err, outcome.said
    assert tell(built, "history").code in (0, 1)
