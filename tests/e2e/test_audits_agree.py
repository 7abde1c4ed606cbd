"""Audits of real copies, held against the independent judge, with a census of all sources around each."""

import random
from hashlib import shake_128
from pathlib import Path
from typing import Any

import pytest
from audit_oracle import audit_disagreements
from census import census
from described import Copy, Held, Medium, Studio
from hand import FILES, A, B, C, D, copy, held, media, picture, shoot
from runner import NOW, Outcome, start
from studios import Built, build, link_server

CHANGED = picture(77)


def audited(built: Built, *more: str | Path) -> Outcome:
    fixed = ("--seed", "7", "--now", NOW, "--json", "-")
    return start("audit", built.file, *fixed, *more, cwd=built.file.parent)


def agree(folder: Path, studio: Studio, *, base: str | None = None) -> dict[str, Any]:
    """Build, audit, and hold the outcome against the judge; nothing but the ledger may have been written."""
    built = build(folder, studio, base=base)
    before = census(*built.sources)
    outcome = audited(built)
    assert census(*built.sources) == before
    beside = {path.name for path in folder.iterdir()} - {"ledger.sqlite"}
    assert beside <= {"media", "cloud", "manifests", "scenarios", "scratch", "studio.toml"}, (
        "something else was written"
    )
    assert outcome.code in (0, 1), outcome.said
    assert audit_disagreements(studio, outcome.record, outcome.code) == [], outcome.said
    return outcome.record


def one(form: str, **more: Any) -> Studio:
    """A studio of one copy."""
    more.setdefault("says", FILES)
    return Studio(media=media("x"), shoots=(shoot(*FILES),), copies=(copy("x", *FILES, form=form, **more),))


@pytest.mark.parametrize(
    "form", ["folder", ".zip", *(pytest.param(form, marks=pytest.mark.deep) for form in (".7z", ".tar", ".tar.gz"))]
)
@pytest.mark.parametrize("listed", [True, False])
def test_whole_copies_are_verified(form: str, listed: bool, tmp_path: Path) -> None:
    record = agree(tmp_path / "s", one(form, says=FILES if listed else None))
    assert record["copies"][0]["counts"]["verified"] == 3
    assert record["copies"][0]["bytes_read"] == sum(len(data) for _, data in FILES)


@pytest.mark.parametrize("form", ["folder", ".zip", ".7z", ".tar.gz"])
def test_what_is_changed_missing_and_extra(form: str, tmp_path: Path) -> None:
    holds = held(("raw/AAAA0001.dng", CHANGED), ("raw/AAAA0002.dng", B), ("note.txt", b"note"))
    record = agree(tmp_path / "s", one(form, holds=holds))
    assert {f["path"]: f["outcome"] for f in record["copies"][0]["files"]} == {
        "raw/AAAA0001.dng": "altered",
        "deliver/one.jpg": "missing",
        "note.txt": "extra",
    }


def test_a_missing_name_is_missing_though_its_bytes_lie_elsewhere(tmp_path: Path) -> None:
    holds = held(("moved/AAAA0001.dng", A), *FILES[1:])
    record = agree(tmp_path / "s", one("folder", holds=holds))
    missing = next(f for f in record["copies"][0]["files"] if f["outcome"] == "missing")
    assert "moved/AAAA0001.dng" in missing["detail"]


def test_names_in_other_forms_are_the_same_names(tmp_path: Path) -> None:
    says = (("raw/M\u00f6we.DNG", A), ("raw/b.dng", B))
    holds = held(("raw/Mo\u0308we.dng", A), ("raw/B.DNG", B))
    record = agree(tmp_path / "s", one("folder", says=says, holds=holds))
    assert record["copies"][0]["counts"]["verified"] == 2


def test_a_copy_without_a_list_is_held_against_the_promises(tmp_path: Path) -> None:
    holds = held(
        ("import/renamed.dng", A),  # promised bytes under another name
        ("import/raw/AAAA0002.dng", CHANGED),  # a promised name in its folder, other bytes
        ("import/AAAA0002.dng", picture(9, 10)),  # that name elsewhere, other size: another picture
        ("note.txt", b"note"),
    )
    record = agree(tmp_path / "s", one("folder", says=None, holds=holds))
    assert {f["path"]: f["outcome"] for f in record["copies"][0]["files"]} == {
        "import/raw/AAAA0002.dng": "altered",
        "import/AAAA0002.dng": "extra",
        "note.txt": "extra",
    }


def test_the_size_tells_a_damaged_picture_where_the_folder_does_not(tmp_path: Path) -> None:
    studio = Studio(
        media=media("x", "y"),
        shoots=(shoot(*FILES),),
        copies=(
            copy("x", *FILES),
            copy("y", holds=held(("loose/AAAA0001.dng", CHANGED), ("loose/AAAA0002.dng", picture(8, 100)))),
        ),
    )
    record = agree(tmp_path / "s", studio)
    assert {f["path"]: f["outcome"] for f in record["copies"][1]["files"]} == {
        "loose/AAAA0001.dng": "altered",  # as many bytes as x's, which is verified
        "loose/AAAA0002.dng": "extra",
    }
    intact = record["copies"][1]["files"][0]["intact"]
    assert [(place["copy"], place["path"]) for place in intact] == [("x", "raw/AAAA0001.dng")]


@pytest.mark.parametrize(
    "why", ["no at", "missing", "empty", "other drive", pytest.param("no server", marks=pytest.mark.deep)]
)
def test_what_cannot_be_reached_is_not_read(why: str, tmp_path: Path) -> None:
    form = "link" if why == "no server" else "folder"
    medium = Medium(id="x", recognised_by="DRIVE.txt" if why == "other drive" else None)
    away = copy("x", *FILES, form=form, says=True, out_of_reach=why)
    studio = Studio(media=(medium,), shoots=(shoot(*FILES),), copies=(away,))
    record = agree(tmp_path / "s", studio)
    assert record["copies"][0]["counts"]["not_read"] == 3
    built_file = tmp_path / "s" / "studio.toml"
    named = start("audit", built_file, "--copy", "x", "--json", "-", cwd=tmp_path)
    assert named.code == 1, named.said  # asked for by name, and not there


def test_links_are_downloaded(tmp_path: Path) -> None:
    (tmp_path / "s" / "cloud").parent.mkdir()
    with link_server(tmp_path / "s" / "cloud") as (base, served):
        says = (*FILES, ("raw/gone.dng", D))
        studio = Studio(
            media=media("x", "y", kind="cloud"),
            shoots=(shoot(*FILES),),
            copies=(
                copy("x", form="link", holds=held(*FILES[:2], ("deliver/one.jpg", CHANGED)), says=says),
                copy("y", *FILES, form="link.zip"),
            ),
        )
        record = agree(tmp_path / "s", studio, base=base)
        assert (
            record["copies"][0]["counts"] | {"verified": 2, "altered": 1, "missing": 1} == record["copies"][0]["counts"]
        )
        asked = [path for method, path in served.requests if method == "GET"]
        assert asked.count("/y/pictures.zip") == 1, "an archive behind a link is fetched once"
    assert list((tmp_path / "s" / "scratch").iterdir()) == []


def test_weak_digests_count_where_the_name_agrees(tmp_path: Path) -> None:
    record = agree(tmp_path / "s", one("folder", says_in=("xxh32",), holds=held(*FILES[:2], ("deliver/one.jpg", D))))
    assert record["copies"][0]["counts"]["altered"] == 1


def _random_studio(number: int) -> Studio:
    """Make a studio by lot: promises, copies with and without lists, files kept, moved, renamed, damaged, left out."""
    rng = random.Random(number)
    names = [
        f"{folder}{last}" for folder in ("", "d1/", "d2/", "d1/e/") for last in ("A1.dng", "A2.dng", "b.JPG", "é.xmp")
    ]
    shoots = []
    for id_ in ("one", "two")[: rng.randint(1, 2)]:
        files = [(name, _bytes(rng)) for name in rng.sample(names, rng.randint(1, 6))]
        shoots.append(shoot(*files, id=id_, promised_in=rng.choice([("sha256",), ("md5", "xxh128"), ("xxh3",)])))
    copies = [_random_copy(rng, f"c{n}", [f for s in shoots for f in s.promise]) for n in range(rng.randint(1, 3))]
    return Studio(media=media(*(c.id for c in copies)), shoots=tuple(shoots), copies=tuple(copies))


def _bytes(rng: random.Random) -> bytes:
    return shake_128(rng.randbytes(8)).digest(rng.choice([30, 30, 500, 5000]))


def _random_copy(rng: random.Random, id_: str, promised: list[tuple[str, bytes]]) -> Copy:
    stored: dict[str, bytes] = {}
    says: dict[str, bytes] = {}
    for path, data in promised:
        how = rng.choice(["as is"] * 5 + ["damaged", "other size", "moved", "renamed", "gone", "unlisted"])
        where = {"moved": f"new/{path}", "renamed": f"r{len(stored)}.bin"}.get(how, path)
        if rng.random() < 0.1:
            where = where.upper() if where.isascii() else where
        really = {"damaged": data[:-1] + bytes([data[-1] ^ 1]), "other size": data + b"!"}.get(how, data)
        if how != "gone":
            stored.setdefault(where, really)
        if how != "unlisted":
            says.setdefault(path, data)
    if rng.random() < 0.3:
        stored["extra/unheard of.txt"] = b"something"
    folded = {name.casefold() for name in stored}
    form = rng.choice(["folder", "folder", ".zip", ".tar.gz"])
    if len(folded) < len(stored) or not stored:
        form = "folder" if not stored else form
    kinds = rng.choice([("sha256",), ("xxh128",), ("md5", "sha1")])
    listed = tuple(says.items()) if says and rng.random() < 0.6 else None
    away = rng.choice([None] * 6 + ["missing", "no at"]) if form == "folder" else None
    holds = tuple(Held(path, data) for path, data in stored.items())
    return Copy(id=id_, on=id_, form=form, holds=holds, says=listed, says_in=kinds, out_of_reach=away)


@pytest.mark.parametrize("number", range(8))
def test_random_studios(number: int, tmp_path: Path) -> None:
    agree(tmp_path / "s", _random_studio(number))


@pytest.mark.deep
@pytest.mark.parametrize("number", range(100, 200))
def test_many_random_studios(number: int, tmp_path: Path) -> None:
    agree(tmp_path / "s", _random_studio(number))


def test_the_same_twice_is_the_same(tmp_path: Path) -> None:
    built = build(tmp_path / "s", _random_studio(3))
    first, second = audited(built).record, audited(built).record
    for record in (first, second):
        record["started"] = ""
        for row in record["copies"]:
            row["seconds"] = 0
    assert first == second, "an audit reads everything again"
    assert C  # the pictures of `hand` are what the cases above are made of
