"""Benchmark: every shoot of a long ledger under many scenarios, counted by masks, against the naive way file by file.

Run: python tests/bench/bench_masks.py [--files 2000000] [--shoots 10000] [--scenarios 40] [--copies 14]

Synthetic: each shoot lies on some of the copies as a whole, and one file in ten lacks some of these. Prints the seconds
and the peak of memory of each part: laying the bytes together, counting by mask, scoring every shoot under every
scenario, and the cut sets of each set of masks. The naive way asks for every file, scenario by scenario, whether any
copy that is left holds it; it runs over `--naive-files` and is set up to the whole. The answers are compared. Target:
all of ours under 5 s and 1 GB.
"""

import argparse
import random
import time
from array import array

from bench_archive_restore import peak_mb

from drill.faulttree import smallest_cut_sets
from drill.masks import Count, Held, Left, counted, named, planes, tolls, weakest


def ledger(
    rng: random.Random, files: int, shoots: int, copies: int
) -> tuple[list[bytearray], "array[int]", list[slice]]:
    holds = [bytearray(files) for _ in range(copies)]
    spans, start = [], 0
    for number in range(shoots):
        end = (number + 1) * files // shoots
        usual = rng.sample(range(copies), rng.randint(2, 5))
        for copy in usual:
            holds[copy][start:end] = b"\1" * (end - start)
        for file in range(start, end, 10):
            holds[rng.choice(usual)][file] = 0
        spans.append(slice(start, end))
        start = end
    return holds, array("q", (rng.randrange(1_000_000, 60_000_000) for _ in range(files))), spans


def naive(holds: list[bytearray], sizes: "array[int]", spans: list[slice], left: list[Left]) -> list[dict[int, Count]]:
    found = []
    for span in spans:
        lost: dict[int, Count] = {}
        for number, scenario in enumerate(left):
            for file in range(span.start, span.stop):
                if not any(held[file] and scenario.whole >> copy & 1 for copy, held in enumerate(holds)):
                    lost[number] = lost.get(number, Count(0, 0)).plus(Count(1, sizes[file]))
        found.append(lost)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shoots", type=int, default=10_000)
    parser.add_argument("--scenarios", type=int, default=40)
    parser.add_argument("--files", type=int, default=2_000_000)
    parser.add_argument("--copies", type=int, default=14)
    parser.add_argument("--naive-files", type=int, default=20_000)
    options = parser.parse_args()
    rng = random.Random(7)
    holds, sizes, spans = ledger(rng, options.files, options.shoots, options.copies)
    everything = (1 << options.copies) - 1
    left = [
        Left(everything & ~sum(1 << c for c in rng.sample(range(options.copies), rng.randint(1, 6))))
        for _ in range(options.scenarios)
    ]
    print(
        f"{options.files} files, {options.shoots} shoots, {options.scenarios} scenarios; peak before {peak_mb():.0f} MB"
    )
    marks = [time.perf_counter()]
    laid = planes(holds)
    marks.append(time.perf_counter())
    held: list[Held] = [counted(laid, sizes, span) for span in spans]
    marks.append(time.perf_counter())
    found = tolls(held, left)
    marks.append(time.perf_counter())
    ids = [f"copy-{number:02d}" for number in range(options.copies)]
    takes = {f"medium:{id_}": {id_} for id_ in ids} | {f"place:{n}": set(ids[n::4]) for n in range(4)}
    sets = {weakest(masks) for masks in held}
    for masks in sets:
        smallest_cut_sets([frozenset(named(mask, ids)) for mask in masks], takes)
    marks.append(time.perf_counter())
    for name, start, end in zip(("laid together", "counted", "scored", "cut sets"), marks, marks[1:], strict=False):
        print(f"{name:14} {end - start:.2f} s")
    distinct = len({mask for masks in held for mask in masks})
    print(f"{distinct} masks, {len(sets)} sets of them")
    print(f"all of it      {marks[-1] - marks[0]:.2f} s, peak {peak_mb():.0f} MB")
    some = [span for span in spans if span.stop <= options.naive_files]
    start = time.perf_counter()
    slow = naive(holds, sizes, some, left)
    took = (time.perf_counter() - start) * options.files / max(1, sum(span.stop - span.start for span in some))
    print(f"file by file   {took:.0f} s (set up to the whole)")
    assert slow == [{number: toll.lost for number, toll in one.items()} for one in found[: len(some)]]


if __name__ == "__main__":
    main()
