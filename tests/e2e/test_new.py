"""`drill new` as people use it: the command in a new process, on media laid out here, each counted before and after."""

import os
import re
import shutil
import signal
import subprocess
import sys
import tarfile
import time
import zipfile
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import py7zr
import pytest
from census import census, files_below
from left_behind import readings_in
from piles import film, jpeg, raw, sha
from runner import CHECKOUT, Outcome, begin, run_drills, start

from drill.ledger import Ledger

NINE = datetime(2026, 9, 12, 9)
LONG_AGO = 1_700_000_000


def put(path: Path, content: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    os.utime(path, (LONG_AGO, LONG_AGO))
    return path


def shot(number: int) -> bytes:
    return jpeg(number, NINE + timedelta(minutes=number), "Reed One")


def table(root: Path) -> list[str]:
    """Lay a card, a drive with an archive and a stranger's folder on the table; return the --medium options."""
    for number in range(1, 7):
        put(root / f"card/DCIM/100REED_/REED{number:04d}.JPG", shot(number))
        if number < 6:
            put(root / f"ssd/2026/2026-09-12 heron ridge/raw/REED{number:04d}.JPG", shot(number))
    for number in (1, 2):
        put(root / f"card/DCIM/101KILN_/KILN{number:04d}.DNG", raw(number, NINE + timedelta(minutes=number), "Kiln"))
    put(root / "card/DCIM/101KILN_/KILN0003.MOV", film(3))
    for name in (".DS_Store", "DCIM/.DS_Store", "DCIM/100REED_/._REED0001.JPG", "System Volume Information/x"):
        put(root / "card" / name, b"left behind")
    put(root / "ssd/2026/2026-09-12 heron ridge/raw/REED0001.xmp", b"<x:xmpmeta/>")
    put(root / "ssd/2026/2026-09-12 heron ridge/deliver/REED0001.JPG", jpeg(900, NINE, "Reed One"))
    (root / "ssd/years").mkdir()
    with zipfile.ZipFile(root / "ssd/years/2025.zip", "w") as box:
        box.writestr("kiln yard/1.jpg", jpeg(800, NINE - timedelta(days=300), "Reed One"))
    return ["--medium", f"card={root / 'card'}", "--medium", f"ssd={root / 'ssd'}"]


def new(folder: Path, *more: str | Path) -> Outcome:
    return start("new", folder, *more, cwd=folder.parent)


def refused(outcome: Outcome, folder: Path, *words: str) -> None:
    """Exit 2, every mistake said, and nothing written where the studio file was to be."""
    assert outcome.code == 2, outcome.said
    missing = [word for word in words if word not in outcome.err]
    assert not missing, f"not said: {missing}\n{outcome.said}"
    assert "Traceback" not in outcome.err
    assert files_below(folder) == []


# --- the first look ----------------------------------------------------------------------------------------------


def test_a_first_look_proposes_and_writes_and_touches_no_medium(tmp_path: Path) -> None:
    media = table(tmp_path / "media")
    before = census(tmp_path / "media")
    outcome = new(tmp_path / "st", *media)
    assert outcome.code == 0, outcome.said
    assert census(tmp_path / "media") == before
    assert files_below(tmp_path / "st") == [
        "ledger.sqlite",
        "manifests/2026-09-12-heron-ridge.xxh128",
        "manifests/kiln-yard.xxh128",
        "manifests/on-card.xxh128",
        "manifests/on-ssd-2025.xxh128",
        "manifests/on-ssd.xxh128",
        "studio.toml",
    ]
    with Ledger.read(tmp_path / "st/ledger.sqlite") as ledger:
        assert [(run.kind, run.complete) for run in ledger.runs()] == [("new", True)]
    promise = (tmp_path / "st/manifests/2026-09-12-heron-ridge.xxh128").read_text("utf-8")
    assert [line.split("  ", 1)[1] for line in promise.splitlines()] == [
        *(f"100REED_/REED000{number}.JPG" for number in range(1, 7)),
        *("101KILN_/KILN0001.DNG", "101KILN_/KILN0002.DNG", "101KILN_/KILN0003.MOV"),
        *("deliver/REED0001.JPG", "raw/REED0001.xmp"),
    ]
    survey = start("survey", tmp_path / "st/studio.toml", cwd=tmp_path)
    assert "Traceback" not in survey.err
    drill = run_drills(tmp_path / "st/studio.toml", "dead-card")
    assert {(one["shoot"], one["files"]["verified"], one["files"]["lost"]) for one in drill.record["drills"]} == {
        ("2026-09-12-heron-ridge", 7, 4),
        ("kiln-yard", 1, 0),
    }
    assert census(tmp_path / "media") == before


def test_what_is_assumed_and_left_out_is_said_once(tmp_path: Path) -> None:
    outcome = new(tmp_path / "st", *table(tmp_path / "media"), "--medium", "tablet=", "--medium", "tablet=")
    assert outcome.code == 0, outcome.said
    said = re.sub(r"\s+", " ", outcome.out)
    assert "is assumed by their kind (card: bag, ssd: bag, tablet: bag, tablet-2: bag)" in said
    assert said.count(".DS_Store: 2") == 1
    assert said.count("._*: 1") == 1
    assert "tablet cannot be read from here" in said
    text = (tmp_path / "st/studio.toml").read_text("utf-8")
    assert text.count("# ASSUMED") == 4
    assert text.count("# at = ") == 2


def test_volumes_named_alike_are_two_media(tmp_path: Path) -> None:
    put(tmp_path / "one/UNTITLED/heron/1.jpg", shot(1))
    put(tmp_path / "two/UNTITLED/heron/1.jpg", shot(1))
    media = ("--medium", f"card={tmp_path / 'one/UNTITLED'}", "--medium", f"ssd={tmp_path / 'two/UNTITLED'}")
    outcome = new(tmp_path / "st", *media)
    assert outcome.code == 0, outcome.said
    text = (tmp_path / "st/studio.toml").read_text("utf-8")
    assert re.findall(r'^id = "(.*)"$', text, re.MULTILINE)[1:3] == ["untitled", "untitled-2"]


def test_bags_and_lists_that_are_there_decide(tmp_path: Path) -> None:
    bag = tmp_path / "a/heron bag"
    put(bag / "bagit.txt", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    put(bag / "data/1.jpg", shot(1))
    put(bag / "manifest-sha512.txt", f"{'ab' * 64}  data/1.jpg\n".encode())
    put(tmp_path / "b/kiln/2.jpg", shot(2)[:-50])
    put(tmp_path / "b/SHA256SUMS", f"{sha(shot(2))}  kiln/2.jpg\n".encode())
    put(tmp_path / "b/broken.md5", b"this is no list\n")
    outcome = new(tmp_path / "st", "--medium", f"ssd={tmp_path / 'a'}", "--medium", f"card={tmp_path / 'b'}")
    assert outcome.code == 0, outcome.said
    lists = tmp_path / "st/manifests"
    assert (lists / "heron-bag.sha512").read_text() == f"{'ab' * 64}  1.jpg\n"
    assert (lists / "kiln.sha256").read_text() == f"{sha(shot(2))}  2.jpg\n"
    assert "broken.md5" in outcome.out


def test_archives_that_cannot_be_read_are_said_and_the_rest_is_promised(tmp_path: Path) -> None:
    put(tmp_path / "a/heron/1.jpg", shot(1))
    with py7zr.SevenZipFile(tmp_path / "a/locked.7z", "w", password="heron", header_encryption=True) as box:
        box.writestr(shot(2), "2.jpg")
    whole = tmp_path / "whole.zip"
    with zipfile.ZipFile(whole, "w") as packed:
        packed.writestr("3.jpg", shot(3))
    put(tmp_path / "a/broken.zip", whole.read_bytes()[:-40])
    outcome = new(tmp_path / "st", "--medium", f"hard-disk={tmp_path / 'a'}")
    assert outcome.code == 0, outcome.said
    said = re.sub(r"\s+", " ", outcome.out)
    assert "a-locked gives nothing now" in said
    assert "password" in said
    assert "a-broken gives nothing now" in said
    text = (tmp_path / "st/studio.toml").read_text("utf-8")
    assert text.count('# password_env = "ARCHIVE_PASSWORD"') == 2
    assert files_below(tmp_path / "st/manifests") == ["heron.xxh128", "on-a.xxh128"]


def test_a_damaged_archive_is_named_with_what_could_not_be_read_and_where_it_is_right(tmp_path: Path) -> None:
    for number in (1, 2, 3):
        put(tmp_path / f"card/heron/{number}.jpg", shot(number))
    (tmp_path / "disk").mkdir()
    for name in ("2026.zip", "2026.tar"):
        pack(name, tmp_path)
    media = ("--medium", f"card={tmp_path / 'card'}", "--medium", f"hard-disk={tmp_path / 'disk'}")
    first = new(tmp_path / "st", *media)
    assert first.code == 0, first.said
    table = first.out[: first.out.index("Shoots")]
    assert "disk-2026-zip" in table and "disk-2026-tar" in table and not re.search(r"^disk ", table, re.MULTILINE)
    content = bytearray((tmp_path / "disk/2026.zip").read_bytes())
    content[content.index(shot(2)) + 60] ^= 255
    (tmp_path / "disk/2026.zip").write_bytes(content)
    said = re.sub(r"\s+", " ", new(tmp_path / "st").out)
    assert "Could not be read, so perhaps damaged" in said
    assert re.search(r"- disk-2026-zip \(.*\): 1 file: heron/2\.jpg: ", said)
    assert "disk-2026-zip: 1 file is in its list and could not be read" in said
    assert "right on card, disk-2026-tar; drill audit tells more: heron/2.jpg" in said


def pack(name: str, home: Path) -> None:
    """Pack the card's pictures, stored as they are, into an archive on the disk."""
    if name.endswith(".zip"):
        with zipfile.ZipFile(home / "disk" / name, "w") as box:
            for number in (1, 2, 3):
                box.writestr(f"heron/{number}.jpg", shot(number))
    else:
        with tarfile.open(home / "disk" / name, "w") as tape:
            tape.add(home / "card/heron", "heron")


def test_gap_digest_and_name_are_taken(tmp_path: Path) -> None:
    for number in (1, 100, 200):
        put(tmp_path / f"card/DCIM/100REED_/REED{number:04d}.JPG", shot(number))
    more = ("--gap", "90 min", "--digest", "sha256", "--name", "Saltmarsh Light")
    outcome = new(tmp_path / "st", "--medium", f"card={tmp_path / 'card'}", *more)
    assert outcome.code == 0, outcome.said
    assert files_below(tmp_path / "st/manifests") == [
        "2026-09-12-2.sha256",
        "2026-09-12-3.sha256",
        "2026-09-12.sha256",
        "on-card.sha256",
    ]
    assert 'name = "Saltmarsh Light"' in (tmp_path / "st/studio.toml").read_text("utf-8")


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux takes any bytes for a name")
def test_names_that_no_terminal_can_show_come_through(tmp_path: Path) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/card/her\xffon\n[x]"))
    put(folder / "one\x1b[2J.jpg", shot(1))
    outcome = new(tmp_path / "st", "--medium", f"card={tmp_path / 'card'}")
    assert outcome.code == 0, outcome.said
    assert "\x1b" not in outcome.out
    assert start("survey", tmp_path / "st/studio.toml", cwd=tmp_path).code in (0, 1)


# --- what it refuses ---------------------------------------------------------------------------------------------


def test_every_mistake_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    media = [f"floppy={tmp_path}", f"card={tmp_path / 'nowhere'}", f"ssd={tmp_path / 'empty'}", "heron"]
    outcome = new(tmp_path / "st", *(part for one in media for part in ("--medium", one)))
    refused(outcome, tmp_path / "st", "4 mistakes", "no kind of medium", "no such folder", "is empty", "KIND=PATH")


def test_nothing_to_look_at_and_nothing_found_are_mistakes(tmp_path: Path) -> None:
    refused(new(tmp_path / "st"), tmp_path / "st", "--medium")
    put(tmp_path / "a/letter.txt", b"no picture")
    outcome = new(tmp_path / "st", "--medium", f"ssd={tmp_path / 'a'}")
    assert outcome.code == 2, outcome.said
    assert "no picture was found" in outcome.err
    assert not (tmp_path / "st/studio.toml").exists()


def test_the_studio_file_never_falls_on_a_medium(tmp_path: Path) -> None:
    put(tmp_path / "card/DCIM/1.jpg", shot(1))
    before = census(tmp_path / "card")
    for folder in (tmp_path / "card", tmp_path / "card/DCIM/st"):
        outcome = start("new", folder, "--medium", f"card={tmp_path / 'card'}", cwd=tmp_path)
        assert outcome.code == 2, outcome.said
        assert "falls inside" in outcome.err
    assert census(tmp_path / "card") == before


@pytest.mark.skipif(sys.platform == "win32", reason="making a link needs a right there")
def test_not_through_a_link_either(tmp_path: Path) -> None:
    put(tmp_path / "card/DCIM/1.jpg", shot(1))
    (tmp_path / "link").symlink_to(tmp_path / "card/DCIM")
    before = census(tmp_path / "card")
    outcome = start("new", tmp_path / "link/st", "--medium", f"card={tmp_path / 'card'}", cwd=tmp_path)
    assert outcome.code == 2, outcome.said
    assert census(tmp_path / "card") == before


def test_lists_without_a_studio_file_are_not_overwritten(tmp_path: Path) -> None:
    put(tmp_path / "st/manifests/heron.sha256", b"mine\n")
    put(tmp_path / "st/manifests/on-card.xxh128", b"mine too\n")
    put(tmp_path / "card/DCIM/1.jpg", shot(1))
    outcome = new(tmp_path / "st", "--medium", f"card={tmp_path / 'card'}")
    assert outcome.code == 2, outcome.said
    assert "on-card.xxh128: is there already" in outcome.err
    assert not (tmp_path / "st/studio.toml").exists()
    (tmp_path / "st/manifests/on-card.xxh128").unlink()
    assert new(tmp_path / "st", "--medium", f"card={tmp_path / 'card'}").code == 0
    assert (tmp_path / "st/manifests/heron.sha256").read_bytes() == b"mine\n"


# --- a second look -----------------------------------------------------------------------------------------------


@pytest.mark.deep
def test_a_second_look_changes_nothing_unless_asked_and_adds_once(tmp_path: Path) -> None:
    media = table(tmp_path / "media")
    assert new(tmp_path / "st", *media).code == 0
    put(tmp_path / "media/ssd/2026/2026-09-12 heron ridge/raw/REED0099.JPG", shot(99))
    put(tmp_path / "media/phone/DCIM/Camera/IMG_1.JPG", shot(1999))
    before = census(tmp_path / "st", tmp_path / "media")
    st, ledger = str(tmp_path / "st"), str(tmp_path / "st/ledger.sqlite")
    more = ("--medium", f"phone={tmp_path / 'media/phone'}")
    outcome = new(tmp_path / "st", *media, *more)
    assert outcome.code == 0, outcome.said
    assert "Nothing was written" in outcome.out
    assert "raw/REED0099.JPG" in outcome.out
    after = census(tmp_path / "st", tmp_path / "media")
    assert {path for path in after if after[path] != before.get(path)} == {ledger, st}

    assert new(tmp_path / "st", *media, *more, "--add").code == 0
    added = census(tmp_path / "st")
    outcome = new(tmp_path / "st", "--add")
    assert outcome.code == 0, outcome.said
    assert "Nothing to add" in outcome.out
    after = census(tmp_path / "st")
    assert {path for path in after if after[path] != added.get(path)} == {ledger, st}, "the run itself is remembered"
    assert start("survey", tmp_path / "st/studio.toml", cwd=tmp_path).code in (0, 1)


# --- interrupted -------------------------------------------------------------------------------------------------


@pytest.mark.deep
@pytest.mark.skipif(sys.platform == "win32", reason="a console's Ctrl-C cannot be sent to one process there")
def test_interrupted_it_keeps_what_it_read_and_goes_on_with_the_rest(tmp_path: Path) -> None:
    for number in range(200):
        put(tmp_path / f"card/heron/{number:04d}.jpg", shot(number % 50) + b"%d" % number)
    long = put(tmp_path / "card/heron/zz.mov", b"")
    with long.open("r+b") as file:
        file.truncate(200 * 10**9)  # a hole: it takes no room, and minutes to read
    ledger = tmp_path / "st/ledger.sqlite"
    running = begin("new", tmp_path / "st", "--medium", f"card={tmp_path / 'card'}", cwd=tmp_path)
    try:
        deadline_s = time.monotonic() + 60
        while readings_in(ledger) < 200:
            assert time.monotonic() < deadline_s and running.poll() is None
            time.sleep(0.05)
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=30)
    finally:
        running.kill()
    assert running.returncode == 3, err
    assert "goes on from there" in err
    assert files_below(tmp_path / "st") == ["ledger.sqlite"]

    long.write_bytes(film(1))
    known = tmp_path / "card/heron/0007.jpg"
    right = known.read_bytes()
    put(known, right[::-1])  # same size and time: who reads it again would see other bytes
    assert new(tmp_path / "st", "--medium", f"card={tmp_path / 'card'}", "--digest", "xxh128").code == 0
    promised = (tmp_path / "st/manifests/heron.xxh128").read_text("utf-8")
    assert len(promised.splitlines()) == 201
    check = subprocess.run(
        [sys.executable, "-c", "import sys, xxhash; print(xxhash.xxh128_hexdigest(sys.stdin.buffer.read()))"],
        input=right,
        capture_output=True,
        check=True,
    )
    assert f"{check.stdout.decode().strip()}  0007.jpg" in promised.splitlines()


# --- asking ------------------------------------------------------------------------------------------------------


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals there")
def test_at_a_terminal_it_asks_where_media_are_kept(tmp_path: Path) -> None:
    import pty  # noqa: PLC0415  # not on Windows

    put(tmp_path / "card/DCIM/1.jpg", shot(1))
    near, far = pty.openpty()
    command = [sys.executable, "-m", "drill", "new", tmp_path / "st", "--medium", f"card={tmp_path / 'card'}"]
    running = subprocess.Popen(
        [*command, "--medium", "tablet="],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        stdin=far,
        stderr=far,
        stdout=subprocess.PIPE,
        text=True,
    )
    os.write(near, b"Aunt's house\n\n")
    out, _ = running.communicate(timeout=60)
    os.close(far)
    asked = os.read(near, 65536).decode()
    os.close(near)
    assert running.returncode == 0, asked + out
    assert "Where is card (card) kept?" in asked
    assert "[bag]" in asked
    text = (tmp_path / "st/studio.toml").read_text("utf-8")
    assert re.findall(r"^place = .*$", text, re.MULTILINE) == ['place = "aunt-s-house"', 'place = "bag"']
    assert "ASSUMED" not in text
    assert "is assumed by their kind" not in out


# --- each byte once ----------------------------------------------------------------------------------------------


@pytest.mark.outside
@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")
def test_each_byte_of_the_media_is_read_at_most_once_where_nothing_disagrees(tmp_path: Path) -> None:
    media = table(tmp_path / "media")
    put(tmp_path / "media/ssd/films/F0001.MOV", film(1) * 200)
    log = tmp_path / "strace.log"
    trace = ["strace", "-ff", "-y", "-qq", "-e", "trace=read,readv,pread64,preadv,preadv2,mmap,sendfile", "-o", log]
    done = subprocess.run(
        [*trace, sys.executable, "-m", "drill", "new", tmp_path / "st", *media],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    read: Counter[str] = Counter()
    lines = [line for one in tmp_path.glob("strace.log.*") for line in one.read_text("utf-8", "replace").splitlines()]
    for line in lines:
        found = re.search(r"(?:read|readv|pread64|preadv2?)\(\d+<(.*?)>, .*\) = (\d+)$", line)
        if "RWF_NOWAIT" in line:  # whether the system's cache has a first byte: no medium is read
            assert not found or int(found.group(2)) == 1
            continue
        if found and found.group(1).startswith(str(tmp_path / "media")):
            read[found.group(1)] += int(found.group(2))
        assert "mmap" not in line or str(tmp_path / "media") not in line
    files = [path for path in (tmp_path / "media").rglob("*") if path.is_file()]
    wanted = [path for path in files if path.suffix in (".JPG", ".DNG", ".MOV", ".xmp") and path.name[0] != "."]
    assert {str(path): read[str(path)] for path in wanted} == {str(path): path.stat().st_size for path in wanted}
    left = [path for path in files if path not in wanted and path.suffix != ".zip"]
    assert not [path for path in left if read[str(path)]]
    assert read[str(tmp_path / "media/ssd/years/2025.zip")] < 2 * (tmp_path / "media/ssd/years/2025.zip").stat().st_size
