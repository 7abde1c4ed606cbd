"""Law: what is put together is the promised file or nothing; holes in different places always give it; one more damaged
version, and another order of them, take nothing away."""

import hashlib
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from drill.model import Digest, Entry, Problem
from drill.stitching import Stitched, Version, as_view, stitch

UNITS = (16, 512, 4096)


@dataclass(frozen=True)
class Damage:
    """One damaged version: holes and wrong bytes as (unit, length), in units of `unit` bytes, where it is cut, and how
    many units before that are a hole: a drive often fails where a file ends."""

    holes: tuple[tuple[int, int], ...]
    wrong: tuple[int, ...]
    keep: int | None
    last: int = 0


@st.composite
def damages(draw: st.DrawFn, units: int, *, wrong: bool = True) -> Damage:
    place = st.integers(0, units - 1)
    holes = draw(st.lists(st.tuples(place, st.integers(1, 3)), max_size=4))
    bad = draw(st.lists(place, max_size=3)) if wrong else []
    return Damage(
        tuple(sorted(holes)), tuple(bad), draw(st.none() | st.integers(0, units)), draw(st.sampled_from((0, 0, 1, 2)))
    )


def content_of(seed: int, size: int) -> bytes:
    return Random(seed).randbytes(size)


def lay(folder: Path, content: bytes, damage: Damage, *, unit: int, number: int) -> Version:
    given_bytes = bytearray(content)
    for at in damage.wrong:
        for place in range(at * unit, min(at * unit + 3, len(content))):
            given_bytes[place] ^= 1 + (number * 7 + place) % 255
    holes: list[tuple[int, int]] = []
    size = len(content) if damage.keep is None else min(damage.keep * unit, len(content))
    last = [(max(size // unit - damage.last, 0), damage.last)] if size % unit == 0 else []
    for first, count in sorted([*damage.holes, *last]):
        start, end = min(first * unit, size), min((first + count) * unit, size)
        start = max(start, holes[-1][1] if holes else 0)
        if start < end:
            holes.append((start, end))
            given_bytes[start:end] = bytes(end - start)
    path = folder / f"{number}-{len(list(folder.iterdir()))}"
    path.write_bytes(given_bytes[:size])
    return Version(f"copy-{number}", path, size, tuple(holes))


def is_right(found: Stitched | None, versions: Sequence[Version], content: bytes) -> bool:
    """Say whether a file came; that it is another one is no answer but a failure."""
    if found is None:
        return False
    digest = hashlib.sha256()

    class Receiver:
        def begin(self, entry: Entry) -> None: ...

        def data(self, chunk: bytes | bytearray | memoryview) -> None:
            digest.update(chunk)

        def end(self, entry: Entry, problem: Problem | None) -> None:
            assert problem is None

    as_view(found, versions, Entry("x", found.size)).deliver([Entry("x", found.size)], Receiver())
    assert digest.digest() == hashlib.sha256(content).digest()
    assert set(found.sources) <= {version.source for version in versions}
    assert all(held and held.intersection(found.sources) for held in found.held)
    return True


def promised(content: bytes) -> tuple[Digest, ...]:
    return (Digest("md5", hashlib.md5(content).hexdigest()), Digest("sha256", hashlib.sha256(content).hexdigest()))


worlds = st.integers(1, 24).flatmap(
    lambda units: st.tuples(
        st.integers(0, 99), st.sampled_from(UNITS), st.just(units), st.lists(damages(units), min_size=1, max_size=3)
    )
)


@settings(max_examples=25)
@given(worlds, st.booleans(), st.randoms(use_true_random=False))
def test_nothing_wrong_comes_and_more_versions_take_nothing_away(
    world: tuple[int, int, int, list[Damage]], size_known: bool, random: Random
) -> None:
    seed, unit, units, plans = world
    content = content_of(seed, unit * units - seed % unit)
    size = len(content) if size_known else None
    with tempfile.TemporaryDirectory() as name:
        versions = [lay(Path(name), content, plan, unit=unit, number=n) for n, plan in enumerate(plans)]
        came = is_right(stitch(versions, promised(content), size=size), versions, content)
        more = Damage(((0, 1),), tuple(range(0, units, 2)), None)
        versions.append(lay(Path(name), content, more, unit=unit, number=len(plans)))
        with_one_more = is_right(stitch(versions, promised(content), size=size), versions, content)
        assert with_one_more or not came
        random.shuffle(versions)
        assert is_right(stitch(versions, promised(content), size=size), versions, content) == with_one_more


@settings(max_examples=40)
@given(
    st.integers(2, 24).flatmap(
        lambda units: st.tuples(
            st.integers(0, 99),
            st.sampled_from(UNITS),
            st.just(units),
            st.lists(damages(units, wrong=False), min_size=2, max_size=4),
        )
    )
)
def test_holes_in_different_places_always_give_the_whole_file(world: tuple[int, int, int, list[Damage]]) -> None:
    seed, unit, units, plans = world
    content = content_of(seed, unit * units)
    with tempfile.TemporaryDirectory() as name:
        versions = [lay(Path(name), content, plan, unit=unit, number=n) for n, plan in enumerate(plans)]
        there = {
            at
            for version in versions
            for at in range(version.size)
            if not any(start <= at < end for start, end in version.holes)
        }
        came = is_right(stitch(versions, promised(content), size=None), versions, content)
        alone = any(version.size == len(content) and not version.holes for version in versions)
        if len(there) == len(content) and not alone:
            assert came
