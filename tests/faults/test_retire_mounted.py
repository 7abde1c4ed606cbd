"""A card that is really mounted: what lies on it beside the copies' folder is seen, for formatting takes it too.

A file system in memory, mounted where the card is read. Needs the right to mount; skipped with a reason elsewhere.
"""

import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from census import census
from described import Medium, Studio
from hand import FILES, copy, shoot
from runner import start
from studios import Built, build


@pytest.fixture
def built(tmp_path: Path) -> Iterator[Built]:
    media = (Medium(id="card", kind="card", place="bag", recognised_by="CARD-7.txt"), Medium(id="x", place="home"))
    studio = Studio(media=media, shoots=(shoot(*FILES),), copies=(copy("card", *FILES), copy("x", *FILES)))
    built = build(tmp_path / "s", studio)
    card = tmp_path / "s/media/card"
    shutil.move(card, tmp_path / "aside")
    card.mkdir()
    if (
        shutil.which("mount") is None
        or subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(card)], check=False, capture_output=True
        ).returncode
    ):
        pytest.skip("nothing can be mounted here")
    try:
        shutil.copytree(tmp_path / "aside", card / "DCIM")
        shutil.move(card / "DCIM/CARD-7.txt", card / "CARD-7.txt")
        text = built.file.read_text(encoding="utf-8").replace('at = "media/card"', 'at = "media/card/DCIM"')
        built.file.write_text(text, encoding="utf-8")
        yield built
    finally:
        subprocess.run(["umount", "--lazy", str(card)], check=True)


def ask(built: Built) -> dict[str, Any]:
    before = census(*built.sources)
    outcome = start("retire", built.file, "card", "--no-ledger", "--json", "-", cwd=built.file.parent)
    assert census(*built.sources) == before
    assert outcome.code in (0, 1), outcome.said
    value: dict[str, Any] = json.loads(outcome.out)
    return value


@pytest.mark.deep
def test_what_lies_beside_the_copy_is_a_no(built: Built) -> None:
    card = built.file.parent / "media/card"
    assert ask(built)["answer"] == "yes"
    (card / "MISC").mkdir()
    (card / ".Spotlight-V100").mkdir()
    (card / ".Spotlight-V100/store.db").write_bytes(b"x")
    assert ask(built)["answer"] == "yes"
    assert not any("same disk" in words or "not looked at" in words for words in ask(built)["cautions"])
    (card / "PRIVATE/CLIP").mkdir(parents=True)
    (card / "PRIVATE/CLIP/C0001.MP4").write_bytes(b"a film")
    value = ask(built)
    assert value["answer"] == "no"
    assert [reason["why"] for reason in value["reasons"]] == ["not_known"]
    assert "PRIVATE/" in value["reasons"][0]["detail"]
    shutil.rmtree(card / "PRIVATE")
    for folder in ("upload.tmp", "FOUND.000", ".Trashes"):
        (card / folder).mkdir()
        (card / folder / "film.mov").write_bytes(b"the only one")
        assert f"{folder}/" in ask(built)["reasons"][0]["detail"]
        shutil.rmtree(card / folder)
    assert ask(built)["answer"] == "yes"


def test_a_promise_that_lies_on_the_card_alone_is_a_no(built: Built) -> None:
    card = built.file.parent / "media/card"
    shutil.copy(built.file.parent / "manifests/promise-terns.sha256", card / "terns.sha256")
    text = built.file.read_text(encoding="utf-8").replace("manifests/promise-terns.sha256", "media/card/terns.sha256")
    built.file.write_text(text, encoding="utf-8")
    assert [reason["why"] for reason in ask(built)["reasons"]] == ["needed"]
