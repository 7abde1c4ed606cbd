"""Pages of records whose reports are sections and pictures: an audit, a history, a forecast, a map of sectors.

Flows in: a verdict, sections, drawings. Flows out: HTML text. Must not know: records.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from drill.report.pages.base import render
from drill.report.sections import Items, Paragraph, Part, Section, Table, filled

MOST_ROWS = 300  # of a table or a list


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing inside a page (SVG text that escapes what it holds), its title, and what is said below it."""

    title: str
    svg: str
    caption: str


@dataclass(frozen=True, slots=True)
class Told:
    """What a page says, from top to bottom: the verdict, facts in a line, what comes `first`, pictures, the `rest`, and
    on what that rests, folded up. All is plain text but for the drawings."""

    title: str
    verdict: str
    facts: Sequence[str]
    first: Sequence[Section]
    rest: Sequence[Section]
    not_proved: str
    again: str
    figures_title: str = ""
    figures: Sequence[Figure] = ()
    basis_title: str = ""
    basis: Sequence[Section] = ()


@dataclass(frozen=True, slots=True)
class _Block:
    """Parts under a heading of the second (`level` 1) or third order; without a title they have none."""

    id: str
    title: str
    level: int
    parts: tuple[Part, ...]


def told_page(told: Told, *, command: str) -> str:
    """Return a page; `command` makes it again, as it is typed."""
    from markupsafe import Markup  # noqa: PLC0415  # comes with Jinja2, which a run without a page need not load

    first, rest = _blocks(told.first, of="first"), _blocks(told.rest, of="more")
    return render(
        "record.html",
        title=told.title,
        verdict=told.verdict,
        command=command,
        facts=told.facts,
        headings=_headings(told, first, rest),
        first=first,
        figures_title=told.figures_title,
        figures=[(one.title, Markup(one.svg), one.caption) for one in told.figures],  # escaped where drawn
        rest=rest,
        basis_title=told.basis_title,
        basis=_blocks(told.basis, of="basis", under=1),
        again=told.again,
        not_proved=told.not_proved,
    )


def _headings(told: Told, first: Sequence[_Block], rest: Sequence[_Block]) -> list[tuple[str, str]]:
    """Return the addresses and the titles of what a reader can jump to."""
    return [
        *((one.id, one.title) for one in first if one.title and one.level == 1),
        *([("pictures", told.figures_title)] if told.figures else []),
        *((one.id, one.title) for one in rest if one.title and one.level == 1),
        *([("basis", told.basis_title)] if told.basis else []),
    ]


def _capped(part: Part) -> list[Part]:
    """Return a part of as many rows as a page has room for, and how many more there are."""
    long = part.rows if isinstance(part, Table) else part.texts if isinstance(part, Items) else ()
    if len(long) <= MOST_ROWS:
        return [part]
    note = Paragraph(f"and {len(long) - MOST_ROWS:,} more (--json has all of them)")
    if isinstance(part, Table):
        return [replace(part, rows=part.rows[:MOST_ROWS]), note]
    assert isinstance(part, Items)
    return [replace(part, texts=part.texts[:MOST_ROWS]), note]


def _blocks(sections: Iterable[Section], *, of: str, under: int = 0) -> list[_Block]:
    """Return sections as blocks: what has no title goes on under the one before. `of` begins their addresses, and they
    are so many levels `under` a heading of the second order."""
    found: list[_Block] = []
    for section in filled(sections):
        parts = tuple(kept for part in section.parts for kept in _capped(part))
        if found and not section.title:
            last = found.pop()
            found.append(_Block(last.id, last.title, last.level, last.parts + parts))
        else:
            found.append(_Block(f"{of}-{len(found) + 1}", section.title, section.level + under, parts))
    return found
