"""RFC 8493: its worked examples, and bags made and validated by another implementation (the `bagit` library)."""

import hashlib
import logging
import unicodedata
from pathlib import Path

import bagit
import pytest

from drill.digests import Digester
from drill.manifests import Reading, read_manifest
from drill.model import Digest, Listed

NAMES = [
    "ABCD0001.DNG",
    "2026/heron ridge/cover.jpg",
    " lead",
    "*star",
    "per%cent",
    "100%25.jpg",
    "caf\u00e9.xmp",
    "a\nb",
]


def read(folder: Path, name: str, role: str = "promise") -> Reading:
    return read_manifest(name, base=folder, where="studio.toml", key="manifest", role=role)  # type: ignore[arg-type]


def put(folder: Path, name: str, text: str) -> None:
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(text.encode())


# --- examples of the RFC ----------------------------------------------------------------------------------------------


def test_the_basic_bag_of_section_4_1(tmp_path: Path) -> None:
    # Source: RFC 8493, section 4.1 (it writes "BagIt-version" with a small v; its payload bytes are not published).
    bag = tmp_path / "myfirstbag"
    put(bag, "bagit.txt", "BagIt-version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    manifest = (
        "49afbd86a1ca9f34b677a3f09655eae9 data/27613-h/images/q172.png\n"
        "408ad21d50cef31da4df6d9ed81b01a7 data/27613-h/images/q172.txt\n"
    )
    put(bag, "manifest-md5.txt", manifest)
    reading = read(tmp_path, "myfirstbag")
    assert reading.mistakes == ()
    assert reading.listed == (
        Listed("27613-h/images/q172.png", (Digest("md5", "49afbd86a1ca9f34b677a3f09655eae9"),)),
        Listed("27613-h/images/q172.txt", (Digest("md5", "408ad21d50cef31da4df6d9ed81b01a7"),)),
    )


def test_the_bag_with_fetch_txt_of_section_4_2(tmp_path: Path) -> None:
    # Source: RFC 8493, section 4.2; the figures are its own.
    bag = tmp_path / "highsmith-tahoe"
    put(bag, "bagit.txt", "BagIt-version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    put(bag, "manifest-md5.txt", "102b0e6effe208ef9b29864946de9e22 data/23364a.tif\n")
    put(bag, "fetch.txt", "https://cdn.loc.gov/master/pnp/highsm/23300/23364a.tif 216951362 data/23364a.tif\n")
    info = "Internal-Sender-Description: Download link found at\n  https://www.loc.gov/resource/highsm.23364/\n"
    put(bag, "bag-info.txt", info)
    reading = read(tmp_path, "highsmith-tahoe")
    assert reading.mistakes == ()
    assert reading.listed == (Listed("23364a.tif", (Digest("md5", "102b0e6effe208ef9b29864946de9e22"),), 216951362),)


def test_the_oxum_of_section_2_2_2_counts_files_after_the_point(tmp_path: Path) -> None:
    # Source: RFC 8493, section 2.2.2: "Payload-Oxum: 279164409832.1198" is 279164409832 octets in 1198 streams.
    put(tmp_path / "bag", "bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    put(tmp_path / "bag", "bag-info.txt", "Payload-Oxum: 279164409832.1198\n")
    manifest = "".join(f"{number:032x} data/{number}.tif\n" for number in range(1198))
    put(tmp_path / "bag", "manifest-md5.txt", manifest)
    assert read(tmp_path, "bag").mistakes == ()
    put(tmp_path / "bag", "manifest-md5.txt", manifest + f"{'0' * 32} data/more.tif\n")
    (mistake,) = read(tmp_path, "bag").mistakes
    assert "counts 1198 files, the manifests list 1199" in mistake.what


def test_the_surname_of_section_6_1_1_2_keeps_its_form(tmp_path: Path) -> None:
    # Source: RFC 8493, section 6.1.1.2: UTF-8 of the two forms; `unicodedata` agrees.
    composed, decomposed = bytes.fromhex("4ec3bac3b1657a").decode(), bytes.fromhex("4e75cc816ecc83657a").decode()
    assert unicodedata.normalize("NFD", composed) == decomposed
    put(tmp_path / "bag", "bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    put(tmp_path / "bag", "manifest-md5.txt", f"{'0' * 32} data/{composed}\n{'1' * 32} data/{decomposed}\n")
    reading = read(tmp_path, "bag")
    assert [one.path for one in reading.listed] == [composed, decomposed]
    assert reading.mistakes == ()
    assert any("accents" in warning for warning in reading.warnings)


@pytest.mark.parametrize(
    ("name", "kind"),
    [("md5", "md5"), ("sha1", "sha1"), ("sha256", "sha256"), ("sha512", "sha512"), ("SHA-512", "sha512")],
)
def test_algorithm_names_of_section_2_4(tmp_path: Path, name: str, kind: str) -> None:
    digester = Digester([kind])
    digester.update(b"x")
    put(tmp_path / "bag", "bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    put(tmp_path / "bag", f"manifest-{name}.txt", f"{digester.digests()[0].hex.upper()} data/x\n")
    assert read(tmp_path, "bag").listed == (Listed("x", digester.digests()),)


@pytest.mark.parametrize("encoded", ["%0A", "%0a", "%0D", "%0d", "%25"])
def test_only_three_characters_are_encoded(tmp_path: Path, encoded: str) -> None:
    # Source: RFC 8493, section 2.1.3: line feed, carriage return and percent sign, "and only those".
    put(tmp_path / "bag", "bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    put(tmp_path / "bag", "manifest-md5.txt", f"{'0' * 32} data/a{encoded}b%20c%2Fd%C3%A9%250A\n")
    assert read(tmp_path, "bag").listed[0].path == f"a{chr(int(encoded[1:], 16))}b%20c%2Fd%C3%A9%0A"


# --- the other implementation -----------------------------------------------------------------------------------------


@pytest.fixture
def made(tmp_path: Path) -> Path:
    """Have the library make a bag of files with odd names, in place."""
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    for name in NAMES:
        try:
            put(tmp_path / "bag", name, f"picture {name}")
        except OSError:
            continue  # a name that this file system does not take
    bagit.make_bag(str(tmp_path / "bag"), {"Contact-Name": "A Person"}, checksums=["md5", "sha256", "sha512"])
    return tmp_path / "bag"


def test_bags_that_the_library_makes_are_read(made: Path) -> None:
    reading = read(made.parent, "bag")
    assert [str(mistake) for mistake in reading.mistakes] == []
    there = {file.relative_to(made / "data").as_posix() for file in (made / "data").rglob("*") if file.is_file()}
    assert {one.path for one in reading.listed} == there
    for one in reading.listed:
        content = (made / "data" / one.path).read_bytes()
        expected = [Digest(kind, hashlib.new(kind, content).hexdigest()) for kind in ("md5", "sha256", "sha512")]
        assert list(one.digests) == expected


@pytest.mark.parametrize("damage", ["tag file", "tag manifest", "manifest line gone", "unlisted", "oxum"])
def test_what_the_library_calls_invalid_is_a_mistake_here(made: Path, damage: str) -> None:
    if damage == "tag file":
        put(made, "bag-info.txt", (made / "bag-info.txt").read_text() + "Contact-Email: someone@studio.example\n")
    elif damage == "tag manifest":
        put(made, "tagmanifest-md5.txt", f"{'0' * 32}  bagit.txt\n")
    elif damage == "manifest line gone":
        for manifest in made.glob("manifest-*.txt"):
            put(made, manifest.name, "\n".join(manifest.read_text().split("\n")[1:]))
    elif damage == "unlisted":
        put(made, "data/unlisted.dng", "x")
    else:
        # The tag manifests go, so that only the count is wrong.
        for manifest in made.glob("tagmanifest-*.txt"):
            manifest.unlink()
        put(made, "bag-info.txt", f"Payload-Oxum: 1.{len(NAMES) + 1}\n")
    assert not bagit.Bag(str(made)).is_valid()
    assert read(made.parent, "bag").mistakes


def test_damaged_payload_is_invalid_for_the_library_and_left_to_the_drill_here(made: Path) -> None:
    put(made, "data/ABCD0001.DNG", "Picture ABCD0001.DNG")
    assert not bagit.Bag(str(made)).is_valid()
    assert read(made.parent, "bag").mistakes == ()
