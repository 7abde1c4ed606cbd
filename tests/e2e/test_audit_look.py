"""`drill audit --look`: files of which no digest is known are decoded, and what that comes to is no proof."""

import io
import os
from pathlib import Path

import pytest
from census import census
from described import Held, Studio
from hand import FILES, copy, held, media, shoot
from PIL import Image
from runner import NOW, start
from studios import build


def jpeg() -> bytes:
    """A picture with something in it."""
    image = Image.frombytes("L", (200, 100), bytes(x * y % 251 for x in range(200) for y in range(100)))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90)
    return out.getvalue()


EXTRA = (
    Held("extra/whole.jpg", jpeg()),
    Held("extra/cut.jpg", jpeg()[:-600]),
    Held("extra/side.xmp", b"<x><y/></x>"),
    Held("extra/broken.xmp", b"<x><y></x>"),
    Held("extra/strange.bin", os.urandom(3000)),
)
OUTCOMES = {
    "extra/whole.jpg": "opens",
    "extra/cut.jpg": "unreadable",
    "extra/side.xmp": "opens",
    "extra/broken.xmp": "unreadable",
    "extra/strange.bin": "cannot_check",
}


@pytest.mark.parametrize(
    "form", ["folder", ".zip", *(pytest.param(form, marks=pytest.mark.deep) for form in (".7z", ".tar.gz"))]
)
@pytest.mark.parametrize("listed", [True, False])
def test_what_no_digest_is_known_of_is_decoded(form: str, listed: bool, tmp_path: Path) -> None:
    holds = (*held(*FILES), *EXTRA)
    studio = Studio(
        media=media("x"),
        shoots=(shoot(*FILES),),
        copies=(copy("x", form=form, holds=holds, says=FILES if listed else None),),
    )
    built = build(tmp_path / "s", studio)
    before = census(*built.sources)
    outcome = start("audit", built.file, "--now", NOW, "--look", "--json", "-", cwd=tmp_path)
    assert outcome.code == 1, outcome.said
    (row,) = outcome.record["copies"]
    assert {file["path"]: file["outcome"] for file in row["files"]} == OUTCOMES, outcome.said
    assert row["counts"]["verified"] == 3 and row["counts"]["extra"] == 0
    details = {file["path"]: file["detail"] for file in row["files"]}
    assert details["extra/cut.jpg"].startswith("no digest is known for it, and it does not open: ")
    assert census(*built.sources) == before


def test_without_a_look_it_is_extra_and_the_report_says_what_a_look_is_worth(tmp_path: Path) -> None:
    copies = (copy("x", holds=(*held(*FILES), *EXTRA), says=FILES),)
    built = build(tmp_path / "s", Studio(media=media("x"), shoots=(shoot(*FILES),), copies=copies))
    plain = start("audit", built.file, "--now", NOW, "--json", "-", cwd=tmp_path)
    assert plain.code == 0 and plain.record["copies"][0]["counts"]["extra"] == 5, plain.said
    text = " ".join(start("audit", built.file, "--look", cwd=tmp_path).out.split())
    assert "Opens: no digest is known, and the file could be decoded. That is little" in text
    assert "x: 1 file cannot be checked here: extra/strange.bin" in text


def test_only_what_opens_is_no_damage(tmp_path: Path) -> None:
    studio = Studio(
        media=media("x"),
        shoots=(shoot(*FILES),),
        copies=(copy("x", holds=(*held(*FILES), EXTRA[0], EXTRA[4]), says=FILES),),
    )
    built = build(tmp_path / "s", studio)
    assert start("audit", built.file, "--look", "--no-ledger", cwd=tmp_path).code == 0
