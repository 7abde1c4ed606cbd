"""The door for tests: start the program as a user does, and bring back all that it said.

Flows in: arguments. Flows out: exit code, both streams, the record on standard output where it was asked for.
It must not import the program: everything goes through a new process.
"""

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

CHECKOUT = Path(__file__).resolve().parents[2]
NOW = "2026-11-24T20:00:00Z"


class Outcome(NamedTuple):
    """What one start of the program came to."""

    code: int
    out: str
    err: str

    @property
    def record(self) -> dict[str, Any]:
        """The record on standard output, which must be nothing but JSON."""
        value = json.loads(self.out)
        assert isinstance(value, dict), self.out
        return value

    @property
    def said(self) -> str:
        """Both streams, for messages of failed tests."""
        return f"exit {self.code}\n--- out\n{self.out}\n--- err\n{self.err}"


def begin(*arguments: str | Path, cwd: Path, env: Mapping[str, str | None] | None = None) -> subprocess.Popen[str]:
    """Start `drill` with these arguments in a new process; `env` adds variables, None takes one away.

    Outgoing proxies are switched off: tests serve links on this machine only.
    """
    seen = {**os.environ, "PYTHONPATH": os.fspath(CHECKOUT), "PYTHONIOENCODING": "utf-8", "NO_PROXY": "*"}
    for name, value in (env or {}).items():
        if value is None:
            seen.pop(name, None)
        else:
            seen[name] = value
    return subprocess.Popen(
        [sys.executable, "-m", "drill", *(os.fspath(argument) for argument in arguments)],
        cwd=cwd,
        env=seen,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )


def start(*arguments: str | Path, cwd: Path, env: Mapping[str, str | None] | None = None) -> Outcome:
    """Run `drill` with these arguments to its end."""
    with begin(*arguments, cwd=cwd, env=env) as running:
        try:
            out, err = running.communicate(timeout=120)
        except BaseException:
            running.kill()
            raise
    return Outcome(running.returncode, out, err)


def run_drills(
    studio_file: Path,
    *scenarios: str | Path,
    more: tuple[str | Path, ...] = (),
    env: Mapping[str, str | None] | None = None,
) -> Outcome:
    """Run `drill run` without ledger and reports, with a fixed seed and moment, its record on standard output."""
    chosen = [part for scenario in scenarios for part in ("--scenario", os.fspath(scenario))]
    fixed = ("--no-ledger", "--no-reports", "--seed", "7", "--now", NOW, "--json", "-")
    return start("run", studio_file, *chosen, *fixed, *more, cwd=studio_file.parent, env=env)
