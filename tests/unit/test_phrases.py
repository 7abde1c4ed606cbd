"""Counts before their words, and names in a row."""

import pytest

from drill.phrases import count_files, in_a_row, many


@pytest.mark.parametrize(("number", "words"), [(0, "0 copies"), (1, "1 copy"), (2, "2 copies"), (1204, "1,204 copies")])
def test_a_count_has_the_word_that_fits(number: int, words: str) -> None:
    assert many(number, "copy", "copies") == words
    assert many(number, "shoot") == count_files(number).replace("file", "shoot")
    assert count_files(number).endswith("file") is (number == 1)


@pytest.mark.parametrize(
    ("names", "words"), [((), ""), (("a",), "a"), (("a", "b"), "a and b"), (("a", "b", "c"), "a, b and c")]
)
def test_names_stand_in_a_row(names: tuple[str, ...], words: str) -> None:
    assert in_a_row(names) == words
    assert in_a_row(names, "or") == words.replace("and", "or")
