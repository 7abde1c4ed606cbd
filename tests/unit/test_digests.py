"""`drill.digests`: kinds and lengths, one pass over pieces and files, what it refuses."""

import hashlib
from pathlib import Path

import pytest

from drill.digests import KINDS, Digester, at_once, digest_file, hex_length, is_kind
from drill.manifests.lists import digits_of, kind_named, suffix


@pytest.mark.parametrize("kind", [*KINDS, "blake2b-8", "blake2b-256", "blake2b-504"])
def test_a_digest_has_the_length_that_its_kind_says(kind: str) -> None:
    digester = Digester([kind])
    digester.update(b"heron")
    (digest,) = digester.digests()
    assert is_kind(kind)
    assert digest.kind == kind
    assert len(digest.hex) == hex_length(kind)
    assert digest.hex == digest.hex.lower()
    bytes.fromhex(digest.hex)
    assert at_once([kind])(b"heron") == (digest,)


@pytest.mark.parametrize(
    "text",
    ["", "SHA256", "sha-256", "sha3", "crc32", "blake2b-512", "blake2b-0", "blake2b-12", "blake2b-520", "blake2s"],
)
def test_what_is_no_kind_is_refused(text: str) -> None:
    assert not is_kind(text)
    with pytest.raises(ValueError, match="no digest kind"):
        hex_length(text)
    with pytest.raises(ValueError, match="no digest kind"):
        Digester([text])
    with pytest.raises(ValueError, match="no digest kind"):
        at_once([text])


def test_many_kinds_in_one_pass_come_sorted_and_once() -> None:
    digester = Digester(["xxh64", "md5", "md5", "sha1"])
    digester.update(b"abc")
    assert [digest.kind for digest in digester.digests()] == ["md5", "sha1", "xxh64"]
    assert at_once(["xxh64", "md5", "md5", "sha1"])(b"abc") == digester.digests()


def test_the_size_counts_bytes_of_every_buffer_form() -> None:
    digester = Digester(["sha256"])
    wide = memoryview(bytearray(8)).cast("I")  # two items, eight bytes
    for chunk in (b"ab", bytearray(b"cd"), memoryview(b"ef"), wide):
        digester.update(chunk)
    assert digester.size == 14
    assert digester.digests()[0].hex == hashlib.sha256(b"abcdef" + bytes(8)).hexdigest()


def test_digests_may_be_asked_for_on_the_way() -> None:
    digester = Digester(["sha256"])
    digester.update(b"a")
    early = digester.digests()
    digester.update(b"b")
    assert early[0].hex == hashlib.sha256(b"a").hexdigest()
    assert digester.digests()[0].hex == hashlib.sha256(b"ab").hexdigest()


@pytest.mark.parametrize("size", [0, 1, 2**20 - 1, 2**20, 2**20 + 1, 3 * 2**20 + 17])
def test_a_file_is_read_whole_whatever_its_size(tmp_path: Path, size: int) -> None:
    content = bytes(i * 7 % 251 for i in range(1021)) * (size // 1021 + 1)
    file = tmp_path / "ABCD0001.DNG"
    file.write_bytes(content[:size])
    found = digest_file(file, ["md5", "blake2b"])
    assert found[0] == size
    assert [digest.hex for digest in found[1]] == [
        hashlib.blake2b(content[:size]).hexdigest(),
        hashlib.md5(content[:size]).hexdigest(),
    ]


def test_line_ends_and_control_z_are_bytes_like_others(tmp_path: Path) -> None:
    file = tmp_path / "notes.xmp"
    file.write_bytes(b"a\r\nb\x1ac\n")
    assert digest_file(file, ["sha1"])[1][0].hex == hashlib.sha1(b"a\r\nb\x1ac\n").hexdigest()


def test_a_missing_file_is_an_error_of_the_system(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        digest_file(tmp_path / "gone.dng", ["md5"])


def test_the_manifests_room_knows_every_kind() -> None:
    for kind in (*KINDS, "blake2b-256"):
        assert kind_named(kind) == kind
        assert digits_of(kind) == hex_length(kind)
        assert suffix(kind) == f".{kind}"
