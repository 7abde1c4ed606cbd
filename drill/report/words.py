"""Words: texts that are safe on a terminal, and tables that fold to its width.

Flows in: any text, rows. Flows out: printable text. Must not know: the record.
Widths follow Unicode's East Asian Width through `wcwidth`; control and format characters, lone surrogates, line breaks,
odd spaces and what leaves no trace are written as escapes, so that no file name can move the cursor, change colours,
reverse a line or look like another.
"""

import re
import unicodedata
from collections.abc import Sequence
from importlib import import_module

# Printable to Python, and nothing is to be seen of it: UAX #44, Default_Ignorable_Code_Point, and the blank of Braille.
_UNSEEN = re.compile(
    "[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180d\u180f\u2800\u3164\ufe00-\ufe0f\uffa0\U000e0100-\U000e01ef]"
)
_MOST_MARKS = 30  # on one letter (UAX #15, Stream-Safe Text Format); more would cover the lines around
MAKE_ANEW = "make it anew from a good copy, beside this one, and keep this one until the new one has been audited"


def safe(text: str) -> str:
    """Return `text` with everything that is not plainly to be seen written as an escape."""
    if text.isascii():
        return text if text.isprintable() else re.sub("[\\x00-\\x1f\\x7f]", lambda found: _escaped(found[0]), text)
    shown, marks = [], _MOST_MARKS  # a mark at the beginning would stand on what comes before the text
    for char in text:
        if " " <= char <= "~":
            marks = 0
            shown.append(char)
            continue
        marks = marks + 1 if unicodedata.category(char).startswith("M") else 0
        plain = char.isprintable() and not _UNSEEN.match(char) and marks <= _MOST_MARKS
        shown.append(char if plain else _escaped(char))
    return "".join(shown)


def _escaped(char: str) -> str:
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def fold(text: str, width: int) -> list[str]:
    """Break a text into lines of at most `width` columns, at spaces, or after - / where a word is too long."""
    lines: list[str] = []
    line = ""
    for each in text.split(" "):
        word = each
        grown = f"{line} {word}" if line else word
        if _width(grown) <= width:
            line = grown
            continue
        if line:
            lines.append(line)
        while _width(word) > width:
            cut = _cut(word, width)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [*lines, line]


def _cut(word: str, width: int) -> int:
    most = width
    while most > 1 and _width(word[:most]) > width:
        most -= 1
    while most < len(word) and _width(word[: most + 1]) <= width:
        most += 1
    breaks = [n + 1 for n, char in enumerate(word[:most]) if char in "-/_."]
    cut = breaks[-1] if breaks else most
    while cut < len(word) and _width(word[cut]) == 0:  # a mark stays with its letter
        cut += 1
    return cut


def fitted(text: str, width: int) -> str:
    """Return as much of a safe text as fits `width` columns, filled up with spaces."""
    while (over := _width(text) - width) > 0:
        text = text[: -((over + 1) // 2)]  # a wide letter takes two
    return text + " " * (width - _width(text))


def _longest_piece(text: str) -> int:
    """Return the columns of the longest piece that is only broken when there is no other way."""
    return max(_width(piece) for piece in re.split(r"(?<=[-/_.])| ", text))


def _width(text: str) -> int:
    if text.isascii():
        return len(text)
    # Only here: its tables take a tenth of a start, and most names are ASCII.
    columns: int = import_module("wcwidth").wcswidth(text)
    return len(text) if columns < 0 else columns


def paragraph(text: str, width: int, *, first: str = "", rest: str = "") -> str:
    """Fold a text under a first and a later indent."""
    lines = fold(text, width - max(len(first), len(rest)))
    return "\n".join((first if number == 0 else rest) + line for number, line in enumerate(lines))


def listed(title: str, texts: Sequence[str], width: int) -> str:
    """Set texts as a list under a title; nothing where there is none."""
    if not texts:
        return ""
    return f"{paragraph(title, width)}\n" + "\n".join(
        paragraph(safe(text), width, first="- ", rest="  ") for text in texts
    )


def table(
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    width: int,
    *,
    right: Sequence[int] = (),
    firm: Sequence[int] = (),
    whole: Sequence[int] = (),
) -> str:
    """Set rows as a table that fits `width` columns: the widest columns are folded until it does, the `firm` ones last
    (they hold ids, which people copy); those of `whole` are folded at spaces, so that no id in them is cut."""
    cells = [[safe(cell) for cell in row] for row in rows]
    columns = list(zip(headers, *cells, strict=True))
    widths = [max(_width(cell) for cell in column) for column in columns]
    least = [max(_longest_piece(cell) for cell in column) for column in columns]
    for column in whole:
        least[column] = max(_width(word) for cell in columns[column] for word in cell.split(" "))
    for column in firm:
        if widths[column] * 3 <= width:
            least[column] = widths[column]
    over = sum(widths) + 2 * (len(widths) - 1) - width
    while over > 0:
        wide = max((n for n in range(len(widths)) if widths[n] > least[n]), key=lambda n: widths[n], default=None)
        if wide is None:  # nothing breaks at a good place any more: break the widest anywhere
            wide = max(range(len(widths)), key=lambda n: widths[n])
            if widths[wide] <= 4:
                break
        widths[wide] -= 1
        over -= 1

    def folded(row: Sequence[str]) -> list[str]:
        return ["\n".join(fold(cell, widths[n])) for n, cell in enumerate(row)]

    from tabulate import tabulate  # noqa: PLC0415  # it takes a tenth of a start, and not every command has a table

    # The rule is a row of our own: tabulate pads its own headers by two columns more than the cells need.
    body = [folded(headers), ["-" * columns for columns in widths], *(folded(row) for row in cells)]
    align = ["right" if n in right else "left" for n in range(len(headers))]
    return tabulate(body, tablefmt="plain", colalign=align, disable_numparse=True)
