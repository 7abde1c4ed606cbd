"""`drill.manifests`: BagIt folders, what makes a promised one invalid, and what is kept of a copy's."""

import hashlib
import os
from pathlib import Path

import pytest

from drill.manifests import Reading, read_manifest
from drill.model import Digest, Listed

DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
OLD = b"BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n"
PAYLOAD = {"raw/ABCD0001.DNG": b"heron", "raw/ABCD0002.DNG": b"ridge", "deliver/cover.jpg": b"cover"}


def lines(kind: str, files: dict[str, bytes]) -> bytes:
    return b"".join(
        b"%s  %s\n" % (hashlib.new(kind, content).hexdigest().encode(), os.fsencode(name))
        for name, content in files.items()
    )


def payload(kind: str, files: dict[str, bytes] = PAYLOAD) -> bytes:
    return lines(kind, {f"data/{name}": content for name, content in files.items()})


def lay(folder: Path, **parts: bytes | None) -> Path:
    """Lay out a valid bag; each part (a file's name, `_` for `-` and `__` for `.`) replaces one, None leaves it out."""
    bag = folder / "bag"
    tags: dict[str, bytes | None] = {"bagit.txt": DECLARATION, "manifest-sha256.txt": payload("sha256")}
    tags |= {name.replace("__", ".").replace("_", "-"): content for name, content in parts.items()}
    for name, content in PAYLOAD.items():
        put(bag, f"data/{name}", content)
    for name, part in tags.items():
        if part is not None:
            put(bag, name, part)
    return bag


def put(bag: Path, name: str, content: bytes) -> None:
    (bag / name).parent.mkdir(parents=True, exist_ok=True)
    (bag / name).write_bytes(content)


def read(folder: Path, role: str = "promise") -> Reading:
    return read_manifest("bag", base=folder, where="studio.toml", key="shoots.heron.manifest", role=role)  # type: ignore[arg-type]


def said(reading: Reading) -> list[str]:
    return [str(mistake) for mistake in reading.mistakes]


def names(reading: Reading) -> list[str]:
    return [one.path for one in reading.listed]


def link(at: Path, to: str | Path) -> None:
    try:
        at.symlink_to(to)
    except OSError:
        pytest.skip("links cannot be made here")


# --- a valid bag ------------------------------------------------------------------------------------------------------


def test_a_promise_drops_data_and_a_copy_keeps_it(tmp_path: Path) -> None:
    bag = lay(tmp_path)
    promise, copy = read(tmp_path), read(tmp_path, "copy")
    digests = [(Digest("sha256", hashlib.sha256(content).hexdigest()),) for content in PAYLOAD.values()]
    assert promise == Reading(tuple(map(Listed, PAYLOAD, digests)), (), (), (bag,))
    assert copy == Reading(tuple(map(Listed, (f"data/{name}" for name in PAYLOAD), digests)), (), (), (bag,))


def test_several_manifests_give_one_name_several_digests(tmp_path: Path) -> None:
    lay(tmp_path, manifest_md5__txt=payload("md5"))
    reading = read(tmp_path)
    assert reading.mistakes == ()
    assert [tuple(digest.kind for digest in one.digests) for one in reading.listed] == [("md5", "sha256")] * 3


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_lines_may_end_in_any_of_three_ways(tmp_path: Path, end: bytes) -> None:
    # Source: RFC 8493, section 2.3.
    manifest = payload("sha256").replace(b"\n", end)
    info = b"Contact-Name: A Person" + end + b"Payload-Oxum: 15.3" + end
    lay(tmp_path, bagit__txt=DECLARATION.replace(b"\n", end), manifest_sha256__txt=manifest, bag_info__txt=info)
    reading = read(tmp_path)
    assert (said(reading), reading.warnings, names(reading)) == ([], (), list(PAYLOAD))


@pytest.mark.parametrize("gap", [b" ", b"\t", b"   ", b" \t "])
def test_any_white_space_parts_digest_and_name(tmp_path: Path, gap: bytes) -> None:
    lay(tmp_path, manifest_sha256__txt=payload("sha256").replace(b"  ", gap))
    reading = read(tmp_path)
    assert (said(reading), reading.warnings, names(reading)) == ([], (), list(PAYLOAD))


@pytest.mark.parametrize("encoding", ["ISO-8859-1", "UTF-16", "utf_8", "UTF8"])
def test_manifests_are_in_the_encoding_that_bagit_txt_names(tmp_path: Path, encoding: str) -> None:
    text = f"{hashlib.sha256(b'x').hexdigest()}  data/caf\u00e9.dng\n"
    bag = lay(
        tmp_path,
        bagit__txt=DECLARATION.replace(b"UTF-8", encoding.encode()),
        manifest_sha256__txt=text.encode(encoding),
    )
    for name in PAYLOAD:
        (bag / "data" / name).unlink()
    reading = read(tmp_path)
    assert (said(reading), names(reading)) == ([], ["caf\u00e9.dng"])


def test_other_encodings_than_the_one_named_are_told(tmp_path: Path) -> None:
    lay(
        tmp_path,
        bagit__txt=DECLARATION.replace(b"UTF-8", b"US-ASCII"),
        manifest_sha256__txt=payload("sha256") + b"00  data/caf\xc3\xa9\n",
    )
    assert any("is not text in" in one for one in said(read(tmp_path)))


def test_missing_and_damaged_payload_is_for_the_drill_to_find(tmp_path: Path) -> None:
    bag = lay(tmp_path)
    (bag / "data/raw/ABCD0001.DNG").unlink()
    (bag / "data/raw/ABCD0002.DNG").write_bytes(b"other bytes")
    assert (said(read(tmp_path)), read(tmp_path).warnings) == ([], ())
    for file in ("raw/ABCD0002.DNG", "deliver/cover.jpg"):
        (bag / "data" / file).unlink()
    for folder in ("raw", "deliver", ""):
        (bag / "data" / folder).rmdir()
    assert (said(read(tmp_path)), names(read(tmp_path))) == ([], list(PAYLOAD))


def test_bags_and_lists_under_one_glob_merge(tmp_path: Path) -> None:
    bag = lay(tmp_path)
    listed = lines("md5", {"raw/ABCD0001.DNG": b"heron", "extra.jpg": b"extra"})
    (tmp_path / "more.md5").write_bytes(listed)
    for pattern in ("*", "**"):  # what ** finds inside the bag belongs to the bag
        reading = read_manifest(pattern, base=tmp_path, where="s", key="k", role="promise")
        assert said(reading) == []
        assert names(reading) == [*PAYLOAD, "extra.jpg"]
        assert [digest.kind for digest in reading.listed[0].digests] == ["md5", "sha256"]
        assert reading.files == (bag, tmp_path / "more.md5")


# --- bagit.txt --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "declaration",
    [
        b"",
        b"BagIt-Version: 1.0\n",
        b"Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n",
        DECLARATION + b"More: things\n",
        b"\xef\xbb\xbf" + DECLARATION,
        b"BagIt-Version: one\nTag-File-Character-Encoding: UTF-8\n",
        b"BagIt-Version: 2.0\nTag-File-Character-Encoding: UTF-8\n",
        b"BagIt-Version : 1.0\nTag-File-Character-Encoding: UTF-8\n",
        b"BagIt-Version:  1.0\nTag-File-Character-Encoding: UTF-8\n",
        b"BagIt-Version: 1.0 \nTag-File-Character-Encoding: UTF-8\n",
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: heron\n",
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: rot13\n",
    ],
)
def test_a_bad_bagit_txt_makes_a_promise_invalid_and_stops_no_copy(tmp_path: Path, declaration: bytes) -> None:
    lay(tmp_path, bagit__txt=declaration)
    promise, copy = read(tmp_path), read(tmp_path, "copy")
    assert {mistake.where for mistake in promise.mistakes} == {"bag/bagit.txt"}
    assert copy.mistakes == ()
    assert len(copy.warnings) == len(promise.mistakes)
    assert names(copy) == [f"data/{name}" for name in PAYLOAD]


def test_before_1_0_white_space_in_bagit_txt_is_free(tmp_path: Path) -> None:
    # Source: RFC 8493, section 2.2.2, on labels of earlier versions.
    lay(tmp_path, bagit__txt=b"BagIt-Version:   0.96 \nTag-File-Character-Encoding:\tUTF-8 \n")
    assert (said(read(tmp_path)), names(read(tmp_path))) == ([], list(PAYLOAD))


# --- payload manifests ------------------------------------------------------------------------------------------------


def test_a_bag_needs_a_payload_manifest(tmp_path: Path) -> None:
    lay(tmp_path, manifest_sha256__txt=None)
    for role in ("promise", "copy"):
        assert any("has no payload manifest" in one for one in said(read(tmp_path, role)))


def test_a_bag_that_lists_nothing_is_a_mistake(tmp_path: Path) -> None:
    bag = lay(tmp_path, manifest_sha256__txt=b"")
    for role in ("promise", "copy"):
        assert "bag: lists nothing; write the bag's manifests again, or leave it out" in said(read(tmp_path, role))
    assert bag.is_dir()


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("/etc/passwd", "outside the payload"),
        ("../data/x", "outside the payload"),
        ("~root/x", "outside the payload"),
        ("~/x", "outside the payload"),
        ("C:\\x", "outside the payload"),
        ("C:/data/x", "outside the payload"),
        ("\\\\?\\C:\\x", "outside the payload"),
        ("bagit.txt", "outside the payload"),
        ("database/x", "outside the payload"),
        ("data", "outside the payload"),
        ("data/", "names no file"),
        ("data/raw/", "names no file"),
        ("data/../../x", "climbs"),
        ("data/raw/../../../x", "climbs"),
        ("data/..\\..\\x", "climbs"),
        ("data/C:/x", "drive letter"),
        ("data/\\\\?\\C:\\x", "absolute"),
        ("data/%2e%2e/x", None),  # only three codes are decoded; this is a folder of that name
    ],
)
def test_paths_that_lead_out_of_the_payload_are_refused(tmp_path: Path, path: str, why: str | None) -> None:
    # Source: RFC 8493, section 5.1 (special directory characters) and 2.1.3.
    lay(tmp_path, manifest_sha256__txt=payload("sha256") + f"{'0' * 64}  {path}\n".encode())
    found = said(read(tmp_path))
    if why is None:
        assert found == []
    else:
        (mistake,) = found
        assert mistake.startswith("bag/manifest-sha256.txt: line 4: ")
        assert why in mistake


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"0000  data/x", "4 hex digits; a sha256"),
        (b"not a checksum line", "is not written like"),
        (b"0" * 64, "is not written like"),
        (b"f" * 64 + b"  data/raw/ABCD0001.DNG", "has another sha256 on line 1"),
        (b"0" * 64 + b"  data/" + b"x" * 70_000, "is longer than 64 KiB"),
    ],
)
def test_a_bad_manifest_line_is_a_mistake_with_its_number(tmp_path: Path, line: bytes, why: str) -> None:
    lay(tmp_path, manifest_sha256__txt=payload("sha256") + line + b"\n")
    for role in ("promise", "copy"):
        (mistake,) = said(read(tmp_path, role))
        assert mistake.startswith("bag/manifest-sha256.txt: line 4: ")
        assert why in mistake


def test_at_most_twenty_mistakes_of_a_manifest_are_told(tmp_path: Path) -> None:
    lay(tmp_path, manifest_sha256__txt=payload("sha256") + b"rubbish\n" * 50)
    reading = read(tmp_path)
    assert len(reading.mistakes) == 21
    assert "and 30 more" in str(reading.mistakes[-1])


def test_from_1_0_every_manifest_lists_every_file(tmp_path: Path) -> None:
    fewer = {name: PAYLOAD[name] for name in list(PAYLOAD)[:2]}
    lay(tmp_path, manifest_md5__txt=payload("md5", fewer))
    assert said(read(tmp_path)) == [
        "bag/manifest-md5.txt: does not list data/deliver/cover.jpg, which another manifest lists"
    ]
    assert read(tmp_path, "copy").mistakes == ()


def test_before_1_0_one_manifest_is_enough(tmp_path: Path) -> None:
    first = dict(list(PAYLOAD.items())[:2])
    last = dict(list(PAYLOAD.items())[2:])
    lay(tmp_path, bagit__txt=OLD, manifest_md5__txt=payload("md5", first), manifest_sha256__txt=payload("sha256", last))
    reading = read(tmp_path)
    assert (said(reading), names(reading)) == ([], list(PAYLOAD))


@pytest.mark.parametrize("declaration", [DECLARATION, OLD])
def test_a_payload_file_in_no_manifest_is_a_mistake(tmp_path: Path, declaration: bytes) -> None:
    bag = lay(tmp_path, bagit__txt=declaration)
    put(bag, "data/raw/ABCD0003.DNG", b"not listed")
    assert said(read(tmp_path)) == [
        "bag: data/raw/ABCD0003.DNG is in no manifest; list it in every manifest, or take it out of data/"
    ]
    assert (said(read(tmp_path, "copy")), read(tmp_path, "copy").warnings) == ([], ())


def test_system_droppings_are_only_warned_of(tmp_path: Path) -> None:
    bag = lay(tmp_path)
    for name in (".DS_Store", "raw/.DS_Store", "raw/Thumbs.db", "raw/._ABCD0001.DNG"):
        put(bag, f"data/{name}", b"dropped")
    reading = read(tmp_path)
    assert said(reading) == []
    assert reading.warnings == (
        "bag: system files (.DS_Store, Thumbs.db, ._*) in data/ that no manifest lists, left out: 4",
    )
    assert names(reading) == list(PAYLOAD)


def test_names_are_compared_after_one_normalisation(tmp_path: Path) -> None:
    # Source: RFC 8493, section 6.1.1.3. The listed form is what is promised.
    bag = lay(tmp_path, manifest_sha256__txt=payload("sha256") + lines("sha256", {"data/caf\u00e9.dng": b"x"}))
    put(bag, "data/cafe\u0301.dng", b"x")
    reading = read(tmp_path)
    assert said(reading) == []
    assert names(reading)[-1] == "caf\u00e9.dng"
    if "cafe\u0301.dng" in {file.name for file in (bag / "data").iterdir()}:
        assert reading.warnings == ("bag: names in data/ that write accents in another form than the manifests: 1",)


@pytest.mark.parametrize("other", ["raw/abcd0001.dng", "RAW/ABCD0001.DNG"])
def test_names_that_differ_only_in_case_are_warned_of(tmp_path: Path, other: str) -> None:
    lay(tmp_path, manifest_sha256__txt=payload("sha256") + lines("sha256", {f"data/{other}": b"x"}))
    reading = read(tmp_path)
    assert said(reading) == []
    assert any("that differ only in case" in warning for warning in reading.warnings)


def test_md5sum_quirks_are_taken_with_a_warning(tmp_path: Path) -> None:
    # Source: RFC 8493, section 6.1.3: an asterisk before the name; a backslash before the digest, doubled in the name.
    digest = hashlib.sha256(b"x").hexdigest()
    text = f"{digest} *data/a.dng\n\\{digest}  data/b\\\\c.dng\n{digest}  ./data/d.dng\n"
    lay(tmp_path, manifest_sha256__txt=payload("sha256") + text.encode())
    reading = read(tmp_path)
    assert said(reading) == []
    assert names(reading) == [*PAYLOAD, "a.dng", "b\\c.dng", "d.dng"]
    (warning,) = reading.warnings
    assert warning.startswith("bag/manifest-sha256.txt: would not pass strict validation: ")


def test_a_name_listed_twice_alike_is_only_warned_of(tmp_path: Path) -> None:
    lay(tmp_path, manifest_sha256__txt=payload("sha256") * 2)
    reading = read(tmp_path)
    assert (said(reading), names(reading)) == ([], list(PAYLOAD))
    assert "listed more than once, with the same digest: 3" in reading.warnings[0]


def test_before_1_0_the_percent_sign_stands_for_itself(tmp_path: Path) -> None:
    text = lines("sha256", {"data/a%25b%0Ac.dng": b"x"})
    lay(tmp_path, manifest_sha256__txt=payload("sha256") + text)
    assert names(read(tmp_path))[-1] == "a%b\nc.dng"
    lay(tmp_path, bagit__txt=OLD, manifest_sha256__txt=payload("sha256") + text)
    assert names(read(tmp_path))[-1] == "a%25b\nc.dng"


def test_a_manifest_of_an_unknown_kind_counts_for_its_names_only(tmp_path: Path) -> None:
    other = b"".join(b"abcdef  data/%s\n" % name.encode() for name in PAYLOAD)
    lay(tmp_path, manifest_sha3256__txt=other)
    reading = read(tmp_path)
    assert said(reading) == []
    assert [digest.kind for one in reading.listed for digest in one.digests] == ["sha256"] * 3
    assert len(reading.warnings) == 1
    lay(tmp_path, manifest_sha3256__txt=other + b"abcdef  data/more.dng\n", bagit__txt=OLD)
    assert said(read(tmp_path)) == ["bag: data/more.dng has no digest of a kind that is read here"]


# --- fetch.txt --------------------------------------------------------------------------------------------------------


def test_fetch_txt_gives_sizes(tmp_path: Path) -> None:
    bag = lay(
        tmp_path,
        fetch__txt=b"https://photos.example/cover.jpg 5 data/deliver/cover.jpg\n"
        b"http://photos.example/1 - data/raw/ABCD0001.DNG\n",
        bag_info__txt=b"Payload-Oxum: 15.3\n",
    )
    (bag / "data/deliver/cover.jpg").unlink()
    reading = read(tmp_path)
    assert (said(reading), reading.warnings) == ([], ())
    assert [one.size for one in reading.listed] == [None, None, 5]
    assert [one.size for one in read(tmp_path, "copy").listed] == [None, None, 5]


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"https://photos.example/x 5 data/other.dng", "is not listed in every payload manifest"),
        (b"https://photos.example/x 5 bagit.txt", "outside the payload"),
        (b"https://photos.example/x 5 data/../../x", "climbs"),
        (b"https://photos.example/x 5 /etc/passwd", "outside the payload"),
        (b"photos/x 5 data/raw/ABCD0001.DNG", "is not written like"),
        (b"https://photos.example/x five data/raw/ABCD0001.DNG", "is not written like"),
        (b"https://photos.example/x " + b"9" * 5000 + b" data/raw/ABCD0001.DNG", "is not written like"),
        (b"https://photos.example/x 6 data/deliver/cover.jpg", "twice with different lengths"),
    ],
)
def test_a_bad_fetch_line_makes_a_promise_invalid(tmp_path: Path, line: bytes, why: str) -> None:
    lay(tmp_path, fetch__txt=b"https://photos.example/cover.jpg 5 data/deliver/cover.jpg\n" + line + b"\n")
    (mistake,) = said(read(tmp_path))
    assert mistake.startswith("bag/fetch.txt: line 2: ")
    assert why in mistake
    copy = read(tmp_path, "copy")
    assert (copy.mistakes, len(copy.warnings)) == ((), 1)


def test_from_1_0_fetched_files_stand_in_every_manifest(tmp_path: Path) -> None:
    fewer = {name: PAYLOAD[name] for name in list(PAYLOAD)[:2]}
    lay(
        tmp_path,
        manifest_md5__txt=payload("md5", fewer),
        fetch__txt=b"https://photos.example/cover.jpg 5 data/deliver/cover.jpg\n",
    )
    assert any(one.startswith("bag/fetch.txt: line 1: ") for one in said(read(tmp_path)))


# --- bag-info.txt -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("info", "why"),
    [
        (b"Payload-Oxum: 15.4\n", "counts 4 files, the manifests list 3"),
        (b"payload-oxum: 15.2\n", "counts 2 files"),
        (b"Payload-Oxum: fifteen\n", "is not written like"),
        (b"Payload-Oxum: 15\n", "is not written like"),
        (b"Payload-Oxum: 15.3\nPAYLOAD-OXUM: 15.3\n", "more than once"),
        (b"no label here\n", "is not written like"),
    ],
)
def test_a_bad_bag_info_makes_a_promise_invalid(tmp_path: Path, info: bytes, why: str) -> None:
    lay(tmp_path, bag_info__txt=info)
    (mistake,) = said(read(tmp_path))
    assert mistake.startswith("bag/bag-info.txt: line ")
    assert why in mistake
    assert read(tmp_path, "copy").mistakes == ()


def test_other_octets_are_a_warning(tmp_path: Path) -> None:
    lay(tmp_path, bag_info__txt=b"Source-Organization: Saltmarsh Light\n  on two lines\nPayload-Oxum: 16.3\n")
    reading = read(tmp_path)
    assert said(reading) == []
    assert reading.warnings == ("bag/bag-info.txt: Payload-Oxum counts 16 bytes, there are 15",)


def test_right_octets_are_no_proof_of_the_bytes(tmp_path: Path) -> None:
    bag = lay(tmp_path, bag_info__txt=b"Payload-Oxum: 15.3\n")
    (bag / "data/raw/ABCD0001.DNG").write_bytes(b"HERON")
    assert read(tmp_path).listed[0].digests == (Digest("sha256", hashlib.sha256(b"heron").hexdigest()),)


# --- tag manifests ----------------------------------------------------------------------------------------------------

TAGS = {"bagit.txt": DECLARATION, "manifest-sha256.txt": payload("sha256"), "bag-info.txt": b"Payload-Oxum: 15.3\n"}


def test_tag_manifests_are_verified(tmp_path: Path) -> None:
    bag = lay(tmp_path, bag_info__txt=TAGS["bag-info.txt"], tagmanifest_md5__txt=lines("md5", TAGS))
    put(bag, "notes/location.txt", b"at the hide")
    put(bag, "tagmanifest-sha512.txt", lines("sha512", TAGS | {"notes/location.txt": b"at the hide"}))
    assert (said(read(tmp_path)), read(tmp_path).warnings) == ([], ())
    put(bag, "notes/location.txt", b"at the hidE")
    assert said(read(tmp_path)) == [
        "bag/tagmanifest-sha512.txt: line 4: notes/location.txt is not as it was when the bag was made: "
        "its sha512 differs"
    ]
    (bag / "notes/location.txt").unlink()
    assert said(read(tmp_path)) == ["bag/tagmanifest-sha512.txt: line 4: notes/location.txt is missing"]
    assert read(tmp_path, "copy").mistakes == ()


def test_from_1_0_a_tag_manifest_lists_every_payload_manifest(tmp_path: Path) -> None:
    tags = lines("md5", {"bagit.txt": DECLARATION})
    lay(tmp_path, tagmanifest_md5__txt=tags)
    assert said(read(tmp_path)) == ["bag/tagmanifest-md5.txt: does not list manifest-sha256.txt"]
    lay(tmp_path, bagit__txt=OLD, tagmanifest_md5__txt=lines("md5", {"bagit.txt": OLD}))
    assert said(read(tmp_path)) == []


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("data/raw/ABCD0001.DNG", "no place in a tag manifest"),
        ("tagmanifest-md5.txt", "no place in a tag manifest"),
        ("/etc/hostname", "is absolute"),
        ("../secret.txt", "climbs"),
        ("~root/x", "home folder"),
        ("C:\\x", "drive letter"),
        ("\\\\?\\C:\\x", "is absolute"),
        ("notes/", "names no file"),
    ],
)
def test_tag_manifests_lead_nowhere_else(tmp_path: Path, path: str, why: str) -> None:
    # Source: RFC 8493, sections 2.2.1 and 5.1.
    (tmp_path / "secret.txt").write_bytes(b"outside")
    text = lines("md5", {"manifest-sha256.txt": payload("sha256"), path: b"outside"})
    lay(tmp_path, tagmanifest_md5__txt=text)
    (mistake,) = said(read(tmp_path))
    assert mistake.startswith("bag/tagmanifest-md5.txt: line 2: ")
    assert why in mistake


def test_unknown_kinds_of_tag_manifests_are_warned_of(tmp_path: Path) -> None:
    lay(tmp_path, tagmanifest_sha3256__txt=b"abc  manifest-sha256.txt\n")
    reading = read(tmp_path)
    assert (said(reading), len(reading.warnings)) == ([], 1)


# --- links ------------------------------------------------------------------------------------------------------------


def test_tag_files_that_are_links_out_of_the_bag_are_not_read(tmp_path: Path) -> None:
    bag = lay(tmp_path, manifest_sha256__txt=None)
    (tmp_path / "outside.txt").write_bytes(payload("sha256"))
    link(bag / "manifest-sha256.txt", tmp_path / "outside.txt")
    for role in ("promise", "copy"):
        reading = read(tmp_path, role)
        assert reading.listed == ()
        assert "bag/manifest-sha256.txt: is a link that leads out of the bag" in said(reading)


def test_a_tag_file_reached_through_a_linked_folder_is_not_read(tmp_path: Path) -> None:
    tags = {"manifest-sha256.txt": payload("sha256"), "notes/secret.txt": b"outside"}
    bag = lay(tmp_path, tagmanifest_md5__txt=lines("md5", tags))
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside/secret.txt").write_bytes(b"outside")
    link(bag / "notes", tmp_path / "outside")
    assert said(read(tmp_path)) == [
        "bag/tagmanifest-md5.txt: line 2: notes/secret.txt is a link that leads out of the bag"
    ]


def test_a_payload_folder_that_is_a_link_out_of_the_bag_is_not_walked(tmp_path: Path) -> None:
    bag = lay(tmp_path)
    (bag / "data").rename(tmp_path / "outside")
    (tmp_path / "outside/never-seen.dng").write_bytes(b"x")
    link(bag / "data", tmp_path / "outside")
    assert said(read(tmp_path)) == ["bag: data is a link that leads out of the bag"]


def test_links_in_the_payload_count_as_their_names_and_folders_are_not_followed(tmp_path: Path) -> None:
    bag = lay(tmp_path)
    link(bag / "data/raw/loop", bag / "data")
    assert said(read(tmp_path)) == []
    link(bag / "data/raw/out.dng", tmp_path / "studio.toml")
    assert said(read(tmp_path)) == [
        "bag: data/raw/out.dng is in no manifest; list it in every manifest, or take it out of data/"
    ]


def test_a_bag_reached_through_a_link_is_a_bag(tmp_path: Path) -> None:
    lay(tmp_path).rename(tmp_path / "elsewhere")
    link(tmp_path / "bag", tmp_path / "elsewhere")
    assert (said(read(tmp_path)), names(read(tmp_path))) == ([], list(PAYLOAD))
