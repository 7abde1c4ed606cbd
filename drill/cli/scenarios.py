"""`drill scenarios`: the shipped scenarios by name and title."""

import argparse

from drill.cli.terminal import OK, Commands, columns
from drill.report import scenarios_text
from drill.scenario import load_scenarios


def add_scenarios(commands: Commands) -> None:
    """Add the command to the parser."""
    listing = commands.add_parser("scenarios", help="list the shipped scenarios by name and title")
    listing.set_defaults(call=_scenarios)


def _scenarios(options: argparse.Namespace) -> int:
    print(scenarios_text(load_scenarios([]), width=columns()), end="")
    return OK
