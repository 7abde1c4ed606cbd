"""The law of the seal: whatever is changed in a sealed folder, by a byte or by a name, its check says so."""

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sealed import KEY, PARTS, lay

from drill.seal import OWN_PARTS, check, fingerprint

ALL_PARTS = sorted([*PARTS, *OWN_PARTS])
_Change = Callable[[bytearray, int, int], None]


def _flip(content: bytearray, at: int, value: int) -> None:
    content[at % len(content)] ^= value


def _insert(content: bytearray, at: int, value: int) -> None:
    content.insert(at % (len(content) + 1), value)


def _delete(content: bytearray, at: int, value: int) -> None:
    del content[at % len(content)]


def _cut(content: bytearray, at: int, value: int) -> None:
    del content[at % len(content) :]


@pytest.fixture(scope="module")
def pristine(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return lay(tmp_path_factory.mktemp("pristine")).proof


def faults_after(pristine: Path, change: Callable[[Path], None]) -> set[str]:
    """Return the parts with a fault in a copy of the folder that was changed, by a check that knows no fingerprint; to
    know one may only tell more."""
    with tempfile.TemporaryDirectory() as folder:
        proof = Path(folder) / "proof"
        shutil.copytree(pristine, proof)
        change(proof)
        found = check(proof)
        assert set(found.faults) <= set(check(proof, fingerprint=fingerprint(KEY)).faults)
        return {fault.part for fault in found.faults}


def test_what_is_as_it_was_has_no_fault(pristine: Path) -> None:
    assert faults_after(pristine, lambda proof: None) == set()


@given(
    part=st.sampled_from(ALL_PARTS),
    change=st.sampled_from([_flip, _insert, _delete, _cut]),
    at=st.integers(0, 1 << 20),
    value=st.integers(1, 255),
)
def test_a_changed_byte_is_said(pristine: Path, part: str, change: _Change, at: int, value: int) -> None:
    def changed(proof: Path) -> None:
        content = bytearray((proof / part).read_bytes())
        change(content, at, value)
        (proof / part).write_bytes(content)

    found = faults_after(pristine, changed)
    # A change of the signature shows in what it is over.
    assert part in found or (part == "contents.sha256.sig" and found == {"contents.sha256"})


@given(part=st.sampled_from(ALL_PARTS))
def test_a_part_that_is_gone_is_said(pristine: Path, part: str) -> None:
    assert part in faults_after(pristine, lambda proof: (proof / part).unlink())


_NAMES = st.text("abcdexyz-_. ", min_size=1, max_size=12).filter(
    lambda name: name.strip(". ") == name and not name.startswith("._") and name not in ALL_PARTS
)


@given(name=_NAMES, content=st.binary(max_size=20))
def test_a_file_that_was_added_is_said(pristine: Path, name: str, content: bytes) -> None:
    def changed(proof: Path) -> None:
        (proof / name).write_bytes(content)

    assert faults_after(pristine, changed) == {name}


@given(part=st.sampled_from(ALL_PARTS), name=_NAMES)
def test_a_part_under_another_name_is_said(pristine: Path, part: str, name: str) -> None:
    def changed(proof: Path) -> None:
        (proof / part).rename(proof / name)

    assert part in faults_after(pristine, changed)


@given(one=st.sampled_from(ALL_PARTS), other=st.sampled_from(ALL_PARTS))
def test_a_part_in_the_place_of_another_is_said(pristine: Path, one: str, other: str) -> None:
    def changed(proof: Path) -> None:
        (proof / other).write_bytes((proof / one).read_bytes())

    assert bool(faults_after(pristine, changed)) == (one != other)
