"""Recoveries broken on purpose: each break must be caught by what is asked of every recovery, or the suite would let it
through. One small world: a rotten copy, a faithful one, a lost one, and a folder in which something stands already.
"""

from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from worlds import NOW, laid_out

import drill.recover.home as home_room
import drill.recover.run as run_room
import drill.recover.site as site_room
import drill.recover.standing as standing_room
import drill.recover.waiting as waiting_room
from drill.model import Promised
from drill.recover import Options, lost_named, recover
from drill.recover.waiting import Wanted
from drill.studio import load_studio
from drill.testing.world import CopyPlan, World, content
from drill.verify import Finding

ALL = frozenset(range(3))
WORLD = World(
    4,
    (
        CopyPlan("m0", "bag", ALL, rotten=frozenset({1})),
        CopyPlan("m1", "home", ALL),
        CopyPlan("m2", "away", frozenset(range(4))),
    ),
)
PLANTED = {"raw/A0000.dng": b"somebody's work", "raw/A0002.dng": content(2)}


def check() -> None:
    """Lose m2: all it alone had is missing, all else is back with its bytes, what stood there stands."""
    with laid_out(WORLD) as studio_file:
        studio, into = load_studio(studio_file), studio_file.parent / "back"
        for path, data in PLANTED.items():
            (into / "reed" / path).parent.mkdir(parents=True, exist_ok=True)
            (into / "reed" / path).write_bytes(data)
        record = recover(studio, into, studio.shoots, Options(lost_named(studio, ["m2"]), NOW))
        found = {path.relative_to(into).as_posix(): path.read_bytes() for path in into.rglob("*") if path.is_file()}
    assert found.pop("reed.sha256").count(b"\n") == 3
    assert found == {
        "reed/raw/A0000.dng": PLANTED["raw/A0000.dng"],
        "reed.as-promised/raw/A0000.dng": content(0),
        "reed/raw/A0001.dng": content(1),
        "reed/raw/A0002.dng": content(2),
    }
    (told,) = record.shoots
    assert (told.found, told.restored, [file.path for file in told.missing]) == (1, 2, ["raw/A0003.dng"])


def test_the_recovery_as_it_is_passes() -> None:
    check()


def believing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Finding, "is_promised", lambda self, file: True)


def taking_whatever_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    def first(self: waiting_room.Waiting, finding: Finding) -> list[Wanted]:
        return [wanted for wanted in self.all() if wanted.put is None][:1]

    monkeypatch.setattr(waiting_room.Waiting, "_waiting_for", first)


def writing_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(home_room, "give_name", lambda work, name: work.replace(name))


def believing_what_stands_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(standing_room, "examine", lambda path, kinds: Finding(path.stat().st_size, ()))
    believing(monkeypatch)


def counting_a_name_as_its_content(monkeypatch: pytest.MonkeyPatch) -> None:
    def yes(path: Path, file: Promised) -> bool:
        return True

    monkeypatch.setattr(waiting_room, "holds", yes)


def reading_the_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    honest: Callable[[Sequence[str]], object] = run_room.as_scenario
    monkeypatch.setattr(run_room, "as_scenario", lambda lost: honest(()))
    monkeypatch.setattr(run_room, "lost_copies", lambda studio, lost: set())


def listing_what_is_not_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(site_room, "write_lists", lambda home, shoot, files: ())
    monkeypatch.setattr(run_room, "write_lists", lambda home, shoot, files: ())


@pytest.mark.parametrize(
    "broken",
    [
        believing,
        taking_whatever_comes,
        writing_over,
        believing_what_stands_there,
        counting_a_name_as_its_content,
        reading_the_lost,
        listing_what_is_not_back,
    ],
)
def test_a_broken_recovery_is_caught(
    broken: Callable[[pytest.MonkeyPatch], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    broken(monkeypatch)
    with pytest.raises((AssertionError, KeyError)):
        check()
