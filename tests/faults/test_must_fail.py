"""The must-fail set: harnesses broken on purpose. Each must be caught by the check that stands for it, by name.

One small world is drilled and held against what brute force over bytes says. With the harness as it is the checks pass;
with each break one of them fails, or the suite would let that break through.
"""

import hashlib
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import pytest
from worlds import laid_out, run, verified

import drill.faults.apply as apply_room
import drill.rehearse.drill as drill_room
import drill.rehearse.reads as reads_room
import drill.rehearse.stage as stage_room
import drill.shelf as shelf_room
import drill.stitching.search as search_room
from drill.faults.aim import Fate
from drill.model import Hazard, Promised, Selector, Store
from drill.testing.world import CopyPlan, World, content, name
from drill.verify import Finding, examine

ALL = frozenset(range(3))
FAITHFUL = CopyPlan("m1", "home", ALL)
ROTTEN = CopyPlan("m0", "bag", ALL, rotten=frozenset({1}))
ROTTEN_TOO = CopyPlan("m2", "home", ALL, rotten=frozenset({1}))
ROT_IN_THE_LAST_BYTE = Hazard("altered", Selector(medium=("m0",)), offsets=(len(content(0)) - 1,))
GONE = Hazard("gone", Selector(medium=("m1",)))


def brute_force(copies: Sequence[CopyPlan], hazards: Iterable[Hazard], folder: Path) -> set[str]:
    """Say which promised files are on a copy with their bytes, reading the disk and knowing nothing of the program."""
    gone = {id_ for hazard in hazards if hazard.effect == "gone" for id_ in hazard.hits.medium or ()}
    changed = {
        (id_, offset)
        for hazard in hazards
        if hazard.effect == "altered"
        for id_ in hazard.hits.medium or ()
        for offset in hazard.offsets or ()
    }
    found = set()
    for copy in copies:
        for number in () if copy.id in gone else copy.holds:
            data = (folder / "media" / copy.id / name(copy, number)).read_bytes()
            if data == content(number) and not any(id_ == copy.id and at < len(data) for id_, at in changed):
                found.add(f"raw/A{number:04d}.dng")
    return found


def check_agreement(copies: tuple[CopyPlan, ...], hazards: Sequence[Hazard]) -> None:
    """Check: what the drill verifies is what brute force says."""
    with laid_out(World(3, copies)) as studio:
        assert verified(run(studio, hazards)) == brute_force(copies, hazards, studio.parent)


def check_sources_untouched() -> None:
    """Check: a census of the copies (path, size, time, bytes) is the same before and after a drill."""

    def census(root: Path) -> dict[str, tuple[int, int, bytes]]:
        files = [path for path in root.rglob("*") if path.is_file()]
        return {str(p): (p.stat().st_size, p.stat().st_mtime_ns, p.read_bytes()) for p in files}

    with laid_out(World(3, (FAITHFUL,))) as studio:
        before = census(studio.parent / "media")
        run(studio, [])
        assert census(studio.parent / "media") == before


CHECKS: dict[str, Callable[[], None]] = {
    "rot is seen": lambda: check_agreement((ROTTEN,), []),
    "rot in the last byte is seen": lambda: check_agreement((FAITHFUL, ROTTEN), [ROT_IN_THE_LAST_BYTE, GONE]),
    "what is gone does not serve": lambda: check_agreement((FAITHFUL,), [GONE]),
    "the next copy serves": lambda: check_agreement((ROTTEN, FAITHFUL), []),
    "what nobody has is lost": lambda: check_agreement((ROTTEN, ROTTEN_TOO), [ROT_IN_THE_LAST_BYTE]),
    "sources are untouched": check_sources_untouched,
}


@pytest.mark.parametrize("check", CHECKS)
def test_the_harness_as_it_is_passes(check: str) -> None:
    CHECKS[check]()


def must_fail(check: str) -> None:
    with pytest.raises(AssertionError):
        CHECKS[check]()


def test_a_judge_that_believes_names_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Finding, "is_promised", lambda self, file: True)
    must_fail("rot is seen")


def test_a_judge_that_skips_the_last_byte_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    def short_sighted(self: Finding, file: Promised) -> bool:
        size = self.size - 1
        return any(
            hashlib.sha256(content(n)).hexdigest() == file.digests[0].hex and len(content(n)) - 1 == size for n in ALL
        )

    monkeypatch.setattr(Finding, "is_promised", short_sighted)
    must_fail("rot in the last byte is seen")


def test_a_fault_that_does_nothing_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apply_room, "Overlay", lambda raw, damage, size: raw)
    must_fail("rot in the last byte is seen")


def test_a_plan_that_reads_a_dead_copy_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stage_room, "aim", lambda scenario, studio, variant: {c.id: Fate() for c in studio.copies})
    must_fail("what is gone does not serve")


def test_a_view_that_can_write_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = shelf_room.folder_store

    def writing(root: Path) -> Store:
        for path in root.rglob("*.dng"):
            path.write_bytes(path.read_bytes())  # the same bytes: only the time tells
        return honest(root)

    monkeypatch.setattr(shelf_room, "folder_store", writing)
    must_fail("sources are untouched")


def test_a_conductor_that_stops_at_the_first_copy_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = drill_room._serve
    monkeypatch.setattr(drill_room, "_serve", lambda cases, order, bench: honest(cases, order[:1], bench))
    monkeypatch.setattr(drill_room, "salvage_missing", lambda cases, order, bench: 0.0)  # it would find the other copy
    must_fail("the next copy serves")


def test_a_stitching_that_believes_itself_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search_room._Tries, "fits", lambda self, digester: True)
    must_fail("what nobody has is lost")


def test_a_reader_that_hands_the_judge_another_file_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    first: list[Path] = []

    def mixed_up(path: Path, kinds: Iterable[str]) -> Finding:
        first.append(path)
        return examine(first[0] if first[0].exists() else path, kinds)

    monkeypatch.setattr(reads_room, "examine", mixed_up)
    monkeypatch.setattr(Path, "unlink", lambda self, missing_ok=False: None)
    must_fail("the next copy serves")


def test_an_oracle_off_by_one_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = brute_force
    monkeypatch.setattr(sys.modules[__name__], "brute_force", lambda *given: set(sorted(honest(*given))[1:]))
    must_fail("the next copy serves")
