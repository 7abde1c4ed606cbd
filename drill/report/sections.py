"""Sections: what a report says before it is laid out: titles over paragraphs, lists and tables.

Flows in: texts and rows in the reports' own words. Flows out: values, and text that is folded to a width. Must not
know: records, pages, terminals. A command's text and its page are laid out from the same sections: they never say two
things.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from drill.report.words import paragraph, safe, table


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph."""

    text: str


@dataclass(frozen=True, slots=True)
class Items:
    """A list. `number`: it is numbered, from there on; `under`: it belongs to the item before it."""

    texts: Sequence[str]
    number: int | None = None
    under: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under headers; `right`, `firm` and `whole` are columns, as in `drill.report.words.table`."""

    headers: Sequence[str]
    rows: Sequence[Sequence[str]]
    right: Sequence[int] = ()
    firm: Sequence[int] = ()
    whole: Sequence[int] = ()


Part = Paragraph | Items | Table


@dataclass(frozen=True, slots=True)
class Section:
    """Parts under a title; without one they go on where the section before ends. `level`: 1 is a section of the
    report, 2 a section of the one before."""

    title: str
    parts: tuple[Part, ...]
    level: int = 1


NOTHING = Section("", ())


def items(title: str, texts: Sequence[str], *, level: int = 1) -> Section:
    """Return a list under a title; nothing where it is empty."""
    return Section(title, (Items(tuple(texts)),), level) if texts else NOTHING


def paragraphs(*texts: str) -> Section:
    """Return paragraphs without a title; empty ones are left out."""
    return Section("", tuple(Paragraph(text) for text in texts if text))


def filled(sections: Iterable[Section]) -> list[Section]:
    """Return the sections that say something."""
    return [section for section in sections if section.parts]


def laid_out(sections: Iterable[Section], *, width: int) -> str:
    """Return sections as text of `width` columns, an empty line between them."""
    return "\n\n".join(_section(section, width) for section in filled(sections)) + "\n"


def _section(section: Section, width: int) -> str:
    title = [paragraph(safe(section.title), width)] if section.title else []
    return "\n".join([*title, *(_part(part, width) for part in section.parts)])


def _part(part: Part, width: int) -> str:
    if isinstance(part, Paragraph):
        return paragraph(safe(part.text), width)
    if isinstance(part, Table):
        headers = [safe(header) for header in part.headers]
        return table(headers, part.rows, width, right=part.right, firm=part.firm, whole=part.whole)
    indent = "   " if part.under else ""
    marks = [f"{indent}{'-' if part.number is None else f'{part.number + n}.'} " for n in range(len(part.texts))]
    lines = (
        paragraph(safe(text), width, first=mark, rest=" " * len(mark))
        for mark, text in zip(marks, part.texts, strict=True)
    )
    return "\n".join(lines)
