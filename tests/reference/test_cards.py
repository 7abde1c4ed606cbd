"""Cards made by the rules for camera file systems: names that come again are other pictures, pauses are other shoots.

Source: JEITA CP-3461 (DCF), as a projector's manual quotes it (Panasonic PT-L712NTE): below DCIM folders of three
digits, 100 to 999, each number once, and five characters; in them files of four characters and 0001 to 9999, each
number once per folder but for files that belong together (a raw and its JPEG share one); when the numbers run over,
the next folder begins. No folders below.
"""

import itertools
import re
import shutil
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from collections_found import jpeg, promised, put, sha256, walk, written
from runner import run_drills, start

pytestmark = pytest.mark.deep  # many cards laid out and looked at; the rooms of intake have quick tests

_DCF = re.compile(r"DCIM/[1-9]\d{2}[0-9A-Z_]{5}/[0-9A-Z_]{4}(?!0000)\d{4}\.[A-Z0-9]{3}", re.ASCII)
MORNING = datetime(2026, 9, 12, 9)
COUNTER = itertools.count(1)
ROLLED = [
    *((100, number) for number in (1, 2, 9997, 9998, 9999)),
    *((101, number) for number in (1, 2, 3)),
]


def shoot(
    card: Path, numbers: list[tuple[int, int]], *, code: str, begin: datetime, camera: str, every_s: int = 60
) -> list[Path]:
    """Take pictures one after the other onto a card."""
    found = []
    for step, (folder, number) in enumerate(numbers):
        path = card / f"DCIM/{folder}{code}_/{code}{number:04}.JPG"
        when = begin + timedelta(seconds=every_s * step)
        found.append(put(path, jpeg(next(COUNTER), when, camera=camera)))
    return found


def new(studio: Path, *media: str, gap: str = "6 h") -> str:
    given = [part for medium in media for part in ("--medium", medium)]
    made = start("new", studio, *given, "--digest", "sha256", "--gap", gap, cwd=studio.parent)
    assert made.code == 0, made.said
    return made.out


def digests(studio: Path) -> Counter[str]:
    """Count each promised digest, over all shoots."""
    return Counter(d for paths in promised(studio, "sha256").values() for d in paths.values())


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """Return a card of one camera whose numbers ran over: 100ABCD_/ABCD9999.JPG, then 101ABCD_/ABCD0001.JPG."""
    card = tmp_path / "card"
    shoot(card, ROLLED, code="ABCD", begin=MORNING, camera="Invented A1")
    return card


def test_the_card_keeps_to_the_rules(card: Path) -> None:
    paths = [path.relative_to(card).as_posix() for path in walk(card)]
    assert len(paths) == len(ROLLED) and all(map(_DCF.fullmatch, paths))


def test_after_the_rollover_both_first_pictures_are_promised(card: Path, tmp_path: Path) -> None:
    new(tmp_path / "studio", f"card={card}")
    (paths,) = promised(tmp_path / "studio", "sha256").values()
    assert {path: paths[path] for path in paths} == {
        f"{path.parent.name}/{path.name}": sha256(path) for path in walk(card)
    }
    assert len({path for path in paths if path.endswith("ABCD0001.JPG")}) == 2


def test_on_a_drive_that_renamed_the_second_one_each_is_found(card: Path, tmp_path: Path) -> None:
    """A flat import cannot keep two files of one name: the later is renamed, and content still pairs them."""
    drive = tmp_path / "drive" / "Heron Ridge"
    for path in walk(card):
        name = path.name if not (drive / path.name).exists() else f"{path.stem}-1.JPG"
        put(drive / name, path.read_bytes())
    said = new(tmp_path / "studio", f"card={card}", f"hard-disk={tmp_path / 'drive'}")
    assert digests(tmp_path / "studio") == Counter(sha256(path) for path in walk(card))
    assert "different bytes" not in said
    survey = start("survey", tmp_path / "studio/studio.toml", "--json", "-", cwd=tmp_path).record
    assert [one["there"] for one in survey["shoots"]] == [len(ROLLED)]
    assert survey["shoots"][0]["on_one_copy"] == []
    run = run_drills(tmp_path / "studio/studio.toml", "dead-card")
    assert [drill["verdict"] for drill in run.record["drills"]] == ["restored"], run.said


def test_two_bodies_of_one_model_write_the_same_names(tmp_path: Path) -> None:
    """Same folders, names, moments and even sizes on two cards: only content tells the pictures apart."""
    cards = [tmp_path / "card-a", tmp_path / "card-b"]
    for one in cards:
        shoot(one, ROLLED, code="ABCD", begin=MORNING + timedelta(seconds=20 * cards.index(one)), camera="Invented A1")
    longest = max(path.stat().st_size for one in cards for path in walk(one))
    for one in cards:
        for path in walk(one):
            path.write_bytes(path.read_bytes().ljust(longest, b"\0"))
    new(tmp_path / "studio", *(f"card={one}" for one in cards))
    assert digests(tmp_path / "studio") == Counter(sha256(path) for one in cards for path in walk(one))
    assert len(promised(tmp_path / "studio", "sha256")) == 1  # one session, two bodies


def test_two_bodies_at_the_very_same_second(tmp_path: Path) -> None:
    """Set to one clock, triggered together: name and moment agree, and still these are two pictures."""
    cards = [tmp_path / "card-a", tmp_path / "card-b"]
    for number, one in enumerate(cards):
        shoot(one, ROLLED, code="ABCD", begin=MORNING, camera=f"Invented A{number}")
    new(tmp_path / "studio", *(f"card={one}" for one in cards))
    assert digests(tmp_path / "studio") == Counter(sha256(path) for one in cards for path in walk(one))


def test_two_cameras_on_one_card(tmp_path: Path) -> None:
    """A card moved to another camera: that goes on with the next free folder number, and its own names from 0001."""
    card = tmp_path / "card"
    shoot(card, [(100, n) for n in (1, 2, 3)], code="ABCD", begin=MORNING, camera="Invented A1")
    shoot(card, [(101, n) for n in (1, 2, 3)], code="ABCD", begin=MORNING + timedelta(hours=1), camera="Invented B2")
    shoot(card, [(102, n) for n in (1, 2)], code="WXYZ", begin=MORNING + timedelta(hours=2), camera="Invented C3")
    new(tmp_path / "studio", f"card={card}")
    assert digests(tmp_path / "studio") == Counter(sha256(path) for path in walk(card))
    assert len(promised(tmp_path / "studio", "sha256")) == 1


def test_a_pause_longer_than_the_gap_is_another_shoot(tmp_path: Path) -> None:
    card = tmp_path / "card"
    parts = [
        shoot(card, [(100, n) for n in (9998, 9999)], code="ABCD", begin=MORNING, camera="Invented A1"),
        shoot(card, [(101, n) for n in (1, 2)], code="ABCD", begin=MORNING + timedelta(hours=5), camera="Invented A1"),
        shoot(card, [(101, n) for n in (3, 4)], code="ABCD", begin=MORNING + timedelta(hours=30), camera="Invented A1"),
    ]
    sets = [frozenset(map(sha256, part)) for part in parts]
    for gap, expected in (("6 h", [sets[0] | sets[1], sets[2]]), ("4 h", sets), ("48 h", [frozenset().union(*sets)])):
        studio = tmp_path / f"studio {gap}"
        new(studio, f"card={card}", gap=gap)
        shoots = [frozenset(paths.values()) for paths in promised(studio, "sha256").values()]
        assert sorted(shoots, key=sorted) == sorted(expected, key=sorted), gap
        assert sum(len(paths) for paths in promised(studio, "sha256").values()) == 6
    dates = {str(one["date"]) for one in written(tmp_path / "studio 6 h")["shoots"]}
    assert dates == {"2026-09-12", "2026-09-13"}


def test_the_gap_itself_is_no_pause_longer_than_the_gap(tmp_path: Path) -> None:
    card = tmp_path / "card"
    shoot(card, [(100, n) for n in (1, 2)], code="ABCD", begin=MORNING, camera="Invented A1", every_s=6 * 3600)
    shoot(card, [(101, 1)], code="ABCD", begin=MORNING + timedelta(hours=12, seconds=1), camera="Invented A1")
    new(tmp_path / "studio", f"card={card}")
    assert sorted(map(len, promised(tmp_path / "studio", "sha256").values())) == [1, 2]


def test_a_raw_and_its_jpeg_share_a_number_and_a_shoot(tmp_path: Path) -> None:
    """DCF: files that belong together have one number and differ in their endings; the raw has no time we can read."""
    card = tmp_path / "card"
    for path in shoot(card, ROLLED, code="ABCD", begin=MORNING, camera="Invented A1"):
        put(path.with_suffix(".DNG"), b"II*\0" + sha256(path).encode() * 100)
    new(tmp_path / "studio", f"card={card}")
    (paths,) = promised(tmp_path / "studio", "sha256").values()
    assert len(paths) == 2 * len(ROLLED)
    assert Counter(paths.values()) == Counter(sha256(path) for path in walk(card))


def test_case_of_names_does_not_count(card: Path, tmp_path: Path) -> None:
    """DCF names are without case; a reader may give them back in small letters."""
    low = tmp_path / "low"
    for path in walk(card):
        put(low / path.relative_to(card).as_posix().lower(), path.read_bytes())
    said = new(tmp_path / "studio", f"card={card}", f"tablet={low}")
    assert digests(tmp_path / "studio") == Counter(sha256(path) for path in walk(card))
    assert len(written(tmp_path / "studio")["shoots"]) == 1
    assert "different bytes" not in said


def test_what_cameras_keep_beside_the_pictures_is_not_in_the_way(card: Path, tmp_path: Path) -> None:
    put(card / "MISC/AUTPRINT.MRK", b"[HDR]\n")  # DPOF
    put(card / "DCIM/.DS_Store", b"\0\0\0\1Bud1")
    put(card / "DCIM/100ABCD_/._ABCD0001.JPG", b"\0\5\x16\7")
    put(card / "System Volume Information/IndexerVolumeGuid", b"{}")
    pictures = Counter(sha256(path) for path in walk(card) if path.suffix == ".JPG" and path.name[0] != ".")
    new(tmp_path / "studio", f"card={card}")
    assert digests(tmp_path / "studio") == pictures


def test_a_card_formatted_and_used_again_is_another_shoot(card: Path, tmp_path: Path) -> None:
    """The drive holds the old pictures, the card new ones under the very same names."""
    drive = tmp_path / "drive"
    shutil.copytree(card, drive / "Heron Ridge")
    shutil.rmtree(card)
    shoot(card, ROLLED, code="ABCD", begin=MORNING + timedelta(days=20), camera="Invented A1")
    new(tmp_path / "studio", f"card={card}", f"hard-disk={drive}")
    assert digests(tmp_path / "studio") == Counter(sha256(p) for root in (card, drive) for p in walk(root))
    assert len(written(tmp_path / "studio")["shoots"]) == 2
