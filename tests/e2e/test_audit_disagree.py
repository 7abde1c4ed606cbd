"""`drill audit` where copies disagree and nothing settles it: told as a judgement, never as damage or proof."""

import io
import random
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from census import census
from described import Copy, Held, Studio
from hand import FILES, copy, held, media, shoot
from PIL import Image
from runner import NOW, start
from studios import Built, build, link_server

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own


def jpeg(number: int) -> bytes:
    """A noisy picture of some ten blocks."""
    out = io.BytesIO()
    Image.frombytes("RGB", (160, 120), random.Random(number).randbytes(57600)).save(out, "JPEG", quality=90)
    return out.getvalue()


GOOD, OTHER = jpeg(1), jpeg(2)
ZEROED = GOOD[:8192] + bytes(4096) + GOOD[12288:]
CUT = GOOD[:-3000]


def laid(folder: Path, holds: Mapping[str, Mapping[str, bytes]], *, form: str = "folder", **lists: Any) -> Built:
    """Build a studio that promises FILES; every copy holds them and what is given."""
    copies: list[Copy] = []
    for name, files in holds.items():
        extra = tuple(Held(path, data) for path, data in files.items())
        copies.append(copy(name, form=form, holds=(*held(*FILES), *extra), says=lists.get(name)))
    return build(folder, Studio(media=media(*holds), shoots=(shoot(*FILES),), copies=tuple(copies)))


def audited(built: Built, *more: str) -> dict[str, Any]:
    before = census(*built.sources)
    outcome = start("audit", built.file, "--no-ledger", "--now", NOW, "--json", "-", *more, cwd=built.file.parent)
    assert outcome.code == 0, outcome.said
    assert census(*built.sources) == before
    assert all(not row["counts"][bad] for row in outcome.record["copies"] for bad in ("altered", "unreadable"))
    return outcome.record


@pytest.mark.parametrize(
    "form", ["folder", ".zip", *(pytest.param(form, marks=pytest.mark.deep) for form in (".7z", ".tar.gz"))]
)
def test_what_no_promise_settles_is_judged(form: str, tmp_path: Path) -> None:
    holds = {
        "x": {"extra/E1.JPG": ZEROED, "extra/E2.JPG": GOOD, "extra/note.txt": b"one"},
        "y": {"extra/E1.JPG": GOOD, "extra/E2.JPG": GOOD, "extra/note.txt": b"two"},
        "z": {"extra/E1.JPG": GOOD, "extra/E2.JPG": OTHER, "elsewhere/note.txt": b"other"},
    }
    built = laid(tmp_path / "s", holds, form=form)
    record = audited(built)
    assert [row["counts"]["verified"] for row in record["copies"]] == [3, 3, 3]
    first, second, note = record["disagreements"]
    assert first["name"] == "E1.JPG" and first["proof"] is False
    assert [group["files"] for group in first["groups"]] == [
        [["x", "extra/E1.JPG"]],
        [["y", "extra/E1.JPG"], ["z", "extra/E1.JPG"]],
    ]
    assert first["between"][0]["ranges"] == [[8192, 12288]] and first["between"][0]["zeroed"] == [1, 0]
    assert first["likely_right"] == 1 and first["judgement"].startswith("likely right is the one on y: ")
    assert second["name"] == "E2.JPG" and second["is_one_file"] is False
    assert note["likely_right"] is None and note["copies"] == ["x", "y"]
    text = " ".join(start("audit", built.file, "--no-ledger", cwd=tmp_path).out.split())
    assert "Copies that disagree, and nothing settles it" in text and "A judgement, no proof" in text
    assert "y and z (alike)" in text and "x has zeros there" in text and "not one file, it seems" in text


def test_lists_that_disagree_are_told(tmp_path: Path) -> None:
    mine, yours = {"extra/E1.JPG": CUT}, {"extra/E1.JPG": GOOD}
    lists = {"x": (*FILES, *mine.items()), "y": (*FILES, *yours.items())}
    (found,) = audited(laid(tmp_path / "s", {"x": mine, "y": yours}, **lists))["disagreements"]
    assert found["between"][0]["beginning"] == 0 and found["likely_right"] == 1
    assert [group["looks"] for group in found["groups"]] == ["damaged", "opens"]


def test_extras_beside_a_list_are_read_only_for_a_look(tmp_path: Path) -> None:
    mine, yours = {"extra/E1.JPG": GOOD}, {"extra/E1.JPG": GOOD[:9000] + bytes([GOOD[9000] ^ 1]) + GOOD[9001:]}
    alike = {"extra/E2.JPG": OTHER}
    built = laid(tmp_path / "s", {"x": mine | alike, "y": yours | alike}, x=FILES, y=FILES)
    assert audited(built)["disagreements"] == []
    record = start("audit", built.file, "--look", "--json", "-", cwd=tmp_path).record
    (found,) = record["disagreements"]
    assert found["name"] == "E1.JPG" and found["between"][0]["flipped"] == 1


def test_a_promise_settles_it_and_one_shoot_alone_asks_nothing_else(tmp_path: Path) -> None:
    studio = Studio(
        media=media("x", "y"),
        shoots=(shoot(("deliver/one.jpg", GOOD)),),
        copies=(copy("x", ("deliver/one.jpg", GOOD)), copy("y", ("deliver/one.jpg", ZEROED))),
    )
    built = build(tmp_path / "s", studio)
    record = start("audit", built.file, "--no-ledger", "--json", "-", cwd=tmp_path).record
    assert record["disagreements"] == [] and record["copies"][1]["counts"]["altered"] == 1
    holds = {"x": {"extra/E1.JPG": GOOD}, "y": {"extra/E1.JPG": CUT}}
    assert audited(laid(tmp_path / "t", holds), "--shoot", "terns")["disagreements"] == []


def test_a_studio_without_any_promise(tmp_path: Path) -> None:
    studio = Studio(
        media=(*media("x", "y"), replace(media("z")[0], mirrors="x")),
        shoots=(),
        copies=(copy("x", ("E1.JPG", CUT)), copy("y", ("E1.JPG", GOOD)), copy("z", ("E1.JPG", CUT))),
    )
    built = build(tmp_path / "s", studio)
    (built.file.parent / "manifests").mkdir()
    text = built.file.read_text(encoding="utf-8")
    refused = start("audit", built.file, "--no-ledger", cwd=tmp_path)
    assert refused.code == 2 and "shoots = []" in refused.err, refused.said
    built.file.write_text("shoots = []\n" + text, encoding="utf-8")
    (found,) = audited(built)["disagreements"]
    assert [len(group["files"]) for group in found["groups"]] == [2, 1] and found["likely_right"] == 1
    for _ in range(2):  # the second time the ledger knows what was read
        again = start("audit", built.file, "--json", "-", cwd=tmp_path).record
        assert again["disagreements"] == [found]


@pytest.mark.parametrize("form", ["link", "link.zip"])
def test_what_lies_behind_a_link_is_compared_too(form: str, tmp_path: Path) -> None:
    """A base of files is downloaded once more for it, and a second time to decode; an archive is here already."""
    lists = (("extra/E1.JPG", ZEROED), *FILES), (("extra/E1.JPG", GOOD), *FILES)
    copies = (copy("x", *lists[0], says=True), copy("web", *lists[1], form=form, says=True))
    studio = Studio(media=media("x", "web"), shoots=(shoot(*FILES),), copies=copies)
    with link_server(tmp_path / "s" / "cloud") as (base, served):
        built = build(tmp_path / "s", studio, base=base)
        (found,) = audited(built)["disagreements"]
        assert [group["files"][0][0] for group in found["groups"]] == ["x", "web"]
        assert found["between"][0]["zeroed"] == [1, 0] and found["likely_right"] == 1
        name = "extra/E1.JPG" if form == "link" else ".zip"
        asked = sum(method == "GET" and path.endswith(name) for method, path in served.requests)
        assert asked == (3 if form == "link" else 1)
        served.answer = {path: (503, b"later") for _, path in served.requests}
        again = audited(built)
        assert again["disagreements"] == [] and not again["copies"][1]["reached"]


def test_a_budget_of_bytes_bounds_comparing_and_says_what_was_left_out(tmp_path: Path) -> None:
    """Reading all takes 3 × 2 files and the extras; comparing the small one fits beside it, the large one does not."""
    large = GOOD * 20
    mine = {"extra/E1.JPG": large, "extra/note.txt": b"one"}
    yours = {"extra/E1.JPG": large[:-9] + b"otherwise", "extra/note.txt": b"two"}
    built = laid(tmp_path / "s", {"x": mine, "y": yours})
    all_of_it = 2 * (sum(len(data) for _, data in FILES) + len(large) + 3)
    record = audited(built, "--budget", f"{all_of_it + 100} B")
    assert [row["counts"]["not_read"] for row in record["copies"]] == [0, 0]
    first, second = record["disagreements"]
    assert first["judgement"].startswith("not compared: what is left of the budget ") and not first["groups"]
    assert len(second["groups"]) == 2
    text = start("audit", built.file, "--no-ledger", "--budget", f"{all_of_it + 100} B", cwd=tmp_path).out
    assert "E1.JPG: not compared: what is left of the budget does not pay for it" in " ".join(text.split())
    whole = audited(built, "--budget", f"{all_of_it + 4 * len(large) + 12} B")
    assert all(len(one["groups"]) == 2 for one in whole["disagreements"])
