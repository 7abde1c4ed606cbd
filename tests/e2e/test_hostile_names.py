"""No command lets a name do anything to a terminal: no control, nothing unseen, no line that is not the program's."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hostile import FORGED, NAMES, lay_out, quoted
from runner import CHECKOUT
from wcwidth import wcswidth

COLUMNS = 80


def _begin(words: list[str], cwd: Path, output: int) -> "subprocess.Popen[bytes]":
    """Start a command, both of its streams going to one place."""
    seen = {**os.environ, "PYTHONPATH": os.fspath(CHECKOUT), "PYTHONIOENCODING": "utf-8", "COLUMNS": str(COLUMNS)}
    return subprocess.Popen(
        [sys.executable, "-m", "drill", *words],
        cwd=cwd,
        env=seen,
        stdout=output,
        stderr=output,
        stdin=subprocess.DEVNULL,
    )


def _start(words: list[str], cwd: Path) -> tuple[int, str]:
    """Run a command; return its exit code and every byte of both streams as text."""
    caught = cwd / "caught.txt"
    with caught.open("wb") as file:
        code = _begin(words, cwd, file.fileno()).wait(timeout=300)
    return code, caught.read_bytes().decode("utf-8").replace(os.linesep, "\n")


def _wrong(said: str) -> list[str]:
    """Return the lines of an output that hold what they must not."""
    lines = said.split("\n")
    return [ascii(line) for line in lines if not line.isprintable() or line.lstrip(" -+#").startswith(FORGED)]


@pytest.mark.deep
@pytest.mark.parametrize("first", range(0, len(NAMES), 4))
def test_no_command_lets_a_name_through(first: int, tmp_path: Path) -> None:
    faults, codes = {}, set()
    for words in lay_out(tmp_path, NAMES[first:] + NAMES[:first], differing=True):
        code, said = _start(words, tmp_path)
        codes.add(code)
        faults |= {ascii(words): (code, _wrong(said))} if _wrong(said) or "Traceback" in said or not said else {}
    assert not faults
    assert codes == {0, 1, 2}


@pytest.mark.deep
def test_drills_as_tests_let_no_name_through(tmp_path: Path) -> None:
    studio = lay_out(tmp_path, NAMES)[0][1]
    sheet = tmp_path / "quarterly.drill.toml"  # pytest itself writes ids and folders as they are: these are plain
    sheet.write_text(
        f'studio = {quoted(studio)}\nseed = 1\nscenarios = ["lost-tablet", "dead-card"]\n', encoding="utf-8"
    )
    broken = tmp_path / "broken.drill.toml"
    broken.write_text(f"studio = {quoted(studio + NAMES[0])}\n{quoted(NAMES[0])} = 1\n", encoding="utf-8")
    options = ["-p", "drill.pytest_plugin", "-p", "no:cacheprovider", "--color", "no", "-rA"]
    for file, code in ((sheet, 1), (broken, 2)):
        done = subprocess.run(
            [sys.executable, "-m", "pytest", *options, file.name],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": os.fspath(CHECKOUT), "PYTHONIOENCODING": "utf-8"},
            capture_output=True,
            check=False,
            timeout=120,
        )
        said = (done.stdout + done.stderr).decode("utf-8").replace(os.linesep, "\n")
        assert done.returncode == code, said
        assert "\\x1b[31mred" in said, "the names are told"
        assert not _wrong(said)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no pseudo-terminals of this kind")
@pytest.mark.parametrize("command", ["run", "audit", "new"])
def test_what_is_shown_while_it_runs_stays_on_its_line(command: str, tmp_path: Path) -> None:
    words = next(words for words in lay_out(tmp_path, [NAMES[7], *NAMES]) if words[0] == command)
    ours, theirs = os.openpty()
    with _begin(words, tmp_path, theirs) as running:
        os.close(theirs)
        shown = _all_of(ours)
    os.close(ours)
    assert running.returncode in (0, 1), ascii(shown)
    plain = shown.replace("\r\n", "\n")
    drawn = [piece for piece in plain.split("\r") if "\n" not in piece]
    assert len(drawn) > 1, "nothing was shown while it ran"
    assert all(wcswidth(piece) < COLUMNS for piece in drawn), ascii(drawn)
    assert all(piece.isprintable() for piece in re.split("[\r\n]", plain)), ascii(shown)


def _all_of(terminal: int) -> str:
    """Read a pseudo-terminal until nobody writes to it any more."""
    found = b""
    while True:
        try:
            part = os.read(terminal, 65536)
        except OSError:  # Linux: the other side is closed
            part = b""
        if not part:
            return found.decode("utf-8")
        found += part
