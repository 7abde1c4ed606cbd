"""Archives' headers beside the ledger, as a user meets them: who writes them, where they may not be, their use."""

from pathlib import Path
from typing import Any

import pytest
from census import census
from described import Copy, Studio
from hand import FILES, held, media, shoot
from runner import NOW, Outcome, start
from studios import Built, build

pytestmark = pytest.mark.deep  # many starts of the program; test_insurance.py is quick


def with_archive(folder: Path) -> Built:
    """A studio with everything in a zip and, by its list, on a drive that is not here."""
    archive = Copy(id="x", on="x", form=".zip", holds=held(*FILES))
    return build(folder, Studio(media=media("x", "y"), shoots=(shoot(*FILES),), copies=(archive,)))


def do(built: Built, command: str, *more: str | Path) -> Outcome:
    return start(command, built.file, "--now", NOW, *more, cwd=built.file.parent)


def of_copy(outcome: Outcome) -> Any:
    (found,) = outcome.record["copies"]
    return found


def test_a_survey_keeps_headers_and_says_so(tmp_path: Path) -> None:
    built = with_archive(tmp_path / "s")
    kept = tmp_path / "s" / "ledger.headers"
    before = census(tmp_path / "s" / "media")
    assert of_copy(do(built, "survey", "--no-ledger", "--json", "-"))["headers_kept"] is None
    assert not kept.exists()
    outcome = do(built, "survey")
    said = " ".join(outcome.out.split())
    assert "the headers of x are kept beside the ledger: where an archive has lost its own" in said, outcome.said
    (text,) = kept.iterdir()
    assert "xxd -r" in text.read_text(encoding="utf-8")
    assert of_copy(do(built, "survey", "--json", "-"))["headers_kept"] is True
    assert census(tmp_path / "s" / "media") == before


@pytest.mark.parametrize("command", ["survey", "run"])
def test_headers_never_fall_inside_a_copy(tmp_path: Path, command: str) -> None:
    built = with_archive(tmp_path / "s")
    (archive,) = (tmp_path / "s").rglob("*.zip")
    inside = archive.parent / "of-the-drive"
    inside.mkdir()
    text = built.file.read_text(encoding="utf-8")
    place = archive.parent.relative_to(built.file.parent).as_posix()
    built.file.write_text(f'{text}\n[[copies]]\nid = "whole"\non = "y"\nat = "{place}"\n', encoding="utf-8")
    (tmp_path / "s" / "ledger.headers").symlink_to(inside)
    before = census(tmp_path / "s")
    outcome = do(built, command)
    assert outcome.code == 2 and "[studio] ledger" in outcome.err, outcome.said
    assert census(tmp_path / "s") == before


def test_a_drill_keeps_headers_and_brings_an_archive_back_by_them(tmp_path: Path) -> None:
    built = with_archive(tmp_path / "s")
    (archive,) = (tmp_path / "s").rglob("*.zip")
    slow = ("--scenario", "silent-rot", "--seed", "1", "--no-reports", "--json", "-")
    first = do(built, "run", *slow)
    assert len(list((tmp_path / "s" / "ledger.headers").iterdir())) == 1, first.said
    content = archive.read_bytes()
    archive.write_bytes(content[: content.index(b"PK\x01\x02")] + bytes(len(content) - content.index(b"PK\x01\x02")))
    after = do(built, "run", *slow)
    assert after.record["drills"][0]["files"] == first.record["drills"][0]["files"]
    assert after.record["drills"][0]["unchecked"]["right"] == 0
    listed = do(built, "run", "--scenario", "silent-rot", "--seed", "1", "--no-reports")
    assert "by the headers that were kept of it" in " ".join(listed.out.split()), listed.said
