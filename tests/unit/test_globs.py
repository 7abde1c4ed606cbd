"""Globs as the contract words them, and names compared in NFC without case (UAX #15 vectors as in the references)."""

import pytest

from drill.globs import fold, last_part, matcher, shared_ending


@pytest.mark.parametrize(
    ("glob", "path", "hit"),
    [
        ("*.dng", "a/b/IMG_1.DNG", True),  # without a slash: the last part at any depth, case-insensitive
        ("*.dng", "IMG_1.dng.xmp", False),
        ("deliver/**", "deliver/a/b.jpg", True),
        ("deliver/**", "2026/deliver/b.jpg", False),  # with a slash: the whole path
        ("**/deliver/*.jpg", "deliver/b.jpg", True),  # **/ may be empty
        ("**/deliver/*.jpg", "x/y/deliver/b.jpg", True),
        ("raw/*.nef", "raw/sub/a.nef", False),  # * stops at a slash
        ("raw/**/*.nef", "raw/sub/deep/a.nef", True),
        ("raw/**/*.nef", "raw/a.nef", True),
        ("IMG_?.jpg", "x/IMG_12.jpg", False),
        ("IMG_[12].jpg", "IMG_2.jpg", True),
        ("IMG_[!12].jpg", "IMG_2.jpg", False),
        ("a+b(1).jpg", "x/a+b(1).jpg", True),  # what a regular expression would take as its own
        ("caf\u00e9.jpg", "cafe\u0301.jpg", True),  # NFC against NFD
        ("*", "any/thing", True),
    ],
)
def test_globs(glob: str, path: str, hit: bool) -> None:
    assert matcher([glob])(path) is hit


def test_several_globs_match_when_one_does() -> None:
    assert matcher(["*.dng", "*.nef"])("x.NEF")
    assert not matcher([])("x.NEF")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("\u212b", "\u00e5"),  # ANGSTROM SIGN, UAX #15: NFC is U+00C5
        ("A\u030a", "\u00c5"),
        ("\u1e9b\u0323", "\u1e61\u0323"),  # NFC keeps U+1E9B U+0323; case folding makes it s with dots
        ("e\u0301", "\u00c9"),
        ("\u1100\u1161", "\uac00"),
        ("IMG.JPG", "img.jpg"),
    ],
)
def test_names_that_file_systems_take_for_the_same_are_the_same(one: str, other: str) -> None:
    assert fold(one) == fold(other)


def test_names_that_differ_stay_different() -> None:
    assert fold("\ufb01") != fold("\u0066\u0131")
    assert fold("a") != fold("\u00e4")


@pytest.mark.parametrize(
    ("path", "last"), [("a/b/c.jpg", "c.jpg"), ("C:\\Pictures\\c.jpg", "c.jpg"), ("c.jpg", "c.jpg"), ("a/b/", "b")]
)
def test_last_part(path: str, last: str) -> None:
    assert last_part(path) == last


def test_shared_ending_counts_parts_from_the_end() -> None:
    assert shared_ending("raw/day1/A.dng", "/Volumes/X/RAW/Day1/a.DNG") == 3
    assert shared_ending("raw/A.dng", "jpg/B.dng") == 0
