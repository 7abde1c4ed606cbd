"""A drill over damaged copies: what one gives past its damage, what several give together, what is never accepted."""

import hashlib
import random
import shutil
import subprocess
import tarfile
import zipfile
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

import py7zr
import pytest

from drill.copies import FileBytes, file_store
from drill.extents import Part
from drill.ledger import Ledger
from drill.model import Digest, Hazard, Scenario, Selector
from drill.record import Drill, Run
from drill.rehearse import Options, rehearse
from drill.stitching import Stitched, Version, stitch
from drill.structure import anatomy
from drill.studio import load_studio
from drill.testing import drilled, studio_folder

NOW = datetime(2026, 10, 1, tzinfo=UTC)
SECTOR = 4096
SIZE = 50_000
FILES = 6


def picture(number: int) -> bytes:
    return random.Random(number).randbytes(SIZE + 1000 * number)


def lay_out(folder: Path, copies: Mapping[str, str], *, numbers: Mapping[str, Sequence[int]] | None = None) -> Path:
    """Write a studio of copies by id and form ("" is a folder); each holds all pictures, or those of `numbers`."""
    source = folder / "source" / "raw"
    source.mkdir(parents=True)
    for number in range(FILES):
        (source / f"R{number}.dng").write_bytes(picture(number))
    lines = [f"{hashlib.sha256(picture(n)).hexdigest()}  raw/R{n}.dng\n" for n in range(FILES)]
    (folder / "reed.sha256").write_text("".join(lines))
    text = '[studio]\nname = "Reed"\nscratch = "scratch"\n'
    text += '[[shoots]]\nid = "reed"\ndate = 2026-09-12\nmanifest = "reed.sha256"\n'
    for id_, form in copies.items():
        at = folder / "media" / id_ / f"2026{form}"
        at.parent.mkdir(parents=True)
        (at.parent / "mark.txt").write_text("it is plugged in")
        text += f'[[media]]\nid = "{id_}"\nkind = "ssd"\nplace = "{id_}-place"\n'
        text += f'[[copies]]\non = "{id_}"\nat = "media/{id_}/2026{form}"\n'
        MAKERS[form](at, [source / f"R{n}.dng" for n in (numbers or {}).get(id_, range(FILES))])
    path = folder / "studio.toml"
    path.write_text(text)
    return path


def make_folder(at: Path, files: Sequence[Path]) -> None:
    (at / "raw").mkdir(parents=True)
    for file in files:
        (at / "raw" / file.name).write_bytes(file.read_bytes())


def make_zip(at: Path, files: Sequence[Path]) -> None:
    with zipfile.ZipFile(at, "w") as archive:
        for file in files:
            archive.write(file, f"raw/{file.name}")


def make_7z(at: Path, files: Sequence[Path]) -> None:
    with py7zr.SevenZipFile(at, "w", filters=[{"id": py7zr.FILTER_COPY}]) as archive:
        for file in files:
            archive.write(file, f"raw/{file.name}")


def make_tar(at: Path, files: Sequence[Path]) -> None:
    with tarfile.open(at, "w") as archive:
        for file in files:
            archive.add(file, f"raw/{file.name}")


MAKERS: dict[str, Callable[[Path, Sequence[Path]], None]] = {
    "": make_folder,
    ".zip": make_zip,
    ".7z": make_7z,
    ".tar": make_tar,
}


def bad(medium: str, *sectors: int, files: tuple[str, ...] | None = None) -> Hazard:
    return Hazard("unreadable", Selector(medium=(medium,)), sectors=sectors, files=files)


def run(studio: Path, *hazards: Hazard, headers: Path | None = None, keep: bool = False, times: int = 1) -> Run:
    told = hazards or (Hazard("slow", Selector(), factor=1.0),)
    scenarios = [Scenario(f"x{n}", "t", "s", tuple(told)) for n in range(times)]
    return rehearse(load_studio(studio), scenarios, Options(seed=1, now=NOW, headers=headers, keep=keep))


def drill(studio: Path, *hazards: Hazard, headers: Path | None = None) -> Drill:
    record = run(studio, *hazards, headers=headers)
    assert record.complete, record.unfinished
    return record.drills[0]


def test_two_folders_with_bad_sectors_in_different_places_give_every_file(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, {"one": "", "two": ""})
    found = drill(studio, bad("one", 0, 3, 4), bad("two", 1, 5, 11))
    assert (found.verdict, found.stitched, found.sources) == ("restored", FILES, {"one": FILES, "two": FILES})
    assert found.unchecked.failed == FILES  # by hand, nothing comes
    assert found.further_failures.survivable == 0
    weakest = {name for (name,) in found.further_failures.weakest}
    assert weakest == {"medium:one", "medium:two", "place:one-place", "place:two-place"}


def test_bad_sectors_in_the_same_place_lose_the_file_and_a_third_copy_brings_it_back(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, {"one": "", "two": "", "three": ""}, numbers={"three": (2,)})
    same = bad("one", 3), bad("two", 3, 4)
    found = drill(studio, *same, bad("three", 5))
    assert (found.files.verified, found.stitched) == (1, 1)
    assert found.sources == {"one": 1, "three": 1}
    assert all("bad sector in one" in note.why and "bad sector in two" in note.why for note in found.lost_files)
    assert found.further_failures.survivable == -1


@pytest.mark.parametrize("form", [".zip", ".7z", ".tar"])
def test_an_archive_and_a_folder_are_stitched(tmp_path: Path, form: str) -> None:
    studio = lay_out(tmp_path, {"shelf": form, "card": ""})
    at = (tmp_path / "media/shelf" / f"2026{form}").read_bytes().find(picture(2)[20_000:20_100])
    found = drill(studio, bad("shelf", at // SECTOR), bad("card", 0))
    assert (found.verdict, found.stitched) == ("restored", 1)
    assert found.sources == {"shelf": FILES, "card": 1}


@pytest.mark.parametrize("form", [".zip", ".7z", ".tar"])
def test_an_archive_cut_short_gives_what_is_before_the_cut(tmp_path: Path, form: str) -> None:
    studio = lay_out(tmp_path, {"shelf": form})
    path = tmp_path / "media/shelf" / f"2026{form}"
    keep = path.read_bytes().find(picture(3)) + 10
    cut = Hazard("truncated", Selector(medium=("shelf",)), keep=keep)
    headers = tmp_path / "kept"
    with_headers = drill(studio, cut, headers=headers)
    assert (with_headers.files.verified, with_headers.sources) == (3, {"shelf": 3})
    without = drill(studio, cut)
    assert without.files.verified == (0 if form == ".7z" else 3)
    assert without.unchecked.right == (3 if form == ".tar" else 0)


@pytest.mark.parametrize("form", [".zip", ".7z", ".tar"])
def test_kept_headers_bring_everything_back_when_an_archive_has_lost_its_own(tmp_path: Path, form: str) -> None:
    studio = lay_out(tmp_path, {"shelf": form})
    path = tmp_path / "media/shelf" / f"2026{form}"
    assert drill(studio, headers=tmp_path / "kept").verdict == "restored"
    assert len(list((tmp_path / "kept").iterdir())) == 1
    content = bytearray(path.read_bytes())
    headers = [e for e in anatomy(file_store(path), form, None).extents if e.part is Part.HEADERS]
    assert len(headers) > 1
    for extent in headers:
        content[extent.start : extent.end] = bytes(extent.end - extent.start)
    path.write_bytes(content)
    record = run(studio, headers=tmp_path / "kept")
    assert record.drills[0].verdict == "restored"
    assert record.drills[0].unchecked.right == 0
    assert any("shelf is damaged" in note and "kept" in note for note in record.notes)


def test_an_archive_that_cannot_be_listed_today_is_looked_into_all_the_same(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, {"shelf": ".zip"})
    path = tmp_path / "media/shelf/2026.zip"
    content = path.read_bytes()
    path.write_bytes(content[: content.rfind(picture(FILES - 1)) + 30_000])
    record = run(studio)
    assert record.drills[0].files.verified == FILES - 1
    assert record.drills[0].unchecked.right == 0
    assert any("shelf is damaged" in note and "without its headers" in note for note in record.notes)


def test_members_that_are_encrypted_themselves_are_not_salvaged(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, {"shelf": ".zip"})
    found = drill(studio, Hazard("encrypted", Selector(medium=("shelf",)), files=("*.dng",)))
    assert (found.verdict, found.stitched) == ("lost", 0)


MEMBER_FAULTS = {
    "deleted": Hazard("deleted", Selector(medium=("shelf",))),
    "one deleted": Hazard("deleted", Selector(medium=("shelf",)), files=("R2.dng",)),
    "one encrypted": Hazard("encrypted", Selector(medium=("shelf",)), files=("R2.dng",)),
    "stale": Hazard("stale", Selector(medium=("shelf",)), before=datetime(1985, 1, 1, tzinfo=UTC)),
}


@pytest.mark.parametrize("form", [".zip", ".7z", ".tar"])
@pytest.mark.parametrize("fault", sorted(MEMBER_FAULTS))
@pytest.mark.parametrize("kept", [True, False])
def test_what_a_fault_takes_out_of_an_archive_that_is_damaged_today_is_not_salvaged(
    tmp_path: Path, form: str, fault: str, kept: bool
) -> None:
    """It lies there still under the overlay, and would come back as a member that nothing names."""
    studio = lay_out(tmp_path, {"shelf": form})
    headers = tmp_path / "headers" if kept else None
    run(studio, headers=headers)
    path = tmp_path / "media/shelf" / f"2026{form}"
    content = path.read_bytes()
    if form == ".tar":  # the second header
        at = content.index(b"raw/R1.dng")
        path.write_bytes(content[:at] + b"\xff" * 300 + content[at + 300 :])
    else:
        path.write_bytes(content[:-2000])
    found = drill(studio, MEMBER_FAULTS[fault], headers=headers)
    lost = {note.path for note in found.lost_files}
    assert lost >= ({"raw/R2.dng"} if fault.startswith("one") else {f"raw/R{n}.dng" for n in range(FILES)})


@pytest.mark.outside
def test_blocks_without_names_are_not_offered_while_something_is_deleted(tmp_path: Path) -> None:
    """Whether what nothing names is what was deleted, nothing can tell."""
    program = shutil.which("7zz") or shutil.which("7z")
    if program is None:
        pytest.skip("7-Zip is not installed")
    studio = lay_out(tmp_path, {"shelf": ".7z"})
    path = tmp_path / "media/shelf/2026.7z"
    path.unlink()
    made = [program, "a", "-ms=off", path, "raw"]
    subprocess.run(made, cwd=tmp_path / "source", stdout=subprocess.DEVNULL, check=True)
    path.write_bytes(path.read_bytes()[:-60])
    assert drill(studio).files.verified == FILES
    assert drill(studio, MEMBER_FAULTS["one deleted"]).files.verified == 0


def test_every_effect_that_takes_a_copy_takes_what_a_salvage_could_have(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, {"shelf": ".zip", "card": ""})
    for effect in ("gone", "refused", "deleted", "encrypted", "expired"):
        assert drill(studio, Hazard(effect, Selector()), headers=tmp_path / "kept").verdict == "lost", effect


@pytest.fixture
def bytes_read(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Count the bytes really read from files of copies, by medium."""
    counted: Counter[str] = Counter()
    paths: dict[int, str] = {}
    honest_init, honest_read = FileBytes.__init__, FileBytes.readinto

    def init(self: FileBytes, path: Path, *more: object, **named: object) -> None:
        honest_init(self, path, *more, **named)  # type: ignore[arg-type]
        paths[id(self)] = Path(path).parts[-3] if "raw" in Path(path).parts else "other"

    def readinto(self: FileBytes, buffer: bytearray) -> int:
        got = honest_read(self, buffer) or 0
        counted[Path(paths[id(self)]).name] += got
        return got

    monkeypatch.setattr(FileBytes, "__init__", init)
    monkeypatch.setattr(FileBytes, "readinto", readinto)
    return counted


def test_what_is_damaged_today_is_salvaged_once_for_all_drills(tmp_path: Path, bytes_read: Counter[str]) -> None:
    studio = lay_out(tmp_path, {"one": "", "two": ""})
    for medium, at in (("one", 100), ("two", 30_000)):
        path = tmp_path / f"media/{medium}/2026/raw/R1.dng"
        content = bytearray(path.read_bytes())
        content[at : at + 10] = bytes(10)
        path.write_bytes(content)
    record = run(studio, times=5)
    assert [one.stitched for one in record.drills] == [1] * 5
    total = sum(len(picture(n)) for n in range(FILES))
    assert sum(bytes_read.values()) == 2 * total + 2 * len(picture(1))  # what may lie under any name, then both again
    assert not any((tmp_path / "scratch").iterdir())


def test_what_cannot_be_put_together_is_tried_once_for_all_drills(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: Counter[int] = Counter()

    def counting(versions: Sequence[Version], digests: Sequence[Digest], *, size: int | None) -> Stitched | None:
        tried[len(versions)] += 1
        return stitch(versions, digests, size=size)

    monkeypatch.setattr("drill.rehearse.parts.stitch", counting)
    studio = lay_out(tmp_path, {"one": "", "two": ""})
    for medium in ("one", "two"):
        for number, places in ((1, range(0, SIZE, 1000)), (2, range(10))):  # one in vain, one in no time
            path = tmp_path / f"media/{medium}/2026/raw/R{number}.dng"
            content = bytearray(path.read_bytes())
            for at in places if number == 1 or medium == "one" else (20_000,):
                content[at] ^= 0x55 if medium == "one" else 0x33
            path.write_bytes(content)
    record = run(studio, times=4)
    assert [(one.files.lost, one.stitched) for one in record.drills] == [(1, 1)] * 4
    assert tried == {2: 2}
    assert all(one.seconds.measured > 0 for one in record.drills)


def test_what_was_stitched_is_kept_with_the_others(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, {"one": "", "two": ""})
    record = run(studio, bad("one", 0), bad("two", 1), keep=True)
    assert record.drills[0].stitched == FILES
    (home,) = (tmp_path / "scratch").iterdir()
    kept = {path.name: path.read_bytes() for path in (home / "x0" / "reed" / "raw").iterdir()}
    assert kept == {f"R{n}.dng": picture(n) for n in range(FILES)}
    assert sorted(path.name for path in home.iterdir()) == ["x0"]


@pytest.mark.outside
@pytest.mark.parametrize(
    ("how", "with_headers", "without"),
    [
        (("-ms=off",), 5, 5),  # each picture is a block of its own, told by its digest
        (("-mx=5",), 5, 0),
        (("-mx=0",), 5, 0),
        (("-preed", "-mhe=on"), 5, 0),
    ],
)
def test_archives_of_7zip_whose_headers_lie_in_bad_sectors(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: tuple[str, ...], with_headers: int, without: int
) -> None:
    """Both headers lost; the last picture ends in the same sector as the second one. The 7-Zip program made them."""
    program = shutil.which("7zz") or shutil.which("7z")
    if program is None:
        pytest.skip("7-Zip is not installed")
    studio = lay_out(tmp_path, {"shelf": ".7z"})
    path = tmp_path / "media/shelf/2026.7z"
    path.unlink()
    subprocess.run([program, "a", *how, path, "raw"], cwd=tmp_path / "source", stdout=subprocess.DEVNULL, check=True)
    if len(how) > 1:
        monkeypatch.setenv("SHELF_PASSWORD", "reed")
        studio.write_text(studio.read_text() + 'password_env = "SHELF_PASSWORD"\n')
    last = bad("shelf", (path.stat().st_size - 1) // SECTOR)
    start = Hazard("altered", Selector(medium=("shelf",)), offsets=(6, 8, 12, 14, 20))
    assert drill(studio, last, start, headers=tmp_path / "kept").files.verified == with_headers
    assert drill(studio, last, start).files.verified == without


def test_of_a_lost_file_its_own_damage_is_told_and_of_the_others_nothing_is_called_wrong(tmp_path: Path) -> None:
    """A zip that was cut short: its directory comes from the kept headers, a picture's own bytes from nowhere."""
    studio = lay_out(tmp_path, {"shelf": ".zip"})
    headers = tmp_path / "headers"
    with Ledger.open(tmp_path / "ledger.sqlite") as ledger:
        options = Options(seed=1, now=NOW, headers=headers, ledger=ledger)
        slow = [Scenario("x", "t", "s", (Hazard("slow", Selector(), factor=1.0),))]
        assert rehearse(load_studio(studio), slow, options).drills[0].verdict == "restored"
        path = tmp_path / "media/shelf/2026.zip"
        content = path.read_bytes()
        path.write_bytes(content[: content.index(picture(5)[:100]) + 20_000])
        record = rehearse(load_studio(studio), slow, options)
    (note,) = record.drills[0].lost_files
    assert note.path == "raw/R5.dng"
    assert "directory" not in note.why and "header" not in note.why, note.why
    ((age,),) = [shoot.copies for shoot in record.ages]
    assert (age.held, age.never, age.refuted) == (FILES, FILES, ())


# --- what is damaged today, without any scenario -------------------------------------------------------------------


def test_a_copy_that_is_damaged_today_is_told_with_a_good_one_to_make_it_from(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, {"shelf": ".7z", "card": "", "disk": ""}, numbers={"card": (0, 1)})
    path = tmp_path / "media/shelf/2026.7z"
    content = bytearray(path.read_bytes())
    for number in (0, 2):
        content[content.find(picture(number)) + 50] ^= 255
    path.write_bytes(content)
    (mend,) = run(studio).mends
    assert (mend.copy, mend.failed + mend.other, mend.source, mend.is_archive) == ("shelf", 2, "disk", True)
    assert (mend.right, mend.said) in ((2, 0), (1, 1))  # the drill reads what it needs, and one may come from the card
    (tmp_path / "media/disk/2026/raw/R2.dng").write_bytes(b"edited")
    found = {one.copy: one for one in run(studio).mends}
    assert found["disk"].other == 1 and found["disk"].source is None and not found["disk"].is_archive
    assert found["shelf"].source in ("disk", "card") and found["shelf"].right + found["shelf"].said < 2


@pytest.mark.parametrize("form", [".zip", ".7z", ".tar"])
def test_an_archive_that_opens_no_more_is_told_and_a_whole_one_is_not(tmp_path: Path, form: str) -> None:
    studio = lay_out(tmp_path, {"shelf": form, "disk": ""})
    assert run(studio).mends == ()
    path = tmp_path / "media/shelf" / f"2026{form}"
    path.write_bytes(b"\xff" * 3000)
    (mend,) = run(studio).mends
    assert (mend.copy, mend.failed, mend.source) == ("shelf", 0, None)


def test_a_missing_file_that_a_camera_s_repeated_name_leads_two_shoots_to_is_counted_once(tmp_path: Path) -> None:
    """Two shoots, one name: the drive's list names one file of it, which is gone. The box has but one of the two."""
    old, new = {"raw/A0001.dng": b"an old picture"}, {"raw/A0001.dng": b"a new one", "raw/A0002.dng": b"another"}
    with studio_folder(tmp_path, media={"drive": "hard-disk in house"}, shoots={}, copies={}) as studio:
        studio.add_shoot("kiln", old)
        studio.add_shoot("reed", new)
        studio.add_medium("box")
        studio.add_copy("drive", holds={"raw/A0002.dng": b"another"}, says=new)
        studio.add_copy("box", "kiln")
        (mend,) = drilled(studio).mends
        assert (mend.copy, mend.failed, mend.other) == ("drive", 1, 0)
        assert mend.source is None  # which of the two it was the list's own digests do not tell
        studio.add_medium("attic")
        studio.add_copy("attic")
        (mend,) = drilled(studio).mends
        assert (mend.source, mend.right + mend.said) == ("attic", 1)
