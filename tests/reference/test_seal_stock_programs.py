"""A sealed folder checked without this program: HOW-TO-CHECK.txt, line by line, with the programs that it names.

Judges: GNU sha256sum, Perl's shasum, OpenSSL from version 3. On a Mac shasum stands for sha256sum, as the text says.
"""

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sealed import KEY, Laid, lay

from drill.seal import fingerprint

pytestmark = pytest.mark.outside
SUMS = ("sha256sum", "shasum -a 256")
AWKWARD = (
    "a\\b.jpg",
    "line\nbreak.jpg",
    "both\\\n.jpg",
    "return\rin.jpg",
    " space first.jpg",
    "*star.jpg",
    "#hash.jpg",
    "Ærø 葦.jpg",
)
STEPS = 4


def commands(proof: Path, sums: str) -> list[str]:
    """Return the commands of the text, in order, in the words of one system."""
    text = (proof / "HOW-TO-CHECK.txt").read_text(encoding="ascii")
    found = re.findall(r"^    (\S.*)$", text, re.MULTILINE)
    typed = [line for line in found if line.startswith(("openssl", "sha256sum"))]
    assert len(typed) == STEPS
    return [line.replace("sha256sum", sums) for line in typed]


def typed(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run one line as it is typed, in a folder."""
    return subprocess.run(["sh", "-c", command], cwd=folder, capture_output=True, text=True, check=False)


def follow(laid: Laid, sums: str) -> list[subprocess.CompletedProcess[str]]:
    """Do what the text says, the copying of the list included."""
    *first, last = commands(laid.proof, sums)
    shutil.copy(laid.proof / "deliverables.sha256", laid.pictures)
    return [*(typed(command, laid.proof) for command in first), typed(last, laid.pictures)]


@pytest.fixture(params=SUMS)
def sums(request: pytest.FixtureRequest) -> str:
    word = str(request.param)
    for program in (word.split(maxsplit=1)[0], "openssl"):
        if shutil.which(program) is None:
            pytest.skip(f"{program} is not here")
    return word


def test_the_text_line_by_line(tmp_path: Path, sums: str) -> None:
    laid = lay(tmp_path)
    whose, signed, parts, pictures = follow(laid, sums)
    assert whose.stdout.split()[0] == fingerprint(KEY)
    assert "Signature Verified Successfully" in signed.stdout + signed.stderr
    assert parts.stdout.splitlines() == [f"{name}: OK" for name in laid.sealed.parts]
    assert len(pictures.stdout.splitlines()) == laid.sealed.pictures
    assert all(line.endswith(": OK") for line in pictures.stdout.splitlines())
    assert [step.returncode for step in (whose, signed, parts, pictures)] == [0, 0, 0, 0]


def test_names_that_both_programs_read(tmp_path: Path, sums: str) -> None:
    laid = lay(tmp_path, names=AWKWARD)
    pictures = follow(laid, sums)[3]
    assert (pictures.returncode, pictures.stderr) == (0, "")


@pytest.mark.parametrize(
    ("part", "fails"),
    [
        ("letter.pdf", [2]),
        ("letter.html", [2]),
        ("record.json", [2]),
        ("merkle-root.txt", [2]),
        ("HOW-TO-CHECK.txt", [2]),
        ("deliverables.sha256", [2, 3]),
        ("contents.sha256", [1, 2]),
        ("contents.sha256.sig", [1]),
    ],
)
def test_the_step_that_notices_a_change(tmp_path: Path, sums: str, part: str, fails: list[int]) -> None:
    laid = lay(tmp_path)
    content = bytearray((laid.proof / part).read_bytes())
    if part == "HOW-TO-CHECK.txt":  # still to be followed
        content += b"Never mind step 2.\n"
    else:  # in a list, a digit for a digit: a line that is none gets a warning from sha256sum, and no more
        content[0] = ord("1" if content[0] == ord("0") else "0")
    (laid.proof / part).write_bytes(content)
    assert [number for number, step in enumerate(follow(laid, sums)) if step.returncode] == fails


def test_somebody_elses_seal_shows_in_the_first_step_alone(tmp_path: Path, sums: str) -> None:
    other = Ed25519PrivateKey.generate()
    steps = follow(lay(tmp_path, key=other), sums)
    assert [step.returncode for step in steps] == [0, 0, 0, 0]
    assert steps[0].stdout.split()[0] == fingerprint(other) != fingerprint(KEY)


def test_openssl_writes_the_key_as_the_seal_does(tmp_path: Path) -> None:
    laid = lay(tmp_path)
    written = typed("openssl pkey -pubin -in public-key.pem", laid.proof)
    assert written.stdout.encode() == (laid.proof / "public-key.pem").read_bytes()
