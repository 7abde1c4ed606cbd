"""Benchmark: a 7z restored, written, flushed to disk, read back and judged, against the 7-Zip program and xxhsum.

Run: python tests/bench/bench_archive_restore.py [FOLDER] [--files 24] [--megabytes 16] [--rounds 5] [--kind stored]

One interleaved run for each of three archives (made by 7-Zip; half of the files of a raw's kind that do not pack, half
of a scan's that do): stored, LZMA2 in blocks of 32 MB, LZMA2 in one block. In each round `7zz x`, then `xxhsum -c` of
the result, then our restore of the same members, each as a whole process, and the copy removed in between. 7-Zip uses
all its threads, for the single block one. Prints the medians and their ratios (above 1: we are faster). Targets: as
fast as both together for stored, 0.8 of `7zz x` alone for the others. The peak of memory is our process's own.
"""

import argparse
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import xxhash

from drill.copies import archive_view, file_store
from drill.restore import restore
from drill.verify import examine

PACKED = {
    "stored": ["-mx=0"],
    "blocks": ["-mx=1", "-ms=32m"],
    "solid": ["-mx=3", "-ms=on"],
}


def make(folder: Path, files: int, megabytes: float, kinds: list[str]) -> None:
    source = folder / "source"
    source.mkdir()
    rng = random.Random(7)
    lines = []
    for number in range(files):
        size = round(megabytes * 1_000_000)
        scan = b"".join(bytes((rng.randrange(256), value)) * 8 for value in range(256)) * (size // 4096 + 1)
        content = rng.randbytes(size) if number % 2 else bytearray(scan[:size])
        if not number % 2:  # noise in the lowest bits, as a scan has it
            content[::3] = rng.randbytes(len(content[::3]))
        (source / f"R{number:04d}.dng").write_bytes(content)
        lines.append(f"{xxhash.xxh3_128_hexdigest(content)}  R{number:04d}.dng\n")
    (folder / "list.xxh128").write_text("".join(lines))
    for name in kinds:
        command = ["7zz", "a", "-bd", "-bso0", *PACKED[name], folder / f"{name}.7z", "."]
        subprocess.run(command, check=True, cwd=source)
    shutil.rmtree(source)


def by_program(archive: Path, target: Path, threads: str) -> None:
    command = ["7zz", "x", "-bd", "-bso0", "-y", threads, f"-o{target}", archive]
    subprocess.run(command, check=True)


def by_drill(archive: Path, target: Path, listing: Path) -> None:
    promised = dict(reversed(line.rstrip("\n").split("  ", 1)) for line in listing.read_text().splitlines())
    target.mkdir()
    view = archive_view(file_store(archive), ".7z", None)
    wanted = {entry: target / entry.path for entry in view.entries()}
    with ThreadPoolExecutor(4) as flusher:
        done = restore(view, wanted, flusher=flusher, judge=lambda path: examine(path, ["xxh128"]))
    for (path, _), result in done.items():
        assert result.problem is None
        assert result.found is not None
        assert result.found.digests[0].hex == promised[path], path


def peak_mb() -> float:
    try:
        import resource  # noqa: PLC0415 - not on Windows
    except ImportError:
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e3 if sys.platform != "darwin" else 1e6)


def compare(folder: Path, name: str, rounds: int) -> None:
    archive, target, listing = folder / f"{name}.7z", folder / "target", folder / "list.xxh128"
    took: dict[str, list[float]] = {"7zz x": [], "xxhsum -c": [], "drill": []}
    for _ in range(rounds + 1):
        os.sync()
        start = time.perf_counter()
        by_program(archive, target, "-mmt=1" if name == "solid" else "-mmt=on")
        took["7zz x"].append(time.perf_counter() - start)
        start = time.perf_counter()
        subprocess.run(["xxhsum", "-q", "-c", listing], check=True, cwd=target, stdout=subprocess.DEVNULL)
        took["xxhsum -c"].append(time.perf_counter() - start)
        shutil.rmtree(target)
        os.sync()
        start = time.perf_counter()
        subprocess.run([sys.executable, __file__, "--one", archive, target, listing], check=True)
        took["drill"].append(time.perf_counter() - start)
        shutil.rmtree(target)
    medians = {}
    for way, times in took.items():
        rest = times[1:]  # the first round warms the cache
        medians[way] = statistics.median(rest)
        print(f"{name:8} {way:9} median {medians[way]:.2f} s ({min(rest):.2f}-{max(rest):.2f})")
    alone, both = medians["7zz x"], medians["7zz x"] + medians["xxhsum -c"]
    print(f"{name:8} drill is {both / medians['drill']:.2f} x as fast as both, {alone / medians['drill']:.2f} x 7zz x")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--files", type=int, default=24)
    parser.add_argument("--megabytes", type=float, default=16)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--kind", action="append", choices=list(PACKED), help="default: all")
    parser.add_argument("--one", nargs=3, type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        by_drill(*options.one)
        print(f"         drill's peak of memory {peak_mb():.0f} MB")
        return
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder))
    try:
        kinds = options.kind or list(PACKED)
        make(folder, options.files, options.megabytes, kinds)
        for name in kinds:
            compare(folder, name, options.rounds)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
