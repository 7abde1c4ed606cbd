"""The one error tree. Lost photos are results, not exceptions.

    DrillError
    ├── Mistakes      something people wrote is wrong: every mistake found, exit code 2
    ├── Unfinished    it could not be finished (disk full, mount vanished, interrupted), exit code 3
    │   └── NoRoom    the disk that is restored to is full, or cannot be written or read
    ├── CannotReach   a copy is not here now: not plugged in, another drive, server silent → on paper
    ├── CannotRead    a copy is here and refuses or is damaged as a whole → it holds nothing
    └── BadTree       a fault tree that is none, or the probabilities of its events; a ValueError too

Flows in: nothing. Flows out: these classes, raised by every room, and what an error of the system is about. Must
not know: any other room.
"""

import errno
from collections.abc import Iterable
from dataclasses import dataclass

_FULL = frozenset({errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)})
_ABOUT_THE_DISK = _FULL | {errno.EIO, errno.EROFS, errno.ENODEV}


class DrillError(Exception):
    """The root of all that this program raises on purpose."""


@dataclass(frozen=True, slots=True, order=True)
class Mistake:
    """One thing that somebody wrote wrongly: where (file), which key or line, what, and the next step."""

    where: str
    at: str
    what: str
    advice: str = ""

    def __str__(self) -> str:
        place = f"{self.where}: {self.at}" if self.at else self.where
        return f"{place}: {self.what}" + (f"; {self.advice}" if self.advice else "")


class Mistakes(DrillError):
    """All the mistakes found in what people wrote."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = tuple(dict.fromkeys(mistakes))
        super().__init__("\n".join(str(m) for m in self.mistakes))


class Unfinished(DrillError):
    """The work could not be finished; what was done is kept and said."""


class NoRoom(Unfinished):
    """The disk that is restored to is full, or cannot be written or read; `what` says which, without naming it."""

    def __init__(self, what: str, *, is_full: bool = False) -> None:
        self.what, self.is_full = what, is_full
        super().__init__(f"the disk that holds scratch {what}; set scratch to a folder on a disk with room")


class CannotReach(DrillError):
    """A copy cannot be reached now; what it is said to hold stays on paper."""


class CannotRead(DrillError):
    """A copy was reached and gives nothing: refused, expired, not an archive, damaged at its head."""


class BadTree(DrillError, ValueError):
    """A fault tree cannot be worked out: one line that names the gate or the event, and what is wrong with it."""


def says_full(error: OSError) -> bool:
    """Say whether an error means that the disk is full, or what one may use of it."""
    return error.errno in _FULL


def says_disk_fails(error: OSError) -> bool:
    """Say whether an error is about the whole disk that is written to, and not about one name on it."""
    return error.errno in _ABOUT_THE_DISK
