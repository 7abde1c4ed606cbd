"""The letter as a web page: one file that asks for nothing from elsewhere. For paper there is the PDF.

Flows in: a Letter. Flows out: HTML. Must not know: the record, the PDF.
"""

from functools import cache
from importlib.resources import files

from jinja2 import Environment, StrictUndefined, Template

from drill.report.letter_words import Letter

_TEMPLATE = "letter.html"


def letter_page(letter: Letter) -> str:
    """Return the letter as HTML. Names stand in it as text, whatever markup they hold."""
    return _template().render(letter=letter)


@cache
def _template() -> Template:
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(files("drill.report").joinpath(_TEMPLATE).read_text(encoding="utf-8"))
