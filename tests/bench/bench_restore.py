"""Benchmark: folder to scratch, written, flushed to disk, read back and judged, against the shell's way of doing it.

Run: python tests/bench/bench_restore.py [FOLDER] [--files 120] [--megabytes 25] [--rounds 5]

One interleaved run: in each round `cp -r`, `sync` of each file (coreutils: fsync) and `xxhsum -c` of the result, then
our restore of the same files, each as a whole process, and the copy removed in between. Prints the times and the ratio
of the medians (above 1: we are faster). The target is 1.2.
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import xxhash

from drill.copies import folder_store, plain_view
from drill.restore import restore
from drill.verify import examine


def make(folder: Path, files: int, megabytes: float) -> Path:
    source = folder / "source"
    source.mkdir()
    lines = []
    for number in range(files):
        for name, content in (
            (f"R{number:04d}.dng", os.urandom(round(megabytes * 1_000_000))),
            (f"R{number:04d}.xmp", f"<x:xmpmeta>{number}</x:xmpmeta>".encode() * 40),
        ):
            (source / name).write_bytes(content)
            lines.append(f"{xxhash.xxh3_128_hexdigest(content)}  {name}\n")
    (folder / "list.xxh128").write_text("".join(lines))
    return source


def by_shell(source: Path, target: Path, listing: Path) -> None:
    subprocess.run(["cp", "-r", source, target], check=True)
    subprocess.run(["sync", *sorted(target.iterdir())], check=True)
    subprocess.run(["xxhsum", "-q", "-c", listing], check=True, cwd=target, stdout=subprocess.DEVNULL)


def by_drill(source: Path, target: Path, listing: Path) -> None:
    promised = dict(reversed(line.rstrip("\n").split("  ", 1)) for line in listing.read_text().splitlines())
    target.mkdir()
    view = plain_view(folder_store(source))
    wanted = {entry: target / entry.path for entry in view.entries()}
    with ThreadPoolExecutor(4) as flusher:
        done = restore(view, wanted, flusher=flusher, judge=lambda path: examine(path, ["xxh128"]))
    for (path, _), result in done.items():
        assert result.problem is None
        assert result.found is not None
        assert result.found.digests[0].hex == promised[path], path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--files", type=int, default=120)
    parser.add_argument("--megabytes", type=float, default=25)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--one", nargs=3, type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        by_drill(*options.one)
        return
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder))
    try:
        source = make(folder, options.files, options.megabytes)
        target, listing = folder / "target", folder / "list.xxh128"
        took: dict[str, list[float]] = {"shell": [], "drill": []}
        for _ in range(options.rounds + 1):
            for name, times in took.items():
                os.sync()
                start = time.perf_counter()
                if name == "shell":
                    by_shell(source, target, listing)
                else:
                    subprocess.run([sys.executable, __file__, "--one", source, target, listing], check=True)
                times.append(time.perf_counter() - start)
                shutil.rmtree(target)
        for name, times in took.items():
            rest = times[1:]  # the first round warms the cache
            print(f"{name:6} median {statistics.median(rest):.2f} s ({min(rest):.2f}-{max(rest):.2f})")
        ratio = statistics.median(took["shell"][1:]) / statistics.median(took["drill"][1:])
        print(f"drill is {ratio:.2f} x as fast (target 1.2)")
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
