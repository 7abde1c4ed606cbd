"""A door: drills as tests. `pytest studio.toml`, or any `*.drill.toml`, runs drills as pytest's items.

Flows in: what pytest asks of a plugin. Flows out: collectors, options. `items` are the drills, `noting` the note of a
session in the ledger, `today` what is wrong on the copies by themselves. Every start of pytest loads this module, so of
the program only the fixtures are loaded before the first file of drills is collected. pytest's side:
https://docs.pytest.org/en/stable/reference/reference.html#hooks
"""

import argparse
import os
import re
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

from drill.testing.fixtures import drill_studio, make_drill_studio  # noqa: F401  # offered to tests by being here

if TYPE_CHECKING:
    from drill.pytest_plugin.items import DrillFile

EXPECTATIONS = ".drill.toml"
_STUDIO = re.compile(rb"""^\s*(\[\s*["']?studio["']?\s*\]|["']?studio["']?\s*(\.|=\s*\{))""", re.MULTILINE)


class Asked(NamedTuple):
    """What holds for a whole session, in all its processes: the options, the moment it began (seconds since 1970), the
    seed for those that name none, and the folder in which the command that repeats a drill will be typed."""

    seed: int | None
    now: str | None
    no_ledger: bool
    begun_s: float
    drawn: int
    folder: str


ASKED = pytest.StashKey[Asked]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of drills."""
    group = parser.getgroup("drill", "restore drills")
    group.addoption("--drill-seed", type=_whole, metavar="N", help="seed of every draw; default: the file's, or drawn")
    group.addoption(
        "--drill-now", type=_moment, metavar="TIME", help="what counts as now (RFC 3339) in drills; default: the clock"
    )
    words = "neither use what earlier drills have shown, nor remember these"
    group.addoption("--drill-no-ledger", action="store_true", help=words)
    parser.addini("drill_no_ledger", f"{words}, as --drill-no-ledger does", type="bool", default=False)


def pytest_configure(config: pytest.Config) -> None:
    """Settle what holds for the session; a worker of pytest-xdist is told it."""
    told = getattr(config, "workerinput", {}).get("drill")
    if told is not None:
        config.stash[ASKED] = Asked(*told)
        return
    config.stash[ASKED] = Asked(
        seed=config.getoption("--drill-seed"),
        now=config.getoption("--drill-now"),
        no_ledger=config.getoption("--drill-no-ledger") or config.getini("drill_no_ledger"),
        begun_s=time.time(),
        drawn=int.from_bytes(os.urandom(4), "big"),
        folder=str(config.invocation_params.dir),
    )
    config.pluginmanager.register(Listener(config), "drill-listener")


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Tell a worker of pytest-xdist what holds for the session."""
    node.workerinput["drill"] = tuple(node.config.stash[ASKED])


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> "DrillFile | None":
    """Collect expectation files wherever they lie, and a studio file where it is asked for by name."""
    is_studio = False
    if not file_path.name.lower().endswith(EXPECTATIONS):
        is_studio = file_path.suffix.lower() == ".toml" and parent.session.isinitpath(file_path)
        if not is_studio or not _has_studio(file_path):
            return None
    from drill.pytest_plugin import items  # noqa: PLC0415 - loads the program, which most starts of pytest do not need

    return items.drill_file(parent, file_path, is_studio=is_studio)


class Listener:
    """Hears of every drill of a session, in whichever process it was made, and has them noted in the end."""

    def __init__(self, config: pytest.Config) -> None:
        self._config = config
        self._heard: list[tuple[float, dict[str, Any]]] = []
        self._today: list[dict[str, Any]] = []
        self._trouble: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep what a drill's report carries."""
        told, today = getattr(report, "drill", None), getattr(report, "drill_today", None)
        if told is not None:
            self._heard.append((report.start, told))
        if today is not None:
            self._today.append(today)

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Note the session's drills in the ledger, as one run for each file."""
        if self._heard:
            from drill.pytest_plugin import noting  # noqa: PLC0415

            self._trouble = noting.note(self._heard, self._config.stash[ASKED])
        if self._trouble and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: "pytest.TerminalReporter") -> None:  # public from pytest 8.4
        """Say what is wrong on the copies today, whatever passed, and what could not be noted."""
        if self._today:
            from drill.pytest_plugin import items, today  # noqa: PLC0415

            lines = today.today_lines(self._today, width=items.WIDTH)
            if lines:
                terminalreporter.write_sep("=", today.HEADLINE)
            for line in lines:
                terminalreporter.write_line(line)
        for text in self._trouble:
            terminalreporter.write_line(text, red=True)


def _has_studio(path: Path) -> bool:
    try:
        return _STUDIO.search(path.read_bytes()) is not None
    except OSError:
        return False


def _whole(text: str) -> int:
    if not text.isdigit():
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 0")
    return int(text)


def _moment(text: str) -> str:
    from drill.pytest_plugin import items  # noqa: PLC0415

    try:
        items.moment_of(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no time such as 2026-09-12T19:30:00Z or 2026-09-12") from None
    return text
