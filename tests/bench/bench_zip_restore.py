"""Benchmark: a zip restored, written, flushed to disk, read back and judged, against unzip and xxhsum.

Run: python tests/bench/bench_zip_restore.py [FOLDER] [--files 60] [--megabytes 16] [--rounds 5]

One interleaved run for a stored and for a deflated zip (made by Info-ZIP's zip, half of the bytes of a raw's kind that
do not pack, half of a scan's that do): in each round `unzip -qq`, then `xxhsum -c` of the result, then our restore of
the same members, each as a whole process, and the copy removed in between. `synced` adds `sync` of each file to the
shell's way, as ours flushes every file before it counts. Prints the times and the ratios of the medians (above 1: we
are faster). The target is 1 against the way without sync. The peak of memory is the process's own (Linux, macOS).
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


def make(folder: Path, files: int, megabytes: float) -> None:
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
    for name, level in (("stored", "-0"), ("deflate", "-6")):
        subprocess.run(["zip", "-q", level, "-r", folder / f"{name}.zip", "."], check=True, cwd=source)
    shutil.rmtree(source)


def by_shell(archive: Path, target: Path, listing: Path, *, synced: bool) -> None:
    target.mkdir()
    subprocess.run(["unzip", "-qq", archive, "-d", target], check=True)
    if synced:
        subprocess.run(["sync", *sorted(target.iterdir())], check=True)
    subprocess.run(["xxhsum", "-q", "-c", listing], check=True, cwd=target, stdout=subprocess.DEVNULL)


def by_drill(archive: Path, target: Path, listing: Path) -> None:
    promised = dict(reversed(line.rstrip("\n").split("  ", 1)) for line in listing.read_text().splitlines())
    target.mkdir()
    view = archive_view(file_store(archive), ".zip", None)
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
    archive, target, listing = folder / f"{name}.zip", folder / "target", folder / "list.xxh128"
    took: dict[str, list[float]] = {"shell": [], "drill": [], "synced": []}
    for _ in range(rounds + 1):
        for way, times in took.items():
            os.sync()
            start = time.perf_counter()
            if way == "drill":
                subprocess.run([sys.executable, __file__, "--one", archive, target, listing], check=True)
            else:
                by_shell(archive, target, listing, synced=way == "synced")
            times.append(time.perf_counter() - start)
            shutil.rmtree(target)
    for way, times in took.items():
        rest = times[1:]  # the first round warms the cache
        print(f"{name:8} {way:6} median {statistics.median(rest):.2f} s ({min(rest):.2f}-{max(rest):.2f})")
    medians = {way: statistics.median(times[1:]) for way, times in took.items()}
    print(f"{name:8} drill is {medians['shell'] / medians['drill']:.2f} x as fast (target 1)", end="")
    print(f", {medians['synced'] / medians['drill']:.2f} x as fast as with sync")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--files", type=int, default=60)
    parser.add_argument("--megabytes", type=float, default=16)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--one", nargs=3, type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        by_drill(*options.one)
        print(f"         drill's peak of memory {peak_mb():.0f} MB")
        return
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder))
    try:
        make(folder, options.files, options.megabytes)
        for name in ("stored", "deflate"):
            compare(folder, name, options.rounds)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
