"""The rooms of a recovery, each alone: what is lost and in which order things come back, names, parts, the line that
tells how far it is."""

import errno
import hashlib
import os
import sqlite3
from datetime import UTC, date, datetime
from itertools import count
from pathlib import Path

import pytest

from drill.errors import Mistakes, Unfinished
from drill.model import Copy, Digest, Entry, Medium, Place, Promised, Shoot, Studio, Targets
from drill.recover import classes_named, lost_named, shoots_in_order
from drill.recover import meter as meter_room
from drill.recover.home import Home
from drill.recover.lists import write_lists
from drill.recover.lost import as_scenario, rounds
from drill.recover.meter import Meter
from drill.recover.names import give_name, name_trouble, plain
from drill.recover.parts import keep_in_part
from drill.recover.run import recover
from drill.recover.site import Options
from drill.recover.standing import use_left, verify_standing
from drill.recover.waiting import Waiting
from drill.shelf import OpenCopy, State
from drill.stitching import Version
from drill.verify import examine

NOW = datetime(2026, 10, 1, tzinfo=UTC)
DATA = b"kiln " * 999


def promised(path: str, data: bytes = DATA, kind: str = "other", digest: str = "sha256") -> Promised:
    if digest == "xxh32":
        return Promised(path, (Digest("xxh32", "0" * 8),), len(data), kind)
    return Promised(path, (Digest(digest, hashlib.new(digest, data).hexdigest()),), None, kind)


def medium(id_: str, place: str = "bag", account: str | None = None) -> Medium:
    return Medium(id_, "ssd", place, attached=False, offsite=False, carried=False, account=account)


def studio(folder: Path, *shoots: Shoot, media: tuple[Medium, ...] = ()) -> Studio:
    return Studio(
        file=folder / "studio.toml",
        name="Kiln",
        scratch=None,
        ledger=folder / "ledger.sqlite",
        reports=folder / "reports",
        weights={"deliverables": 1.0, "originals": 1.0, "other": 1.0},
        places={each.place: Place(each.place) for each in media},
        media={each.id: each for each in media},
        buses={},
        shoots=shoots,
        copies=(),
    )


def shoot(id_: str, *files: Promised, day: int = 1, client: str | None = None) -> Shoot:
    return Shoot(id_, date(2026, 9, day), client, files, Targets())


def one(folder: Path, *files: Promised) -> Waiting:
    """A shoot that waits for these files, and the folder for it."""
    home = Home(folder / "back", {})
    (home.working / "reading").mkdir(parents=True)
    return Waiting(home, [shoot("reed", *files)])


def arrive(waiting: Waiting, data: bytes, name: str = "x.dng", when: datetime | None = None) -> bool:
    """Have a judged file come from a copy."""
    path = waiting.home.working / "reading" / "0000001"
    path.write_bytes(data)
    copy = OpenCopy(Copy("ssd", "ssd", None, None, None, None, None), medium("ssd"), State.HERE)
    return waiting.take(copy, Entry(name, len(data), when), path, examine(path, ["sha256", "xxh32"]))


# --- what is lost, and the order -------------------------------------------------------------------------------------


def test_what_is_lost_may_be_named_with_or_without_its_word(tmp_path: Path) -> None:
    media = (medium("card", "bag"), medium("web", "provider", "login"), medium("attic", "attic"))
    of = studio(tmp_path, media=media)
    assert lost_named(of, ["card", "place:bag", "login", "card"]) == ("medium:card", "place:bag", "account:login")
    assert lost_named(of, ["attic"]) == ("medium:attic",), "the medium is all that is in that place"
    with pytest.raises(Mistakes) as caught:
        lost_named(of, ["nobody", "medium:bag"])
    assert [mistake.at for mistake in caught.value.mistakes] == ["--lost nobody", "--lost medium:bag"]
    assert "account:login" in str(caught.value)
    hits = [hazard.hits for hazard in as_scenario(("medium:card", "place:bag", "account:login")).hazards]
    assert [(hit.medium, hit.place, hit.account) for hit in hits] == [
        (("card",), None, None),
        (None, ("bag",), None),
        (None, None, ("login",)),
    ]


def test_rounds_take_named_classes_of_all_shoots_first_and_miss_no_file(tmp_path: Path) -> None:
    kinds = ("other", "originals", "deliverables")
    early, late, own = (
        shoot(id_, *(promised(f"{kind}.x", kind=kind) for kind in kinds), day=day, client=client)
        for id_, day, client in (("early", 1, "Reed"), ("late", 9, "Reed"), ("own", 20, None))
    )
    of = studio(tmp_path, early, own, late)
    ordered = shoots_in_order(of, [])
    assert [each.id for each in ordered] == ["late", "early", "own"]
    assert [each.id for each in shoots_in_order(of, ["own", "early", "own"])] == ["own", "early"]
    told = [(each.id, [file.kind for file in files]) for each, files in rounds(of, ordered, ("originals",))]
    assert told == [(id_, ["originals"]) for id_ in ("late", "early", "own")] + [
        (id_, ["deliverables", "other"]) for id_ in ("late", "early", "own")
    ]
    assert classes_named(of, ["other", "other"]) == ("other",)
    with pytest.raises(Mistakes, match="--class odd"):
        classes_named(of, ["odd"])


# --- names -----------------------------------------------------------------------------------------------------------


def test_names_that_windows_would_take_for_something_else() -> None:
    """Microsoft, "Naming Files, Paths, and Namespaces": reserved characters and names, a final dot or space."""
    wrong = ["a:b", "aux", "AUX.dng", "x/com1.jpg", "lpt9 .x", "dot.", "space ", "a?b", "tab\tname", 'q"', "nul.tar.gz"]
    assert [path for path in wrong if name_trouble(path, windows=True) is None] == []
    right = ["auxiliary.dng", "raw/com10.jpg", ".hidden", "com", "a b.dng", "é.dng", "console/x"]
    assert [path for path in right if name_trouble(path, windows=True) is not None] == []
    assert [path for path in wrong if name_trouble(path, windows=False)] == []


@pytest.mark.parametrize(
    "path", ["raw/é?:*.dng", "x" * 400, "a/b/c.", "\udcff.dng", "\ud800.dng", "tab\t", "ünï/日本.jpg", ".xmp", "..."]
)
def test_a_plain_name_is_one_that_every_disk_can_have(path: str) -> None:
    name = f"00001-{plain(path)}"
    assert name_trouble(name, windows=True) is None and "/" not in name and name.isascii() and len(name) <= 120


def test_a_name_is_never_given_over_something(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise OSError(errno.EPERM, "this disk has no hard links")

    for refuse in (False, True):
        if refuse:
            monkeypatch.setattr(os, "link", no_links)
        work, name = tmp_path / f"work{refuse}", tmp_path / f"name{refuse}"
        work.write_bytes(b"right")
        give_name(work, name)
        assert name.read_bytes() == b"right" and not work.exists()
        work.write_bytes(b"other")
        with pytest.raises(FileExistsError):
            give_name(work, name)
        assert name.read_bytes() == b"right" and work.exists()
        with pytest.raises(OSError, match=r"No such file|cannot find"):
            give_name(work, tmp_path / "nowhere/name")


def test_a_disk_that_fails_ends_the_run_and_takes_no_other_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    waiting = one(tmp_path, promised("a.dng"))

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("drill.recover.home.give_name", full)
    with pytest.raises(Unfinished, match="is full"):
        arrive(waiting, DATA)
    assert not (tmp_path / "back/reed.as-promised").exists()


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_no_name_is_given_behind_a_link_or_in_a_copy(tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    home = Home(tmp_path / "back", {"the copy ssd": tmp_path / "back/reed/inner"})
    (tmp_path / "back/reed/inner").mkdir(parents=True)
    (tmp_path / "back/reed/door").symlink_to(tmp_path / "copy", target_is_directory=True)
    assert home.refusal(tmp_path / "back/reed/door/below", make=True) == "its folder is a link to elsewhere"
    assert home.refusal(tmp_path / "back/reed/inner/below", make=True) == "its folder lies in the copy ssd"
    assert home.refusal(tmp_path / "back/reed/fine/below", make=True) is None
    assert [path.name for path in (tmp_path / "back/reed").rglob("*")].count("below") == 1
    deep = tmp_path.joinpath("back", "reed", *["d"] * 600)
    assert home.refusal(deep, make=False) is None


# --- waiting ------------------------------------------------------------------------------------------------------


def test_only_the_promised_bytes_are_taken(tmp_path: Path) -> None:
    waiting = one(tmp_path, promised("a.dng"))
    assert not arrive(waiting, DATA[:-1])
    assert arrive(waiting, DATA, when=datetime(2026, 9, 1, tzinfo=UTC))
    assert not arrive(waiting, DATA), "it is back already"
    (wanted,) = waiting.files["reed"]
    assert wanted.put is not None and wanted.put.path == tmp_path / "back/reed/a.dng" and wanted.sources == ("ssd",)
    assert wanted.put.path.stat().st_mtime == datetime(2026, 9, 1, tzinfo=UTC).timestamp()


def test_every_digest_of_a_promise_must_agree_and_a_short_one_is_no_identity(tmp_path: Path) -> None:
    both = Promised("a.dng", (*promised("a").digests, Digest("xxh32", "00000000")), None, "other")
    assert not arrive(one(tmp_path / "1", both), DATA)
    finding = examine(_written(tmp_path / "f", b""), ["xxh32"])
    short = Promised("a.dng", finding.digests, None, "other")
    assert not arrive(one(tmp_path / "2", short), b"", name="b.dng")
    assert arrive(one(tmp_path / "3", short), b"", name="DCIM/A.DNG")


def _written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def test_what_an_interrupted_run_left_is_taken_when_it_is_whole_and_else_removed(tmp_path: Path) -> None:
    waiting = one(tmp_path, promised("a.dng"), promised("b.dng", b"other"))
    left = waiting.home.working / "reading"
    _written(left / "0000001", DATA[:-5])
    _written(left / "0000002", DATA)
    waiting.home.begin_work()
    use_left(waiting, ["sha256"], when=lambda file: None)
    assert [wanted.put is not None for wanted in waiting.files["reed"]] == [True, False]
    assert (tmp_path / "back/reed/a.dng").read_bytes() == DATA and not left.exists()


def test_what_stands_there_counts_once_it_was_read(tmp_path: Path) -> None:
    files = [promised(f"{n}.dng", str(n).encode()) for n in range(70)]
    waiting = one(tmp_path, *files)
    (tmp_path / "back/reed").mkdir()
    for number in range(70):
        _written(tmp_path / f"back/reed/{number}.dng", str(number if number % 7 else -1).encode())
    said: list[int] = []
    verify_standing(waiting, waiting.files["reed"], say=said.append)
    assert [number for number in range(70) if waiting.files["reed"][number].put is None] == [*range(0, 70, 7)]
    assert len(said) == 60
    names = write_lists(waiting.home, "reed", waiting.files["reed"])
    assert names == ("reed.sha256",) and (tmp_path / "back/reed.sha256").read_text().count("\n") == 60


# --- parts --------------------------------------------------------------------------------------------------------


def test_a_part_is_kept_apart_and_only_a_better_one_takes_its_place(tmp_path: Path) -> None:
    waiting = one(tmp_path, promised("raw/a.dng"), promised("b" * 250 + ".dng"))
    wanted, long = waiting.files["reed"]

    def version(data: bytes, *holes: tuple[int, int]) -> Version:
        path = waiting.home.working / "reading" / str(next(numbers))
        return Version("ssd", _written(path, data), len(data), holes)

    def keep(*versions: Version) -> int | None:
        kept = keep_in_part(waiting.home, wanted, versions, size=4)
        assert kept.put == "reed.in-parts/raw/a.dng.NOT-WHOLE"
        return kept.bytes_missing

    numbers = count()
    part = tmp_path / "back/reed.in-parts/raw/a.dng.NOT-WHOLE"
    note = part.with_name(f"{part.name}.txt")
    assert keep(version(b"wxyz")) is None and "Nobody knows which" in note.read_text()
    assert keep(version(b"a\0\0\0", (1, 4)), version(b"ab\0\0", (2, 4))) == 2
    assert part.read_bytes() == b"ab\0\0" and note.read_text().endswith("\n2 4\n")
    assert keep(version(b"a\0\0\0", (1, 4))) == 2 and part.read_bytes() == b"ab\0\0"
    assert keep(version(b"abc")) == 1 and part.read_bytes() == b"abc" and note.read_text().endswith("\n3 4\n")
    assert keep(version(b"wxyz")) == 1 and part.read_bytes() == b"abc"
    kept = keep_in_part(waiting.home, long, [version(b"\0", (0, 1))], size=None)
    assert kept.put.startswith("reed.in-parts/00002-bbb") and kept.bytes_missing == 1
    note.write_text("my own words")
    assert keep_in_part(waiting.home, wanted, [version(b"abcd", (0, 1))], size=4).put.endswith(
        "00001-raw-a.dng.NOT-WHOLE"
    )
    assert (part.read_bytes(), note.read_text()) == (b"abc", "my own words")
    assert wanted.put is None


# --- the line ---------------------------------------------------------------------------------------------------


def test_the_line_tells_files_bytes_rate_and_time_left(monkeypatch: pytest.MonkeyPatch) -> None:
    ticks = iter([0.0, 10.0, 10.1, 20.0])
    monkeypatch.setattr(meter_room.clock, "ticks_s", lambda: next(ticks))
    said: list[str] = []
    meter = Meter(said.append, files=5, bytes_=5_000_000)
    for _ in range(2):
        meter.add(1_000_000, what="reed")
    meter.drop(1_000_000)
    meter.add(1_000_000, what="reed")
    assert said == [
        "reed: 1 of 5 files, 1 MB of 5 MB, 100 kB/s, 40 s left",
        "reed: 3 of 4 files, 3 MB of 4 MB, 150 kB/s, 7 s left",
    ]


def test_another_run_in_the_same_folder_is_told_and_touches_nothing(tmp_path: Path) -> None:
    waiting = one(tmp_path, promised("a.dng"))
    _written(waiting.home.working / "reading/1", DATA)
    lock = sqlite3.connect(waiting.home.working / "lock", isolation_level=None)
    try:
        lock.execute("BEGIN EXCLUSIVE")
        with pytest.raises(Unfinished, match="another recovery"):
            recover(studio(tmp_path, shoot("reed", promised("a.dng"))), tmp_path / "back", [], Options((), NOW))
    finally:
        lock.close()
    assert (waiting.home.working / "reading/1").exists()
