"""`drill.manifests`: checksum lists, line forms, where the digest kind comes from, every mistake with its line."""

import io
import os
import tracemalloc
from pathlib import Path

import pytest

import drill.manifests.lists as lists_room
from drill.manifests import Reading, Role, Same, format_list, read_manifest, suffix, write_list
from drill.manifests.gathering import Gathering
from drill.manifests.lists import fold, kind_named, kind_of_file_name, shown, unsafe
from drill.model import Digest, Listed

A, B = "aa" * 32, "bb" * 32
E = "d41d8cd98f00b204e9800998ecf8427e"  # MD5 of nothing (RFC 1321)


def read(folder: Path, content: bytes | str, name: str = "shoot.sha256", role: str = "promise") -> Reading:
    data = content.encode("utf-8", "surrogateescape") if isinstance(content, str) else content
    (folder / name).write_bytes(data)
    return read_manifest(name, base=folder, where="studio.toml", key="shoots.heron.manifest", role=role)  # type: ignore[arg-type]


def names(reading: Reading) -> list[str]:
    return [one.path for one in reading.listed]


def said(reading: Reading) -> list[str]:
    return [str(mistake) for mistake in reading.mistakes]


# --- forms of a line --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "path"),
    [
        (f"{E}  a.dng\n", "a.dng"),
        (f"{E} *a.dng\n", "a.dng"),
        (f"{E}  *a.dng\n", "*a.dng"),
        (f"{E}   a.dng\n", " a.dng"),
        (f"{E}  a.dng  \n", "a.dng  "),
        (f"{E} a.dng\n", "a.dng"),
        (f"{E} a\n", "a"),
        (f"{E.upper()}  a.dng\n", "a.dng"),
        (f"{E}  a.dng\r\n", "a.dng"),
        (f"{E}  a.dng", "a.dng"),
        (f"\ufeff{E}  a.dng\n", "a.dng"),
        (f"  {E}  a.dng\n", "a.dng"),
        (f"{E}  a\tb.dng\n", "a\tb.dng"),
        (f"MD5 (a.dng) = {E}\n", "a.dng"),
        (f"MD5(a.dng)= {E}\n", "a.dng"),
        (f"md5 (a.dng) = {E.upper()}\n", "a.dng"),
        (f"MD5 (a) = b (c).dng) = {E}\n", "a) = b (c).dng"),
        (f"MD5 ( a.dng ) = {E}\n", " a.dng "),
        (f"{E}  MD5 (a) = {E}\n", f"MD5 (a) = {E}"),
        (f"\\{E}  a\\nb\\\\c\\rd\n", "a\nb\\c\rd"),
        (f"\\MD5 (a\\nb\\\\c) = {E}\n", "a\nb\\c"),
        (f"{E}  a\\nb\n", "a\\nb"),
        (f"{E}  ./2026/./heron//a.dng\n", "2026/heron/a.dng"),
        (f"{E}  ...hidden\n", "...hidden"),
        (f"{E}  2026/..a/b..\n", "2026/..a/b.."),
    ],
)
def test_each_form_of_a_line_gives_its_name(tmp_path: Path, line: str, path: str) -> None:
    reading = read(tmp_path, line, "MD5SUMS")
    assert reading.listed == (Listed(path, (Digest("md5", E),)),)
    assert reading.mistakes == ()
    assert reading.files == (tmp_path / "MD5SUMS",)


def test_blank_lines_and_comments_are_passed_over(tmp_path: Path) -> None:
    reading = read(tmp_path, f"# made on location\n\n{A}  a.dng\r\n\r\n#{B}  b.dng\n   \n{B}  c.dng\n")
    assert names(reading) == ["a.dng", "c.dng"]
    assert reading.mistakes == ()


def test_one_space_lists_follow_from_their_first_line(tmp_path: Path) -> None:
    # Source: GNU coreutils, tests/cksum/md5sum-bsd.sh: after an unambiguous line these names are all kept whole.
    wanted = ["a", " b", "*c", "dd", " "]
    reading = read(tmp_path, "".join(f"{E} {name}\n" for name in wanted), "x.md5")
    assert names(reading) == wanted


def test_in_a_two_space_list_the_mark_is_never_part_of_the_name(tmp_path: Path) -> None:
    reading = read(tmp_path, f"{E}  a\n{E} *c\n{E}  *d\n{E}    \n", "x.md5")
    assert names(reading) == ["a", "c", "*d", "  "]


def test_undecodable_names_keep_their_bytes(tmp_path: Path) -> None:
    (tmp_path / "x.md5").write_bytes(E.encode() + b"  caf\xe9.dng\n")
    reading = read_manifest("x.md5", base=tmp_path, where="s", key="k", role="promise")
    assert names(reading) == ["caf\udce9.dng"]
    assert format_list([(reading.listed[0].digests[0], names(reading)[0])]) == E.encode() + b"  caf\xe9.dng\n"


def test_normalisation_forms_stay_apart(tmp_path: Path) -> None:
    # Source: RFC 8493, section 6.1.1.2: the surname Nuñez (with ú) in both forms, as UTF-8 bytes.
    composed, decomposed = bytes.fromhex("4ec3bac3b1657a"), bytes.fromhex("4e75cc816ecc83657a")
    (tmp_path / "x.md5").write_bytes(b"".join(E.encode() + b"  " + name + b"\n" for name in (composed, decomposed)))
    reading = read_manifest("x.md5", base=tmp_path, where="s", key="k", role="promise")
    assert [name.encode() for name in names(reading)] == [composed, decomposed]
    assert reading.mistakes == ()


@pytest.mark.parametrize(
    ("line", "digest"),
    [
        ("XXH32 (a) = 32d153ff", ("xxh32", "32d153ff")),
        ("XXH64 (a) = 44bc2cf5ad770999", ("xxh64", "44bc2cf5ad770999")),
        ("XXH3 (a) = 78af5f94892f3950", ("xxh3", "78af5f94892f3950")),
        ("XXH3_64 (a) = 78af5f94892f3950", ("xxh3", "78af5f94892f3950")),
        ("XXH128 (a) = 06b05ab6733a618578af5f94892f3950", ("xxh128", "06b05ab6733a618578af5f94892f3950")),
        ("XXH3_128 (a) = 06b05ab6733a618578af5f94892f3950", ("xxh128", "06b05ab6733a618578af5f94892f3950")),
        ("XXH3_78af5f94892f3950  a", ("xxh3", "78af5f94892f3950")),
        # seen: xxhsum 0.8.1 --little-endian --tag, content "abc"
        ("XXH32_LE (a) = ff53d132", ("xxh32", "32d153ff")),
        ("XXH3_LE (a) = 50392f89945faf78", ("xxh3", "78af5f94892f3950")),
        ("XXH128_LE (a) = 50392f89945faf7885613a73b65ab006", ("xxh128", "06b05ab6733a618578af5f94892f3950")),
        (f"BLAKE2b (a) = {'ab' * 64}", ("blake2b", "ab" * 64)),
        (f"BLAKE2b-512 (a) = {'ab' * 64}", ("blake2b", "ab" * 64)),
        (f"BLAKE2b-256 (a) = {A}", ("blake2b-256", A)),
        ("BLAKE2b-8 (a) = ab", ("blake2b-8", "ab")),
        (f"SHA-384 (a) = {'ab' * 48}", ("sha384", "ab" * 48)),
        (f"SHA224 (a) = {'ab' * 28}", ("sha224", "ab" * 28)),
        ("MD5 (a) = 1B2M2Y8AsgTpgAmY7PhCfg==", ("md5", E)),  # the same 16 bytes in base64
    ],
)
def test_tags_say_the_kind_whatever_the_file_is_called(tmp_path: Path, line: str, digest: tuple[str, str]) -> None:
    reading = read(tmp_path, line + "\n", "list.txt")
    assert reading.mistakes == ()
    assert reading.listed == (Listed("a", (Digest(*digest),)),)


# --- where the kind comes from ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("heron.sha256", "sha256"),
        ("heron.SHA-256", "sha256"),
        ("SHA256SUMS", "sha256"),
        ("SHA256SUMS.txt", "sha256"),
        ("sha256sum.txt", "sha256"),
        ("heron_sha1.txt", "sha1"),
        ("manifest-sha512.txt", "sha512"),
        ("heron.md5.sha384", "sha384"),
        ("md5sums", "md5"),
        ("heron.sha224sum", "sha224"),
        ("B2SUMS", "blake2b"),
        ("heron.b2", "blake2b"),
        ("heron.blake2b", "blake2b"),
        ("heron.blake2b-256", "blake2b-256"),
        ("heron.xxh32", "xxh32"),
        ("heron.xxh64", "xxh64"),
        ("heron.xxh3", "xxh3"),
        ("heron.xxh3_64", "xxh3"),
        ("heron.xxh128", "xxh128"),
        ("heron.xxh3-128", "xxh128"),
        ("checksums.txt", None),
        ("roll-b2.txt", None),
        ("sha2567.txt", None),
        ("amd5.txt", None),
        ("heron.crc32", None),
    ],
)
def test_the_file_name_says_the_kind(name: str, kind: str | None) -> None:
    assert kind_of_file_name(name) == kind


@pytest.mark.parametrize("kind", ["md5", "sha512", "blake2b", "blake2b-128", "xxh32", "xxh64", "xxh3", "xxh128"])
def test_a_list_under_its_kinds_ending_is_read_back(tmp_path: Path, kind: str) -> None:
    digest = Digest(kind, "0f" * (lists_room.digits_of(kind) // 2))
    write_list(tmp_path / f"tablet{suffix(kind)}", [(digest, "a b.dng")])
    reading = read_manifest(f"tablet{suffix(kind)}", base=tmp_path, where="s", key="k", role="promise")
    assert reading.listed == (Listed("a b.dng", (digest,)),)
    assert [file.name for file in tmp_path.iterdir()] == [f"tablet{suffix(kind)}"]


@pytest.mark.parametrize(
    ("digits", "kind"), [(8, "xxh32"), (40, "sha1"), (56, "sha224"), (64, "sha256"), (96, "sha384")]
)
def test_without_a_name_the_length_says_the_kind(tmp_path: Path, digits: int, kind: str) -> None:
    assert read(tmp_path, f"{'a' * digits}  x\n", "list.txt").listed[0].digests == (Digest(kind, "a" * digits),)


@pytest.mark.parametrize(
    ("digits", "endings"),
    [(16, ".xxh64 or .xxh3"), (32, ".md5 or .xxh128"), (128, ".sha512 or .blake2b")],
)
def test_an_ambiguous_length_is_one_mistake_that_says_how_to_name_the_file(
    tmp_path: Path, digits: int, endings: str
) -> None:
    reading = read(tmp_path, "".join(f"{'a' * digits}  {i}\n" for i in range(50)), "list.txt")
    (mistake,) = reading.mistakes
    assert (mistake.where, mistake.at) == ("list.txt", "line 1")
    assert endings in mistake.advice
    assert reading.listed == ()


def test_a_kind_that_disagrees_with_the_length_is_a_mistake(tmp_path: Path) -> None:
    reading = read(tmp_path, f"{E}  a\n{A}  b\n", "x.sha256")
    assert said(reading) == [
        "x.sha256: line 1: the digest has 32 hex digits; a sha256, as the list's name says, has 64"
    ]
    reading = read(tmp_path, f"SHA256 (a) = {E}\n{A}  b\n", "x.sha256")
    assert said(reading) == ["x.sha256: line 1: the digest is not written in 64 hex digits, as SHA256 is"]


def test_shorter_blake2b_digests_under_its_name_keep_their_length(tmp_path: Path) -> None:
    assert read(tmp_path, f"{A}  a\n", "x.b2").listed[0].digests == (Digest("blake2b-256", A),)


@pytest.mark.parametrize("text", ["", "sha3-256", "crc32", "blake2b-12", "blake2b-1024", "sha", "xxh"])
def test_other_names_are_no_kind(text: str) -> None:
    assert kind_named(text) is None


# --- mistakes ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("/srv/a.dng", "is absolute"),
        ("//srv/a.dng", "is absolute"),
        ("../a.dng", "climbs"),
        ("2026/../../a.dng", "climbs"),
        ("2026/..", "climbs"),
        ("..\\a.dng", "climbs"),
        ("C:/a.dng", "drive letter"),
        ("c:a.dng", "drive letter"),
        ("\\\\server\\share\\a.dng", "is absolute"),
        ("\\a.dng", "is absolute"),
        ("2026/", "names no file"),
        ("2026/.", "names no file"),
        ("./", "names no file"),
    ],
)
def test_a_promise_refuses_names_that_cannot_be_restored_and_a_copy_keeps_them(
    tmp_path: Path, name: str, why: str
) -> None:
    content = f"{B}  ok.dng\n{A}  {name}\n"
    reading = read(tmp_path, content)
    (mistake,) = reading.mistakes
    assert (mistake.where, mistake.at) == ("shoot.sha256", "line 2")
    assert why in mistake.what
    copy = read(tmp_path, content, role="copy")
    assert copy.mistakes == ()
    assert names(copy) == ["ok.dng", fold(name)]


@pytest.mark.parametrize(
    ("line", "what"),
    [
        (f"{A}  a\0b", "NUL"),
        (f"\0{A}  a", "NUL"),
        (f"{A}", "is not written like"),
        (f"{A}  ", "no name"),
        (f"{A} ", "no name"),
        (f"zz{A}  a", "is not written like"),
        (f"SHA256 () = {A}", "is not written like"),
        (f"SHA256 (a) = {A[:-1]}g", "hex digits"),
        (f"CRC (a) = {A}", "CRC is a digest kind that is not read here"),
        (f"\\{A}  a\\tb", "an escape in the name"),
        (f"\\{A}  a\\", "an escape in the name"),
        (f"SHA256 (a) = {A} trailing", "is not written like"),
        ("a picture of a heron", "is not written like"),
        ("added this file", "is not written like"),
        ("deadbe  a", "is not written like"),
        (f"{A}{A[:2]}  a", "66 hex digits"),
    ],
)
def test_a_bad_line_is_a_mistake_with_its_number(tmp_path: Path, line: str, what: str) -> None:
    reading = read(tmp_path, f"{B}  ok.dng\n{line}\n{B}  also.dng\n")
    (mistake,) = reading.mistakes
    assert (mistake.where, mistake.at) == ("shoot.sha256", "line 2")
    assert what in mistake.what
    assert names(reading) == ["ok.dng", "also.dng"]


def test_a_name_twice_with_other_digests_names_both_lines(tmp_path: Path) -> None:
    reading = read(tmp_path, f"{A}  a.dng\n{B}  b.dng\n{B}  ./a.dng\n{B}  b.dng\n")
    assert said(reading) == ["shoot.sha256: line 3: a.dng has another sha256 on line 1; keep the line that is right"]
    assert reading.listed == (Listed("a.dng", (Digest("sha256", A),)), Listed("b.dng", (Digest("sha256", B),)))


def test_at_most_twenty_mistakes_of_a_list_are_told(tmp_path: Path) -> None:
    reading = read(tmp_path, f"{B}  ok\n" + "rubbish\n" * 34)
    assert len(reading.mistakes) == 21
    assert str(reading.mistakes[-1]) == "shoot.sha256: and 14 more mistakes like these"


def test_a_file_that_is_no_list_is_one_mistake(tmp_path: Path) -> None:
    reading = read(tmp_path, "rubbish\n" * 500)
    assert said(reading) == [
        "shoot.sha256: line 1: none of the first 21 lines is a checksum line; is this the right file?"
    ]


@pytest.mark.parametrize("content", ["", "\n\n", "# nothing yet\n", "\ufeff"])
@pytest.mark.parametrize("role", ["promise", "copy"])
def test_a_list_that_lists_nothing_is_a_mistake(tmp_path: Path, content: str, role: str) -> None:
    (mistake,) = read(tmp_path, content, role=role).mistakes
    assert mistake.where == "shoot.sha256"
    assert mistake.what == "lists nothing"


def test_utf_16_is_said_as_such(tmp_path: Path) -> None:
    (mistake,) = read(tmp_path, f"{A}  a.dng\r\n".encode("utf-16")).mistakes
    assert "UTF-16" in mistake.what


def test_a_line_of_64_kib_is_read_and_a_longer_one_is_not(tmp_path: Path) -> None:
    long = "x" * (64 * 1024 - 66)
    reading = read(tmp_path, f"{A}  {long}\n{A}  {long}\r\n{A}  {long}y\n{B}  after\n")
    assert names(reading) == [long, "after"]
    (mistake,) = reading.mistakes
    assert (mistake.at, mistake.what) == ("line 3", "is longer than 64 KiB")


def test_a_huge_line_is_never_held(tmp_path: Path) -> None:
    (tmp_path / "x.sha256").write_bytes(b"a" * 50_000_000 + b"\n" + A.encode() + b"  after\n")
    tracemalloc.start()
    reading = read_manifest("x.sha256", base=tmp_path, where="s", key="k", role="promise")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert names(reading) == ["after"]
    assert peak < 2_000_000


def test_names_have_a_bound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert lists_room.MOST_NAMES == 10_000_000
    monkeypatch.setattr(lists_room, "MOST_NAMES", 3)
    assert read(tmp_path, "".join(f"{A}  {i}\n" for i in range(3))).mistakes == ()
    (mistake,) = read(tmp_path, "".join(f"{A}  {i}\n" for i in range(9))).mistakes
    assert (mistake.at, mistake.what) == ("line 4", "more than 3 names in one list")


# --- which files are read ---------------------------------------------------------------------------------------------


def find(base: Path, pattern: str, role: str = "promise") -> Reading:
    return read_manifest(pattern, base=base, where="studio.toml", key="shoots.heron.manifest", role=role)  # type: ignore[arg-type]


@pytest.mark.parametrize("pattern", ["gone.sha256", "gone/*.sha256", "manifests/*.md5", "a\0b", "a\0*", "x" * 5000])
def test_nothing_there_is_a_mistake_of_the_studio_file(tmp_path: Path, pattern: str) -> None:
    (mistake,) = find(tmp_path, pattern).mistakes
    assert (mistake.where, mistake.at) == ("studio.toml", "shoots.heron.manifest")
    assert mistake.advice


def test_a_folder_that_is_no_bag_is_a_mistake(tmp_path: Path) -> None:
    (tmp_path / "lists").mkdir()
    assert said(find(tmp_path, "lists")) == [
        "studio.toml: shoots.heron.manifest: lists is a folder and no bag (it holds no bagit.txt); "
        "name a checksum list, a glob or a BagIt folder"
    ]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "x.sha256")
    (mistake,) = find(tmp_path, "x.sha256").mistakes
    assert "is no file" in mistake.what


def test_a_link_that_leads_nowhere_is_a_mistake(tmp_path: Path) -> None:
    try:
        (tmp_path / "x.sha256").symlink_to("gone")
    except OSError:
        pytest.skip("links cannot be made here")
    (mistake,) = find(tmp_path, "x.sha256").mistakes
    assert "is no file" in mistake.what


def test_several_lists_merge_by_path_in_order_of_first_appearance(tmp_path: Path) -> None:
    (tmp_path / "a.sha256").write_text(f"{A}  z.dng\n{B}  y.dng\n")
    (tmp_path / "b.md5").write_text(f"{E}  y.dng\n{E}  x.dng\n")
    (tmp_path / "folder").mkdir()
    reading = find(tmp_path, "*")
    assert reading.mistakes == ()
    assert reading.listed == (
        Listed("z.dng", (Digest("sha256", A),)),
        Listed("y.dng", (Digest("md5", E), Digest("sha256", B))),
        Listed("x.dng", (Digest("md5", E),)),
    )
    assert reading.files == (tmp_path / "a.sha256", tmp_path / "b.md5")


def test_lists_that_contradict_each_other_name_both(tmp_path: Path) -> None:
    (tmp_path / "a.sha256").write_text(f"{A}  x\n{E}{E}  y\n")
    (tmp_path / "b.txt").write_text(f"MD5 (y) = {E}\nSHA256 (x) = {A}\n")
    (tmp_path / "c.txt").write_text(f"SHA256 (x) = {B}\nMD5 (y) = {'0' * 32}\n")
    assert said(find(tmp_path, "[abc].*")) == [
        "c.txt: line 1: x has another sha256 on a.sha256, line 1; keep the line that is right",
        "c.txt: line 2: y has another md5 on b.txt, line 1; keep the line that is right",
    ]


def test_a_path_that_is_there_wins_over_its_meaning_as_a_glob(tmp_path: Path) -> None:
    (tmp_path / "[ab].sha256").write_text(f"{A}  literal\n")
    (tmp_path / "a.sha256").write_text(f"{A}  matched\n")
    assert names(find(tmp_path, "[ab].sha256")) == ["literal"]


def test_absolute_paths_and_globs_are_allowed(tmp_path: Path) -> None:
    (tmp_path / "a.sha256").write_text(f"{A}  a\n")
    assert names(find(Path("elsewhere"), str(tmp_path / "a.sha256"))) == ["a"]
    assert names(find(Path("elsewhere"), str(tmp_path / "*.sha256"))) == ["a"]


# --- small things -----------------------------------------------------------------------------------------------------


def test_safe_names_are_safe() -> None:
    for name in ("a", "a/b", ".hidden", "a..b", "...", "..a", "a./b", "é", "a b", "-", "~user", "CON", ":b"):
        assert unsafe(name) is None, name


def test_names_are_shown_without_control_characters() -> None:
    assert shown("2026/a.dng") == "2026/a.dng"
    assert shown("a\x1b[31m\n") == "'a\\x1b[31m\\n'"
    assert shown("caf\udce9") == "'caf\\udce9'"
    assert shown("") == "''"
    assert len(shown("x" * 10_000)) < 130


def test_a_list_is_swapped_in_whole(tmp_path: Path) -> None:
    file = tmp_path / "x.sha256"
    file.write_text("as it was\n")

    def broken() -> object:
        yield Digest("sha256", A), "a"
        raise RuntimeError("the source failed")

    with pytest.raises(RuntimeError):
        write_list(file, broken())  # type: ignore[arg-type]
    assert file.read_text() == "as it was\n"
    assert list(tmp_path.iterdir()) == [file]


def test_lines_read_alike_from_any_stream() -> None:
    into = Gathering()
    lists_room.read_list(io.BytesIO(f"{A}  a\n".encode()), where="lists\\x.sha256", role="promise", into=into)
    assert into.listed() == (Listed("a", (Digest("sha256", A),)),)


# --- one list, named several times ------------------------------------------------------------------------------------


def read_again(folder: Path, name: str, role: Role, same: Same) -> Reading:
    return read_manifest(name, base=folder, where="studio.toml", key="manifest", role=role, same=same, in_columns=True)


def test_a_promises_list_is_read_once_and_says_the_same_of_a_copy(tmp_path: Path) -> None:
    (tmp_path / "a.sha256").write_text(f"{A}  1.dng\n", encoding="utf-8")
    same = Same()
    promise = read_again(tmp_path, "a.sha256", "promise", same)
    (tmp_path / "a.sha256").write_text(f"{B}  2.dng\n", encoding="utf-8")  # what is read again would say this
    copy = read_again(tmp_path, "a.sha256", "copy", same)
    assert copy.listed is promise.listed and names(copy) == ["1.dng"]
    assert copy.files == promise.files == (tmp_path / "a.sha256",)
    assert names(read_again(tmp_path, "a.sha256", "copy", Same())) == ["2.dng"]


def test_a_copys_list_is_read_anew_as_a_promise(tmp_path: Path) -> None:
    (tmp_path / "a.sha256").write_text(f"{A}  /volumes/1.dng\n", encoding="utf-8")
    same = Same()
    assert not read_again(tmp_path, "a.sha256", "copy", same).mistakes
    for _ in range(2):
        assert "promised names are relative" in "".join(said(read_again(tmp_path, "a.sha256", "promise", same)))


def test_a_bag_is_read_anew_for_a_copy(tmp_path: Path) -> None:
    (tmp_path / "bag/data").mkdir(parents=True)
    declaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    (tmp_path / "bag/bagit.txt").write_text(declaration, encoding="utf-8")
    (tmp_path / "bag/manifest-md5.txt").write_text(f"{E}  data/1.dng\n", encoding="utf-8")
    (tmp_path / "bag/data/1.dng").touch()
    same = Same()
    promise = read_again(tmp_path, "bag", "promise", same)
    assert (names(promise), said(promise)) == (["1.dng"], [])
    assert names(read_again(tmp_path, "bag", "copy", same)) == ["data/1.dng"]
