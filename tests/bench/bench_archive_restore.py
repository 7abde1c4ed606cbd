"""Benchmark: an archive restored, written, flushed to disk, read back and judged, against its program and xxhsum.

Run: python tests/bench/bench_archive_restore.py [FOLDER] [--files 24] [--megabytes 16] [--rounds 5] [--kind stored.7z]

One interleaved run for each archive, made by 7-Zip and Info-ZIP's zip of files of which half are of a raw's kind, which
do not pack, and half of a scan's, which do: 7z stored, LZMA2 in blocks of 32 MB, LZMA2 in one block; zip stored and
deflated. In each round the program unpacks, `sync` flushes its files, `xxhsum -c` checks them; then ours restores the
same members, and a process of ours only loads what it needs (`start`, a part of `drill`: the smaller the archive, the
more it weighs). Each is a whole process, the copies removed in between. 7-Zip uses all its threads, for the single
block one. Prints the medians and their ratios (above 1: we are faster). Targets: as fast as program and xxhsum together
for what is stored and for zips, without the sync, which ours does all the same; 0.8 of the program alone for LZMA2. The
peak of memory is our process's own. With other work on the machine the ratios are worse than they are: ours and the
programs share work out to two processors in different ways.
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
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import xxhash

from drill.copies import archive_format, archive_view, file_store
from drill.restore import restore
from drill.verify import examine

MAKE = {
    "stored.7z": ["7zz", "a", "-bd", "-bso0", "-mx=0"],
    "blocks.7z": ["7zz", "a", "-bd", "-bso0", "-mx=1", "-ms=32m"],
    "solid.7z": ["7zz", "a", "-bd", "-bso0", "-mx=3", "-ms=on"],
    "stored.zip": ["zip", "-q", "-0", "-r"],
    "deflate.zip": ["zip", "-q", "-6", "-r"],
}
ALONE = ("blocks.7z", "solid.7z")  # held against the program alone


def make(folder: Path, files: int, megabytes: float, kinds: Sequence[str]) -> None:
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
        subprocess.run([*MAKE[name], folder / name, "."], check=True, cwd=source)
    shutil.rmtree(source)


def by_drill(archive: Path, target: Path, listing: Path) -> None:
    promised = dict(reversed(line.rstrip("\n").split("  ", 1)) for line in listing.read_text().splitlines())
    target.mkdir()
    view = archive_view(file_store(archive), archive_format(archive.name) or "", None)
    wanted = {entry: target / entry.path for entry in view.entries()}
    with ThreadPoolExecutor(4) as flusher:
        done = restore(view, wanted, flusher=flusher, judge=lambda path: examine(path, ["xxh128"]))
    assert len(done) == len(promised)
    for (path, _), result in done.items():
        assert result.problem is None
        assert result.found is not None
        assert result.found.digests[0].hex == promised[path], path


def peak_mb() -> float:
    status = Path("/proc/self/status")  # Linux: getrusage gives what the parent took, where that was more
    if status.exists():
        peak = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(peak.split()[1]) * 1024 / 1e6
    try:
        import resource  # noqa: PLC0415 - not on Windows
    except ImportError:
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def seconds(command: Sequence[str | Path], cwd: Path) -> float:
    start_s = time.perf_counter()
    subprocess.run(command, check=True, cwd=cwd)
    return time.perf_counter() - start_s


def one_round(folder: Path, name: str) -> dict[str, float]:
    archive, target, listing = folder / name, folder / "target", folder / "list.xxh128"
    threads = "-mmt=1" if name == "solid.7z" else "-mmt=on"
    unzip = ["unzip", "-qq", archive, "-d", target]
    program = unzip if name.endswith(".zip") else ["7zz", "x", "-bd", "-bso0", "-y", threads, f"-o{target}", archive]
    ours = [sys.executable, Path(__file__).resolve(), "--one", archive, target, listing]
    took: dict[str, float] = {}
    os.sync()
    took["program"] = seconds(program, folder)
    took["sync"] = seconds(["sync", *sorted(target.iterdir())], folder)
    took["xxhsum"] = seconds(["xxhsum", "--quiet", "-c", listing], target)
    shutil.rmtree(target)
    os.sync()
    took["drill"] = seconds(ours, folder)
    shutil.rmtree(target)
    took["start"] = seconds([*ours, "--start"], folder)
    return took


def compare(folder: Path, name: str, rounds: int) -> None:
    taken = [one_round(folder, name) for _ in range(rounds + 1)][1:]  # the first round warms the cache
    medians = {}
    for way in taken[0]:
        times = [one[way] for one in taken]
        medians[way] = statistics.median(times)
        print(f"{name:11} {way:8} median {medians[way]:.2f} s ({min(times):.2f}-{max(times):.2f})")
    drill_s, alone_s, both_s = medians["drill"], medians["program"], medians["program"] + medians["xxhsum"]
    against, target = (alone_s, 0.8) if name in ALONE else (both_s, 1)
    print(
        f"{name:11} drill is {against / drill_s:.2f} x as fast (target {target}); {alone_s / drill_s:.2f} x the", end=""
    )
    print(f" program alone, {both_s / drill_s:.2f} x both, {(both_s + medians['sync']) / drill_s:.2f} x all three")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--files", type=int, default=24)
    parser.add_argument("--megabytes", type=float, default=16)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--kind", action="append", choices=list(MAKE), help="default: all")
    parser.add_argument("--one", nargs=3, type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--start", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.start:
        archive_view(file_store(options.one[0]), archive_format(options.one[0].name) or "", None)
        return
    if options.one:
        by_drill(*options.one)
        print(f"            drill's peak of memory {peak_mb():.0f} MB")
        return
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder)).resolve()
    try:
        kinds = options.kind or list(MAKE)
        make(folder, options.files, options.megabytes, kinds)
        for name in kinds:
            compare(folder, name, options.rounds)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
