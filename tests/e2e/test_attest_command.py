"""`drill attest` as a user starts it: a sealed folder or none at all, nothing private in it, and copies that stay as
they are."""

import re
import shutil
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest
from attested import CLIENT, OURS, PRIVATE, World, laid, pictures, promise
from census import census, files_below
from runner import Outcome, begin, start

PARTS = [
    *("HOW-TO-CHECK.txt", "contents.sha256", "contents.sha256.sig", "deliverables.sha256", "letter.html"),
    *("letter.pdf", "merkle-root.txt", "public-key.pem", "record.json"),
]


def ask(world: World, *more: str | Path, keys: Path | None = None) -> Outcome:
    """Ask for a letter; no copy has changed afterwards."""
    media = world.folder / f"{PRIVATE}-media"
    before = census(media)
    env = {"DRILL_KEYS": str(keys or world.folder.parent / "keys")}
    outcome = start("attest", world.file, *more, cwd=world.folder.parent, env=env)
    assert census(media) == before
    assert max(map(len, outcome.out.splitlines()), default=0) <= 80
    return outcome


def check(folder: Path, *more: str | Path) -> Outcome:
    return start("attest", "--check", folder, *more, cwd=folder.parent)


@pytest.fixture
def world(tmp_path: Path) -> World:
    made = laid(tmp_path / "studio", targets='verified_within = "100 days"')
    made.drill()
    made.audit()
    return made


def texts(out: Path) -> dict[str, str]:
    """Everything that can be read in a folder, its PDF as a reader sees it and as bytes."""
    found = {name: (out / name).read_bytes().decode("latin-1") for name in files_below(out)}
    if shutil.which("pdftotext"):
        done = subprocess.run(["pdftotext", str(out / "letter.pdf"), "-"], check=True, capture_output=True)
        found["letter.pdf as read"] = done.stdout.decode()
    return found


@pytest.mark.deep
def test_a_letter_is_written_whole_and_names_nothing_private(world: World, tmp_path: Path) -> None:
    outcome = ask(world, "--client", CLIENT, "--out", "proof")
    assert outcome.code == 0, outcome.said
    out = tmp_path / "proof"
    assert files_below(out) == PARTS
    private = (PRIVATE, str(tmp_path), "studio.toml", "raw/0000.dng")
    assert [(name, word) for name, text in texts(out).items() for word in private if word in text] == []
    key = tmp_path / "keys" / "signing-key.pem"
    assert sys.platform == "win32" or stat.S_IMODE(key.stat().st_mode) == 0o600
    told = re.sub(r"\s+", " ", outcome.out)
    assert "That is a NEW key, made just now: " in told
    (shown,) = re.findall(r"(?:[0-9a-f]{4} ){15}[0-9a-f]{4}", told)
    assert shown in (out / "letter.html").read_text(encoding="utf-8")
    delivered = tmp_path / "delivered"
    for path, data in pictures(OURS).items():
        (delivered / path).parent.mkdir(parents=True, exist_ok=True)
        (delivered / path).write_bytes(data)
    assert check(out, "--fingerprint", shown, "--against", delivered).code == 0
    (delivered / "deliver" / "0001.jpg").write_bytes(b"other bytes")
    assert check(out, "--against", delivered).code == 1
    (out / "record.json").write_text("{}", encoding="utf-8")
    assert check(out).code == 1


def test_what_falls_short_is_refused_and_nothing_is_written(world: World, tmp_path: Path) -> None:
    promise(world, OURS, pictures(OURS) | {"deliver/9999.jpg": b"a new one"})
    outcome = ask(world, "--shoot", OURS, "--out", "proof")
    assert outcome.code == 1 and "No letter was written" in outcome.out, outcome.said
    said = re.sub(r"\s+", " ", outcome.out)
    assert f"drill run {world.file} --shoot {OURS}" in said.replace("- ", "") or "drill run" in said
    assert not (tmp_path / "proof").exists() and not (tmp_path / "keys").exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["studio"]


@pytest.mark.deep
def test_as_it_is_the_letter_says_first_what_falls_short(world: World, tmp_path: Path) -> None:
    promise(world, OURS, pictures(OURS) | {"deliver/9999.jpg": pictures(OURS)["deliver/0000.jpg"]})
    (tmp_path / "proof").mkdir()
    outcome = ask(world, "--shoot", OURS, "--out", "proof", "--as-is")
    assert outcome.code == 1, outcome.said
    page = (tmp_path / "proof" / "letter.html").read_text(encoding="utf-8")
    assert page.index("This falls short") < page.index("4 files then, 5 now") < page.index("What was tried")
    assert check(tmp_path / "proof").code == 0


@pytest.mark.deep
def test_the_same_key_and_moment_give_the_same_folder(world: World, tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert ask(world, "--client", CLIENT, "--out", name, "--now", "2100-01-01T00:00:00Z", "--as-is").code == 1
    one, two = ({name: (tmp_path / out / name).read_bytes() for name in PARTS} for out in ("one", "two"))
    assert one == two


@pytest.mark.deep
def test_mistakes_are_told_all_at_once_and_nothing_is_written(world: World, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "kept.txt").write_text("kept", encoding="utf-8")
    media = world.folder / f"{PRIVATE}-media" / "a"
    before = census(tmp_path)
    whose = ("--client", CLIENT)
    cases: dict[str, tuple[str | Path, ...]] = {
        "--client: is missing": ("--out", "x"),
        "--out: is missing": whose,
        "no shoot has this client": ("--client", "Nobody", "--out", "x"),
        "is not empty": (*whose, "--out", "full"),
        "and no folder": (*whose, "--out", "full/kept.txt"),
        "is the current folder": (*whose, "--out", "."),
        "the folder it should be in is not there": (*whose, "--out", "no/x"),
        f"inside the copy {PRIVATE}-a": (*whose, "--out", media / "x"),
        "where lists and readings are kept": (*whose, "--out", world.folder / "ledger.headers"),
        "belongs to --check": (*whose, "--out", "x", "--against", "full"),
        "makes a letter": ("--check", "full"),
    }
    for said, more in cases.items():
        outcome = ask(world, *more)
        assert outcome.code == 2 and said in outcome.err, (said, outcome.said)
    assert ask(world, *whose, "--out", "x", keys=world.folder / "keys").code == 2, "a key inside the studio"
    after = census(tmp_path)
    assert {path for path in after if after[path] != before.get(path)} <= {str(world.folder)}  # the ledger was opened


@pytest.mark.deep
def test_killed_at_any_moment_there_is_a_whole_folder_or_none(world: World, tmp_path: Path) -> None:
    env = {"DRILL_KEYS": str(tmp_path / "keys")}
    began = time.monotonic()
    assert ask(world, "--client", CLIENT, "--out", "first").code == 0
    takes_s = time.monotonic() - began
    whole = 0
    for step in range(10):
        out = tmp_path / f"proof-{step}"
        with begin("attest", world.file, "--client", CLIENT, "--out", out, cwd=tmp_path, env=env) as running:
            time.sleep(takes_s * (0.4 + step / 12))
            running.kill()
            running.communicate()
        if out.exists():
            assert check(out).code == 0
            whole += 1
    assert whole > 0, "every one was killed before it had written"
