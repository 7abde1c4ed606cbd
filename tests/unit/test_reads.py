"""Real collections are terabytes: what no hazard touches is read once in a run, however many drills it serves."""

import hashlib
import zipfile
import zlib
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest

from drill.copies import FileBytes
from drill.model import Hazard, Scenario, Selector
from drill.record import Run
from drill.rehearse import Options, rehearse
from drill.scenario import load_scenarios
from drill.studio import load_studio

SIZE = 40_000
NOW = datetime(2026, 10, 1, tzinfo=UTC)


@pytest.fixture
def bytes_read(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Count the bytes really read from files of copies, by path."""
    counted: Counter[str] = Counter()
    paths: dict[int, str] = {}
    honest_init, honest_read = FileBytes.__init__, FileBytes.readinto

    def init(self: FileBytes, path: Path, *more: object, **named: object) -> None:
        honest_init(self, path, *more, **named)  # type: ignore[arg-type]
        paths[id(self)] = str(path)

    def readinto(self: FileBytes, buffer: bytearray) -> int:
        got = honest_read(self, buffer) or 0
        counted[paths[id(self)]] += got
        return got

    monkeypatch.setattr(FileBytes, "__init__", init)
    monkeypatch.setattr(FileBytes, "readinto", readinto)
    return counted


def picture(shoot: str, number: int) -> bytes:
    return hashlib.shake_256(f"{shoot}{number}".encode()).digest(SIZE)


def studio_of(folder: Path, media: dict[str, str], *, rename: tuple[str, ...] = ()) -> Path:
    text = '[studio]\nname = "Reed"\nscratch = "scratch"\n'
    for shoot in ("otter", "heron"):
        lines = [f"{hashlib.sha256(picture(shoot, n)).hexdigest()}  raw/{shoot}{n}.dng\n" for n in range(4)]
        (folder / f"{shoot}.sha256").write_text("".join(lines))
        text += f'[[shoots]]\nid = "{shoot}"\ndate = 2026-09-12\nmanifest = "{shoot}.sha256"\n'
    for id_, kind in media.items():
        text += f'[[media]]\nid = "{id_}"\nkind = "{kind}"\nplace = "{id_}-place"\n'
        text += f'[[copies]]\non = "{id_}"\nat = "media/{id_}"\n'
        for shoot in ("otter", "heron"):
            for number in range(4):
                name = f"X{number}{shoot}.raw" if id_ in rename else f"{shoot}{number}.dng"
                path = folder / "media" / id_ / shoot / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(picture(shoot, number))
    path = folder / "studio.toml"
    path.write_text(text)
    return path


def run(path: Path, scenarios: list[Scenario], *, keep: bool = False) -> Run:
    return rehearse(load_studio(path), scenarios, Options(seed=1, now=NOW, keep=keep))


def gone(medium: str, name: str) -> Scenario:
    return Scenario(name, "t", "s", (Hazard("gone", Selector(medium=(medium,))),))


def test_what_no_hazard_touches_is_read_once_for_all_drills(tmp_path: Path, bytes_read: Counter[str]) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd", "card": "card"})
    record = run(path, [gone("card", f"again-{n}") for n in range(6)])
    assert all(drill.verdict == "restored" for drill in record.drills)
    assert len(record.drills) == 12
    assert set(bytes_read.values()) == {SIZE}
    assert len(bytes_read) == 8  # the eight files of the ssd, and no byte of the card that is gone


def test_what_is_touched_is_read_again_in_its_own_drill_only(tmp_path: Path, bytes_read: Counter[str]) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd", "card": "card"})
    hit = Hazard("altered", Selector(medium=("ssd",)), offsets=(9,), files=("otter0.dng",))
    run(path, [gone("card", "one"), Scenario("rot", "t", "s", (hit,)), gone("card", "two")])
    by_name = {Path(p).parts[-3] + "/" + Path(p).name: count for p, count in bytes_read.items()}
    assert by_name.pop("ssd/otter0.dng") == 2 * SIZE
    assert by_name.pop("card/otter0.dng") == SIZE  # the next copy serves it in that drill
    assert set(by_name.values()) == {SIZE}


def test_renamed_files_on_a_copy_without_a_list_are_read_once_and_found(
    tmp_path: Path, bytes_read: Counter[str]
) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd"}, rename=("ssd",))
    record = run(path, [Scenario("slow", "t", "s", (Hazard("slow", Selector(), factor=0.5),))])
    assert [drill.verdict for drill in record.drills] == ["restored", "restored"]
    assert [drill.unchecked.failed for drill in record.drills] == [4, 4]  # by name, nobody would have found them
    assert set(bytes_read.values()) == {SIZE}


def test_files_whose_names_were_swapped_are_found_before_they_count_as_lost(tmp_path: Path) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd"})
    one, other = (tmp_path / f"media/ssd/otter/otter{n}.dng" for n in (0, 1))
    one.write_bytes(picture("otter", 1))
    other.write_bytes(picture("otter", 0))
    record = run(path, [Scenario("slow", "t", "s", (Hazard("slow", Selector(), factor=0.5),))])
    otter = record.drills[0]
    assert otter.verdict == "restored"
    assert otter.unchecked.silently_wrong == 2


def test_kept_files_are_laid_out_for_every_drill_although_their_bytes_are_read_once(
    tmp_path: Path, bytes_read: Counter[str]
) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd", "card": "card"})
    run(path, [gone("card", "one"), gone("card", "two")], keep=True)
    (home,) = (tmp_path / "scratch").iterdir()
    assert sorted(p.name for p in home.iterdir()) == ["one", "two"]
    for scenario in ("one", "two"):
        for shoot in ("otter", "heron"):
            kept = home / scenario / shoot / "raw"
            assert {p.name: p.read_bytes() for p in kept.iterdir()} == {
                f"{shoot}{n}.dng": picture(shoot, n) for n in range(4)
            }
    assert set(bytes_read.values()) == {SIZE}


def test_a_copy_that_vanishes_during_the_run_is_no_damage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd"})
    honest = FileBytes.readinto
    seen: list[int] = []

    def unplug(self: FileBytes, buffer: bytearray) -> int:
        seen.append(1)
        if len(seen) > 4 and (tmp_path / "media/ssd").exists():
            (tmp_path / "media/ssd").rename(tmp_path / "unplugged")
        return honest(self, buffer) or 0

    monkeypatch.setattr(FileBytes, "readinto", unplug)
    record = run(path, load_scenarios(["only-elsewhere-is-left", "silent-rot"]))
    assert not record.complete
    assert record.unfinished is not None
    assert "ssd vanished during the run" in record.unfinished
    assert not any((tmp_path / "scratch").iterdir())


def test_what_could_not_be_matched_is_said(tmp_path: Path) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd", "card": "card"})
    (tmp_path / "media/ssd/holiday.jpg").write_bytes(b"nobody promised this")
    listed = [f"{hashlib.md5(picture('otter', n)).hexdigest()}  otter/otter{n}.dng\n" for n in range(2)]
    (tmp_path / "card.md5").write_text("".join([*listed, f"{'0' * 32}  other/nobody.dng\n"]))
    path.write_text(path.read_text() + 'manifest = "card.md5"\n')
    notes = "\n".join(run(path, [gone("card", "one")]).notes)
    assert "ssd: 1 file matches no promise by name or content, such as holiday.jpg" in notes
    assert "card: 1 file matches no promise by its list, such as other/nobody.dng" in notes
    assert "card: its list has md5, the promises sha256: no digest in common" in notes


def test_what_is_wrong_on_a_copy_today_is_said_although_another_copy_serves(tmp_path: Path) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd", "card": "card"})
    for number in (1, 2):
        (tmp_path / f"media/ssd/otter/otter{number}.dng").write_bytes(picture("otter", number)[:-1] + b"!")
    record = run(path, [Scenario("slow", "t", "s", (Hazard("slow", Selector(), factor=0.9),))])
    assert {drill.verdict for drill in record.drills} == {"restored"}
    (finding,) = record.findings
    assert finding.startswith("ssd: otter/otter1.dng, otter/otter2.dng: not what was promised under that name")


def test_by_hand_takes_the_picture_from_the_folder_that_is_named_after_the_shoot(tmp_path: Path) -> None:
    """Two shoots with the same camera names on one copy: a person opens the folder of the shoot."""
    text = '[studio]\nname = "Reed"\nscratch = "scratch"\n[[media]]\nid = "ssd"\nkind = "ssd"\nplace = "home"\n'
    for shoot in ("alder", "birch"):
        lines = [f"{hashlib.sha256(picture(shoot, n)).hexdigest()}  IMG_000{n}.dng\n" for n in range(3)]
        (tmp_path / f"{shoot}.sha256").write_text("".join(lines))
        text += f'[[shoots]]\nid = "{shoot}"\ndate = 2026-09-12\nmanifest = "{shoot}.sha256"\n'
        for number in range(3):
            place = tmp_path / f"media/ssd/2026 {shoot.title()}/IMG_000{number}.dng"
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(picture(shoot, number))
    (tmp_path / "studio.toml").write_text(text + '[[copies]]\non = "ssd"\nat = "media/ssd"\n')
    record = run(tmp_path / "studio.toml", [Scenario("slow", "t", "s", (Hazard("slow", Selector(), factor=0.9),))])
    assert [drill.unchecked.right for drill in record.drills] == [3, 3]
    assert record.findings == ()


def test_a_file_that_only_shares_its_name_is_not_called_damaged(tmp_path: Path) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd"})
    (tmp_path / "media/ssd/otter/otter0.dng").write_bytes(picture("heron", 0))  # another promised picture
    record = run(path, [Scenario("slow", "t", "s", (Hazard("slow", Selector(), factor=0.9),))])
    (note,) = record.drills[0].lost_files
    assert note.why == "not on ssd (what has its name there is another picture)"
    assert record.findings == ()


def test_two_shoots_that_share_a_picture_both_keep_it_and_strays_take_no_room(tmp_path: Path) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd"})
    (tmp_path / "heron.sha256").write_text((tmp_path / "otter.sha256").read_text())
    (tmp_path / "media/ssd/unrelated.mov").write_bytes(b"m" * 500_000)
    seen: list[int] = []

    def watch(text: str) -> None:
        seen.append(sum(p.stat().st_size for p in (tmp_path / "scratch").rglob("*") if p.is_file()))

    options = Options(seed=1, now=NOW, keep=True, progress=watch)
    record = rehearse(load_studio(path), [gone("ssd", "one"), no_fault()], options)
    assert [drill.verdict for drill in record.drills] == ["lost", "lost", "restored", "restored"]
    (home,) = (tmp_path / "scratch").iterdir()
    for shoot in ("otter", "heron"):
        kept = sorted((home / "none" / shoot / "raw").iterdir())
        assert [p.read_bytes() for p in kept] == [picture("otter", n) for n in range(4)]
    assert max(seen) < 500_000


def no_fault() -> Scenario:
    return Scenario("none", "t", "s", (Hazard("slow", Selector(), factor=1.0),))


def test_measured_seconds_are_those_of_real_reads(tmp_path: Path) -> None:
    record = run(studio_of(tmp_path, {"ssd": "ssd"}), [no_fault()])
    assert all(0 < drill.seconds.measured < 60 for drill in record.drills)


def test_bytes_whose_archive_has_a_wrong_check_value_are_judged_by_the_promise(tmp_path: Path) -> None:
    """A zip whose directory carries a wrong CRC-32: every byte is right, only the archive's own word is not."""
    path = studio_of(tmp_path, {"ssd": "ssd"})
    box = tmp_path / "box.zip"
    with zipfile.ZipFile(box, "w", zipfile.ZIP_STORED) as archive:
        for number in range(4):
            archive.writestr(f"otter{number}.dng", picture("otter", number))
    content = box.read_bytes()
    wrong = zlib.crc32(picture("otter", 2)).to_bytes(4, "little")
    box.write_bytes(content.replace(wrong, b"\x01\x02\x03\x04"))
    path.write_text(path.read_text().replace('at = "media/ssd"', 'at = "box.zip"'))
    otter = run(path, [no_fault()]).drills[0]
    assert otter.verdict == "restored"
    assert otter.unchecked.failed == 1  # by hand, the unpacker's complaint is believed


@pytest.mark.parametrize(("hours", "met"), [(24, True), (23.99, False)])
def test_lost_work_is_met_up_to_the_target_and_not_beyond(tmp_path: Path, hours: float, met: bool) -> None:
    path = studio_of(tmp_path, {"ssd": "ssd"})
    path.write_text(path.read_text().replace("[[shoots]]", f'[targets]\nlose_at_most = "{hours} h"\n[[shoots]]', 1))
    text = path.read_text().replace("date = 2026-09-12", "date = 2026-09-30T00:00:00Z")
    path.write_text(text)
    drill = run(path, [gone("ssd", "one")]).drills[0]
    assert drill.lost_work.met is met


def test_a_length_in_fetch_txt_that_is_wrong_loses_nothing(tmp_path: Path) -> None:
    """A size is a hint (RFC 8493 fetch.txt): the digest decides, also for a file under its own name."""
    path = studio_of(tmp_path, {"ssd": "ssd"})
    bag = tmp_path / "bag"
    (bag / "data").mkdir(parents=True)
    (bag / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    lines = [f"{hashlib.sha256(picture('otter', n)).hexdigest()}  data/otter{n}.dng\n" for n in range(4)]
    (bag / "manifest-sha256.txt").write_text("".join(lines))
    (bag / "fetch.txt").write_text(f"https://files.example/otter2.dng {SIZE - 1} data/otter2.dng\n")
    path.write_text(path.read_text().replace('manifest = "otter.sha256"', 'manifest = "bag"'))
    otter = run(path, [no_fault()]).drills[0]
    assert otter.verdict == "restored"
