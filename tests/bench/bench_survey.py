"""Benchmark: `drill survey` over a folder of many small files, against `find` printing size and path of each.

Run: python tests/bench/bench_survey.py [FOLDER] [--files 100000] [--rounds 5] [--listed]

One interleaved run of whole processes, warm: in each round `find -printf '%s %p\\n'` over the tree, a Python that
starts and imports the program, and the survey of a studio that promises every file and has one copy (with a list
of its own where asked). Prints the medians, the survey's ratio to `find`, and its peak memory.
"""

import argparse
import hashlib
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

STUDIO = """\
[studio]
name = "Bench"
[classes]
originals = ["*.dng"]
edits = ["*.xmp"]
[[media]]
id = "disk"
kind = "hard-disk"
place = "home"
[[shoots]]
id = "all"
date = 2026-01-01
manifest = "all.md5"
[[copies]]
on = "disk"
at = "disk"
"""


def make(folder: Path, files: int, *, listed: bool) -> None:
    lines = []
    for number in range(files):
        name = f"2026/{number // 1000:04d}/H{number // 2:07d}.{'dng' if number % 2 else 'xmp'}"
        content = str(number).encode()
        path = folder / "disk" / name
        if number % 1000 == 0:
            path.parent.mkdir(parents=True)
        path.write_bytes(content)
        lines.append(f"{hashlib.md5(content, usedforsecurity=False).hexdigest()}  {name}\n")
    (folder / "all.md5").write_text("".join(lines))
    (folder / "studio.toml").write_text(STUDIO + ('manifest = "all.md5"\n' if listed else ""))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--listed", action="store_true", help="the copy has a list of its own")
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder))
    commands = {
        "find": ["find", os.fspath(folder / "disk"), "-printf", "%s %p\n"],
        "imports": [sys.executable, "-c", "import drill.cli"],
        "survey": [sys.executable, "-m", "drill", "survey", os.fspath(folder / "studio.toml")],
    }
    took: dict[str, list[float]] = {name: [] for name in commands}
    try:
        make(folder, options.files, listed=options.listed)
        for _ in range(options.rounds + 1):
            for name, command in commands.items():
                start = time.perf_counter()
                subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
                took[name].append(time.perf_counter() - start)
        for name, times in took.items():
            rest = times[1:]  # the first round warms the cache
            print(f"{name:8} median {statistics.median(rest):.2f} s ({min(rest):.2f}-{max(rest):.2f})")
        ratio = statistics.median(took["survey"][1:]) / statistics.median(took["find"][1:])
        peak_kib = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        print(f"the survey takes {ratio:.1f} x find; its peak memory is {peak_kib / 1024:.0f} MiB")
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
