"""The overlay over real files: bad sectors, changed bytes, cut ends, replaced bytes; draws that repeat."""

import errno
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drill.faults.aim import Blow
from drill.faults.draw import Damage, add_damage
from drill.faults.overlay import Overlay, veiled
from drill.model import Entry, Hazard, Selector
from drill.streams import InMemory


def over(content: bytes, damage: Damage) -> Overlay:
    return Overlay(InMemory(content), damage, len(content))


def read_all(raw: io.RawIOBase, chunk: int = 1000) -> bytes:
    found = bytearray()
    while True:
        piece = raw.read(chunk)
        if not piece:
            return bytes(found)
        found += piece


CONTENT = bytes(range(256)) * 64  # 16 KiB


def test_without_damage_every_byte_is_the_same() -> None:
    assert read_all(over(CONTENT, Damage())) == CONTENT


def test_good_bytes_before_a_bad_sector_come_and_the_sector_is_an_i_o_error() -> None:
    raw = over(CONTENT, Damage(bad={(4096, 4096)}))
    assert raw.read(10_000) == CONTENT[:4096]
    with pytest.raises(OSError) as caught:
        raw.read(1)
    assert caught.value.errno == errno.EIO
    raw.seek(8192)
    assert read_all(raw) == CONTENT[8192:]


def test_touching_bad_sectors_are_one_hole() -> None:
    raw = over(CONTENT, Damage(bad={(4096, 512), (4608, 512), (12288, 512)}))
    raw.seek(5120)
    assert raw.read(20_000) == CONTENT[5120:12288]


def test_a_bad_sector_past_the_end_does_nothing() -> None:
    assert read_all(over(CONTENT, Damage(bad={(1 << 20, 4096)}))) == CONTENT


def test_changed_bytes_differ_and_the_others_do_not() -> None:
    found = read_all(over(CONTENT, Damage(changed={5: 1, 9000: 255})), 777)
    assert [n for n in range(len(CONTENT)) if found[n] != CONTENT[n]] == [5, 9000]


@pytest.mark.parametrize(("keep", "left"), [(0.7, 11468), (100, 100), (0, 0), (1 << 30, 16384), (1.0, 16384)])
def test_a_cut_end(keep: float | int, left: int) -> None:
    raw = over(CONTENT, Damage(keep=[keep]))
    assert read_all(raw) == CONTENT[:left]
    assert raw.seek(0, io.SEEK_END) == left


def test_every_byte_is_replaced_and_reading_in_pieces_gives_the_same() -> None:
    whole = read_all(over(CONTENT * 9, Damage(veil="key")), 1 << 20)
    assert all(ours != real for ours, real in zip(whole, CONTENT * 9, strict=True))
    assert read_all(over(CONTENT * 9, Damage(veil="key")), 1013) == whole
    assert veiled(CONTENT, key="key", at=16384) == whole[16384:32768]


def test_an_overlay_cannot_be_written_and_has_no_name() -> None:
    raw = over(CONTENT, Damage())
    assert not raw.writable()
    assert not hasattr(raw, "name")
    with pytest.raises((io.UnsupportedOperation, NotImplementedError)):
        raw.write(b"x")  # type: ignore[call-overload]


def blow(effect: str, **settings: object) -> Blow:
    return Blow(0, Hazard(effect=effect, hits=Selector(), **settings), "drive")  # type: ignore[arg-type]


ENTRIES = [Entry("a.dng", 10_000), Entry("b.dng", 0), Entry("c.jpg", 5_000)]


def drawn(what: Blow, seed: str = "7", entries: list[Entry] = ENTRIES) -> dict[str, Damage]:
    damage: dict[str, Damage] = {}
    add_damage(damage, what, entries=entries, origin_entries=ENTRIES, seed=seed)
    return damage


def test_the_same_seed_draws_the_same_and_another_seed_does_not() -> None:
    what = blow("altered", count=10)
    assert drawn(what) == drawn(what)
    assert drawn(what) != drawn(what, "8")
    assert sum(len(d.changed) for d in drawn(what).values()) == 10


def test_count_never_draws_more_than_there_is() -> None:
    found = drawn(blow("altered", count=20_000))
    assert sum(len(d.changed) for d in found.values()) == 15_000
    assert all(0 <= offset < 10_000 for offset in found["a.dng"].changed)


def test_files_limit_the_draw() -> None:
    assert set(drawn(blow("unreadable", count=5, files=("*.jpg",)))) == {"c.jpg"}


def test_sectors_apply_to_each_matched_file() -> None:
    found = drawn(blow("unreadable", sectors=(0, 2), sector_size=512))
    assert found["a.dng"].bad == found["c.jpg"].bad == {(0, 512), (1024, 512)}


def test_a_mirror_shares_the_draw_of_what_it_mirrors() -> None:
    mirror = [Entry("backup/c.jpg", 5_000), Entry("a.dng", 10_000)]
    ours, theirs = drawn(blow("altered", count=40)), drawn(blow("altered", count=40), entries=mirror)
    assert theirs["a.dng"].changed == ours["a.dng"].changed
    assert theirs["backup/c.jpg"].changed == ours["c.jpg"].changed


def test_a_file_of_unknown_size_is_hit_inside_it() -> None:
    damage: dict[str, Damage] = {}
    unknown = [Entry("x.jpg", None)]
    add_damage(damage, blow("altered", count=3), entries=unknown, origin_entries=unknown, seed="1")
    raw = Overlay(InMemory(CONTENT), damage["x.jpg"], None)
    found = read_all(raw)
    assert len(found) == len(CONTENT)
    assert 1 <= sum(1 for a, b in zip(found, CONTENT, strict=True) if a != b) <= 3


@given(
    content=st.binary(max_size=600),
    bad=st.sets(st.tuples(st.integers(0, 700), st.integers(1, 64)), max_size=4),
    changed=st.dictionaries(st.integers(0, 700), st.integers(1, 255), max_size=5),
    keep=st.none() | st.integers(0, 700),
    reads=st.lists(st.tuples(st.integers(0, 700), st.integers(1, 200)), max_size=8),
)
def test_any_damage_reads_like_the_model(
    content: bytes,
    bad: set[tuple[int, int]],
    changed: dict[int, int],
    keep: int | None,
    reads: list[tuple[int, int]],
) -> None:
    """The model: byte n exists below the cut, cannot be read in a bad sector, else is the byte with its change."""
    raw = over(content, Damage(bad=bad, changed=changed, keep=[] if keep is None else [keep]))
    end = len(content) if keep is None else min(keep, len(content))
    dead = {n for start, length in bad if start < len(content) for n in range(start, start + length)}
    for start, length in reads:
        raw.seek(start)
        if start in dead and start < (1 << 62 if keep is None else keep):
            with pytest.raises(OSError):
                raw.read(length)
            continue
        found = raw.read(length) or b""
        first_dead = min((n for n in dead if n >= start), default=1 << 62)
        expected = bytes(content[n] ^ changed.get(n, 0) for n in range(start, min(start + length, end, first_dead)))
        assert found == expected


def test_nothing_is_written_to_the_file_under_an_overlay(tmp_path: Path) -> None:
    path = tmp_path / "real.dng"
    path.write_bytes(CONTENT)
    before = path.stat().st_mtime_ns
    with path.open("rb", buffering=0) as file:
        read_all(Overlay(file, Damage(veil="k", changed={3: 9}), len(CONTENT)))
    assert path.read_bytes() == CONTENT
    assert path.stat().st_mtime_ns == before
