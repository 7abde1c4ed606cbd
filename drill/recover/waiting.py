"""Waiting: which promised files are not back yet. It takes each verified file that comes, whichever was asked for.

Flows in: shoots, judged files on their way, what stands in the folder. Flows out: who is back, under which name, from
where. Must not know: copies' contents, plans. A file counts as back only when its bytes were read from this folder's
disk and matched every promised digest.
"""

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Lock

from drill.coverage import WEAK, name_key
from drill.model import Digest, Entry, Promised, Shoot
from drill.recover.home import Home, Put
from drill.recover.names import copy_new
from drill.shelf import OpenCopy
from drill.verify import Finding, examine


@dataclass(slots=True)
class Wanted:
    """One promised file of a shoot: its place in the promise, from 1; where it stands, once it is back, of what size,
    and the copies that it came from in this run: several where it was put together."""

    shoot: str
    number: int
    file: Promised
    put: Put | None = None
    size: int = 0
    sources: tuple[str, ...] = ()


class Waiting:
    """All promised files of the shoots, and the folder that they come back to. `take` may be called on any thread."""

    def __init__(self, home: Home, shoots: Sequence[Shoot]) -> None:
        self.home, self._lock = home, Lock()
        self._mode = _usual_mode()
        self.files = {
            shoot.id: [Wanted(shoot.id, number, file) for number, file in enumerate(shoot.promise, 1)]
            for shoot in shoots
        }
        self._of: dict[Digest, list[Wanted]] = {}
        for wanted in self.all():
            for digest in wanted.file.digests[:1]:
                self._of.setdefault(digest, []).append(wanted)

    def all(self) -> Iterator[Wanted]:
        """Yield every promised file."""
        for files in self.files.values():
            yield from files

    def take(self, found: OpenCopy, entry: Entry, path: Path, finding: Finding) -> bool:
        """Give a judged file the name of every promised file that waits for it; say whether it was taken away.

        Errors: Unfinished; OSError, where the disk fails.
        """
        with self._lock:
            fitting = [wanted for wanted in self._waiting_for(finding) if _may_be(wanted.file, entry, finding)]
            if fitting:
                self._dress(path, entry.modified)
                self._place_all(fitting, path, finding, (found.copy.id,))
            return bool(fitting)

    def take_left(self, path: Path, finding: Finding, *, when: Callable[[Promised], datetime | None]) -> None:
        """Take a file that an interrupted run left on its way, if it is one that is waited for."""
        with self._lock:
            fitting = [wanted for wanted in self._waiting_for(finding) if not _is_weak(wanted.file)]
            if fitting:
                self._dress(path, when(fitting[0].file))
            self._place_all(fitting, path, finding, ())

    def note_standing(self, wanted: Wanted, name: Path, finding: Finding) -> None:
        """Note that a file stands in the folder already, verified."""
        with self._lock:
            if wanted.put is None:
                own = next(self.home.names(wanted.shoot, wanted.number, wanted.file.path))
                wanted.put = Put(name, None if name == own else "it was put there before", was_there=True)
                wanted.size = finding.size

    def _waiting_for(self, finding: Finding) -> list[Wanted]:
        candidates = (wanted for digest in finding.digests for wanted in self._of.get(digest, ()))
        return [wanted for wanted in candidates if wanted.put is None and finding.is_promised(wanted.file)]

    def _place_all(self, fitting: Sequence[Wanted], path: Path, finding: Finding, sources: tuple[str, ...]) -> None:
        for wanted in fitting[1:]:  # two files, not two names of one: who edits one of them must not change the other
            again = self.home.fresh("again")
            copy_new(path, again)
            shutil.copystat(path, again)
            if not examine(again, _kinds(wanted.file)).is_promised(wanted.file):
                raise OSError(None, "what was written is not what is read")
            self._place(wanted, again, finding, sources)
        for wanted in fitting[:1]:
            self._place(wanted, path, finding, sources)

    def _place(self, wanted: Wanted, path: Path, finding: Finding, sources: tuple[str, ...]) -> None:
        wanted.put = self.home.put(path, wanted.shoot, wanted.number, wanted.file, holds=holds)
        wanted.size = finding.size
        wanted.sources = () if wanted.put.was_there else sources

    def _dress(self, path: Path, modified: datetime | None) -> None:
        """Give a file the rights that new files have, and the time of its copy: no judgement hangs on either."""
        with suppress(OSError):
            path.chmod(self._mode)
        if modified is not None:
            with suppress(OSError, OverflowError, ValueError):
                when_s = modified.timestamp()
                os.utime(path, (when_s, when_s))


def holds(path: Path, file: Promised) -> bool:
    """Say whether a file that stands somewhere has the promised bytes, by reading it; where it cannot be read, no."""
    try:
        return examine(path, _kinds(file)).is_promised(file)
    except OSError:
        return False


def _kinds(file: Promised) -> list[str]:
    return [digest.kind for digest in file.digests]


def _may_be(file: Promised, entry: Entry, finding: Finding) -> bool:
    """Say whether a file may be the promised one for which nobody asked: a short digest alone is no identity."""
    return not _is_weak(file) or name_key(file.path) == name_key(entry.path) or finding.size == file.size


def _is_weak(file: Promised) -> bool:
    return all(digest.kind in WEAK for digest in file.digests)


def _usual_mode() -> int:
    mask = os.umask(0)  # it can only be asked by setting it
    os.umask(mask)
    return 0o666 & ~mask
