"""Copies that disagree: which files are one file, blocks that cannot be read, real pictures, and the words."""

import io
import random
from datetime import UTC, datetime
from pathlib import Path

import pytest
from collections_found import wallpapers
from sound_files import sound

from drill.comparing import (
    BLOCK,
    Family,
    Reading,
    Side,
    are_unlike,
    compare,
    families,
    judge,
    say_block_majority,
    say_difference,
)
from drill.comparing import lockstep as room
from drill.copies.raw import Steady
from drill.faults.draw import Damage
from drill.faults.overlay import Overlay
from drill.model import Digest, Entry
from drill.soundness import Outcome, check, checking
from drill.streams import InMemory

DATA = bytes((n * 7 + n // 251) % 255 + 1 for n in range(100 * BLOCK + 100))


def reading(copy: str, path: str, digest: str | None = None, *, size: int = 9000, kind: str = "xxh128") -> Reading:
    digests = () if digest is None else (Digest(kind, digest),)
    return Reading(copy, copy, Entry(path, size, datetime(2026, 9, 1, tzinfo=UTC)), size, digests, top=copy)


def told(*readings: Reading) -> list[list[list[str]]]:
    return [[[f"{r.copy}:{r.entry.path}" for r in content] for content in family.contents]
            for family in families(readings)]  # fmt: skip


def streams(*contents: bytes, bad: dict[int, int] | None = None) -> list[room.Source]:
    """Open contents; `bad` gives for one of them the block that cannot be read."""

    def source(number: int, content: bytes) -> room.Source:
        if bad and number in bad:
            damage = Damage(bad={(bad[number] * BLOCK, BLOCK)})
            return lambda: Overlay(InMemory(content), damage, len(content))
        return lambda: Steady(InMemory(content))

    return [source(number, content) for number, content in enumerate(contents)]


def sides(*looks: Outcome | None, media: tuple[str, ...] | None = None) -> list[Side]:
    held = media or tuple("abcdefgh"[: len(looks)])
    return [Side(f"kiln-{n}", frozenset(held[n]), look) for n, look in enumerate(looks)]


# --- which files are one file ------------------------------------------------------------------------------------


def test_files_of_one_path_folder_or_size_are_one_file() -> None:
    one = reading("card", "DCIM/100REED_/R1.DNG", "01")
    assert told(one, reading("disk", "dcim/100reed_/r1.dng", "02", size=8)) == [
        [["card:DCIM/100REED_/R1.DNG"], ["disk:dcim/100reed_/r1.dng"]]
    ]
    assert told(one, reading("disk", "heron/100REED_/R1.DNG", "02", size=8)), "one folder's name"
    assert told(one, reading("disk", "heron/R1.DNG", "02")), "one size"
    assert told(one, reading("disk", "heron/R1.DNG", "02", size=8)) == [], "nothing but the name"
    assert told(one, reading("disk", "heron/R2.DNG", "02")) == [], "another name"
    assert told(one, reading("disk", "heron/R1.DNG", "01")) == [], "the same bytes"
    assert told(one, reading("card", "heron/R1.DNG", "02")) == [], "on one copy alone"
    assert told(reading("card", "R1.DNG", "01"), reading("disk", "R1.DNG", "02", size=8)), "both at the top"


def test_where_two_could_be_meant_none_is() -> None:
    two = (reading("card", "a/R1.DNG", "01"), reading("card", "b/R1.DNG", "02"))
    assert told(*two, reading("disk", "c/R1.DNG", "03")) == []
    third = reading("disk", "a/R1.DNG", "03")
    assert told(*two, third) == [[["card:a/R1.DNG"], ["disk:a/R1.DNG"]]], "the folder says which"
    rolled = (reading("disk", "x/R1.DNG", "01"), reading("disk", "y/R1.DNG", "02"))
    assert told(*two, *rolled) == [], "both are there, only moved"


def test_equal_copies_stand_together_and_other_kinds_of_digests_leave_it_open() -> None:
    (family,) = families([reading("a", "R1", "01"), reading("b", "R1", "02"), reading("c", "R1", "01")])
    assert [[r.copy for r in content] for content in family.contents] == [["a", "c"], ["b"]] and family.sure
    (other,) = families([reading("a", "R1", "01"), reading("b", "R1", "02", kind="md5")])
    assert not other.sure, "they may be alike"
    (unread,) = families([reading("a", "R1", "01"), reading("b", "R1")])
    assert not unread.sure
    assert [one.sure for one in families([reading("a", "R1", "01"), reading("b", "R1", size=8)])] == [True]
    weak = [reading("a", "R1", "01", kind="xxh32"), reading("b", "R1", "01", kind="xxh32", size=8)]
    assert [one.sure for one in families(weak)] == [True], "a weak digest of another size says nothing"
    assert isinstance(other, Family)


# --- blocks that cannot be read ----------------------------------------------------------------------------------


@pytest.mark.parametrize("block", [0, 1, 63, 64, 99, 100])
def test_what_cannot_be_read_is_passed_over(block: int) -> None:
    found = compare(streams(DATA, DATA, bad={1: block}))
    end = min((block + 1) * BLOCK, len(DATA))
    assert found.readings[1].unreadable == ((block * BLOCK, end),) and found.readings[1].stopped_at is None
    assert found.readings[1].size == found.readings[0].size == len(DATA)
    assert found.groups == ((0,), (1,)), "what was not read whole is like nothing"
    (difference,) = found.differences
    assert difference.blocks == 0 and difference.ranges == () and difference.alike == 100
    assert "alike wherever both can be read" in say_difference(difference, one="kiln-0", other="kiln-1")
    said = judge(found, sides(Outcome.CANNOT_CHECK, Outcome.UNREADABLE))
    assert said.likely_right == 0 and "kiln-1 cannot be read in places" in said.why


def test_a_failing_drive_is_not_worn_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "MOST_BAD_BLOCKS", 1)
    content = bytearray(DATA)
    damage = Damage(bad={(BLOCK, 5 * BLOCK)})
    found = compare([*streams(DATA), lambda: Overlay(InMemory(bytes(content)), damage, len(content))])
    assert found.readings[1].stopped_at == 2 * BLOCK and found.readings[1].size == len(DATA)
    assert found.differences[0].blocks == 0, "what was not tried is not called different"


def test_what_cannot_be_opened_has_no_bytes() -> None:
    def closed() -> io.RawIOBase:
        raise OSError("gone")

    found = compare([*streams(DATA), closed])
    assert found.readings[1].size == 0 and found.readings[1].stopped_at == 0
    assert found.differences[0].blocks == 0 and found.groups == ((0,), (1,))


# --- who is likely right -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["R0001.JPG", "progressive.jpg", "R0002.png", "R0003.webp", "plain.tif"])
def test_pictures_that_were_hurt(name: str) -> None:
    content = sound()[name]
    cut, zeroed = content[: len(content) // 2], content[:2048] + bytes(512) + content[2560:]
    for hurt in (cut, zeroed):
        found = compare(streams(hurt, content))
        looks = [check(name, one).outcome for one in (hurt, content)]
        assert judge(found, sides(*looks)).likely_right == 1, looks
    assert compare(streams(cut, content)).differences[0].beginning == 0
    assert compare(streams(zeroed, content)).differences[0].zeroed == (1, 0)


@pytest.mark.deep  # large pictures decoded again and again; the generated ones are quick
def test_real_photographs_that_were_hurt(tmp_path: Path) -> None:
    photographs = sorted(wallpapers(tmp_path).rglob("*.jpg"))[:5]
    with checking() as look:
        for path in photographs:
            content, rng = path.read_bytes(), random.Random(path.name)
            at = rng.randrange(1, len(content) // BLOCK) * BLOCK
            gone = content[:at] + bytes(BLOCK) + content[at + BLOCK :]
            turned = content[:at] + bytes([content[at] ^ 4]) + content[at + 1 :]
            found = compare(streams(content[:at], gone, turned, content))
            looks = [look(path.name, one).outcome for one in (content[:at], gone, turned, content)]
            said = judge(found, sides(*looks))
            assert found.groups == ((0,), (1,), (2,), (3,)) and looks[3] is Outcome.OPENS
            assert said.likely_right == 3 if looks[2] is Outcome.DAMAGED else said.likely_right is None, (path, said)


def test_the_order_of_reasons() -> None:
    cut, flipped = DATA[: 20 * BLOCK], DATA[:5000] + bytes([DATA[5000] ^ 8]) + DATA[5001:]
    no = Outcome.CANNOT_CHECK
    assert judge(compare(streams(cut, DATA)), sides(no, no)).why.endswith("kiln-0 is its beginning, cut short")
    assert judge(compare(streams(cut, DATA)), sides(Outcome.OPENS, no)).likely_right is None, "the reasons are at odds"
    assert judge(compare(streams(cut, DATA)), sides(Outcome.OPENS, Outcome.DAMAGED)).likely_right == 0
    assert judge(compare(streams(DATA, DATA + bytes(9000))), sides(no, no)).likely_right is None, "zeros say nothing"
    two = compare(streams(flipped, DATA))
    assert two.differences[0].flipped == 1 and two.differences[0].ranges == ((BLOCK, 2 * BLOCK),)
    assert judge(two, sides(no, no)).likely_right is None
    most = [Side("kiln", frozenset("a"), no), Side("reed", frozenset("bc"), no)]
    assert judge(two, most).why == "likely right is the one on reed: 2 of 3 independent media have it"
    mirrors = [Side("kiln", frozenset("a"), no), Side("reed", frozenset("b"), no)]
    assert judge(two, mirrors).likely_right is None
    both = [Side("kiln", frozenset("ab"), no), Side("reed", frozenset("abc"), no)]
    assert judge(two, both).likely_right is None, "who holds both speaks for none"
    many_cut = [Side("kiln", frozenset("ab"), no), Side("reed", frozenset("c"), no)]
    assert judge(compare(streams(cut, DATA)), many_cut).likely_right is None


def test_two_pictures_of_one_name_are_told_from_copies() -> None:
    other = bytes(reversed(DATA))
    found = compare(streams(DATA, other))
    assert are_unlike(found, (0, 1)) and "two different files of one name" in judge(found, sides(None, None)).why
    assert not are_unlike(compare(streams(DATA, bytes(len(DATA)))), (0, 1)), "a file never written is no picture"
    assert not are_unlike(compare(streams(b"<x/>", b"<y/>")), (0, 1)), "a sidecar is too short to tell"


def test_each_block_may_have_its_own_majority() -> None:
    hurt = [bytearray(DATA) for _ in range(3)]
    for number, one in enumerate(hurt):
        one[number * BLOCK * 3] ^= 1
    assert "perhaps no single copy is right" in say_block_majority(compare(streams(*map(bytes, hurt))))
    assert say_block_majority(compare(streams(bytes(hurt[0]), DATA, bytes(hurt[2])))) == ""
    alone = [frozenset("a")] * 3  # mirrors of one medium
    assert say_block_majority(compare(streams(*map(bytes, hurt)), voters=alone)) == ""


def test_the_words() -> None:
    (cut,) = compare(streams(DATA[:5000], DATA)).differences
    assert say_difference(cut, one="card", other="disk") == "card is the beginning of disk, with 404700 bytes less"
    spots = bytearray(DATA)
    for block in (2, 5, 6, 9, 12, 20):
        spots[block * BLOCK : block * BLOCK + 4096] = bytes(4096)
    (zeros,) = compare(streams(DATA, bytes(spots))).differences
    assert say_difference(zeros, one="card", other="disk") == (
        "card and disk differ at bytes 8192 to 12287, 20480 to 28671, 36864 to 40959 and 2 more places "
        "(6 blocks of 4096 bytes); disk has zeros there in 6 of them"
    )
