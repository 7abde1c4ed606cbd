"""Law: a yes to letting a medium go is a promise kept. Held against the bytes themselves and against a real deletion.

What must be answered is worked out here by brute force from what each copy of a small random world really stores; then,
after a yes, the medium's folder is really deleted, and a drill without any fault has to bring back every promised file
that was on it.
"""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import NOW, laid_out, run, verified

from drill.ledger import Ledger
from drill.retire import Options, retire
from drill.retirerecord import Retirement
from drill.studio import load_studio
from drill.testing.strategies import worlds
from drill.testing.world import CopyPlan, World, content

pytestmark = pytest.mark.deep  # test_retire_rooms.py and test_retire_judge.py are quick


def ask(studio_file: Path, medium: str, ledger: Path | None = None, *, read: bool = False) -> Retirement:
    with Ledger.open(ledger) as opened:
        return retire(load_studio(studio_file), medium, opened, Options(NOW, read=read))


def stores(copy: CopyPlan, number: int) -> bool:
    """Say whether a copy really stores the promised bytes."""
    return number in copy.holds and number not in copy.rotten


def expected(world: World, going: CopyPlan) -> bool:
    """Say by brute force whether a medium may go: no rotten file on it (its bytes are no promise's), and every other is
    elsewhere too."""
    if any(not stores(going, number) for number in going.holds):
        return False
    others = [copy for copy in world.copies if copy is not going]
    return all(any(stores(copy, number) for copy in others) for number in going.holds)


@settings(max_examples=40)
@given(world=worlds(), data=st.data())
def test_a_yes_agrees_with_brute_force_and_outlives_the_deletion(world: World, data: st.DataObject) -> None:
    going = data.draw(st.sampled_from(world.copies))
    with laid_out(world) as studio:
        record = ask(studio, going.id)
        assert record.may_go is expected(world, going), record.reasons
        if not record.may_go:
            return
        shutil.rmtree(studio.parent / "media" / going.id)
        back = verified(run(studio, []))
    assert {f"raw/A{number:04d}.dng" for number in going.holds} <= back


@settings(max_examples=25)
@given(world=worlds(), data=st.data(), renamed=st.booleans())
def test_one_more_faithful_copy_never_turns_yes_into_no(world: World, data: st.DataObject, renamed: bool) -> None:
    going = data.draw(st.sampled_from(world.copies))
    extra = CopyPlan("extra", "away", frozenset(range(world.files)), renamed=renamed)
    with laid_out(world) as studio:
        before = ask(studio, going.id).may_go
    grown = replace(world, copies=(*world.copies, extra))
    with laid_out(grown) as studio:
        after = ask(studio, going.id).may_go
    assert after or not before
    assert after is expected(grown, going)


@settings(max_examples=25)
@given(world=worlds(), data=st.data())
def test_one_byte_less_on_every_other_copy_turns_yes_into_no(world: World, data: st.DataObject) -> None:
    going = data.draw(st.sampled_from(world.copies))
    with laid_out(world) as studio:
        notes = studio.parent / "ledger.sqlite"
        if not ask(studio, going.id, notes).may_go or not going.holds:
            return
        number = data.draw(st.sampled_from(sorted(going.holds)))
        at = data.draw(st.integers(0, len(content(number)) - 1))
        for other in world.copies:
            for path in (studio.parent / "media" / other.id).rglob("*.[dD][nN][gG]") if other is not going else ():
                if path.read_bytes() == content(number):
                    damaged = bytearray(content(number))
                    damaged[at] ^= 1
                    path.write_bytes(damaged)
        after = ask(studio, going.id, notes)
        assert after.may_go is False
        assert [file.path for reason in after.reasons for file in reason.files] == [f"raw/A{number:04d}.dng"]
        assert ask(studio, going.id, notes, read=True).may_go is False
