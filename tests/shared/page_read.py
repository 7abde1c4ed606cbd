"""A page as it is read by a program: its elements, attributes, headings and texts; and a name that tries to be more.

Flows in: HTML text. Flows out: what it is made of. Must not know: which page it is.
"""

import re
from collections import Counter
from html.parser import HTMLParser

NASTY = '</p><script>alert(1)</script>"><img src=x onerror=alert(1)> \x1b[31m\u202egnp.exe\u2066\x00\udcff é {{ 7*7 }}'


class Read(HTMLParser):
    """What a page is made of."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: Counter[str] = Counter()
        self.attributes: list[tuple[str, str]] = []
        self.headings: list[int] = []
        self.texts: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [(name, value or "") for name, value in attrs]
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def valued(self, name: str) -> list[str]:
        return [value for attribute, value in self.attributes if attribute == name]
