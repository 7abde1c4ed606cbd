"""Runs that are killed while they write in the ledger, and two at once: the file is whole, what is proven is kept.

Real processes, killed by the system (SIGKILL) at random instants: while the file is made, in the middle of a commit,
while the log is taken in. After each kill SQLite's own check of the whole file is asked.
"""

import random
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from left_behind import integrity, readings_in

from drill.ledger import Ledger, Root
from drill.model import Digest, Entry, Seen

pytestmark = pytest.mark.deep  # many processes, killed again and again; test_ledger.py is quick

WHEN = datetime(2026, 9, 12, 19, 30, tzinfo=UTC)

CHILD = f"""
import sys, time
from pathlib import Path
sys.path[:0] = {sys.path!r}
from test_ledger_killed import WHEN, entry_of, root_of, seen_of
from drill.ledger import Ledger

path, log, who, first, count, pause_s = Path(sys.argv[1]), *sys.argv[2:]
with open(log, "a", buffering=1) as said, Ledger.open(path, wait_s=30) as ledger:
    said.write("begin\\n")
    run = ledger.begin_run("audit", now=WHEN, seed=7)
    for number in range(int(first), int(first) + int(count)):
        ledger.put(root_of(who), entry_of(number), seen_of(number), copy=who)
        said.write(f"{{number}} {{time.monotonic()}}\\n")
        time.sleep(float(pause_s))
        if number % 50 == 0:
            ledger.tick()
    ledger.end_run(run, complete=True)
    said.write("done\\n")
"""


def root_of(who: str) -> Root:
    return Root(f"/mnt/{who}", who)


def entry_of(number: int) -> Entry:
    return Entry(f"{number:06d}.dng", 1000 + number, WHEN)


def seen_of(number: int) -> Seen:
    return Seen(1000 + number, (Digest("xxh128", f"{number:032x}"),))


def begin(path: Path, log: Path, *, who: str, first: int, count: int, pause_s: float) -> "subprocess.Popen[bytes]":
    words = [path, log, who, first, count, pause_s]
    return subprocess.Popen([sys.executable, "-c", CHILD, *map(str, words)])


@pytest.mark.skipif(sys.platform == "win32", reason="a run that is ended there is told so first; this is about SIGKILL")
@pytest.mark.parametrize("attempts", [5, pytest.param(30, marks=pytest.mark.deep)])
def test_killed_at_any_instant_the_file_is_whole_and_a_second_is_the_most_that_is_lost(
    tmp_path: Path, attempts: int
) -> None:
    path, rng = tmp_path / "ledger.sqlite", random.Random(11)
    known: set[int] = set()
    with_news = 0
    for attempt in range(attempts):
        log = tmp_path / f"log-{attempt}"
        log.touch()
        child = begin(path, log, who="a", first=attempt * 10_000, count=10_000, pause_s=0.0005)
        try:
            if attempt % 5:  # every fifth is killed while it starts
                while "begin" not in log.read_text():
                    assert child.poll() is None
                    time.sleep(0.002)
            time.sleep(rng.uniform(0.0, 0.3) if attempt % 5 == 0 else rng.uniform(0.0, 1.6))
        finally:
            killed_s = time.monotonic()
            child.kill()
            child.wait()
        assert integrity(path) == ["ok"]
        lines = [line.split() for line in log.read_text().splitlines()]
        old_enough = {int(words[0]) for words in lines if len(words) == 2 and float(words[1]) < killed_s - 1.0}
        found = known_in(path)
        assert known <= found, "what was kept once was lost"
        assert old_enough <= found, "what was proven more than a second before is lost"
        with_news += len(found) > len(known)
        known = found
    assert with_news >= attempts // 3
    assert readings_in(path) == len(known)


def known_in(path: Path) -> set[int]:
    """Return the numbers of the readings; one that is not the right one fails the test."""
    with Ledger.open(path) as ledger:
        found = ledger.evidence(root_of("a"))
    numbers = {int(name.removesuffix(".dng")) for name, _ in found}
    assert all(found[entry_of(number).path, 0].digests == seen_of(number).digests for number in numbers)
    return numbers


@pytest.mark.parametrize("there", [False, True])
def test_two_runs_at_once_both_come_to_their_end(tmp_path: Path, there: bool) -> None:
    path = tmp_path / "ledger.sqlite"
    if there:
        Ledger.open(path).close()
    children = [
        begin(path, tmp_path / f"log-{who}-{first}", who=who, first=first, count=3000, pause_s=0.0005)
        for who, first in (("a", 0), ("b", 0), ("a", 2000))  # two of the same copy, one of another
    ]
    assert [child.wait(120) for child in children] == [0, 0, 0]
    assert integrity(path) == ["ok"]
    with Ledger.open(path) as ledger:
        assert len(ledger.evidence(root_of("a"))) == 5000
        assert len(ledger.evidence(root_of("b"))) == 3000
        assert [run.complete for run in ledger.runs()] == [True, True, True]
