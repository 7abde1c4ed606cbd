"""Benchmark: drills as tests. What the plugin adds to pytest's start, how long collecting takes, what drilling costs.

Run: python tests/bench/bench_plugin.py [FOLDER] [--rounds 15] [--shoots 200] [--megabytes 1600]

Three parts, each interleaved, every measurement a whole process; prints medians, by the clock and in seconds of work
(user and system), which neighbours on the same machine disturb less.
1. Start: `pytest` on one empty test without any plugin by entry point, then with `-p drill.pytest_plugin`. Target:
   under 30 ms more.
2. Collecting: `pytest --collect-only` of SHOOTS shoots and 15 scenarios, by pytest's own count of seconds, and as a
   whole process. Target: under 1 s.
3. Drilling: `drill run` and `pytest` of the same exercises on two copies of half of MEGABYTES each, without ledger and
   reports. Target: under 5 % more.
"""

import argparse
import hashlib
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

CHECKOUT = Path(__file__).resolve().parents[2]
ALONE = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "PYTHONPATH": os.fspath(CHECKOUT)}
ALONE.pop("PYTHONDONTWRITEBYTECODE", None)  # else every start compiles everything anew
PYTEST = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
PLUGIN = ["-p", "drill.pytest_plugin"]
GONE = 'title = "T"\nstory = "S"\n[[hazards]]\neffect = "{effect}"\nhits = {{ medium = "{medium}" }}\n{more}'
STUDIO = '[studio]\nname = "Kiln"\nscratch = "scratch"\n'
DRIVE = '[[media]]\nid = "{id}"\nkind = "ssd"\nplace = "at-{id}"\n[[copies]]\non = "{id}"\nat = "media/{id}"\n'
SHOOT = '[[shoots]]\nid = "{id}"\ndate = 2026-09-12\nmanifest = "lists/{id}.sha256"\n'


class Took(NamedTuple):
    """Seconds by the clock, and of work."""

    clock_s: float
    work_s: float


def worked_s() -> float:
    used = os.times()
    return used.children_user + used.children_system


def medians(took: list[Took]) -> Took:
    return Took(statistics.median(one.clock_s for one in took), statistics.median(one.work_s for one in took))


def once(command: list[str], folder: Path) -> tuple[Took, str]:
    """Run a command; return the seconds it took and what it printed."""
    begun, worked = time.perf_counter(), worked_s()
    done = subprocess.run(command, cwd=folder, env=ALONE, capture_output=True, text=True, check=False)
    took = Took(time.perf_counter() - begun, worked_s() - worked)
    assert done.returncode in (0, 1), done.stdout + done.stderr
    return took, done.stdout


def studio(folder: Path, shoots: dict[str, dict[str, bytes]], drives: list[str], *, laid: bool) -> None:
    """Write a studio of these shoots with a copy of all on every drive, and 15 scenarios."""
    (folder / "lists").mkdir(parents=True)
    text = STUDIO + "".join(DRIVE.format(id=id_) for id_ in drives)
    for id_, files in shoots.items():
        lines = [f"{hashlib.sha256(content).hexdigest()}  {id_}/{name}\n" for name, content in files.items()]
        (folder / "lists" / f"{id_}.sha256").write_text("".join(lines))
        text += SHOOT.format(id=id_)
        for drive in drives if laid else ():
            (folder / "media" / drive / id_).mkdir(parents=True, exist_ok=True)
            for name, content in files.items():
                (folder / "media" / drive / id_ / name).write_bytes(content)
    (folder / "studio.toml").write_text(text)
    for number in range(15):
        effect, more = (("gone", ""), ("slow", "factor = 0.5\n"), ("deleted", 'files = "*0001*"\n'))[number % 3]
        scenario = GONE.format(effect=effect, medium=drives[number % len(drives)], more=more)
        (folder / f"s{number:02d}.toml").write_text(scenario)
    names = ", ".join(f'"s{number:02d}.toml"' for number in range(15))
    (folder / "all.drill.toml").write_text(f'studio = "studio.toml"\nseed = 1\nscenarios = [{names}]\n')


def start(folder: Path, rounds: int) -> None:
    folder.mkdir()
    (folder / "test_nothing.py").write_text("def test_nothing() -> None:\n    pass\n")
    took: dict[str, list[Took]] = {"bare": [], "plugin": []}
    for number in range(rounds + 1):
        for name, more in (("bare", []), ("plugin", PLUGIN)):
            one, _ = once([*PYTEST, *more], folder)
            took[name] += [one] if number else []
    bare, plugin = (medians(times) for times in took.values())
    clock, work = ((with_s - bare_s) * 1000 for bare_s, with_s in zip(bare, plugin, strict=True))
    said = f"the plugin {clock:+.1f} ms, of work {work:+.1f} ms (target under 30)"
    print(f"start: bare {bare.clock_s * 1000:.0f} ms, {said}")


def collecting(folder: Path, shoots: int, rounds: int) -> None:
    named = {f"shoot-{n:03d}": {f"A{k:04d}.dng": b"%d %d" % (n, k) for k in range(60)} for n in range(shoots)}
    studio(folder, named, ["heron", "reed", "tern"], laid=False)
    took, whole = [], []
    for number in range(rounds + 1):
        one, said = once([*PYTEST, *PLUGIN, "--collect-only"], folder)
        found = re.search(r"(\d+) tests collected in ([\d.]+)s", said)
        assert found is not None and int(found[1]) == shoots * 15, said[-300:]
        took += [float(found[2])] if number else []
        whole += [one] if number else []
    clock_s, work_s = medians(whole)
    said = f"{statistics.median(took):.2f} s (target under 1); as a process {clock_s:.2f} s, of work {work_s:.2f} s"
    print(f"collecting {shoots} x 15, 60 files each: {said}")


def drilling(folder: Path, megabytes: int, rounds: int) -> None:
    def files(seed: int) -> dict[str, bytes]:
        return {f"{seed}A{k:04d}.dng": os.urandom(2_000_000) for k in range(megabytes // 8)}

    studio(folder, {f"shoot-{n}": files(n) for n in range(4)}, ["heron", "reed"], laid=True)
    scenarios = [part for number in range(15) for part in ("--scenario", f"s{number:02d}.toml")]
    run = [
        sys.executable,
        "-m",
        "drill",
        "run",
        "studio.toml",
        *scenarios,
        "--seed",
        "1",
        "--no-ledger",
        "--no-reports",
    ]
    ways: dict[str, Callable[[], tuple[Took, str]]] = {
        "run": lambda: once(run, folder),
        "pytest": lambda: once([*PYTEST, *PLUGIN, "--drill-no-ledger"], folder),
    }
    took: dict[str, list[Took]] = {name: [] for name in ways}
    for number in range(rounds + 1):
        for name, way in ways.items():
            one, _ = way()
            took[name] += [one] if number else []
    for words, at in (("by the clock", 0), ("of work", 1)):
        run_s, pytest_s = (medians(times)[at] for times in took.values())
        more = (
            f"{pytest_s - run_s:+.2f} s, its start included, or {(pytest_s / run_s - 1) * 100:+.1f} % (target under 5)"
        )
        print(f"drilling, {words}: run {run_s:.2f} s, pytest {pytest_s:.2f} s, {more}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--shoots", type=int, default=200)
    parser.add_argument("--megabytes", type=int, default=1600)
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder))
    try:
        start(folder / "start", options.rounds)
        collecting(folder / "collecting", options.shoots, max(3, options.rounds // 3))
        drilling(folder / "drilling", options.megabytes, max(3, options.rounds // 5))
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
