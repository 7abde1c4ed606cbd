"""The options of a spot check, the same for every command that has them.

Flows in: options as typed. Flows out: what they ask for. Must not know: what is then read.
"""

import argparse
from collections.abc import Callable
from fractions import Fraction
from typing import TypeVar

from drill.errors import Mistake, Mistakes
from drill.sampling import Spot, parse_at_most, parse_budget, parse_confidence

T = TypeVar("T")
USUAL_AT_MOST = Fraction(1, 100)


def add_spot(command: argparse.ArgumentParser) -> None:
    """Add the options to a command's parser."""
    command.add_argument(
        "--budget",
        type=_typed(parse_budget),
        metavar="TIME-or-SIZE",
        help='a spot check: what this buys, such as "2 h" or "500 GB", the never verified first, then the oldest proof',
    )
    command.add_argument(
        "--confidence",
        type=_typed(parse_confidence),
        metavar="PERCENT",
        help='a spot check: a sample drawn by chance, so large as to show at this confidence, such as "95%%", that at '
        "most the share of --at-most is bad, if it is clean",
    )
    command.add_argument(
        "--at-most",
        type=_typed(parse_at_most),
        metavar="PERCENT",
        help='with --confidence: the share of bad files to rule out; default "1%%"',
    )


def read_spot(options: argparse.Namespace) -> Spot | None:
    """Return the spot check that is asked for; None where everything is. Errors: Mistakes."""
    if options.budget is not None and options.confidence is not None:
        what = "cannot be had together with --budget"
        step = "a budget reads what is worth most, a confidence needs a draw by chance: choose one"
        raise Mistakes([Mistake("--confidence", "", what, step)])
    if options.at_most is not None and options.confidence is None:
        raise Mistakes([Mistake("--at-most", "", "says nothing without --confidence", "add --confidence 95%")])
    if options.budget is None and options.confidence is None:
        return None
    at_most = USUAL_AT_MOST if options.at_most is None else options.at_most
    return Spot(options.budget, options.confidence, at_most)


def _typed(parse: Callable[[str], T]) -> Callable[[str], T]:
    """Make argparse say what a parser says."""

    def read(text: str) -> T:
        try:
            return parse(text)
        except ValueError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return read
