"""`drill attest --check`: its exit codes, and what is misuse."""

import argparse
import json
from pathlib import Path

import pytest
from sealed import KEY, NAMES, Laid, lay

from drill.cli.attest_check import add_check_options, check_command
from drill.errors import Mistakes
from drill.report.proof_folder import RECORD
from drill.seal import fingerprint, grouped, seal


@pytest.fixture
def laid(tmp_path: Path) -> Laid:
    return lay(tmp_path)


def checked(*words: str | Path) -> int:
    parser = argparse.ArgumentParser()
    add_check_options(parser)
    return check_command(parser.parse_args([str(word) for word in words]))


def test_what_holds_is_0(laid: Laid, capsys: pytest.CaptureFixture[str]) -> None:
    digits = grouped(fingerprint(KEY))
    assert checked("--check", laid.proof, "--fingerprint", digits, "--against", laid.pictures) == 0
    assert "The seal holds." in capsys.readouterr().out
    assert checked("--check", laid.proof) == 0
    out = capsys.readouterr().out
    assert digits in " ".join(out.split())
    assert "holds" not in out


def test_whose_letter_it_is_and_what_it_admits_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = {"studio": "Saltmarsh \x1b[2J Light", "client": "Reed & Heron", "issued": "2026-11-24T20:00:00Z"}
    for short in (True, False):
        folder = tmp_path / f"proof-{short}"
        folder.mkdir()
        (folder / RECORD).write_text(json.dumps({**said, "falls_short": short}))
        seal(folder, digests=[("a.jpg", "ab" * 32)], key=KEY)
        assert checked("--check", folder) == 0
        text = " ".join(capsys.readouterr().out.split())
        assert "Light to Reed & Heron, written 2026-11-24T20:00:00Z." in text and "\x1b" not in text
        assert ("FALLS SHORT" in text) is short


@pytest.mark.parametrize("text", ["[1, 2]", "{", "[" * 100_000, '{"studio": 3, "client": [], "issued": {}}'])
def test_a_record_that_is_none_is_passed_over(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / RECORD).write_text(text)
    seal(tmp_path, digests=[("a.jpg", "ab" * 32)], key=KEY)
    assert checked("--check", tmp_path) == 0
    assert "as they were sealed" in capsys.readouterr().out


def test_what_falls_short_is_1(laid: Laid, capsys: pytest.CaptureFixture[str]) -> None:
    assert checked("--check", laid.proof, "--fingerprint", "0" * 64) == 1
    (laid.pictures / NAMES[0]).unlink()
    assert checked("--check", laid.proof, "--against", laid.pictures) == 1
    (laid.proof / "letter.html").write_bytes(b"All of them came back.")
    capsys.readouterr()
    assert checked("--check", laid.proof) == 1
    out = capsys.readouterr().out
    assert out.startswith("This proof does not hold.")
    assert "- letter.html: was changed after the folder was sealed" in out


def test_misuse_is_2(laid: Laid, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        checked("--check", laid.proof, "--fingerprint", "a1b2")
    assert left.value.code == 2
    assert "all of them" in capsys.readouterr().err
    with pytest.raises(Mistakes):  # which the command line turns into 2
        checked("--check", laid.pictures)
    with pytest.raises(Mistakes):
        checked("--check", laid.proof, "--against", laid.pictures / "nowhere")


def test_nothing_is_written(laid: Laid) -> None:
    def census() -> dict[Path, tuple[int, bytes]]:
        files = [path for path in laid.proof.parent.rglob("*") if path.is_file()]
        return {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in files}

    before = census()
    checked("--check", laid.proof, "--against", laid.pictures)
    assert census() == before
