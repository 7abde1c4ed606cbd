"""What all pages share: Jinja2 with escaping always on, filters, one style sheet, one self-contained file.

Flows in: the name of a template and its values. Flows out: HTML text. Must not know: records, where a page is written.
Every value a template writes goes through `words.safe` first (`_shown`), whether or not a filter is asked for: no name
can reverse a line or hide a character. Then Jinja2 escapes it. A value that a template misses is an error, not a gap.

A page is one file (HTML, a W3C and WHATWG standard) without scripts: its policy (Content Security Policy Level 3,
W3C) allows no request at all, only its own styles and pictures inside it. Measured against WCAG 2.2 AA (W3C
Recommendation, 2023): contrast (1.4.3, 1.4.11), headings (1.3.1), reflow at 320 px (1.4.10), targets (2.5.8).

A page extends `base.html` and fills `{% block main %}` with `<section aria-labelledby=…>`s, each under an `<h2 id=…>`.
`parts.html` has what they are made of: `wide` (a table's own scrolling region), `chip` (a word with a tone), `bar`.
"""

import re
from collections.abc import Callable
from datetime import UTC
from functools import cache
from typing import TYPE_CHECKING, Any

from drill import clock, units
from drill.phrases import many
from drill.report.words import safe

if TYPE_CHECKING:
    from jinja2 import Environment

LANGUAGE = "en-GB"
_OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]*")
MOST_BYTES = 1_000_000  # of a page: a tablet opens it at once, and it can be sent
MOST_LETTERS = 160  # of a name: longer ones lose their middle


def render(template: str, *, title: str, verdict: str, command: str = "", **values: object) -> str:
    """Return a page as HTML text.

    `title` names the page (plain text), `verdict` is the one sentence that a reader needs, `command` makes it again, as
    it is typed (empty: not told). All are plain text; so are `values`, but for what a template or filter marks itself.
    Errors: jinja2.UndefinedError where the template asks for a value that is not given.
    """
    return fill(template, title=title, verdict=verdict, command=command, **values)


def fill(template: str, **values: object) -> str:
    """Return a template of the pages, whichever it extends, with these values. Errors: as `render`."""
    page: str = _environment().get_template(template).render(values)
    return page


def fits(page: str) -> bool:
    """Say whether a page is as small as a page has to be."""
    return len(page.encode("utf-8", "backslashreplace")) <= MOST_BYTES


def say_day(when: str) -> str:
    """Write a moment or a date of a record (RFC 3339) with its month in letters: "24 Nov 2026, 20:00 UTC"."""
    if len(when) == len("2026-11-24"):
        year, month, day = when.split("-")
        return f"{int(day)} {clock.MONTHS[int(month) - 1]} {year}"
    moment = clock.parse_time(when).astimezone(UTC)
    return f"{moment.day} {clock.MONTHS[moment.month - 1]} {moment.year}, {moment:%H:%M} UTC"


def shortened(text: str, most: int = MOST_LETTERS) -> str:
    """Return a text of at most `most` letters: a longer one loses its middle, as a path is told by both its ends."""
    text = safe(text)
    if len(text) <= most:
        return text
    head = most // 3
    return f"{text[:head]} … {text[len(text) - (most - head - 3) :]}"


@cache
def _environment() -> "Environment":
    # Only here: a run without a page need not load it.
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415
    from markupsafe import Markup, escape  # noqa: PLC0415

    def shown(value: object) -> object:
        return safe(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    def name(text: str, most: int = MOST_LETTERS) -> Markup:
        """A name from outside keeps its own direction of writing, whatever stands beside it."""
        return Markup("<bdi>{}</bdi>").format(escape(shortened(text, most)))

    def whole(text: str, most: int) -> Markup:
        """A text in which no option of a command ("--shoot") is broken over two lines."""
        return Markup(_OPTION.sub(r'<span class="whole">\g<0></span>', str(escape(shortened(text, most)))))

    found = Environment(
        loader=PackageLoader("drill.report.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    filters: dict[str, Callable[..., Any]] = {
        "name": name,
        "size": units.say_size,
        "span": units.say_span,
        "day": say_day,
        "shortened": shortened,
        "many": many,
        "whole": whole,
    }
    found.filters |= filters
    found.globals |= {"language": LANGUAGE}
    return found
