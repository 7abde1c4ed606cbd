"""A run of reading that is killed at any instant: what it proved is kept to the last second, nothing is wrong.

Real processes, killed by the system (SIGKILL), again and again, until one comes to its end. A store that takes a few
thousandths of a second to open a file stands for the drive; it notes every opening, so that what is read again shows.
"""

import hashlib
import os
import random
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest
import xxhash
from left_behind import integrity

from drill.copies import LinkSession
from drill.ledger import Ledger
from drill.model import Copy, Medium
from drill.reading import root_of
from drill.shelf import OpenCopy, open_copy

pytestmark = pytest.mark.deep  # processes killed again and again; test_reading.py is quick

FILES = 500
OLD_S = 1_700_000_000.5

CHILD = f"""
import sys, time
from dataclasses import replace
from pathlib import Path
sys.path[:0] = {sys.path!r}
from test_reading_killed import found_at
from drill import clock
from drill.ledger import Ledger
from drill.model import Store
from drill.reading import Job, read_files

root, notes, log = map(Path, sys.argv[1:])
with log.open("a", buffering=1) as said:
    def slow(entry):
        said.write(f"open {{entry.path}}\\n")
        time.sleep(0.006)
        return found.store.open(entry)

    def seen(job, result):
        said.write(f"seen {{job.entry.path}} {{time.monotonic()}}\\n")

    found = found_at(root)
    watched = replace(found, store=Store(found.store.files, slow))
    with Ledger.open(notes) as ledger:
        said.write("begin\\n")
        read_files([Job(watched, entry) for entry in found.entries], kinds=["xxh128"], ledger=ledger,
                   now=clock.now(), progress=lambda text: None, on_seen=seen)
    said.write("done\\n")
"""


def found_at(root: Path) -> OpenCopy:
    copy = Copy("copy", "ssd", root, None, "folder", None, None)
    medium = Medium("ssd", "ssd", "desk", attached=False, offsite=False, carried=False, readers=2)
    with LinkSession() as session:
        return open_copy(copy, medium, session=session, downloads=root.parent / "none")


def content(number: int) -> bytes:
    return hashlib.shake_128(str(number).encode()).digest(2_000 + 37 * number)


def known(notes: Path, found: OpenCopy) -> set[str]:
    """Return the paths that the ledger knows; each must be right in every digest and part."""
    root = root_of(found)
    assert root is not None
    paths: set[str] = set()
    with Ledger.open(notes) as ledger:
        for number, entry in enumerate(found.entries):
            seen = ledger.get(root, entry)
            if seen is None:
                continue
            truth = content(number)
            assert seen.size == len(truth)
            assert seen.digests[0].hex == xxhash.xxh3_128_hexdigest(truth)
            bounds = [len(truth) * part // 16 for part in range(17)]
            pieces = [truth[a:b] for a, b in pairwise(bounds)]
            assert seen.parts == (b"".join(map(xxhash.xxh3_64_digest, pieces)) if len(truth) >= 4096 else b"")
            paths.add(entry.path)
    return paths


@pytest.mark.skipif(sys.platform == "win32", reason="a run that is ended there is told so first; this is about SIGKILL")
def test_what_was_proven_before_the_kill_is_kept_and_never_wrong(tmp_path: Path) -> None:
    root, notes = tmp_path / "copy", tmp_path / "ledger"
    root.mkdir()
    for number in range(FILES):
        path = root / f"{number:04d}.dng"
        path.write_bytes(content(number))
        os.utime(path, (OLD_S, OLD_S))
    found = found_at(root)
    rng = random.Random(4)
    kept: set[str] = set()
    kills_with_news = 0
    for attempt in range(20):
        log = tmp_path / f"log-{attempt}"
        child = subprocess.Popen([sys.executable, "-c", CHILD, root, notes, log])
        try:
            while child.poll() is None and not (log.exists() and "begin" in log.read_text()):
                time.sleep(0.005)
            # The first comes to its end on no machine, the later ones get longer, so that it does end.
            until = time.monotonic() + rng.uniform(0.05, 0.5) * (1 + attempt / 2)
            while child.poll() is None and time.monotonic() < until:
                time.sleep(0.005)
        finally:
            killed_s = time.monotonic()
            child.kill()
            child.wait()
        lines = [line.split() for line in log.read_text().splitlines()]
        opened = {words[1] for words in lines if words[0] == "open"}
        assert not opened & kept, "what the ledger knew was read again"
        old_enough = {words[1] for words in lines if words[0] == "seen" and float(words[2]) < killed_s - 1.0}
        assert integrity(notes) == ["ok"]
        now_known = known(notes, found)
        assert kept <= now_known, "what was kept once was lost"
        assert old_enough <= now_known, "what was proven more than a second before is lost"
        kills_with_news += bool(now_known - kept)
        kept = now_known
        if lines[-1] == ["done"]:
            break
    else:
        raise AssertionError("it never came to its end")
    assert child.returncode == 0
    assert attempt >= 2 and kills_with_news >= 2
    assert kept == {entry.path for entry in found.entries}
