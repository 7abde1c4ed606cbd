"""Every page the program writes, by name: a page that is named here is tested by all of this folder.

Flows in: the studio of `mischief`. Flows out: the page's file.
"""

from collections.abc import Callable
from pathlib import Path

from crowd import crowd
from mischief import Laid

from drill.report.pages import run_page

PAGES: dict[str, Callable[[Laid], Path]] = {
    "run": lambda laid: laid.run,
    "run of 4 shoots": lambda laid: _crowded(laid, 4),
    "run of 200 shoots": lambda laid: _crowded(laid, 200),
    "audit": lambda laid: laid.audit,
    "history": lambda laid: laid.history,
    "sectors": lambda laid: laid.sectors,
    "letter": lambda laid: laid.letter,
    "forecast": lambda laid: laid.forecast,
    "comparison": lambda laid: laid.comparison,
}
LARGE = {"run of 200 shoots"}  # the judge of guidelines takes half a minute for it, and finds what it finds in "of 4"
WITH_NAMES = {"run", "audit", "history", "sectors", "letter"}  # they tell of the studio's files, or of its free texts


def _crowded(laid: Laid, shoots: int) -> Path:
    return laid.kept(f"run-{shoots}", run_page(crowd(shoots), command="drill run studio.toml --seed 7"))
