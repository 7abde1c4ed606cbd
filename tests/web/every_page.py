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
    "run of 200 shoots": lambda laid: laid.kept("crowd", run_page(crowd(), command="drill run studio.toml --seed 7")),
}
# pages that tell of the studio's files or free texts
WITH_NAMES = {"run"}
