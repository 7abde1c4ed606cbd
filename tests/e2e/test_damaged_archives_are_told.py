"""Archives that are really damaged, as a user meets them: every command says so, and nothing counts them as whole.

A tar whose middle has zeros in the place of a file's header opens without an error in GNU tar, 7-Zip and Python's
tarfile, which all end there (measured; `reference/test_tar_ends_elsewhere.py`).
"""

import io
import random
import tarfile
import zipfile
from pathlib import Path

import py7zr
import pytest
from census import census
from plain_studio import LIST, sha256_list, studio_text
from runner import NOW, Outcome, start

pytestmark = pytest.mark.deep  # many starts of the program; test_tar_ends.py is quick

FILES = {f"raw/R{n:04}.dng": random.Random(n).randbytes(9_000 + 17 * n) for n in range(24)}
NAMES = [*FILES]
LOST = 11  # the file of which the header is lost


def tarred(names: list[str]) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w") as tar:
        for name in names:
            info = tarfile.TarInfo(name)
            info.size = len(FILES[name])
            tar.addfile(info, io.BytesIO(FILES[name]))
    return out.getvalue()


def without_a_header() -> bytes:
    content = bytearray(tarred(NAMES))
    with tarfile.open(fileobj=io.BytesIO(content)) as tar:
        place = tar.getmembers()[LOST].offset
    content[place : place + 512] = bytes(512)
    return bytes(content)


def zip_without_its_end() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in FILES.items():
            archive.writestr(name, content)
    whole = out.getvalue()
    return whole[: whole.index(b"PK\x01\x02")]


def sevenz_without_its_end() -> bytes:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w") as archive:
        for name, content in FILES.items():
            archive.writestr(content, name)
    return out.getvalue()[:-50]


def studio(folder: Path, name: str, content: bytes, *, card: list[str] | None = None) -> Path:
    """Write a studio of an archive and of a card with these files, all where none are named."""
    for path in NAMES if card is None else card:
        file = folder / "media" / "card" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(FILES[path])
    (folder / "media" / "nas").mkdir(parents=True)
    (folder / "media" / "nas" / name).write_bytes(content)
    (folder / LIST).write_text(sha256_list(FILES), encoding="utf-8")
    kinds, at = {"nas": "network-storage", "card": "card"}, {"nas": f"media/nas/{name}", "card": "media/card"}
    (folder / "studio.toml").write_text(studio_text(kinds, at=at), encoding="utf-8")
    gone = 'title = "t"\nstory = "s"\n[[hazards]]\neffect = "gone"\nhits = { medium = "card" }\n'
    (folder / "no-card.toml").write_text(gone, encoding="utf-8")
    return folder / "studio.toml"


def do(file: Path, command: str, *more: str | Path) -> Outcome:
    return start(command, file, "--now", NOW, *more, cwd=file.parent)


def words(outcome: Outcome) -> str:
    return " ".join(outcome.out.split())


def test_a_tar_that_ends_early_is_told_by_survey_and_audit(tmp_path: Path) -> None:
    file = studio(tmp_path, "2026.tar", without_a_header())
    before = census(tmp_path / "media")
    surveyed = do(file, "survey")
    assert surveyed.code == 1 and "nas: the archive is damaged: it goes on behind" in words(surveyed), surveyed.said
    nas = do(file, "survey", "--json", "-").record["copies"][0]
    assert (nas["there"], nas["falls_short"]) == (len(FILES) - 1, True)
    audited = do(file, "audit")
    assert audited.code == 1 and "1 archive is damaged as a whole: nas" in words(audited), audited.said
    nas, card = do(file, "audit", "--json", "-").record["copies"]
    assert nas["counts"]["verified"] == len(FILES) - 1 and card["counts"]["verified"] == len(FILES)
    assert nas["bytes_read"] > 200_000 and nas["reason"]
    assert census(tmp_path / "media") == before


def test_a_drill_and_a_recovery_go_on_behind_the_zeros_and_a_person_does_not(tmp_path: Path) -> None:
    file = studio(tmp_path, "2026.tar", without_a_header())
    outcome = do(file, "run", "--scenario", "no-card.toml", "--no-reports", "--no-ledger", "--json", "-")
    (drill,) = outcome.record["drills"]
    assert (outcome.code, drill["files"]["verified"], drill["files"]["lost"]) == (1, len(FILES) - 1, 1), outcome.said
    assert drill["unchecked"] == {"right": LOST, "silently_wrong": 0, "failed": len(FILES) - LOST}
    told = words(do(file, "run", "--scenario", "no-card.toml", "--no-reports", "--no-ledger"))
    assert "nas is damaged: it goes on behind what looks like its end" in told
    back = do(file, "recover", "--lost", "card", "--into", tmp_path / "back")
    assert back.code == 1 and "nas is damaged" in words(back), back.said
    for name in NAMES[:LOST] + NAMES[LOST + 1 :]:
        assert (tmp_path / "back" / "reed" / name).read_bytes() == FILES[name]
    assert not (tmp_path / "back" / "reed" / NAMES[LOST]).exists()


def test_what_a_damaged_tar_lost_is_promised_by_no_first_look_without_a_word(tmp_path: Path) -> None:
    file = studio(tmp_path, "2026.tar", without_a_header())
    archive = tmp_path / "media" / "nas" / "2026.tar"
    outcome = start("new", tmp_path / "first", "--medium", f"hard-disk={archive}", cwd=tmp_path)
    assert outcome.code == 1 and "2026 is damaged, and what it lost is promised by no file" in words(outcome)
    assert (tmp_path / "first" / "studio.toml").exists()
    made = do(file, "survey", "--write-manifests")
    assert not (tmp_path / "manifests" / "on-nas.sha256").exists(), made.said
    kept = do(file, "retire", "nas")
    assert kept.code == 1 and "nas is damaged" in words(kept), kept.said


def test_tars_one_after_the_other_are_no_damage(tmp_path: Path) -> None:
    file = studio(tmp_path, "2026.tar", tarred(NAMES[:LOST]) + tarred(NAMES[LOST:]))
    surveyed, audited = do(file, "survey"), do(file, "audit")
    assert surveyed.code == audited.code == 0, surveyed.said + audited.said
    for outcome in (surveyed, audited):
        assert f"other programs find only the first {LOST} of its {len(FILES)} files" in words(outcome), outcome.said
    outcome = do(file, "run", "--scenario", "no-card.toml", "--no-reports", "--no-ledger", "--json", "-")
    (drill,) = outcome.record["drills"]
    assert drill["verdict"] == "restored" and drill["unchecked"]["right"] == LOST


BROKEN = {"2026.zip": zip_without_its_end, "2026.7z": sevenz_without_its_end}


@pytest.mark.parametrize("name", BROKEN)
def test_an_audit_says_of_a_broken_archive_what_other_copies_hold(tmp_path: Path, name: str) -> None:
    file = studio(tmp_path, name, BROKEN[name]())
    outcome = do(file, "audit")
    said = words(outcome)
    assert outcome.code == 1 and "none found damaged or missing. 1 archive is damaged as a whole: nas" in said, said
    assert "nas: the archive cannot be read in the ordinary way; all 24 promised files are on other copies" in said
    assert "verified in this audit" in said and "drill recover" in said and "make it anew" in said
    assert "gives nothing" not in said and "elsewhere now" not in said
    nas = do(file, "audit", "--json", "-").record["copies"][0]
    assert nas["is_broken"] and nas["elsewhere"]["verified"] == len(FILES) and nas["elsewhere"]["nowhere"] == []


def test_an_audit_names_what_may_be_in_a_broken_archive_alone(tmp_path: Path) -> None:
    file = studio(tmp_path, "2026.zip", zip_without_its_end(), card=NAMES[:20])
    outcome = do(file, "audit")
    said = words(outcome)
    assert outcome.code == 1, outcome.said
    assert "of 24 files promised 20 on other copies (each verified in this audit), 4 known on no other copy" in said
    assert f"reed/{NAMES[20]}" in said and "change nothing there" in said


def test_what_a_broken_archive_held_before_is_no_place_to_bring_bytes_back_from(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in FILES.items():
            archive.writestr(name, content)
    file = studio(tmp_path, "2026.zip", out.getvalue())
    assert do(file, "audit").code == 0
    (tmp_path / "media" / "nas" / "2026.zip").write_bytes(zip_without_its_end())
    (tmp_path / "media" / "card" / NAMES[3]).write_bytes(bytes(len(FILES[NAMES[3]])))
    _, card = do(file, "audit", "--json", "-").record["copies"]
    (bad,) = card["files"]
    assert bad["path"] == NAMES[3] and bad["intact"] == []


def test_an_audit_with_a_list_says_the_same_of_each_file(tmp_path: Path) -> None:
    file = studio(tmp_path, "2026.zip", zip_without_its_end())
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace('at = "media/nas/2026.zip"\n', f'at = "media/nas/2026.zip"\nmanifest = "{LIST}"\n'))
    said = words(do(file, "audit"))
    assert "21 more on nas cannot be read in the ordinary way; card holds them, verified in this audit" in said, said
    assert "drill recover look past the damage" in said
