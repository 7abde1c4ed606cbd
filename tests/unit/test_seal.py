"""Sealing a folder, and checking folders that anybody may have made."""

import os
import shutil
from base64 import b64encode
from collections.abc import Callable, Sequence
from hashlib import sha256
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st
from sealed import KEY, NAMES, PARTS, Laid, lay

from drill.errors import Mistakes, Unfinished
from drill.report.seal_text import seal_text
from drill.seal import OWN_PARTS, Checked, check, fingerprint, merkle_root, read_fingerprint, root_of, seal
from drill.seal.lists import joined, list_lines, read_lines

DIGEST = "ab" * 32


@pytest.fixture
def laid(tmp_path: Path) -> Laid:
    return lay(tmp_path)


def sign_again(proof: Path, contents: bytes, key: Ed25519PrivateKey = KEY) -> None:
    """Put another list of contents there, with a signature that fits: what somebody who has the key could do."""
    (proof / "contents.sha256").write_bytes(contents)
    (proof / "contents.sha256.sig").write_bytes(key.sign(contents))


def said(found: Checked) -> dict[str, str]:
    return {fault.part: fault.what for fault in found.faults}


def test_what_a_seal_adds(laid: Laid) -> None:
    there = {file.name for file in laid.proof.iterdir()}
    assert there == {*PARTS, *OWN_PARTS}
    assert set(laid.sealed.parts) == there - {"contents.sha256", "contents.sha256.sig"}
    lines = (laid.proof / "deliverables.sha256").read_bytes().splitlines()
    assert [line.split(b"  ")[1].decode() for line in lines] == sorted(NAMES)
    assert laid.sealed.root == merkle_root(lines).hex()
    assert (laid.proof / "merkle-root.txt").read_text().splitlines()[0] == laid.sealed.root
    assert (laid.sealed.fingerprint, laid.sealed.pictures) == (fingerprint(KEY), 3)


def test_the_same_again_is_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    one, two = lay(tmp_path / "one").proof, lay(tmp_path / "two").proof
    for file in one.iterdir():
        assert file.read_bytes() == (two / file.name).read_bytes(), file.name


def test_the_root_is_known_before_the_seal(laid: Laid) -> None:
    digests = [(name, sha256(f"picture {n}".encode()).hexdigest()) for n, name in enumerate(NAMES)]
    assert root_of(digests) == root_of(digests[::-1]) == laid.sealed.root


@pytest.mark.parametrize(
    ("digests", "words"),
    [
        ([], "there must be some"),
        ([("../reed.jpg", DIGEST)], "climbs"),
        ([("/reed.jpg", DIGEST)], "absolute"),
        ([("reed.jpg", "ab" * 16)], "no SHA-256"),
        ([("reed.jpg", DIGEST), ("reed.jpg", "cd" * 32)], "two digests"),
    ],
)
def test_what_cannot_be_listed_is_not_sealed(tmp_path: Path, digests: Sequence[tuple[str, str]], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        seal(tmp_path, digests=digests, key=KEY)
    assert not list(tmp_path.iterdir())


def test_nothing_that_is_there_is_written_over(laid: Laid) -> None:
    before = {file.name: file.read_bytes() for file in laid.proof.iterdir()}
    with pytest.raises(ValueError, match="is there already"):
        seal(laid.proof, digests=[("reed.jpg", DIGEST)], key=KEY)
    assert {file.name: file.read_bytes() for file in laid.proof.iterdir()} == before


def test_only_plain_files_are_sealed(tmp_path: Path) -> None:
    (tmp_path / "deeper").mkdir()
    with pytest.raises(ValueError, match="deeper is no plain file"):
        seal(tmp_path, digests=[("reed.jpg", DIGEST)], key=KEY)


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(Unfinished, match="cannot be sealed"):
        seal(tmp_path / "nowhere", digests=[("reed.jpg", DIGEST)], key=KEY)


def test_without_a_fingerprint_nobody_is_vouched_for(tmp_path: Path) -> None:
    forged = lay(tmp_path, key=Ed25519PrivateKey.generate()).proof
    unknown = check(forged)
    assert (unknown.faults, unknown.is_known) == ((), False)
    text = " ".join(seal_text(unknown, 80).split())
    assert "anybody can seal a folder" in text
    assert "holds." not in text
    known = check(forged, fingerprint=fingerprint(KEY))
    assert "another key than the one you named" in said(known)["public-key.pem"]
    assert not known.is_known


def test_a_good_one_in_words(laid: Laid) -> None:
    found = check(laid.proof, fingerprint=fingerprint(KEY), pictures=laid.pictures)
    assert found.is_known
    assert found.compared is not None
    assert (found.faults, found.pictures, found.compared.right, found.root) == ((), 3, 3, laid.sealed.root)
    text = " ".join(seal_text(found, 80).split())
    assert text.startswith("The seal holds. All 9 files of the proof are as they were sealed")
    assert "each of them is in your folder" in text


@pytest.mark.parametrize(
    ("name", "words"),
    [("../letter.pdf", "climbs"), ("deeper/letter.pdf", "cannot be a part"), ("/etc/hostname", "absolute"),
     ("contents.sha256.sig", "cannot be a part")],
)  # fmt: skip
def test_a_list_of_contents_that_leads_elsewhere(laid: Laid, name: str, words: str) -> None:
    lines = [*(laid.proof / "contents.sha256").read_bytes().splitlines(), f"{DIGEST}  {name}".encode()]
    sign_again(laid.proof, joined(sorted(lines, key=lambda line: line[66:])))
    assert words in said(check(laid.proof))["contents.sha256"]


@pytest.mark.parametrize(
    "change",
    [
        lambda content: b"",
        lambda content: content[:-1],
        lambda content: content.replace(b"\n", b"\r\n"),
        lambda content: content.upper(),
        lambda content: content + content[-30:],
        lambda content: content + b"\n",
        lambda content: b"# a comment\n" + content,
        lambda content: b"\xef\xbb\xbf" + content,
        lambda content: content.replace(b"  ", b" *"),
        lambda content: b"\n".join(content.splitlines()[::-1]) + b"\n",
        lambda content: bytes(range(256)) * 20,
    ],
)
def test_malformed_lists_with_a_right_signature(laid: Laid, change: Callable[[bytes], bytes]) -> None:
    content = (laid.proof / "contents.sha256").read_bytes()
    sign_again(laid.proof, change(content))
    assert check(laid.proof, fingerprint=fingerprint(KEY)).faults


def test_without_a_list_nothing_is_said_to_be_added(laid: Laid) -> None:
    (laid.proof / "contents.sha256").write_bytes(b"not a list")
    assert set(said(check(laid.proof))) == {"contents.sha256"}


def test_a_part_that_a_signed_list_leaves_out(laid: Laid) -> None:
    lines = (laid.proof / "contents.sha256").read_bytes().splitlines()
    sign_again(laid.proof, joined(line for line in lines if b"merkle-root" not in line))
    assert "nobody has sealed it" in said(check(laid.proof))["merkle-root.txt"]


def test_a_root_of_another_list_with_a_right_signature(laid: Laid) -> None:
    root = laid.proof / "merkle-root.txt"
    before, after = sha256(root.read_bytes()).hexdigest(), DIGEST.encode() + b"\n"
    root.write_bytes(after)
    contents = (laid.proof / "contents.sha256").read_bytes()
    sign_again(laid.proof, contents.replace(before.encode(), sha256(after).hexdigest().encode()))
    assert said(check(laid.proof)) == {
        "merkle-root.txt": f"does not fit deliverables.sha256: the root of that list is {laid.sealed.root}"
    }


def _pem(point: bytes) -> bytes:
    """Write 32 bytes as an Ed25519 public key (RFC 8410, section 4)."""
    body = b64encode(bytes.fromhex("302a300506032b6570032100") + point)
    return b"-----BEGIN PUBLIC KEY-----\n" + body + b"\n-----END PUBLIC KEY-----\n"


@pytest.mark.parametrize(
    "key",
    [
        b"",
        b"no key",
        b"-----BEGIN PUBLIC KEY-----\nAAAA\n-----END PUBLIC KEY-----\n",
        # A point that is on no curve, and the neutral point, whose holder nobody is.
        _pem(b"\xff" * 32),
        _pem(b"\x01" + bytes(31)),
    ],
)
def test_what_is_no_key(laid: Laid, key: bytes) -> None:
    (laid.proof / "public-key.pem").write_bytes(key)
    assert "public-key.pem" in said(check(laid.proof))


def test_links_pipes_and_folders_are_no_parts(laid: Laid) -> None:
    outside = laid.proof.parent / "letter.pdf"
    (laid.proof / "letter.pdf").replace(outside)
    (laid.proof / "record.json").unlink()
    (laid.proof / "record.json").mkdir()
    (laid.proof / "contents.sha256.sig").unlink()
    try:
        (laid.proof / "letter.pdf").symlink_to(outside)
        os.mkfifo(laid.proof / "contents.sha256.sig")
    except (OSError, AttributeError):
        pytest.skip("links or pipes cannot be made here")
    assert said(check(laid.proof)) == {
        "letter.pdf": "is a link, and no file",
        "record.json": "is no file",
        "contents.sha256.sig": "is no file",
    }


def test_huge_files_are_not_read(laid: Laid) -> None:
    for part in ("letter.pdf", "deliverables.sha256", "public-key.pem", "contents.sha256.sig"):
        with (laid.proof / part).open("r+b") as file:
            file.truncate(1 << 40)  # holes: a tebibyte that takes no room
    faults = said(check(laid.proof))
    assert set(faults) == {"letter.pdf", "deliverables.sha256", "public-key.pem", "contents.sha256.sig"}
    assert all("is larger than it can be" in what for what in faults.values())


@pytest.mark.skipif(os.name != "posix" or os.getuid() == 0, reason="everything can be read here")
def test_a_part_that_cannot_be_read_is_said(laid: Laid) -> None:
    (laid.proof / "letter.pdf").chmod(0)
    assert "cannot be read" in said(check(laid.proof))["letter.pdf"]


def test_what_a_computer_left_is_no_fault(laid: Laid) -> None:
    for name in (".DS_Store", "Thumbs.db", "desktop.ini", "._letter.pdf"):
        (laid.proof / name).write_bytes(b"\x00\x05\x16\x07\x00\x02\x00\x00")
    found = check(laid.proof)
    assert (found.faults, len(found.left)) == ((), 4)
    assert "Most likely left here by a computer" in seal_text(found, 80)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("._letter.pdf", b"<h1>Pay here</h1>"),
        ("._other.html", b"\x00\x05\x16\x07"),
        ("._", b"\x00\x05\x16\x07"),
        (".DS_Store", None),
        (".DS_Store.html", b""),
    ],
)
def test_what_a_computer_does_not_leave_was_added(laid: Laid, name: str, content: bytes | None) -> None:
    if content is None:
        (laid.proof / name).mkdir()
    else:
        (laid.proof / name).write_bytes(content)
    assert "was added after" in said(check(laid.proof))[name]


def test_a_folder_without_a_seal_is_a_mistake(tmp_path: Path, laid: Laid) -> None:
    (tmp_path / "file").write_text("")
    for folder in (laid.pictures, tmp_path / "nowhere", tmp_path / "file"):
        with pytest.raises(Mistakes) as raised:
            check(folder)
        assert str(folder) in str(raised.value)


def test_a_folder_with_too_much_in_it_is_a_mistake(laid: Laid) -> None:
    for number in range(1001):
        (laid.proof / str(number)).touch()
    with pytest.raises(Mistakes, match="more than 1000 files"):
        check(laid.proof)


def test_pictures_that_are_not_the_ones(laid: Laid) -> None:
    (laid.pictures / NAMES[0]).write_bytes(b"picture 1")
    (laid.pictures / NAMES[1]).unlink()
    found = check(laid.proof, pictures=laid.pictures)
    assert found.compared is not None
    assert found.faults == ()
    assert found.compared.right == 1
    assert [(fault.part, fault.what) for fault in found.compared.faults] == [
        (NAMES[0], "has other bytes than those that were listed"),
        (NAMES[1], "is missing"),
    ]


def test_pictures_are_found_wherever_the_client_put_them(laid: Laid) -> None:
    flat = laid.pictures.parent / "flat"
    flat.mkdir()
    for name in NAMES:
        (laid.pictures / name).replace(flat / Path(name).name.upper())
    found = check(laid.proof, pictures=flat).compared
    assert found is not None
    assert (found.right, found.faults) == (3, ())
    (flat / "REED-02.JPG").write_bytes(b"edited since")
    (flat / "REED-03.JPG").unlink()
    found = check(laid.proof, pictures=flat).compared
    assert found is not None
    assert [(fault.part, fault.what) for fault in found.faults] == [
        (NAMES[1], "has other bytes than those that were listed"),
        (NAMES[2], "is missing"),
    ]


def test_a_picture_outside_the_folder_is_none(laid: Laid) -> None:
    (laid.pictures / NAMES[0]).replace(laid.pictures.parent / "kept.jpg")
    shutil.move(laid.pictures / NAMES[1], laid.pictures / "moved.jpg")
    try:
        (laid.pictures / NAMES[0]).symlink_to(laid.pictures.parent / "kept.jpg")
        (laid.pictures / NAMES[1]).symlink_to(laid.pictures / "moved.jpg")
    except OSError:
        pytest.skip("links cannot be made here")
    found = check(laid.proof, pictures=laid.pictures).compared
    assert found is not None
    assert [(fault.part, fault.what) for fault in found.faults] == [
        (NAMES[0], "is a link that leads out of the folder")
    ]


def test_the_wrong_folder_of_pictures_is_one_sentence(laid: Laid) -> None:
    found = check(laid.proof, pictures=laid.proof)
    assert found.compared is not None
    assert found.compared.is_elsewhere
    assert "It lists 3 pictures, and none was found" in seal_text(found, 80)
    with pytest.raises(Mistakes, match="is no folder"):
        check(laid.proof, pictures=laid.proof / "letter.pdf")


def test_names_cannot_move_the_cursor(laid: Laid) -> None:
    try:
        (laid.proof / "x\x1b[2J\n\u202e").write_text("")
    except OSError:
        pytest.skip("such names cannot be made here")
    assert "\\x1b[2J\\x0a\\u202e: was added" in seal_text(check(laid.proof), 80)


def test_fingerprints_as_people_copy_them() -> None:
    digits = fingerprint(KEY)
    for text in (
        digits,
        digits.upper(),
        f" {digits[:32]}\n{digits[32:]} ",
        ":".join(digits[n : n + 2] for n in range(0, 64, 2)),
    ):
        assert read_fingerprint(text) == digits
    for text in ("", digits[:63], digits + "0", digits[:63] + "g", digits[:8]):
        with pytest.raises(ValueError, match="64 digits"):
            read_fingerprint(text)


@pytest.mark.parametrize(
    "line",
    [
        rf"\{DIGEST}  needless.jpg",
        rf"\{DIGEST}  un\known.jpg",
        rf"\{DIGEST}  return\rin, which shasum does not know.jpg",
        f"{DIGEST}  bare\\backslash.jpg",
        f"{DIGEST}  return at the end.jpg\r",
        f" {DIGEST}  reed.jpg",
        f"SHA256 (reed.jpg) = {DIGEST}",
    ],
)
def test_what_another_reader_may_take_otherwise_is_no_line(line: str) -> None:
    with pytest.raises(ValueError, match="line 1"):
        read_lines(f"{line}\n".encode())


_NAMES = st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=8).map(lambda t: f"r{t}d")


@given(st.dictionaries(_NAMES, st.binary(min_size=32, max_size=32).map(bytes.hex), max_size=6))
def test_a_list_is_read_back_as_it_was_written(named: dict[str, str]) -> None:
    named = {name: digest for name, digest in named.items() if ".." not in name and not name.startswith("r:")}
    assert dict(read_lines(joined(list_lines(named.items())))) == named
