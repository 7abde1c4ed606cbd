"""Benchmark: reading as an audit does it, against xxhsum -c, sha256sum -c and hashlib, with the targets beside.

Run: python tests/bench/bench_audit_speed.py [FOLDER] [--gigabytes 3] [--small 100000] [--rounds 5] [--no-cold]

Interleaved rounds, each a whole process over the same files; the first round warms the cache and does not count. Ours
is a process that lists the folder and reads it with `drill.reading.read_files`, digests alone, and remembers nothing;
rows of `drill audit` are the command itself, with lists, ledger and report. Two ratios (above 1: we are faster):
`reading` compares our time for listing and reading with the other's whole process, as our interpreter and its imports
(a fifth of a second, once) are no part of the work; `process` compares whole processes. Targets are held against
`reading`. Cold rows empty the system's cache before each process (Linux, root; else left out, and said); how fast a
disk answers decides them, so the time that one reader takes for a small file is printed too. `honest` rows tell the
system to let go of each file before it is read, from a warm cache. Many small files are read by two more processes,
whose memory (19 MB each) is not in the column.

A run during which other processes used more than 15 % of a core is dropped (Linux), unless too few would be left; the
table says how many were kept.
"""

import argparse
import gc
import hashlib
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

DROP = Path("/proc/sys/vm/drop_caches")


@dataclass(frozen=True, slots=True)
class Timed:
    """One run: the whole process, listing and reading alone (ours), peak memory, and others' share of a core."""

    whole_s: float
    inner_s: float
    peak_mb: float
    others: float


def make(folder: Path, sizes: Sequence[int], per_folder: int) -> Path:
    block = os.urandom(1 << 22)
    for number, size in enumerate(sizes):
        path = folder / f"{number // per_folder:03d}" / f"R{number:06d}.dng"
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            left = size - file.write(number.to_bytes(8))
            while left > 0:
                left -= file.write(block[: min(left, len(block))])
    return folder


def lists(folder: Path, program: Sequence[str], target: Path) -> Path:
    """Write the checksum list of a folder with the program that will check it."""
    names = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.dng"))
    with target.open("wb") as file:
        for start in range(0, len(names), 1000):
            subprocess.run([*program, *names[start : start + 1000]], cwd=folder, check=True, stdout=file)
    return target


# --- one process of ours -------------------------------------------------------------------------------------------


def read_with_drill(folder: Path, kinds: Sequence[str], medium_kind: str, way: str) -> float:
    from drill import clock  # noqa: PLC0415
    from drill.copies import LinkSession  # noqa: PLC0415
    from drill.ledger import Ledger  # noqa: PLC0415
    from drill.model import Copy, Medium, Seen  # noqa: PLC0415
    from drill.reading import Job, read_files  # noqa: PLC0415
    from drill.shelf import open_copy  # noqa: PLC0415

    gc.set_threshold(100_000, 50, 50)  # as `drill.cli` does
    start = time.perf_counter()
    copy = Copy("bench", "bench", folder, None, "folder", None, None)
    medium = Medium("bench", medium_kind, "desk", attached=False, offsite=False, carried=False)
    with LinkSession() as session, Ledger.none() as ledger:
        found = open_copy(copy, medium, session=session, downloads=folder)
        done = read_files(
            [Job(found, entry) for entry in found.entries],
            kinds=kinds,
            ledger=ledger,
            now=clock.now(),
            progress=lambda text: None,
            with_capture=False,
            honest_rates=way == "honest",
        )
    took_s = time.perf_counter() - start
    assert all(isinstance(seen, Seen) for seen in done.values())
    return took_s


def read_with_hashlib(folder: Path) -> float:
    start = time.perf_counter()
    buffer = bytearray(1 << 20)
    view = memoryview(buffer)
    for path in sorted(folder.rglob("*.dng")):
        one = hashlib.sha256()
        with path.open("rb", buffering=0) as file:
            while count := file.readinto(buffer):
                one.update(view[:count])
        one.hexdigest()
    return time.perf_counter() - start


def be_the_child(words: Sequence[str]) -> None:
    way, folder, kinds, medium_kind = words
    if way == "hashlib":
        print(read_with_hashlib(Path(folder)))
    else:
        print(read_with_drill(Path(folder), kinds.split(","), medium_kind, way))


# --- timing --------------------------------------------------------------------------------------------------------


def busy_s() -> float:
    """Return how many seconds all cores have worked since the start of the system; 0 where it does not say."""
    try:
        fields = [int(word) for word in Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:]]
    except OSError:
        return 0.0
    return (sum(fields[:3]) + sum(fields[5:8])) / os.sysconf("SC_CLK_TCK")


def timed(command: Sequence[str], folder: Path, *, cold: bool) -> Timed:
    if cold:
        os.sync()
        DROP.write_text("3")
    busy, start = busy_s(), time.perf_counter()
    child = subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    said, complaint = child.stdout.read() if child.stdout else "", child.stderr.read() if child.stderr else ""
    own_s, peak_mb = 0.0, 0.0
    if hasattr(os, "wait4"):
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        own_s, peak_mb = usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024
    whole_s = time.perf_counter() - start
    if child.wait():
        raise SystemExit(f"{command[0]} failed: {complaint or said}")
    inner_s = float(said) if "--child" in command else whole_s
    return Timed(whole_s, inner_s, peak_mb, (busy_s() - busy - own_s) / whole_s)


def drill(folder: Path, kinds: str, *, way: str = "drill", medium_kind: str = "ssd") -> list[str]:
    return [sys.executable, __file__, "--child", way, str(folder), kinds, medium_kind]


def audit_command(folder: Path, work: Path, promise: Path) -> list[str]:
    """Return the command that audits a folder against its list, everything afresh; its studio file is written."""
    studio = work / f"{promise.stem}.toml"
    studio.write_text(
        f"""[studio]
name = "Kiln Lane"
ledger = "{promise.stem}.sqlite"
[[media]]
id = "drive"
kind = "ssd"
place = "desk"
[[shoots]]
id = "reed"
date = 2026-01-01
manifest = "{promise.name}"
[[copies]]
on = "drive"
at = "{folder.name}"
manifest = "{promise.name}"
"""
    )
    return [sys.executable, "-m", "drill", "audit", str(studio), "--all"]


@dataclass(frozen=True, slots=True)
class Row:
    """What is compared: ours against theirs, and how many times as fast it has to be (None: only shown)."""

    work: str
    ours: list[str]
    theirs: list[str]
    target: float | None


def compare(rows: Sequence[Row], folder: Path, rounds: int, *, cold: bool, most_mb: float) -> None:
    commands = {" ".join(command): command for row in rows for command in (row.ours, row.theirs)}
    runs: dict[str, list[Timed]] = {name: [] for name in commands}
    for number in range(rounds + (not cold)):
        for name, command in commands.items():
            run = timed(command, folder, cold=cold)
            if number or cold:
                runs[name].append(run)
    for row in rows:
        ours, theirs = (quiet(runs[" ".join(command)]) for command in (row.ours, row.theirs))
        inner, whole = (median(theirs, key) / median(ours, key) for key in (inner_s, whole_s))
        reached = "no target"
        if row.target is not None:
            reached = f"target {row.target:4.2f} {'reached' if inner >= row.target else 'MISSED'}"
        peak = max(run.peak_mb for run in ours)
        print(
            f"{row.work:52} {median(ours, inner_s):7.2f} s {median(theirs, inner_s):7.2f} s"
            f"  reading {inner:4.2f}  process {whole:4.2f}  {reached:20}"
            f"  {peak:4.0f} MB{'' if peak <= most_mb else ' TOO MUCH'}  runs {len(ours)}, {len(theirs)}"
        )


def inner_s(run: Timed) -> float:
    return run.inner_s


def whole_s(run: Timed) -> float:
    return run.whole_s


def median(runs: Sequence[Timed], key: Callable[[Timed], float]) -> float:
    return statistics.median(key(run) for run in runs)


def quiet(runs: Sequence[Timed]) -> list[Timed]:
    """Return the runs that others did not disturb; the least disturbed half where that is more."""
    ordered = sorted(runs, key=lambda run: run.others)
    return [run for number, run in enumerate(ordered) if run.others <= 0.15 or number < (len(ordered) + 1) // 2]


# --- the table -----------------------------------------------------------------------------------------------------


def large(folder: Path, lists_in: Path, rounds: int) -> None:
    xxh128 = lists(folder, ["xxhsum", "-H2"], lists_in / "large.xxh128")
    sha256 = lists(folder, ["sha256sum"], lists_in / "large.sha256")
    hashlib_way = [sys.executable, __file__, "--child", "hashlib", str(folder), "-", "-"]
    ours, audit = drill(folder, "sha256"), audit_command(folder, lists_in, xxh128)
    rows = [
        Row(
            "large, warm, xxh128, against xxhsum -c", drill(folder, "xxh128"), ["xxhsum", "-c", "-q", str(xxh128)], 1.15
        ),
        Row("large, warm, drill audit, against xxhsum -c", audit, ["xxhsum", "-c", "-q", str(xxh128)], None),
        Row("large, warm, sha256, against sha256sum -c", ours, ["sha256sum", "-c", "--quiet", str(sha256)], 6.0),
        Row("large, warm, sha256, against one thread of hashlib", ours, hashlib_way, 1.8),
        Row("sha256 with xxh128, against sha256", drill(folder, "sha256,xxh128"), ours, 0.9),
        Row("md5 with xxh128, against md5", drill(folder, "md5,xxh128"), drill(folder, "md5"), 0.9),
        Row("md5 with sha256, against md5", drill(folder, "md5,sha256"), drill(folder, "md5"), None),
        Row(
            "large, honest, xxh128, against warm", drill(folder, "xxh128", way="honest"), drill(folder, "xxh128"), None
        ),
    ]
    compare(rows, folder, rounds, cold=False, most_mb=150)


def small(folder: Path, lists_in: Path, rounds: int, *, cold: bool) -> None:
    check = ["xxhsum", "-c", "-q", str(lists(folder, ["xxhsum", "-H2"], lists_in / "small.xxh128"))]
    ours, honest = drill(folder, "xxh128"), drill(folder, "xxh128", way="honest")
    audit = audit_command(folder, lists_in, lists_in / "small.xxh128")
    rows = [
        Row("small, warm, drill audit, against xxhsum -c", audit, check, None),
        Row("small, warm, drill audit without ledger", [*audit, "--no-ledger"], check, None),
        Row("small, warm, xxh128, against xxhsum -c", ours, check, 1.0),
        Row("small, honest, xxh128, against warm", honest, ours, None),
    ]
    compare(rows, folder, rounds, cold=False, most_mb=150)
    if not cold or not os.access(DROP, os.W_OK):
        print("small, cold: left out (emptying the system's cache needs Linux and root)")
        return
    one = drill(folder, "xxh128", medium_kind="hard-disk")
    rows = [
        Row("small, cold, xxh128, against xxhsum -c", ours, check, 2.5),
        Row("small, cold, 8 readers, against 1", ours, one, None),
    ]
    compare(rows, folder, max(2, rounds // 2), cold=True, most_mb=150)
    files = sum(1 for _ in folder.rglob("*.dng"))
    print(f"(one reader, cold: {timed(one, folder, cold=True).inner_s / files * 1e6:.0f} µs a file)")


def main() -> None:
    if sys.argv[1:2] == ["--child"]:
        be_the_child(sys.argv[2:])
        return
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--gigabytes", type=float, default=3)
    parser.add_argument("--small", type=int, default=100_000, help="how many files of 2 to 20 kB")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--no-cold", action="store_true")
    options = parser.parse_args()
    work = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder)).resolve()
    print(f"{'':52} {'ours':>9} {'theirs':>9}  (listing and reading; medians)")
    try:
        if options.gigabytes:
            sizes = [25_000_000] * round(options.gigabytes * 40)
            large(make(work / "large", sizes, 1000), work, options.rounds)
            shutil.rmtree(work / "large")
        if options.small:
            dice = random.Random(4)
            sizes = [dice.randrange(2_000, 20_001) for _ in range(options.small)]
            small(make(work / "small", sizes, 1000), work, options.rounds, cold=not options.no_cold)
    finally:
        shutil.rmtree(work)


if __name__ == "__main__":
    main()
