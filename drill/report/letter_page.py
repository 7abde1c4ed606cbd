"""The letter as a web page: one file that asks for nothing from elsewhere. For paper there is the PDF.

Flows in: a Letter. Flows out: HTML. Must not know: the record, the PDF. It looks as a letter does, not as a report.
"""

from drill.report.letter_words import Letter
from drill.report.pages.base import fill


def letter_page(letter: Letter) -> str:
    """Return the letter as HTML. Names stand in it as text, whatever markup they hold."""
    return fill("letter.html", letter=letter)
