"""The letter as a PDF: always one page, A4 with so much left free below that it prints whole on Letter paper too.

Flows in: a proof, its seals. Flows out: the bytes of a PDF. Must not know: keys, files, the web page.

What does not fit is set smaller, then shoots, and at last mishaps, are told by their number alone. The font is in the
file (DejaVu Sans: Latin, Greek, Cyrillic, Hebrew, Arabic and more); a character that it lacks is shown by its number,
and the web page shows it. Right-to-left names are put in the order they are drawn in, without joining their letters.
The same letter gives the same bytes: the only time in the file is the letter's own.
Source: ISO 216 (A4, 210 × 297 mm), ANSI Y14.1 (Letter, 215.9 × 279.4 mm), Unicode Standard Annex 9 (by fpdf2).
"""

import unicodedata
from collections.abc import Callable, Container, Iterator
from contextlib import ExitStack, contextmanager
from importlib.resources import as_file, files

from fpdf import FPDF
from fpdf.bidi import BidiCharacter, BidiParagraph
from fpdf.fonts import TTFFont

from drill import clock
from drill.report.letter_words import Letter

_WIDE_MM, _LEFT_MM, _TOP_MM = 210.0, 18.0, 13.0
_LAST_MM = 279.4 - 13.0  # of Letter paper, less its margin
_TEXT_MM = _WIDE_MM - 2 * _LEFT_MM
_SIZES_PT = (9.4, 8.8, 8.2, 7.6, 7.0)
_MM_OF_PT = 25.4 / 72
_LEADING = 1.34
_ROW = 0.82  # type in the table of shoots, of that of the text
_FONT = "DejaVu"
_FILES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
_FACING = dict(zip("()[]{}<>«»", ")(][}{><»«", strict=True))
_RIGHT_TO_LEFT = frozenset({"R", "AL"})
_SHARES = (0.22, 0.125, 0.105, 0.10, 0.20, 0.125, 0.125)  # of the width, for each column of the shoots
_WARN = (138, 42, 18)
_FAINT = (85, 96, 90)
_INK = (28, 37, 33)

MOST_ROWS = 14
Write = Callable[[int], Letter]


def letter_pdf(write: Write, *, issued: str) -> bytes:
    """Return the letter as a PDF of one page. `write` makes it with at most so many shoots; `issued` is RFC 3339."""
    letter, size_pt = write(MOST_ROWS), _SIZES_PT[0]
    with _document(issued) as pdf:
        if _fits(pdf, letter, size_pt):
            return _bytes(pdf, letter)
        letter, size_pt = _fitting(pdf, write)
    with _document(issued) as pdf:
        _Sheet(pdf, letter, size_pt)
        return _bytes(pdf, letter)


def _bytes(pdf: FPDF, letter: Letter) -> bytes:
    pdf.set_title(letter.title)
    return bytes(pdf.output())


def _fits(pdf: FPDF, letter: Letter, size_pt: float) -> bool:
    return _Sheet(pdf, letter, size_pt).ends_mm <= _LAST_MM


def _fitting(trial: FPDF, write: Write) -> tuple[Letter, float]:
    """Return the letter with the most shoots that fit on a page, and the largest type for it."""
    for rows in (MOST_ROWS, 8, 4, 0):
        letter = write(rows)
        for size_pt in _SIZES_PT:
            if _fits(trial, letter, size_pt):
                return letter, size_pt
    raise AssertionError("a letter without rows, in the smallest type, is longer than a page")


@contextmanager
def _document(issued: str) -> Iterator[FPDF]:
    """Make a document without pages, and let go of its fonts at the end: their files stay open until then."""
    pdf = FPDF(format="A4")
    pdf.set_creation_date(clock.parse_time(issued))
    pdf.set_auto_page_break(auto=False)
    pdf.set_margins(_LEFT_MM, _TOP_MM)
    pdf.set_lang("en")
    with ExitStack() as closing:
        for style, name in _FILES.items():
            path = closing.enter_context(as_file(files("drill.report") / "fonts" / name))
            pdf.add_font(_FONT, style, path)
            closing.callback(_face(pdf, style).ttfont.close)
        yield pdf


def _face(pdf: FPDF, style: str) -> TTFFont:
    face = pdf.fonts[f"{_FONT.lower()}{style}"]
    assert isinstance(face, TTFFont)
    return face


class _Sheet:
    """A letter drawn on a new page of a document; `ends_mm` is how far down it reaches."""

    def __init__(self, pdf: FPDF, letter: Letter, size_pt: float) -> None:
        self.pdf, self.size_pt = pdf, size_pt
        self._known = _face(pdf, "").cmap.keys() & _face(pdf, "B").cmap.keys()
        pdf.add_page()
        pdf.set_text_color(*_INK)
        self._head(letter)
        self._short(letter)
        self._shoots(letter)
        for section in letter.sections:
            self._heading(section.heading)
            for paragraph in section.paragraphs:
                self._text(paragraph)
        self._heading(letter.seal_heading)
        self._text(letter.seal_words)
        self._text(f"Key: {letter.seals.fingerprint}", small=True)
        self._text(f"List: {letter.seals.root}", small=True)

    @property
    def ends_mm(self) -> float:
        """Return where the last line ends, from the top."""
        return float(self.pdf.get_y())

    def _head(self, letter: Letter) -> None:
        self._text(letter.title, bold=True, scale=1.55)
        self.pdf.ln(self._line_mm(0.3))
        client = (("To", letter.client),) if letter.client else ()
        for word, value in (("From", letter.studio), *client, ("About", letter.about), ("Written", letter.day)):
            self.pdf.set_text_color(*_FAINT)
            self._type()
            self.pdf.cell(20, self._line_mm(), word)
            self.pdf.set_text_color(*_INK)
            self._text(value, left_mm=20)

    def _short(self, letter: Letter) -> None:
        if not letter.short:
            return
        self.pdf.set_text_color(*_WARN)
        self._heading("This falls short")
        self.pdf.set_text_color(*_INK)
        top_mm = self.ends_mm
        for sentence in letter.short:
            self._text(f"– {sentence}", left_mm=4)
        self.pdf.set_fill_color(*_WARN)
        self.pdf.rect(_LEFT_MM, top_mm, 1.2, self.ends_mm - top_mm, style="F")

    def _shoots(self, letter: Letter) -> None:
        if letter.rows:
            self.pdf.ln(self._line_mm(0.4))
            self._row(letter.headers, bold=True)
            for row in letter.rows:
                self._row(row)
        if letter.left_over:
            self._text(letter.left_over)

    def _row(self, cells: tuple[str, ...], *, bold: bool = False) -> None:
        """Set one shoot on as many lines as its fullest cell takes."""
        self._type(bold=bold, scale=_ROW)
        line_mm, top_mm, ends_mm = self._line_mm(_ROW), self.ends_mm, [self.ends_mm]
        left_mm = _LEFT_MM
        for cell, share in zip(cells, _SHARES, strict=True):
            self.pdf.set_xy(left_mm, top_mm)
            self.pdf.multi_cell(share * _TEXT_MM - 1.5, line_mm, shown(cell, self._known), align="L")
            ends_mm.append(self.ends_mm)
            self.pdf.set_y(top_mm)
            left_mm += share * _TEXT_MM
        self.pdf.set_draw_color(*_FAINT)
        self.pdf.set_line_width(0.1)
        self.pdf.line(_LEFT_MM, max(ends_mm), _LEFT_MM + _TEXT_MM, max(ends_mm))
        self.pdf.set_xy(_LEFT_MM, max(ends_mm) + 0.3)

    def _heading(self, text: str) -> None:
        self.pdf.ln(self._line_mm(0.45))
        self._text(text, bold=True)

    def _text(
        self, text: str, *, bold: bool = False, small: bool = False, scale: float = 1.0, left_mm: float = 0.0
    ) -> None:
        """Set a paragraph; the next begins below it."""
        scale = 0.86 if small else scale
        self._type(bold=bold, scale=scale)
        self.pdf.set_x(_LEFT_MM + left_mm)
        self.pdf.multi_cell(
            _TEXT_MM - left_mm, self._line_mm(scale), shown(text, self._known), align="L", new_x="LMARGIN", new_y="NEXT"
        )
        self.pdf.ln(self._line_mm(0.12))

    def _type(self, *, bold: bool = False, scale: float = 1.0) -> None:
        self.pdf.set_font(_FONT, "B" if bold else "", self.size_pt * scale)

    def _line_mm(self, scale: float = 1.0) -> float:
        return self.size_pt * scale * _LEADING * _MM_OF_PT


def shown(text: str, known: Container[int]) -> str:
    """Return a text with the characters that are `known`, by code point, and the others by number, as it is drawn."""
    if text.isascii():
        return text
    text = "".join(
        char if ord(char) in known else f"[U+{ord(char):04X}]" for char in unicodedata.normalize("NFC", text)
    )
    if any(unicodedata.bidirectional(char) in _RIGHT_TO_LEFT for char in text):
        return "".join(_drawn(char) for char in BidiParagraph(text).reorder_resolved_levels())
    return text


def _drawn(char: BidiCharacter) -> str:
    """Return a character as it is drawn: brackets in a right-to-left run face the other way (UAX 9, rule L4)."""
    return _FACING.get(char.character, char.character) if char.embedding_level % 2 else char.character
