"""The command that makes a report again: what was typed, less the files to write, with the seed that was drawn."""

import os
import shlex

import pytest

from drill.cli.again import again
from drill.report.typed import typed

pytestmark = pytest.mark.skipif(os.name == "nt", reason="held against the quoting of POSIX shells")


@pytest.mark.parametrize(
    "more",
    [
        ("--json", "out.json", "--html", "a page.html", "--junit=x.xml"),
        ("--json=-",),
        ("--js", "out.json", "--ju", "x.xml", "--h=y"),
        (),
    ],
)
def test_files_to_write_are_left_out_and_the_seed_is_added(more: tuple[str, ...]) -> None:
    words = ("run", "my studio.toml", *more, "--scenario", "lost-tablet")
    assert shlex.split(again(words, seed=7)) == [
        *("drill", "run", "my studio.toml", "--scenario", "lost-tablet", "--seed", "7"),
    ]


@pytest.mark.parametrize("seed", [("--seed", "9"), ("--seed=9",), ("--se", "9")])
def test_a_seed_that_was_given_stays(seed: tuple[str, ...]) -> None:
    assert shlex.split(again(("run", "s.toml", *seed), seed=9)) == ["drill", "run", "s.toml", *seed]


def test_the_moment_that_counted_as_now_is_added_once() -> None:
    now = "2026-11-24T20:00:00Z"
    added = ["drill", "run", "s.toml", "--no-ledger", "--seed", "7", "--now", now]
    assert shlex.split(again(("run", "s.toml", "--no-ledger"), seed=7, now=now)) == added
    assert shlex.split(again(("run", "s.toml", "--seed", "7", "--now=2026-11-24"), seed=7, now=now)) == [
        *("drill", "run", "s.toml", "--seed", "7", "--now=2026-11-24"),
    ]


def test_a_command_without_a_draw_has_no_seed() -> None:
    assert again(("history", "s.toml", "--html", "x")) == "drill history s.toml"


def test_names_are_quoted_for_the_shell() -> None:
    words = ["drill", "it's; rm -rf $HOME", "a\nb"]
    assert shlex.split(typed(words)) == words
