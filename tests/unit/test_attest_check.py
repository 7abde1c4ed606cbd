"""`drill attest --check`: its exit codes, and what is misuse."""

import argparse
from pathlib import Path

import pytest
from sealed import KEY, NAMES, Laid, lay

from drill.cli.attest_check import add_check_options, check_command
from drill.errors import Mistakes
from drill.seal import fingerprint, grouped


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
    assert "This proof holds." in capsys.readouterr().out
    assert checked("--check", laid.proof) == 0
    out = capsys.readouterr().out
    assert digits in " ".join(out.split())
    assert "holds" not in out


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
