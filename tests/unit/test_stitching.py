"""One right file from damaged versions: what must come out, what must never, and within which bounds."""

import hashlib
import random
import time
from collections.abc import Sequence
from itertools import islice, product
from pathlib import Path

import pytest

from drill.digests import Digester
from drill.model import Digest, Entry, Problem
from drill.stitching import Bounds, Stitched, Version, as_view, stitch
from drill.stitching.likely import combinations
from drill.stitching.search import fewest


def digests_of(content: bytes, *kinds: str) -> tuple[Digest, ...]:
    digester = Digester(kinds or ("sha256",))
    digester.update(content)
    return digester.digests()


class Bench:
    """A folder of damaged versions of one file."""

    def __init__(self, folder: Path, content: bytes) -> None:
        self.folder, self.content = folder, content
        self.versions: list[Version] = []

    def add(
        self,
        source: str,
        *,
        holes: Sequence[tuple[int, int]] = (),
        wrong: Sequence[tuple[int, bytes]] = (),
        keep: int | None = None,
        more: bytes = b"",
        declared: int | None = None,
    ) -> None:
        given = bytearray(self.content)
        for start, replaced in wrong:
            given[start : start + len(replaced)] = replaced
        for start, end in holes:
            given[start:end] = bytes(end - start)
        given = given[:keep] + more
        path = self.folder / f"{len(self.versions)}"
        path.write_bytes(given)
        self.versions.append(Version(source, path, len(given), tuple(holes), declared))

    def stitch(self, *, size: int | None = None, bounds: Bounds | None = None, kinds: tuple[str, ...] = ()) -> Stitched:
        found = self.try_(size=size, bounds=bounds, kinds=kinds)
        assert found is not None
        assert self.written(found) == self.content
        assert found.size == len(self.content)
        return found

    def try_(
        self, *, size: int | None = None, bounds: Bounds | None = None, kinds: tuple[str, ...] = ()
    ) -> Stitched | None:
        return stitch(self.versions, digests_of(self.content, *kinds), size=size, bounds=bounds)

    def written(self, found: Stitched) -> bytes:
        taken = bytearray()

        class Receiver:
            def begin(self, entry: Entry) -> None: ...

            def data(self, chunk: bytes | bytearray | memoryview) -> None:
                taken.extend(chunk)

            def end(self, entry: Entry, problem: Problem | None) -> None:
                assert problem is None

        entry = Entry("whole", found.size)
        view = as_view(found, self.versions, entry)
        assert list(view.entries()) == [entry]
        view.deliver([entry], Receiver())
        return bytes(taken)


def picture(size: int = 200_000, seed: int = 1) -> bytes:
    return random.Random(seed).randbytes(size)


@pytest.mark.parametrize("size", [200_000, None])
def test_holes_in_different_places_give_the_whole_file(tmp_path: Path, size: int | None) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", holes=[(0, 4096), (50_000, 90_000), (199_680, 200_000)])
    bench.add("b", holes=[(4096, 8192), (90_000, 150_001)])
    found = bench.stitch(size=size)
    assert found.sources == ("a", "b")
    assert set(found.held) == {frozenset("ab"), frozenset("a"), frozenset("b")}


def test_a_truncated_version_ends_with_a_hole(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("cut", keep=120_000)
    bench.add("bad", holes=[(8192, 12_288)])
    assert bench.stitch().sources == ("bad", "cut")
    bench.versions.reverse()
    assert bench.stitch(size=200_000).sources == ("bad", "cut")


@pytest.mark.parametrize("hole", [(16_384, 20_000), (8192, 12_288)])
def test_a_version_that_breaks_off_in_a_bad_sector_lacks_all_that_follows(
    tmp_path: Path, hole: tuple[int, int]
) -> None:
    bench = Bench(tmp_path, random.Random(4).randbytes(90_000))
    bench.add("one", keep=20_000, holes=[hole], declared=90_000)
    bench.add("two", holes=[(0, 4096)])
    assert bench.stitch(size=90_000).sources == ("one", "two")


def test_two_truncated_versions_are_not_enough_and_a_declared_size_tells_where_the_end_is(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture() + bytes(5000))
    bench.add("cut", keep=120_000)
    bench.add("shorter", keep=20_000)
    assert bench.try_() is None
    bench.add("zip", keep=200_000, declared=205_000, holes=[(4096, 8192)])
    assert bench.stitch().sources == ("cut", "zip")  # and what nobody has happens to be zeros


def test_wrong_bytes_are_outvoted_wherever_they_are(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    rng = random.Random(4)
    for source in "abc":
        places = [rng.randrange(190_000) for _ in range(30)]
        bench.add(source, wrong=[(at, rng.randbytes(3)) for at in places])
    assert len(bench.stitch().sources) > 1


def test_two_versions_that_differ_are_tried_both_ways(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", wrong=[(at, b"wrong") for at in (100, 40_000, 80_000, 120_000)])
    bench.add("b", wrong=[(at, b"other") for at in (5000, 60_000, 100_000, 140_000, 199_995)])
    assert bench.stitch(kinds=("sha256", "xxh128", "md5")).sources == ("a", "b")


@pytest.mark.parametrize("apart", [4096, 512, 16, 1])
def test_damage_side_by_side_is_told_apart_down_to_single_bytes(tmp_path: Path, apart: int) -> None:
    bench = Bench(tmp_path, picture())
    at = 81_920
    bench.add("a", wrong=[(at, bytes(b ^ 255 for b in bench.content[at : at + apart]))])
    bench.add("b", wrong=[(at + apart, bytes(b ^ 255 for b in bench.content[at + apart : at + 2 * apart]))])
    assert bench.stitch().sources == ("a", "b")


def test_blank_and_noisy_blocks_are_tried_last(tmp_path: Path) -> None:
    content = b"".join(b"%06d a line of a sidecar\n" % number for number in range(40_000))
    bench = Bench(tmp_path, content)
    rng = random.Random(2)
    bench.add("blank", wrong=[(at * 12_288, bytes(4096)) for at in range(0, 80, 2)])
    bench.add("noisy", wrong=[(at * 12_288, rng.randbytes(4096)) for at in range(1, 80, 2)])
    assert bench.stitch(bounds=Bounds(combinations=40)).sources == ("blank", "noisy")


def test_something_added_at_the_end_is_cut_off_where_the_size_is_promised(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", more=bytes(31_000))
    assert bench.try_() is None
    assert bench.stitch(size=200_000).sources == ("a",)


def test_another_picture_of_that_name_disturbs_nothing(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", holes=[(0, 4096)])
    bench.add("b", holes=[(4096, 8192)], wrong=[(100_000, b"wrong")])
    bench.add("other", wrong=[(0, picture(seed=9))])
    bench.add("stranger", wrong=[(0, picture(seed=10))], keep=150_000)
    assert bench.stitch(bounds=Bounds(combinations=4)).sources == ("a", "b")


def test_what_nobody_has_is_not_made_up(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", holes=[(0, 8192)])
    bench.add("b", holes=[(4096, 12_288)])
    assert bench.try_(size=200_000) is None
    bench.add("c", wrong=[(4096, bytes(2)), (5000, b"xx")])
    assert bench.try_(size=200_000) is None


def test_what_came_in_doubt_is_tried_where_nobody_has_better(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", holes=[(0, 8192)])
    bench.add("b", holes=[(4096, 12_288)])
    doubted = bench.versions[1]
    doubted.path.write_bytes(bench.content)
    assert set(bench.stitch(size=200_000).sources) == {"a", "b"} or bench.stitch(size=200_000).sources == ("b",)


def test_all_promised_digests_must_agree(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", holes=[(0, 4096)])
    bench.add("b", holes=[(4096, 8192)])
    right, wrong = digests_of(bench.content, "sha256")[0], digests_of(b"", "md5")[0]
    assert stitch(bench.versions, (right,), size=None) is not None
    assert stitch(bench.versions, (right, wrong), size=None) is None
    assert stitch(bench.versions, (), size=None) is None
    assert stitch((), (right,), size=None) is None


def test_versions_wrong_nearly_everywhere_end_soon(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture(8_000_000))
    bench.add("a", wrong=[(0, picture(8_000_000, 3))])
    bench.add("b", wrong=[(0, picture(8_000_000, 4))])
    begun_s = time.perf_counter()
    assert bench.try_() is None
    assert time.perf_counter() - begun_s < 5


def test_no_more_is_tried_than_the_bounds_say(tmp_path: Path) -> None:
    bench = Bench(tmp_path, picture())
    bench.add("a", wrong=[(at * 20_000, b"wrong") for at in range(0, 8, 2)])
    bench.add("b", wrong=[(at * 20_000, b"other") for at in range(1, 8, 2)])
    assert bench.try_(bounds=Bounds(combinations=3)) is None
    assert bench.try_(bounds=Bounds(times_size=1, least_bytes=1)) is None
    bench.stitch()


def test_combinations_come_once_each_the_likeliest_first_and_late_places_vary_first() -> None:
    rows = [[0, 1], [0, 0, 2], [0], [0, 3, 3]]
    found = list(combinations(rows))
    assert sorted(found) == sorted(product(*(range(len(row)) for row in rows)))
    totals = [sum(row[at] for row, at in zip(rows, one, strict=True)) for one in found]
    assert totals == sorted(totals)
    assert found[:2] == [(0, 0, 0, 0), (0, 1, 0, 0)]
    assert list(islice(combinations([[0, 0]] * 30), 3))[1:] == [(*[0] * 29, 1), (*[0] * 28, 1, 0)]
    assert list(combinations([])) == [()]


def test_as_few_copies_are_named_as_give_everything() -> None:
    assert fewest([frozenset("ab"), frozenset("bc"), frozenset("b")]) == ("b",)
    assert fewest([frozenset("ab"), frozenset("cd")]) == ("a", "c")
    assert fewest([]) == ()


def test_the_order_of_versions_changes_nothing(tmp_path: Path) -> None:
    rng = random.Random(11)
    for round_ in range(30):
        (tmp_path / f"{round_}").mkdir()
        bench = Bench(tmp_path / f"{round_}", picture(rng.randrange(1, 30_000), round_))
        size = len(bench.content)
        for source in "abc":
            holes = sorted(rng.sample(range(size + 1), 2)) if size > 2 and rng.random() < 0.6 else []
            wrong = [(rng.randrange(size), rng.randbytes(1)) for _ in range(rng.randrange(3))]
            bench.add(
                source, holes=[(holes[0], holes[1])] if holes else (), wrong=wrong, keep=rng.choice([None, size // 2])
            )
        one = bench.try_()
        rng.shuffle(bench.versions)
        other = bench.try_()
        assert (one is None) == (other is None)
        if one is not None and other is not None:
            assert one.sources == other.sources and set(one.held) == set(other.held)
            assert hashlib.sha256(bench.written(other)).digest() == hashlib.sha256(bench.content).digest()
