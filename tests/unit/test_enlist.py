"""The studio file after lists were made: the new keys and nothing else, whatever way the copies are written."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drill.enlist import MadeList, with_manifest_keys
from drill.model import Copy

PLAIN = """\
# top
[studio]
name = "Saltmarsh Light"

[[copies]]   # the tablet
on = "a"     # my tablet
at = "x"

# about the next
[[ copies ]]
on = "b"
at = '''
[[copies]]'''
[[media]]
id = "between"
[[copies]]
on = "c" """


def copy(id_: str) -> Copy:
    return Copy(id_, id_, None, None, None, None, None)


def made(id_: str) -> MadeList:
    return MadeList(id_, f"manifests/on-{id_}.xxh128", "xxh128", b"", 1, 1, (), None)


def test_each_copy_gets_its_line_and_every_other_byte_stays() -> None:
    changed = with_manifest_keys(
        PLAIN.replace("'''\n[[copies]]'''", "'y'"), [copy("a"), copy("b"), copy("c")], [made("c")]
    )
    assert changed is not None
    assert changed.replace('manifest = "manifests/on-c.xxh128"\n', "") == PLAIN.replace("'''\n[[copies]]'''", "'y'")
    assert tomllib.loads(changed)["copies"][2] == {"manifest": "manifests/on-c.xxh128", "on": "c"}


def test_a_header_within_a_text_is_no_header() -> None:
    changed = with_manifest_keys(PLAIN, [copy("a"), copy("b"), copy("c")], [made("b"), made("c")])
    assert changed is not None  # the library's way is taken
    tables = tomllib.loads(changed)["copies"]
    assert [table.get("manifest") for table in tables] == [None, "manifests/on-b.xxh128", "manifests/on-c.xxh128"]
    assert tables[1]["at"] == "[[copies]]"
    for comment in ("# top", "# the tablet", "# my tablet", "# about the next"):
        assert comment in changed


@pytest.mark.parametrize(
    "text",
    [
        'copies = [{ on = "a" }, { on = "b" }]   # inline\n',
        'copies = [\n  { on = "a" }, # one\n  { on = "b" },\n]\n',
        '[[copies]]\r\non = "a"\r\n\r\n[[copies]]\r\non = "b"\r\n',
        '  [[copies]]\n  on = "a"\n  [[copies]]\n  on = "b"',
    ],
)
def test_other_ways_of_writing_copies(text: str) -> None:
    changed = with_manifest_keys(text, [copy("a"), copy("b")], [made("a"), made("b")])
    assert changed is not None
    expected = [{"on": id_, "manifest": f"manifests/on-{id_}.xxh128"} for id_ in "ab"]
    assert tomllib.loads(changed)["copies"] == expected
    assert ("\r\n" in text) == ("\r\n" in changed)


def test_what_cannot_be_done_is_left_alone() -> None:
    assert with_manifest_keys("[studio]\nname = 'x'\n", [], []) is not None
    assert with_manifest_keys('copies.a = 1\nx = "[[copies]]"\n', [copy("a")], []) is not None


COMMENTS = st.text(alphabet=st.characters(codec="utf-8", categories=["L", "N", "P", "Zs"]), max_size=12)


@given(
    comments=st.lists(COMMENTS, min_size=1, max_size=5),
    listed=st.sets(st.integers(0, 4)),
    between=st.booleans(),
)
def test_any_number_of_copies(comments: list[str], listed: set[int], between: bool) -> None:
    parts = ["[studio]\nname = 'x'\n"]
    for number, comment in enumerate(comments):
        parts.append(f"# {comment}\n[[copies]] # {comment}\non = 'm{number}'\n")
        parts.append(f"[[media]]\nid = 'n{number}'\n" if between else "\n")
    text = "".join(parts)
    copies = [copy(f"m{number}") for number in range(len(comments))]
    lists = [made(f"m{number}") for number in range(len(comments)) if number in listed]
    changed = with_manifest_keys(text, copies, lists)
    assert changed is not None
    kept = [line for line in changed.splitlines() if not line.startswith("manifest = ")]
    assert kept == text.splitlines()
    assert len(changed.splitlines()) - len(kept) == len(lists)
