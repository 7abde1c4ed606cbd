"""The real programs: lists that coreutils and xxhsum write are read here, and check lists that are written here.

Source of the facts: the programs themselves, run by the tests (seen with GNU coreutils 9.1 and xxhsum 0.8.1).
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from drill.digests import digest_file
from drill.manifests import format_list, read_manifest, suffix, write_list
from drill.model import Listed

pytestmark = pytest.mark.outside

# Names that lists get wrong; every one is a real file in the tests.
HOSTILE = [
    "ABCD0001.DNG",
    " b",
    "*c",
    " ",
    "trailing ",
    "two  spaces",
    "tab\there",
    "a) = b",
    "MD5 (a) = d41d8cd98f00b204e9800998ecf8427e",
    "(a)",
    "#comment",
    "back\\slash",
    "\\leading",
    "percent%0A.dng",
    "new\nline",
    "\nfirst",
    "return\rhere",
    "return at end\r",
    "\\n no escape",
    "\u00e9 composed",
    "e\u0301 decomposed",
    "caf\udce9 undecodable",
    "quote'\"`$",
    "2026/heron/ABCD0001.DNG",
    "-dash",
]
COREUTILS = {
    "md5": "md5sum",
    "sha1": "sha1sum",
    "sha224": "sha224sum",
    "sha256": "sha256sum",
    "sha384": "sha384sum",
    "sha512": "sha512sum",
    "blake2b": "b2sum",
}
XXHSUM = {"xxh32": "-H0", "xxh64": "-H1", "xxh128": "-H2", "xxh3": "-H3"}


def program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not on this machine")
    return found


def run(*arguments: str, folder: Path) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(arguments, cwd=folder, capture_output=True, check=False, timeout=60)


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """Lay out one file for every hostile name that this file system takes."""
    folder = tmp_path / "tree"
    for number, name in enumerate(HOSTILE):
        file = folder / name
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(b"picture %d" % number)
        except (OSError, ValueError):
            assert sys.platform != "linux", name
    return folder


def there(tree: Path) -> list[str]:
    return sorted(file.relative_to(tree).as_posix() for file in tree.rglob("*") if file.is_file())


def truth(tree: Path, kind: str, names: list[str]) -> list[Listed]:
    return [Listed(name, digest_file(tree / name, [kind])[1]) for name in names]


def read(folder: Path, name: str) -> list[Listed]:
    reading = read_manifest(name, base=folder, where="studio.toml", key="manifest", role="promise")
    assert [str(mistake) for mistake in reading.mistakes] == []
    return list(reading.listed)


@pytest.mark.parametrize("options", [[], ["--binary"], ["--tag"]], ids=["text", "binary", "tag"])
@pytest.mark.parametrize("kind", COREUTILS)
def test_lists_that_coreutils_writes_are_read(tree: Path, tmp_path: Path, kind: str, options: list[str]) -> None:
    # A promise refuses a name like "\leading"; as the name of a copy's file it is tried below.
    names = [name for name in there(tree) if not name.startswith("\\")]
    made = run(program(COREUTILS[kind]), *options, "--", *names, folder=tree)
    assert made.returncode == 0, made.stderr
    (tmp_path / f"list{suffix(kind)}").write_bytes(made.stdout)
    assert read(tmp_path, f"list{suffix(kind)}") == truth(tree, kind, names)


def test_a_name_that_begins_with_a_backslash_is_read_for_a_copy(tree: Path, tmp_path: Path) -> None:
    made = run(program("sha256sum"), "--", "\\leading", folder=tree)
    if made.returncode:
        pytest.skip("this file system takes no such name")
    (tmp_path / "list.sha256").write_bytes(made.stdout)
    reading = read_manifest("list.sha256", base=tmp_path, where="s", key="k", role="copy")
    assert list(reading.listed) == truth(tree, "sha256", ["\\leading"])


@pytest.mark.parametrize("bits", [8, 128, 256, 504])
def test_short_blake2b_tags_are_read(tree: Path, tmp_path: Path, bits: int) -> None:
    made = run(program("b2sum"), "-l", str(bits), "--tag", "ABCD0001.DNG", folder=tree)
    (tmp_path / "list.txt").write_bytes(made.stdout)
    assert read(tmp_path, "list.txt") == truth(tree, f"blake2b-{bits}", ["ABCD0001.DNG"])


def test_short_blake2b_lists_without_tags_are_read_by_their_ending(tree: Path, tmp_path: Path) -> None:
    made = run(program("b2sum"), "-l", "256", "ABCD0001.DNG", folder=tree)
    (tmp_path / "list.b2").write_bytes(made.stdout)
    assert read(tmp_path, "list.b2") == truth(tree, "blake2b-256", ["ABCD0001.DNG"])


@pytest.mark.parametrize("options", [[], ["--tag"]], ids=["gnu", "tag"])
@pytest.mark.parametrize("kind", XXHSUM)
def test_lists_that_xxhsum_writes_are_read(tree: Path, tmp_path: Path, kind: str, options: list[str]) -> None:
    # xxhsum 0.8.1 does not escape: a name with a line end breaks its own list in two, so such names are left out.
    names = [name for name in there(tree) if not {"\n", "\r"} & set(name) and not name.startswith(("\\", "-"))]
    made = run(program("xxhsum"), XXHSUM[kind], *options, *names, folder=tree)
    assert made.returncode == 0, made.stderr
    (tmp_path / f"list{suffix(kind)}").write_bytes(made.stdout)
    assert read(tmp_path, f"list{suffix(kind)}") == truth(tree, kind, names)


@pytest.mark.parametrize("kind", XXHSUM)
def test_little_endian_tags_are_turned_round(tree: Path, tmp_path: Path, kind: str) -> None:
    made = run(program("xxhsum"), XXHSUM[kind], "--little-endian", "--tag", "ABCD0001.DNG", folder=tree)
    assert b"_LE" in made.stdout
    (tmp_path / "list.txt").write_bytes(made.stdout)
    assert read(tmp_path, "list.txt") == truth(tree, kind, ["ABCD0001.DNG"])


def test_lists_with_one_space_pass_as_coreutils_takes_them(tree: Path, tmp_path: Path) -> None:
    names = ["ABCD0001.DNG", " b", "*c", " "]
    listed = truth(tree, "md5", names)
    (tmp_path / "list.md5").write_text("".join(f"{one.digests[0].hex} {one.path}\n" for one in listed))
    checked = run(program("md5sum"), "--check", "--strict", str(tmp_path / "list.md5"), folder=tree)
    assert checked.returncode == 0, checked.stderr
    assert read(tmp_path, "list.md5") == listed


@pytest.mark.parametrize("kind", COREUTILS)
def test_coreutils_checks_the_lists_written_here(tree: Path, tmp_path: Path, kind: str) -> None:
    names = there(tree)
    write_list(tmp_path / "list", ((one.digests[0], one.path) for one in truth(tree, kind, names)))
    checked = run(program(COREUTILS[kind]), "--check", "--strict", str(tmp_path / "list"), folder=tree)
    assert checked.returncode == 0, checked.stderr
    assert checked.stdout.count(b": OK\n") == len(names) > 0


@pytest.mark.parametrize("kind", COREUTILS)
def test_lists_written_here_are_those_of_coreutils_byte_for_byte(tree: Path, kind: str) -> None:
    names = there(tree)
    made = run(program(COREUTILS[kind]), "--", *names, folder=tree)
    if sys.platform == "win32":
        pytest.skip("there the programs mark every file as binary")
    assert format_list((one.digests[0], one.path) for one in truth(tree, kind, names)) == made.stdout


@pytest.mark.parametrize("kind", COREUTILS)
def test_a_changed_byte_fails_the_check(tree: Path, tmp_path: Path, kind: str) -> None:
    write_list(tmp_path / "list", ((one.digests[0], one.path) for one in truth(tree, kind, there(tree))))
    (tree / "ABCD0001.DNG").write_bytes(b"another picture")
    checked = run(program(COREUTILS[kind]), "--check", "--strict", str(tmp_path / "list"), folder=tree)
    assert checked.returncode == 1
    assert checked.stdout.count(b": FAILED\n") == 1


def test_coreutils_checks_short_blake2b_lists_written_here(tree: Path, tmp_path: Path) -> None:
    names = there(tree)
    write_list(tmp_path / "list", ((one.digests[0], one.path) for one in truth(tree, "blake2b-256", names)))
    checked = run(program("b2sum"), "--check", "--strict", str(tmp_path / "list"), folder=tree)
    assert checked.returncode == 0, checked.stderr


@pytest.mark.parametrize("kind", XXHSUM)
def test_xxhsum_checks_the_lists_written_here(tree: Path, tmp_path: Path, kind: str) -> None:
    # Its version 0.8.1 has no escapes: no list can tell it of a name with a newline, or with a return at its end.
    names = [name for name in there(tree) if "\n" not in name and not name.endswith("\r")]
    write_list(tmp_path / "list", ((one.digests[0], one.path) for one in truth(tree, kind, names)))
    checked = run(program("xxhsum"), "--check", "--strict", str(tmp_path / "list"), folder=tree)
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert checked.stdout.count(b": OK\n") == len(names) > 0


def test_format_and_write_give_the_same_bytes(tree: Path, tmp_path: Path) -> None:
    items = [(one.digests[0], one.path) for one in truth(tree, "sha256", there(tree))]
    write_list(tmp_path / "list", items)
    assert (tmp_path / "list").read_bytes() == format_list(items)
    assert os.fsencode("caf\udce9 undecodable") in format_list(items) or sys.platform != "linux"
