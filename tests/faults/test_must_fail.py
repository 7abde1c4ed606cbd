"""The must-fail set: harnesses broken on purpose. Each must be caught by the check that stands for it, by name.

One small world is drilled and held against what brute force over bytes says. With the harness as it is the checks pass;
with each break one of them fails, or the suite would let that break through. The oracle of the end-to-end tests is
broken too: held against the record of an honest drill, it has to be found out.
"""

import hashlib
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from io import RawIOBase
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import oracle
import pytest
from agreement import disagreements
from cases import byte_effects, classes_and_weights, two_of_three
from census import census
from hand import MOMENT, Case
from studios import build
from worlds import laid_out, run, verified

import drill.faults.apply as apply_room
import drill.rehearse.drill as drill_room
import drill.rehearse.reads as reads_room
import drill.rehearse.rehearsal as rehearsal_room
import drill.rehearse.stage as stage_room
import drill.shelf as shelf_room
import drill.stitching.search as search_room
from drill.faults import Blow, Fate, aim
from drill.model import Digest, Hazard, Scenario, Selector, Store, Studio
from drill.record import to_json
from drill.rehearse import Options, rehearse
from drill.scenario import load_scenarios
from drill.streams import InMemory
from drill.studio import load_studio
from drill.testing.world import CopyPlan, World, content, path_of, path_on
from drill.verify import Finding, examine

pytestmark = pytest.mark.deep  # each break drills a world of its own

ALL = frozenset(range(3))
FAITHFUL = CopyPlan("m1", "home", ALL)
ROTTEN = CopyPlan("m0", "bag", ALL, rotten=frozenset({1}))
ROTTEN_TOO = CopyPlan("m2", "home", ALL, rotten=frozenset({1}))
SIZE = len(content(0))
ON_M0, ON_M1 = Selector(medium=("m0",)), Selector(medium=("m1",))
GONE = Hazard("gone", ON_M1)
PLACES = {"the first byte": 0, "a byte in the middle": SIZE // 2, "the last byte": SIZE - 1}
ROT = {where: Hazard("altered", ON_M0, offsets=(at,)) for where, at in PLACES.items()}
EFFECTS = {
    "gone": Hazard("gone", ON_M0),
    "refused": Hazard("refused", ON_M0),
    "unreadable": Hazard("unreadable", ON_M0, sectors=(0,)),
    "altered": Hazard("altered", ON_M0, offsets=(7,)),
    "truncated": Hazard("truncated", ON_M0, keep=SIZE - 1),
    "deleted": Hazard("deleted", ON_M0, files=("*0000*",)),
    "encrypted": Hazard("encrypted", ON_M0, files=("*0002*",)),
    "stale": Hazard("stale", ON_M0, before=datetime(2001, 1, 1, tzinfo=UTC)),
}


def spoils(hazard: Hazard, number: int) -> bool:
    """Say whether a hazard leaves a file of a world without its bytes; each of EFFECTS, worked out anew."""
    size = len(content(number))
    return {
        "unreadable": any(sector * 4096 < size for sector in hazard.sectors or () if isinstance(sector, int)),
        "altered": any(at < size for at in hazard.offsets or ()),
        "truncated": hazard.keep is not None and hazard.keep < size,
        "deleted": number == 0,
        "encrypted": number == 2,
    }.get(hazard.effect, True)


def brute_force(copies: Sequence[CopyPlan], hazards: Iterable[Hazard], folder: Path) -> set[str]:
    """Say which promised files are on a copy with their bytes, reading the disk and knowing nothing of the program."""
    found = set()
    for copy in copies:
        mine = [hazard for hazard in hazards if copy.id in (hazard.hits.medium or ())]
        for number in copy.holds:
            data = (folder / "media" / copy.id / path_on(copy, number)).read_bytes()
            if data == content(number) and not any(spoils(hazard, number) for hazard in mine):
                found.add(path_of(number))
    return found


def check_agreement(copies: tuple[CopyPlan, ...], *hazards: Hazard) -> None:
    """Check: what the drill verifies is what brute force says."""
    with laid_out(World(3, copies)) as studio:
        assert verified(run(studio, hazards)) == brute_force(copies, hazards, studio.parent)


def check_sources_untouched() -> None:
    """Check: a census of the copies (path, size, time, mode, bytes) is the same before and after a drill."""
    with laid_out(World(3, (FAITHFUL,))) as studio:
        before = census(studio.parent / "media")
        run(studio, [])
        assert census(studio.parent / "media") == before


CHECKS: dict[str, Callable[[], None]] = {
    "rot is seen": lambda: check_agreement((ROTTEN,)),
    "what is gone does not serve": lambda: check_agreement((FAITHFUL,), GONE),
    "the next copy serves": lambda: check_agreement((ROTTEN, FAITHFUL)),
    "what nobody has is lost": lambda: check_agreement((ROTTEN, ROTTEN_TOO), ROT["the last byte"]),
    "sources are untouched": check_sources_untouched,
}
CHECKS |= {
    f"rot in {at} is seen": lambda h=rot: check_agreement((FAITHFUL, ROTTEN), h, GONE) for at, rot in ROT.items()
}
CHECKS |= {f"{name} takes what it hits": lambda h=hit: check_agreement((ROTTEN,), h) for name, hit in EFFECTS.items()}


@pytest.mark.parametrize("check", CHECKS)
def test_the_harness_as_it_is_passes(check: str) -> None:
    CHECKS[check]()


def must_fail(check: str) -> None:
    with pytest.raises(AssertionError):
        CHECKS[check]()


# --- judges ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("where", PLACES)
def test_a_judge_that_skips_a_byte_is_caught(monkeypatch: pytest.MonkeyPatch, where: str) -> None:
    at = PLACES[where]

    def skipping(path: Path, kinds: Iterable[str]) -> Finding:
        data = bytearray(path.read_bytes())
        for number in ALL:
            right = content(number)
            if len(right) == len(data) and data[:at] + data[at + 1 :] == right[:at] + right[at + 1 :]:
                data = bytearray(right)  # as if that byte had never been looked at
        return Finding(len(data), tuple(Digest(kind, hashlib.new(kind, data).hexdigest()) for kind in kinds))

    monkeypatch.setattr(reads_room, "examine", skipping)
    CHECKS["rot is seen"]()  # it sees everything else
    must_fail(f"rot in {where} is seen")


def test_a_judge_that_believes_names_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Finding, "is_promised", lambda self, file: True)
    must_fail("rot is seen")


def test_a_reader_that_hands_the_judge_another_file_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    first: list[Path] = []

    def mixed_up(path: Path, kinds: Iterable[str]) -> Finding:
        first.append(path)
        return examine(first[0] if first[0].exists() else path, kinds)

    monkeypatch.setattr(reads_room, "examine", mixed_up)
    monkeypatch.setattr(Path, "unlink", lambda self, missing_ok=False: None)
    must_fail("the next copy serves")


def test_a_stitching_that_believes_itself_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search_room._Tries, "fits", lambda self, digester: True)
    must_fail("what nobody has is lost")


# --- faults ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("effect", EFFECTS)
def test_a_fault_that_does_nothing_is_caught(monkeypatch: pytest.MonkeyPatch, effect: str) -> None:
    def without(scenario: Scenario, studio: Studio, variant: str | None) -> dict[str, Fate]:
        left = tuple(replace(h, effect="slow") if h.effect == effect else h for h in scenario.hazards)
        return aim(replace(scenario, hazards=left), studio, variant)

    monkeypatch.setattr(stage_room, "aim", without)
    must_fail(f"{effect} takes what it hits")


def test_an_overlay_that_does_nothing_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apply_room, "Overlay", lambda raw, damage, size: raw)
    for where in PLACES:
        must_fail(f"rot in {where} is seen")


def test_a_fault_that_hits_the_byte_beside_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = apply_room.add_damage

    def beside(damage: dict[str, Any], blow: Blow, **more: Any) -> None:
        moved = replace(blow.hazard, offsets=tuple(at + 1 for at in blow.hazard.offsets or ()))
        honest(damage, replace(blow, hazard=moved), **more)

    monkeypatch.setattr(apply_room, "add_damage", beside)
    must_fail("rot in the last byte is seen")


# --- plans -------------------------------------------------------------------------------------------------------


def test_a_plan_that_reads_a_dead_copy_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = rehearsal_room.set_stage

    def reviving(*given: Any, copies: Any, **more: Any) -> Any:
        stage = honest(*given, copies=copies, **more)
        raised = {
            id_: apply_room.lay_over(copies[id_], Fate(), seed="", others=copies, worst=lambda found, hazard: None)
            for id_ in stage.out
        }
        return replace(stage, usable={**stage.usable, **raised}, out={})

    monkeypatch.setattr(rehearsal_room, "set_stage", reviving)
    must_fail("what is gone does not serve")


def test_an_aim_that_misses_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stage_room, "aim", lambda scenario, studio, variant: {c.id: Fate() for c in studio.copies})
    must_fail("what is gone does not serve")


def test_a_conductor_that_stops_at_the_first_copy_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = drill_room._serve
    monkeypatch.setattr(drill_room, "_serve", lambda cases, order, bench: honest(cases, order[:1], bench))
    monkeypatch.setattr(drill_room, "salvage_missing", lambda cases, order, bench: 0.0)  # it would find the other copy
    must_fail("the next copy serves")


# --- views -------------------------------------------------------------------------------------------------------


def rewrites(path: Path) -> None:
    path.write_bytes(path.read_bytes())  # the same bytes: only the time tells


def unlocks(path: Path) -> None:
    path.chmod(0o400 if path.stat().st_mode & 0o200 else 0o600)


def leaves_a_note(path: Path) -> None:
    path.with_name("seen.txt").write_text("read by a drill")


def renames(path: Path) -> None:
    path.rename(path.with_suffix(".seen"))


@pytest.mark.parametrize("write", [rewrites, unlocks, leaves_a_note, renames])
def test_a_view_that_can_write_is_caught(monkeypatch: pytest.MonkeyPatch, write: Callable[[Path], None]) -> None:
    honest = shelf_room.folder_store

    def writing(root: Path) -> Store:
        store = honest(root)

        def open_and_write(entry: Any) -> RawIOBase:
            with store.open(entry) as stream:
                data = stream.readall()
            write(root / entry.path)
            return InMemory(data or b"")

        return Store(files=store.files, open=open_and_write)

    monkeypatch.setattr(shelf_room, "folder_store", writing)
    must_fail("sources are untouched")


def test_no_stream_of_a_view_can_be_written_to() -> None:
    with laid_out(World(1, (replace(FAITHFUL, holds=frozenset({0})),))) as studio:
        store = shelf_room.folder_store(studio.parent / "media" / "m1")
        for entry in store.files():
            with store.open(entry) as stream:
                assert stream.readable() and not stream.writable()
                with pytest.raises((OSError, NotImplementedError)):
                    stream.write(b"x")


# --- oracles -----------------------------------------------------------------------------------------------------


def test_a_brute_force_off_by_one_file_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = brute_force
    monkeypatch.setattr(sys.modules[__name__], "brute_force", lambda *given: set(sorted(honest(*given))[1:]))
    must_fail("the next copy serves")


HELD: dict[str, Callable[[], Case]] = {
    "bytes": byte_effects,
    "failures": two_of_three,
    "classes": classes_and_weights,
}


@cache
def honest_record(case: str) -> tuple[dict[str, Any], int]:
    """Drill a hand-made studio once with the harness as it is; return its record and exit code."""
    described = HELD[case]()
    with TemporaryDirectory() as folder:
        built = build(Path(folder), described.studio, described.scenarios)
        scenarios = load_scenarios([str(path) for path in built.scenarios])
        record = rehearse(load_studio(built.file), scenarios, Options(seed=7, now=MOMENT))
    return to_json(record), int(any(drill.falls_short for drill in record.drills))


def said_by_oracle(case: str) -> list[str]:
    described = HELD[case]()
    record, code = honest_record(case)
    return disagreements(oracle.expect_run(described.studio, described.scenarios, MOMENT), record, code)


def shifted(hazard: Any, by: int) -> Any:
    moved = tuple(at + by for at in hazard.offsets), hazard.keep + by if isinstance(hazard.keep, int) else hazard.keep
    sectors = hazard.sectors if isinstance(hazard.sectors, str) else tuple(max(s + by, 0) for s in hazard.sectors)
    return replace(hazard, offsets=moved[0], keep=moved[1], sectors=sectors)


def off_in_bytes(by: int, *effects: str) -> Callable[[pytest.MonkeyPatch], None]:
    def off(patch: pytest.MonkeyPatch) -> None:
        honest = oracle._damage
        patch.setattr(oracle, "_damage", lambda h, seen: honest(shifted(h, by) if h.effect in effects else h, seen))

    return off


def off_in_failures(by: int) -> Callable[[pytest.MonkeyPatch], None]:
    def off(patch: pytest.MonkeyPatch) -> None:
        honest = oracle.weakest_sets

        def wrong(studio: Any, on: Any) -> Any:
            size, sets = honest(studio, on)
            return size + by, sets

        patch.setattr(oracle, "weakest_sets", wrong)

    return off


def off_in_the_score(patch: pytest.MonkeyPatch) -> None:
    honest = oracle._score
    patch.setattr(oracle, "_score", lambda *given: round(honest(*given) - 0.1, 1))


def off_by_a_copy(patch: pytest.MonkeyPatch) -> None:
    honest = oracle.variants
    patch.setattr(oracle, "variants", lambda studio, scenario: honest(studio, scenario)[:-1])


OFF: dict[str, tuple[str, Callable[[pytest.MonkeyPatch], None]]] = {
    "altered, one byte late": ("bytes", off_in_bytes(1, "altered")),
    "altered, one byte early": ("bytes", off_in_bytes(-1, "altered")),
    "cut, one byte late": ("bytes", off_in_bytes(1, "truncated")),
    "cut, one byte early": ("bytes", off_in_bytes(-1, "truncated")),
    "bad, one sector late": ("bytes", off_in_bytes(1, "unreadable")),
    "bad, one sector early": ("bytes", off_in_bytes(-1, "unreadable")),
    "one failure more": ("failures", off_in_failures(1)),
    "one failure less": ("failures", off_in_failures(-1)),
    "one drill less": ("failures", off_by_a_copy),
    "a tenth of the score": ("classes", off_in_the_score),
}


@pytest.mark.parametrize("case", HELD)
def test_the_oracle_as_it_is_agrees(case: str) -> None:
    assert said_by_oracle(case) == []


@pytest.mark.parametrize("off", OFF)
def test_an_oracle_off_by_one_is_caught(monkeypatch: pytest.MonkeyPatch, off: str) -> None:
    case, break_it = OFF[off]
    honest_record(case)
    break_it(monkeypatch)
    assert said_by_oracle(case)
