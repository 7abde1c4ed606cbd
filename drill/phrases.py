"""Phrases: counts before their words, and names in a row, as every report and message writes them.

Flows in: numbers, words. Flows out: texts. Must not know: what is counted. What has a unit is `units`'.
"""

from collections.abc import Sequence


def many(number: int, one: str, more: str = "") -> str:
    """Write a count before its word: "1 file", "1,204 files", "2 copies" (`more`, where an s is not enough)."""
    return f"{number:,} {one if number == 1 else more or one + 's'}"


def count_files(number: int) -> str:
    """Write how many files."""
    return many(number, "file")


def in_a_row(names: Sequence[str], joint: str = "and") -> str:
    """Put names in a row: "a", "a and b", "a, b and c"; nothing for none."""
    return f" {joint} ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
