"""Other processes that read many small files: they answer what a reading here would, or leave it to that."""

import signal
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO, RawIOBase
from pathlib import Path

import pytest

import drill.reading.crew
import drill.reading.hands
from drill.copies import FolderOpener, LinkSession
from drill.digests import at_once, named
from drill.ledger import Ledger
from drill.model import Copy, Entry, Medium, Problem, Seen
from drill.quick import Named, can_be_quick
from drill.reading import Job, Readings, read_files
from drill.reading.hand import Answers, Piece, _serve, read_frame
from drill.reading.hands import Hand, start_hands
from drill.reading.lanes import SMALL
from drill.reading.run import OnSeen
from drill.shelf import OpenCopy, open_copy

pytestmark = pytest.mark.skipif(not can_be_quick(from_medium=False), reason="files are not read at one go here")
NOW = datetime(2026, 11, 24, 20, 0, tzinfo=UTC)
KINDS = ("md5", "xxh128")


@pytest.fixture
def hand() -> Iterator[Hand]:
    (one,) = start_hands(1)
    yield one
    one.end()


def folder(root: Path, count: int) -> dict[str, bytes]:
    """Write so many files in three folders; return their contents by path."""
    made = {f"{n % 3}/kiln{n:03}.dng": f"{n} clay".encode() * (n % 50 + 1) for n in range(count)}
    for path, content in made.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(content)
    return made


def opened(root: Path) -> OpenCopy:
    medium = Medium("ssd", "ssd", "desk", attached=False, offsite=False, carried=False)
    with LinkSession() as session:
        return open_copy(Copy("ssd", "ssd", root, None, "folder", None, None), medium, session=session, downloads=root)


def read(found: OpenCopy, *, kinds: tuple[str, ...] = KINDS) -> Readings:
    with Ledger.none() as ledger:
        return read_files(
            [Job(found, entry) for entry in found.entries],
            kinds=kinds,
            ledger=ledger,
            now=NOW,
            progress=lambda text: None,
            with_capture=False,
        )


def one_by_one(asked: Iterable[Answers]) -> list[tuple[tuple[str, ...] | None, float]]:
    """Return a hand's answers file by file."""
    return [answer for texts, took_s in asked for answer in zip(texts, took_s, strict=True)]


def test_a_hand_answers_what_a_reading_here_shows(tmp_path: Path, hand: Hand) -> None:
    made = {path: content for path, content in folder(tmp_path, 300).items() if path.startswith("1/")}
    names = [(path[2:], len(content)) for path, content in made.items()]
    answers = one_by_one(hand.ask(f"{tmp_path}/1/", names, KINDS, from_medium=False, stops=lambda: False))
    digest = at_once(KINDS)
    assert [named(KINDS, texts or ()) for texts, _ in answers] == [digest(content) for content in made.values()]
    assert all(took_s > 0 for _, took_s in answers)
    assert hand.busy == 0 and not hand.is_lost


def test_a_hand_leaves_to_care_what_is_not_as_it_was_listed(tmp_path: Path, hand: Hand) -> None:
    folder(tmp_path, 30)
    (tmp_path / "0/link").symlink_to("kiln000.dng")
    names = [("kiln000.dng", 6), ("kiln000.dng", 5), ("kiln000.dng", 7), ("gone", 6), ("link", 6), ("kiln000.dng", 0)]
    answers = one_by_one(hand.ask(f"{tmp_path}/0/", names, KINDS, from_medium=False, stops=lambda: False))
    assert [texts is not None for texts, _ in answers] == [True, False, False, False, False, False]
    gone = one_by_one(hand.ask(f"{tmp_path}/nowhere/", names, KINDS, from_medium=False, stops=lambda: False))
    assert [texts for texts, _ in gone] == [None] * 6


def test_a_hand_answers_several_at_once(tmp_path: Path, hand: Hand) -> None:
    made = folder(tmp_path, 300)
    found: dict[str, list[str]] = {}

    def ask(which: str) -> None:
        names = [(path[2:], len(content)) for path, content in made.items() if path.startswith(which)]
        asked = hand.ask(f"{tmp_path}/{which}/", names, ("md5",), from_medium=False, stops=lambda: False)
        found[which] = [texts[0] if texts else "" for texts, _ in one_by_one(asked)]

    threads = [threading.Thread(target=ask, args=(which,)) for which in "012"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    md5 = at_once(["md5"])
    for which in "012":
        assert found[which] == [md5(content)[0].hex for path, content in made.items() if path.startswith(which)]


def test_a_hand_that_dies_or_is_told_to_stop_ends_its_answers(tmp_path: Path, hand: Hand) -> None:
    made = folder(tmp_path, 3)
    names = [(path[2:], len(content)) for path, content in made.items() if path.startswith("0/")]
    assert list(hand.ask(f"{tmp_path}/0/", names, KINDS, from_medium=False, stops=lambda: True)) == []
    hand.end()
    assert hand.is_lost
    assert list(hand.ask(f"{tmp_path}/0/", names, KINDS, from_medium=False, stops=lambda: False)) == []


def started(monkeypatch: pytest.MonkeyPatch) -> list[Hand]:
    """Have hands started for few files too; they are gathered in what is returned."""
    hands: list[Hand] = []

    def start(count: int) -> list[Hand]:
        hands.extend(start_hands(count))
        return hands

    monkeypatch.setattr(drill.reading.crew, "WORTH", 1)
    monkeypatch.setattr(drill.reading.crew, "start_hands", start)
    return hands


def seen_of(made: dict[str, bytes]) -> dict[str, Seen | Problem]:
    digest = at_once(KINDS)
    return {path: Seen(len(content), digest(content)) for path, content in made.items()}


@pytest.mark.parametrize("relative", [False, True])
def test_a_run_with_hands_shows_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, relative: bool) -> None:
    made = folder(tmp_path / "c", 700)
    monkeypatch.chdir(tmp_path)
    hands = started(monkeypatch)
    (tmp_path / "c/0/link.dng").symlink_to("../1/kiln001.dng")
    made["0/link.dng"] = made["1/kiln001.dng"]
    found = opened(Path("c") if relative else tmp_path / "c")
    changed = tmp_path / "c/2/kiln002.dng"
    changed.write_bytes(b"longer than listed" * 9)
    made["2/kiln002.dng"] = changed.read_bytes()
    (tmp_path / "c/1/kiln004.dng").unlink()
    done = {path: result for (_, path, _), result in read(found).items()}
    gone = done.pop("1/kiln004.dng")
    del made["1/kiln004.dng"]
    assert isinstance(gone, Problem)
    assert done == seen_of(made)
    assert len(hands) == 2 and all(hand._process.returncode is not None for hand in hands)


def test_hands_that_were_called_early_end_with_a_run_that_does_not_begin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = folder(tmp_path / "c", 60)
    hands = started(monkeypatch)
    found = opened(tmp_path / "c")
    few, many = [entry for entry in found.entries if entry.path < "1"], list(found.entries)[20:]
    told: list[Job] = []

    def stop(job: Job, result: Seen | Problem) -> None:
        told.append(job)
        raise KeyboardInterrupt

    def go(entries: list[Entry], ledger: Ledger, on_seen: OnSeen | None) -> None:
        read_files(
            [Job(found, entry) for entry in entries],
            kinds=KINDS,
            ledger=ledger,
            now=NOW,
            progress=lambda text: None,
            on_seen=on_seen,
            with_capture=False,
        )

    with Ledger.open(tmp_path / "ledger.sqlite") as ledger:
        monkeypatch.setattr(drill.reading.run, "_LONGEST_TICK_S", -60.0)  # as if they had been there for long
        go(few, ledger, None)
        assert hands == []
        monkeypatch.setattr(drill.reading.run, "WORTH", 40)
        monkeypatch.setattr(drill.reading.crew, "WORTH", 40)
        with pytest.raises(KeyboardInterrupt):
            go(many + few, ledger, stop)
    assert len(made) == 60 and len(told) == 1
    assert len(hands) == 2 and all(hand._process.returncode is not None for hand in hands)


def test_a_run_whose_hands_die_reads_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = folder(tmp_path / "c", 700)
    hands = started(monkeypatch)
    monkeypatch.setattr(Hand, "busy", property(lambda hand: hand._process.kill() or 0))  # as soon as one is chosen
    done = {path: result for (_, path, _), result in read(opened(tmp_path / "c")).items()}
    assert done == seen_of(made)
    assert len(hands) == 2 and all(hand.is_lost for hand in hands)


def test_hands_are_not_asked_where_the_stream_is_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder(tmp_path / "c", 100)
    hands = started(monkeypatch)
    found = opened(tmp_path / "c")
    assert found.store is not None
    assert isinstance(found.store.open, FolderOpener)
    calls: list[Entry] = []
    opener = found.store.open

    def open_it(entry: Entry) -> RawIOBase:
        calls.append(entry)
        return opener(entry)

    read(replace(found, store=replace(found.store, open=open_it)))
    assert hands == [] and len(calls) == 100


PRINTS = (
    "import os, sys\nprint('welcome')\nsys.stdout.flush()\nos.write(1, b'\\xff\\xff\\xff\\xff' * 50)\nprint('later')\n"
)
HANGS = "import time\ntime.sleep(3600)\n"
PRINTS_ON = "import os\nwhile True: os.write(1, b'x' * 4096)\n"


@pytest.mark.parametrize(("code", "answers"), [(PRINTS, True), (HANGS, False), (PRINTS_ON, False)])
def test_start_up_code_of_the_system_is_no_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: str, answers: bool
) -> None:
    """A `sitecustomize` is run before anything else in every interpreter (docs.python.org, module site)."""
    (tmp_path / "site").mkdir()
    (tmp_path / "site/sitecustomize.py").write_text(code, encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path / "site"), prepend=":")
    monkeypatch.setattr(drill.reading.hands, "_SILENT_S", 10.0 if answers else 0.5)
    made = folder(tmp_path / "c", 700)
    hands = started(monkeypatch)
    done = {path: result for (_, path, _), result in read(opened(tmp_path / "c")).items()}
    assert done == seen_of(made)
    assert [one._is_ready.is_set() for one in hands] == [answers] * 2


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="a process cannot be stopped here")
def test_a_hand_that_lives_and_says_nothing_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drill.reading.hands, "_SILENT_S", 0.5)
    made = folder(tmp_path / "c", 700)
    hands = started(monkeypatch)
    stop = property(lambda hand: hand._process.send_signal(signal.SIGSTOP) or 0)
    monkeypatch.setattr(Hand, "busy", stop)
    done = {path: result for (_, path, _), result in read(opened(tmp_path / "c")).items()}
    assert done == seen_of(made)
    assert len(hands) == 2 and any(hand.is_lost for hand in hands)


def test_whatever_goes_wrong_in_a_hand_each_file_is_answered(monkeypatch: pytest.MonkeyPatch) -> None:
    def contents(place: str, files: list[Named], *, from_medium: bool, ahead: int) -> Iterator[bytes]:
        yield b"clay"
        raise UnicodeEncodeError("ascii", "\udc80", 0, 1, "as a system without UTF-8 would have it")

    monkeypatch.setattr(drill.reading.hand, "contents", contents)
    told: list[Piece] = []
    _serve((7, "/reed/", ("md5",), False, 0, [("a", 4), ("b", 4), ("c", 4)]), told.append)
    assert [number for number, _ in told] == [7] * len(told)
    assert [text for _, (texts, _) in told for text in texts] == [None] * 3


def test_what_is_no_frame_is_the_end() -> None:
    assert read_frame(BytesIO(b"\xff\xff\xff\xff" + b"x" * 100)) is None
    assert read_frame(BytesIO(b"\0\0\0\x03abc")) == b"abc"


@pytest.mark.parametrize("flags", [["-E", "-X", "utf8=1"], ["-I"], ["-s", "-B", "-X", "utf8=0"]])
def test_a_hand_runs_under_the_flags_of_the_run(tmp_path: Path, flags: list[str]) -> None:
    """Names of files are written as the interpreter's flags say, and -E and -I keep the surroundings out."""
    folder(tmp_path, 3)
    root = str(Path(drill.__file__).parent.parent)
    code = f"""
import sys; sys.path.insert(0, {root!r})
from drill.reading.hands import Hand, _flags
hand = Hand()
asked = hand.ask({f"{tmp_path}/0/"!r}, [("kiln000.dng", 6)], ("md5",), from_medium=False, stops=lambda: False)
print(_flags(), [text is not None for texts, _ in asked for text in texts])
hand.end()
"""
    said = subprocess.run([sys.executable, *flags, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.rstrip().endswith("[True]"), said
    assert all(f"'{flag}'" in said for flag in flags), said


def test_hands_are_not_started_where_they_could_do_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder(tmp_path / "c", 100)
    hands = started(monkeypatch)
    monkeypatch.setattr(drill.reading.crew, "can_be_quick", lambda *, from_medium: False)
    read(opened(tmp_path / "c"))
    assert hands == []


def test_hands_are_not_started_for_large_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hands = started(monkeypatch)
    monkeypatch.setattr(drill.reading.crew, "WORTH", 10)
    (tmp_path / "c").mkdir()
    for number in range(20):
        with (tmp_path / f"c/{number}.mov").open("wb") as file:
            file.truncate(SMALL + 1 if number > 8 else 10)
    read(opened(tmp_path / "c"))
    assert hands == []
