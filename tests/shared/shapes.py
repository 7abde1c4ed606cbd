"""The structure of reports without what they tell: a record's keys, a text's titles and columns, a page's headings."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

KEYED_BY_NAMES = ("by_class", "sources")  # objects of a record whose keys are names people gave


def keys(value: Any, at: str = "") -> set[str]:
    """Return the paths of all keys in a record, items of a list taken together."""
    if isinstance(value, list):
        return set().union(*(keys(item, f"{at}[]") for item in value))
    if not isinstance(value, dict):
        return {at}
    named = at.rpartition(".")[2] in KEYED_BY_NAMES
    return set().union({at}, *(keys(item, f"{at}.{'*' if named else key}") for key, item in value.items()))


def sections(text: str) -> set[str]:
    """Return the titles of a text's tables and lists, each table's with its columns."""
    return set().union(*(_section(block.splitlines()) for block in text.split("\n\n")))


def _section(lines: list[str]) -> Iterator[str]:
    for number, line in enumerate(lines):
        if re.fullmatch(r"-+(  -+)+", line):
            spans = [match.span() for match in re.finditer("-+", line)]
            heads = [" ".join(row[a:b].strip() for row in lines[1:number]).strip() for a, b in spans]
            yield " | ".join([lines[0], *heads])
        elif number == 1 and line.startswith(("- ", "1. ")):
            yield _plain(lines[0])


def headings(page: str) -> set[str]:
    """Return the headings, captions and column headers of a page, numbers left out."""
    reader = _Headings()
    reader.feed(page)
    return reader.found


class _Headings(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()
        self._open = ""
        self._text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("h1", "h2", "h3", "caption") or (tag == "th" and ("scope", "col") in attrs):
            self._open, self._text = tag, ""

    def handle_data(self, data: str) -> None:
        self._text += data

    def handle_endtag(self, tag: str) -> None:
        if tag == self._open:
            self.found.add(f"{tag}: {_plain(self._text)}")
            self._open = ""


def _plain(text: str) -> str:
    return re.sub(r"[0-9][0-9.,]*", "0", " ".join(text.split()))
