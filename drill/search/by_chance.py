"""The search by chance: a Hypothesis state machine that lets mishaps befall a shoot, in scenes of real bytes.

Flows in: a course, its scenes, a judge, names of mishaps, a seed, the time allowed. Flows out: the shortest story
found, how many were tried. Must not know: the exhaustive search. After each mishap the drill's own restore says whether
the pictures can be brought back from the bytes that are left when nothing more goes wrong.

Stories begin long, with mishaps that have nothing to do with each other: of many some lose it together. Hypothesis then
leaves out what is not needed, and it begins anew, for another one. Its documentation says that shrinking does not
promise the smallest example there is; so what comes of it is the shortest story found, and no proof.
https://hypothesis.readthedocs.io
"""

import signal
import threading
from collections.abc import Callable, Container, Sequence
from contextlib import suppress
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, Verbosity, seed, settings
from hypothesis import strategies as st
from hypothesis.configuration import set_hypothesis_home_dir
from hypothesis.errors import Flaky
from hypothesis.stateful import RuleBasedStateMachine, rule, run_state_machine_as_test

from drill import clock
from drill.search.judge import Judge
from drill.search.mishaps import FORGET
from drill.search.play import Marks, Play, Ways

_AT_A_TIME = 400  # examples; the time allowed is looked at in each step
_MOMENTS = 24  # at which something is done, in which mishaps may come; a life has few more
_OFTEN = 6  # as often as one that keeps a copy comes a mishap that takes some


class _Lost(AssertionError):
    """The pictures cannot be brought back."""


class _Over(BaseException):
    """The time allowed is over."""


@dataclass(slots=True)
class Tried:
    """What a search by chance came to: examples, steps (each some moments of the calendar and a mishap), and the
    mishaps of the shortest story, with their legs."""

    examples: int = 0
    steps: int = 0
    marks: Marks | None = None
    interrupted: bool = False


def by_chance(
    ways: Ways,
    judge: Judge,
    names: Sequence[str],
    *,
    seldom: Container[str],
    most: int,
    seed_: int,
    budget_s: float,
    home: Path,
    examples: int | None = None,
    progress: Callable[[str], None] = lambda text: None,
) -> Tried:
    """Look for stories of at most `most` mishaps, until `budget_s` is over (or so many `examples` were tried).

    Of `names` those `seldom` come less often: who forgets to erase something has a copy more.

    What Hypothesis itself keeps goes to the folder `home`. Errors: Unfinished.
    """
    tried = Tried()
    until_s = clock.ticks_s() + budget_s
    drawn = [*(name for name in names if name not in seldom for _ in range(_OFTEN)), *(n for n in names if n in seldom)]
    set_hypothesis_home_dir(home)
    handlers = _noting_interrupts(tried)
    try:
        turn = 0
        while (
            names
            and not tried.interrupted
            and clock.ticks_s() < until_s
            and (examples is None or tried.examples < examples)
        ):
            progress(f"{tried.examples:,} stories by chance, of up to {most} mishaps")
            asked = _AT_A_TIME if examples is None else min(_AT_A_TIME, examples - tried.examples)
            machine = _machine(ways, judge, drawn, tried, until_s)
            _run(machine, steps=most, examples=asked, seed_=seed_ * 1_000_003 + turn)
            turn += 1
    except _Over:
        pass
    finally:
        set_hypothesis_home_dir(None)
        for number, handler in handlers.items():
            signal.signal(number, handler)
    return tried


def _noting_interrupts(tried: Tried) -> dict[signal.Signals, Any]:
    """Have Ctrl-C and its like noted for the next step; return the handlers that were there.

    Raised just anywhere, one in eight was lost: in a callback of the garbage collector, as Hypothesis has one, what is
    raised is passed over.
    """

    def note(number: int, frame: object) -> None:
        tried.interrupted = True

    if threading.current_thread() is not threading.main_thread():
        return {}
    numbers = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    return {
        number: signal.signal(number, note)
        for number in numbers
        if signal.getsignal(number) not in (signal.SIG_IGN, signal.SIG_DFL, None)
    }


def _run(machine: type[RuleBasedStateMachine], *, steps: int, examples: int, seed_: int) -> None:
    quiet = settings(
        max_examples=examples,
        stateful_step_count=steps,
        deadline=None,
        database=None,
        derandomize=False,
        verbosity=Verbosity.quiet,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
        report_multiple_bugs=False,
        print_blob=False,
    )
    with suppress(_Lost, Flaky):  # the story is noted where it was found
        run_state_machine_as_test(seed(seed_)(machine), settings=quiet)


def _since(name: str, moments: int) -> int:
    """Return from which moment on a mishap may come: a step is forgotten the next time it does something, and that is
    the first in half of the stories."""
    return max(0, moments - _MOMENTS // 2) if name.startswith(f"{FORGET}:") else moments


def _played(ways: Ways, mishaps: Sequence[tuple[int, str]]) -> tuple[int, Marks]:
    """Return the scene that a story ends in, and its mishaps with their legs."""
    play, at = Play(ways), 0
    for moments, name in sorted(mishaps, key=itemgetter(0)):
        play.go_on(moments - at)
        play.befall(name)
        at = moments
    return play.end()


def _machine(
    ways: Ways, judge: Judge, names: Sequence[str], tried: Tried, until_s: float
) -> type[RuleBasedStateMachine]:
    class Everyday(RuleBasedStateMachine):
        """A shoot to which everyday mishaps come, in any order, at moments of its calendar."""

        def __init__(self) -> None:
            super().__init__()
            self.mishaps: list[tuple[int, str]] = []
            tried.examples += 1

        @rule(moments=st.integers(0, _MOMENTS), name=st.sampled_from(names))
        def befall(self, moments: int, name: str) -> None:
            tried.steps += 1
            if tried.interrupted or clock.ticks_s() > until_s:
                raise _Over
            self.mishaps.append((_since(name, moments), name))
            scene, marks = _played(ways, self.mishaps)
            if judge.is_lost(scene):
                if tried.marks is None or len(marks) < len(tried.marks):
                    tried.marks = marks
                raise _Lost

        def teardown(self) -> None:
            """Have nothing to let go of."""

    made: Any = Everyday
    found: type[RuleBasedStateMachine] = made
    return found
