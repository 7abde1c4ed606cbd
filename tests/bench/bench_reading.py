"""Benchmark: many files read and digested (xxh128), against xxhsum with one worker and with two.

Run: python tests/bench/bench_reading.py [FOLDER] [--files 160] [--megabytes 25] [--small 20000] [--rounds 5] [--cold]

Interleaved rounds, each a whole process (start-up included), over the same files: `xxhsum -H2` by one worker and by
two (`xargs -P2`), and our reading without and with parts and capture times. First a few hundred big files, then many
small ones. Prints medians and ratios (above 1: we are faster than xxhsum with one worker; the target is 1.1 on two
cores), the same without the interpreter's start-up, and how many bytes our process asked the system for
(/proc/self/io, Linux): every byte of the files at most once. The files are in the system's cache; with --cold it is
emptied before each process (Linux, root).
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

WAYS = ("xxhsum, 1 worker", "xxhsum, 2 workers", "drill", "drill with capture")


def make(folder: Path, files: int, size: int) -> Path:
    folder.mkdir()
    block = os.urandom(1 << 22)
    for number in range(files):
        with (folder / f"R{number:06d}.dng").open("wb") as file:
            left = size
            while left:
                left -= file.write(number.to_bytes(8)[:left] if left == size else block[: min(left, len(block))])
    return folder


def by_shell(folder: Path, workers: int) -> None:
    # Batches large enough that starting xxhsum costs nothing, small enough that two workers end together.
    batch = max(1, min(2000, sum(1 for _ in folder.iterdir()) // (8 * workers)))
    command = f"find . -type f -print0 | xargs -0 -P{workers} -n {batch} xxhsum -q -H2"
    subprocess.run(command, shell=True, check=True, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def by_drill(folder: Path, with_capture: bool) -> None:
    start = time.perf_counter()
    from drill import clock  # noqa: PLC0415
    from drill.copies import LinkSession  # noqa: PLC0415
    from drill.ledger import Ledger  # noqa: PLC0415
    from drill.model import Copy, Medium, Seen  # noqa: PLC0415
    from drill.reading import Job, read_files  # noqa: PLC0415
    from drill.shelf import open_copy  # noqa: PLC0415

    imported = time.perf_counter()
    copy = Copy("bench", "ssd", folder, None, "folder", None, None)
    medium = Medium("ssd", "ssd", "desk", attached=False, offsite=False, carried=False)
    with LinkSession() as session, Ledger.open(None) as ledger:
        found = open_copy(copy, medium, session=session, downloads=folder)
        listed = time.perf_counter()
        before = asked()
        done = read_files(
            [Job(found, entry) for entry in found.entries],
            kinds=["xxh128"],
            ledger=ledger,
            now=clock.now(),
            progress=lambda text: None,
            with_capture=with_capture,
        )
        after = asked()
    assert all(isinstance(seen, Seen) for seen in done.values())
    times = [imported - start, listed - imported, time.perf_counter() - listed]
    print(*times, done.bytes_read, after - before, file=sys.stderr)


def asked() -> int:
    """Return how many bytes this process has asked the system for so far; 0 where the system does not say."""
    try:
        return int(Path("/proc/self/io").read_text().split("rchar:")[1].split()[0])
    except OSError:
        return 0


def run(way: str, folder: Path, *, cold: bool) -> tuple[float, list[float]]:
    if cold:
        os.sync()
        Path("/proc/sys/vm/drop_caches").write_text("3")
    start = time.perf_counter()
    inner: list[float] = []
    if way.startswith("xxhsum"):
        by_shell(folder, 1 if "1" in way else 2)
    else:
        command = [sys.executable, __file__, "--one", str(folder), *(["--capture"] if "capture" in way else [])]
        inner = [float(word) for word in subprocess.run(command, check=True, stderr=-1, text=True).stderr.split()]
    return time.perf_counter() - start, inner


def compare(title: str, folder: Path, rounds: int, *, cold: bool) -> None:
    took: dict[str, list[float]] = {way: [] for way in WAYS}
    inner: dict[str, list[list[float]]] = {way: [] for way in WAYS}
    for number in range(rounds + 1):
        for way in WAYS:
            seconds, inside = run(way, folder, cold=cold)
            if number:  # the first round warms the cache
                took[way].append(seconds)
                inner[way].append(inside)
    sizes = [path.stat().st_size for path in folder.iterdir()]
    total = sum(sizes)
    print(f"{title}: {len(sizes):,} files, {total / 1e9:.2f} GB, {rounds} rounds")
    base = statistics.median(took[WAYS[0]])
    for way in WAYS:
        median = statistics.median(took[way])
        spread = f"{min(took[way]):.2f}-{max(took[way]):.2f}"
        line = f"  {way:20} {median:6.3f} s ({spread})  {total / median / 1e9:5.2f} GB/s  ratio {base / median:.2f}"
        if inner[way][0]:
            imports, listing, reading = (statistics.median(x[n] for x in inner[way]) for n in range(3))
            line += f"; imports {imports:.2f} s, listing {listing:.2f} s, reading {reading:.3f} s"
            line += f" (alone {base / reading:.2f}); asked for {inner[way][0][4] / total:.5f} of the bytes"
        print(line)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--files", type=int, default=160)
    parser.add_argument("--megabytes", type=float, default=25)
    parser.add_argument("--small", type=int, default=20000, help="how many files of 10 kB")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--cold", action="store_true", help="empty the system's cache before each process")
    parser.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--capture", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        by_drill(options.one, options.capture)
        return
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder))
    try:
        if options.files:
            big = make(folder / "big", options.files, round(options.megabytes * 1_000_000))
            compare("big files", big, options.rounds, cold=options.cold)
        if options.small:
            compare("small files", make(folder / "small", options.small, 10_000), options.rounds, cold=options.cold)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
