"""Lists in columns: they say what plain lists say, in far less memory."""

import tracemalloc
from random import Random

import pytest

from drill.columns import Joined, PromisedRows, Rows, columns_of, digests_of, paths_of
from drill.lookup import digest_index, path_index
from drill.manifests.gathering import Gathering
from drill.model import Digest, Listed

ODD = [
    ("a/caf\u00e9.dng", ["md5"], 5),
    ("a/\udcff.dng", ["md5", "sha256"], None),
    ("b/plain.jpg", ["xxh128"], 0),
    ("b/plain (2).jpg", ["md5", "sha256"], None),
]
LENGTHS = {"md5": 16, "sha256": 32, "xxh128": 16}


def gathered(names: list[tuple[str, list[str], int | None]]) -> Gathering:
    into, random = Gathering(), Random(3)
    base = into.open_list("x")
    for place, (path, kinds, size) in enumerate(names):
        for kind in reversed(kinds):
            into.add(path, Digest(kind, random.randbytes(LENGTHS[kind]).hex()), base + place)
        if size is not None:
            into.sizes[path] = size
    return into


@pytest.mark.parametrize("names", [ODD, ODD[:1], ODD[1::2], [(f"{n}.dng", ["md5"], None) for n in range(9000)], []])
def test_columns_say_what_values_say(names: list[tuple[str, list[str], int | None]]) -> None:
    into = gathered(names)
    plain, rows = into.listed(), into.rows()
    assert rows == plain and list(rows) == list(plain) and rows[1:-1] == plain[1:-1]
    assert list(paths_of(rows)) == [one.path for one in plain]
    assert list(digests_of(rows)) == [one.digests for one in plain]
    kinds = {tuple(digest.kind for digest in one.digests) for one in plain}
    assert columns_of(rows).kinds() == columns_of(plain).kinds() == columns_of(Joined([plain, rows])).kinds() == kinds
    joined: Joined[Listed] = Joined([rows, plain, Rows([], []), rows])
    assert list(joined) == [*plain, *plain, *plain] == [joined[n] for n in range(len(joined))]
    for number, one in enumerate(plain):
        again = number + len(plain)
        assert list(path_index(joined).of(one.path)) == [number, again, again + len(plain)]
        for digest in one.digests:
            assert list(digest_index(joined).of(digest)) == [number, again, again + len(plain)]
            assert columns_of(rows).has(number, digest)
        if number > 20:
            break
    assert list(path_index(joined).of("c/other.dng")) == []
    promise = PromisedRows(rows, lambda path: path[:1])
    assert [(file.path, file.digests, file.size, file.kind) for file in promise] == [
        (one.path, one.digests, one.size, one.path[:1]) for one in plain
    ]


@pytest.mark.deep  # a list of many names, measured
def test_a_list_in_columns_is_small_and_an_equal_one_is_shared() -> None:
    names = [(f"2026-05-12/100REED_/R{number:07d}.DNG", ["xxh128"], None) for number in range(100_000)]
    into = gathered(list(names))
    tracemalloc.start()
    try:
        rows, other = into.rows(), into.rows()
        other.share(rows)
        promise, index = PromisedRows(other, lambda path: "originals"), digest_index(rows)
        held_bytes, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert len(promise) == len(index) == 100_000
    assert held_bytes < 100_000 * 100  # a list of values takes some 400 for each name
