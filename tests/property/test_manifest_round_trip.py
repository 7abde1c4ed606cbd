"""Law: manifest text → value → text → the same value, for any name and every digest kind."""

import io
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from drill.digests import KINDS, hex_length
from drill.manifests import Reading, format_list, read_manifest, suffix
from drill.manifests.bagfiles import Bag, bag_path
from drill.manifests.gathering import Gathering
from drill.manifests.lists import fold, read_list, unsafe
from drill.model import Digest

# Any bytes but NUL may be a name; whole paths, odd on purpose.
PARTS = st.one_of(
    st.sampled_from(
        ["a", ".", "..", "", " ", "*", "\\", "\n", "\r", "%0A", ") = ", "C:", "\u00e9", "e\u0301", "\udce9", "#"]
    ),
    st.binary(max_size=6).map(lambda raw: raw.replace(b"\0", b"_").decode("utf-8", "surrogateescape")),
)


def _as_decoded(name: str) -> str:
    # Undecodable parts side by side may make a character together; a name that was read never has them so.
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "surrogateescape")


NAMES = (st.lists(PARTS, max_size=6).map("".join) | st.lists(PARTS, max_size=4).map("/".join)).map(_as_decoded)
KIND = st.sampled_from([*KINDS, "blake2b-8", "blake2b-256", "blake2b-384"])


@st.composite
def items(draw: st.DrawFn) -> list[tuple[Digest, str]]:
    kind = draw(KIND)
    names = draw(st.lists(NAMES.filter(bool), min_size=1, max_size=8, unique_by=fold))
    size = hex_length(kind) // 2
    return [(Digest(kind, draw(st.binary(min_size=size, max_size=size)).hex()), name) for name in names]


def read(text: bytes, *, kind: str, role: str) -> Reading:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / f"list{suffix(kind)}").write_bytes(text)
        return read_manifest(f"list{suffix(kind)}", base=Path(folder), where="s", key="k", role=role)  # type: ignore[arg-type]


@settings(deadline=None, max_examples=150)
@given(items())
def test_what_is_written_is_read_back(wanted: list[tuple[Digest, str]]) -> None:
    text = format_list(wanted)
    reading = read(text, kind=wanted[0][0].kind, role="copy")
    assert [str(mistake) for mistake in reading.mistakes] == []
    assert [(one.digests, one.path) for one in reading.listed] == [((digest,), fold(name)) for digest, name in wanted]
    again = format_list((one.digests[0], one.path) for one in reading.listed)
    assert read(again, kind=wanted[0][0].kind, role="copy").listed == reading.listed


@settings(deadline=None, max_examples=100)
@given(items())
def test_a_promise_takes_exactly_the_safe_names(wanted: list[tuple[Digest, str]]) -> None:
    reading = read(format_list(wanted), kind=wanted[0][0].kind, role="promise")
    safe = [fold(name) for _, name in wanted if unsafe(fold(name)) is None]
    assert [one.path for one in reading.listed] == safe
    assert len(reading.mistakes) == len(wanted) - len(safe)
    for path in safe:  # said another way: joined to a folder, it stays in it
        assert not path.startswith(("/", "\\"))
        assert ".." not in path.split("/")


@settings(deadline=None, max_examples=150)
@given(items(), st.sampled_from([b"\n", b"\r\n"]), st.booleans(), st.booleans())
def test_line_ends_a_mark_and_comments_change_nothing(
    wanted: list[tuple[Digest, str]], end: bytes, mark: bool, comments: bool
) -> None:
    # Only kinds whose lists escape returns: a raw one inside a name is cut by any program when line ends change.
    wanted = [(Digest("sha256", digest.hex.ljust(64, "0")[:64]), name) for digest, name in wanted]
    plain = format_list(wanted)
    lines = plain.split(b"\n")[:-1]
    if comments:
        lines = [more for line in lines for more in (b"# shot at dusk", line, b"")]
    dressed = (b"\xef\xbb\xbf" if mark else b"") + end.join(lines) + end
    assert read(dressed, kind="sha256", role="copy").listed == read(plain, kind="sha256", role="copy").listed


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=300), st.sampled_from(["x.sha256", "list.txt", "x.b2"]), st.sampled_from(["promise", "copy"]))
def test_no_bytes_raise_and_none_pass_in_silence(text: bytes, where: str, role: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / where).write_bytes(text)
        reading = read_manifest(where, base=Path(folder), where="s", key="k", role=role)  # type: ignore[arg-type]
    assert reading.listed or reading.mistakes


ALMOST = st.lists(
    st.sampled_from(
        [b"\\", b"aa" * 32, b"aa" * 16, b" ", b"  ", b" *", b"x", b"\n", b"\r", b"\0", b"SHA256 (", b") = "]
    ),
    max_size=14,
).map(b"".join)


@settings(deadline=None, max_examples=300)
@given(ALMOST)
def test_lines_that_are_nearly_right_are_read_or_told(text: bytes) -> None:
    into = Gathering()
    read_list(io.BytesIO(text), where="x.sha256", role="promise", into=into)
    again = Gathering()
    listed = into.listed()
    read_list(
        io.BytesIO(format_list((one.digests[0], one.path) for one in listed)),
        where="x.sha256",
        role="promise",
        into=again,
    )
    if listed:
        assert again.mistakes == []
        assert again.listed() == listed
    else:
        assert into.mistakes


@settings(deadline=None, max_examples=200)
@given(NAMES)
def test_bag_paths_decode_what_the_standard_encodes(name: str) -> None:
    # Source: RFC 8493, section 2.1.3: line feed, carriage return and the percent sign, and only those.
    path = "data/x" + name
    encoded = path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0d")
    bag = Bag(Path("bag"), "bag", "promise", Gathering())
    assert bag_path(bag, encoded, escaped=False, quirks=set()) == fold(path)
