"""The command line: parse, call, print, exit code. One module a command; `terminal` is what they share."""

import argparse
import gc
import os
import signal
import sys
import traceback
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import NoReturn

from drill import __version__
from drill.cli.terminal import EPILOG, MISTAKEN, UNFINISHED, complain
from drill.errors import Mistakes, Unfinished
from drill.report.words import safe

# modules here (without the hyphen), each with an `add_…`
COMMANDS = (
    *("new", "run", "survey", "audit", "forecast", "search", "history"),
    *("retire", "recover", "attest", "bad-sector", "demo", "scenarios"),
)
SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")  # Windows has no SIGHUP: the terminal was closed


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the `drill` command; return its exit code."""
    gc.set_threshold(100_000, 50, 50)  # measured: a million listed names are read 1.35 times as fast
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    for name in SIGNALS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _interrupt)
    words = sys.argv[1:] if arguments is None else list(arguments)
    options = _parser(words).parse_args(words, argparse.Namespace(typed=words))
    try:
        call: Callable[[argparse.Namespace], int] = options.call
        code = call(options)
        sys.stdout.flush()
        return code
    except Mistakes as error:
        complain(f"drill: {len(error.mistakes)} mistake{'s' if len(error.mistakes) > 1 else ''}, nothing was run:")
        for mistake in error.mistakes:
            complain(f"  {mistake}")
        return MISTAKEN
    except Unfinished as error:
        complain(f"drill: not finished: {error}")
        return UNFINISHED
    except KeyboardInterrupt:
        complain("drill: interrupted")
        return UNFINISHED
    except BrokenPipeError:  # the reader of our output has gone; say no more
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return UNFINISHED
    except Exception:  # a fault of this program's own must not look like a drill that fell short
        for line in traceback.format_exc().rstrip("\n").split("\n"):  # it may hold names
            complain(line)
        complain("drill: this is a fault of the program; what was on its way is not judged")
        return UNFINISHED


def _interrupt(number: int, frame: object) -> None:
    for name in SIGNALS:  # once is enough: what follows is the cleaning up
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    raise KeyboardInterrupt


class _Parser(argparse.ArgumentParser):
    """Says what it does not understand without letting it reach the terminal as it was typed."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong, and end."""
        super().error(safe(message))


def _parser(arguments: Sequence[str]) -> argparse.ArgumentParser:
    """Return the parser, with the one command that is asked for, else with all of them.

    Loading a command and the rooms it needs is most of what a start takes; all of them take twice as long as one, and
    the version needs none.
    """
    parser = _Parser(
        prog="drill",
        description="Restore drills for photographers: take copies away, restore from what is left, prove every byte.",
        epilog=EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"drill {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    asked = next((word for word in arguments if not word.startswith("-")), None)
    for name in [asked] if asked in COMMANDS else [] if "--version" in arguments else COMMANDS:
        module = name.replace("-", "")
        getattr(import_module(f"drill.cli.{module}"), f"add_{module}")(commands)
    return parser
