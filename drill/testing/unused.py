"""What goes wrong, written and thrown away in the same breath: `lost("tablet")` where `with lost("tablet"):` is meant.

Nothing goes wrong then, and a test would pass that tests nothing. So it is warned of at once, and the next drill is
refused. Only what a statement of the function that made it throws away is told: a mishap that is kept under a name, in
a list or by pytest may still be for a later block, or for a test that was not chosen, or a failing test lets go of it.

Flows in: what is let go, unused. Flows out: a warning; Mistakes. Must not know: what a mishap is. Where Python does not
let go of things at once (CPython alone counts references), nothing is told. Instructions: docs.python.org, "dis".
"""

import inspect
import sys
import warnings
from collections.abc import Iterator
from itertools import islice
from opcode import opmap, opname
from types import FrameType

from drill.errors import Mistake, Mistakes

_DEEP = 8  # functions that a mishap is made in: those of this package, a test's own, and what that calls it by
_WHAT, _ADVICE = "is made and thrown away, so nothing goes wrong", "write `with` before it, or hand it to drilled"
_THROWN_AWAY: list[Mistake] = []


class UnusedWarning(UserWarning):
    """Something was to go wrong and was thrown away: without `with`, nothing goes wrong."""


class Use:
    """Whether something that is for a `with` block was used, and in which functions it was made."""

    __slots__ = ("_makers", "happened")

    def __init__(self) -> None:
        self.happened = False
        self._makers = {frame.f_code for frame in islice(_frames(), _DEEP)}

    def tell_unused(self, words: str) -> None:
        """Called by `__del__`: warn, and have the next drill refused, where a statement throws it away unused."""
        frame = next(islice(_frames(), 2, None), None)
        if self.happened or frame is None or sys.is_finalizing() or frame.f_code not in self._makers:
            return
        if _throws_away(frame):
            where = f"{frame.f_code.co_filename}, line {frame.f_lineno}"
            _THROWN_AWAY.append(Mistake(where, words, _WHAT, _ADVICE))
            warnings.warn(f"{words} {_WHAT}; {_ADVICE}", UnusedWarning, stacklevel=3)


def _throws_away(frame: FrameType) -> bool:
    """Say whether a function is just throwing away what a call gave, as a statement that is a call alone does."""
    code, at = frame.f_code.co_code, frame.f_lasti
    if at < 0 or code[at] != opmap["POP_TOP"]:
        return False
    at -= 2  # instructions are of two bytes each; a call is followed by room for the interpreter's own notes
    while at > 0 and code[at] == opmap["CACHE"]:
        at -= 2
    return opname[code[at]].startswith("CALL")


def check_nothing_unused() -> None:
    """Refuse to go on where something was thrown away unused; it is told once. Errors: Mistakes."""
    __tracebackhide__ = True
    if _THROWN_AWAY:
        found = tuple(_THROWN_AWAY)
        _THROWN_AWAY.clear()
        raise Mistakes(found)


def _frames() -> Iterator[FrameType]:
    """Yield the frames that are running, that of the caller first."""
    frame = inspect.currentframe()
    frame = None if frame is None else frame.f_back
    while frame is not None:
        yield frame
        frame = frame.f_back
