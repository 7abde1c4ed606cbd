"""The folder that files come back to: what lies where in it, and how a verified file gets its name there, never over
another.

    FOLDER/SHOOT/promised/path            what is back
    FOLDER/SHOOT.as-promised/…            what is back and could not have its own name
    FOLDER/SHOOT.in-parts/…               what could only be had in part
    FOLDER/SHOOT.KIND                     checksum lists of what is back
    FOLDER/SHOOT.STILL-MISSING.txt        what is not back
    FOLDER/.drill-recovery/…/             files on their way: none of them is verified

Flows in: a folder, finished files. Flows out: their paths, or why a name could not be had. Nothing is put anywhere
that a link or a mounted folder inside FOLDER leads to. Must not know: copies' contents, plans.
"""

import stat
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count, takewhile
from pathlib import Path

from drill.errors import NoRoom, Unfinished, says_disk_fails, says_full
from drill.guard import falls_in
from drill.model import Promised
from drill.recover.names import give_name, is_file, leads_elsewhere, name_trouble, plain

WORKING = ".drill-recovery"
AS_PROMISED = ".as-promised"
IN_PARTS = ".in-parts"
LIST_OF_MISSING = ".STILL-MISSING.txt"
OTHER_BYTES = "the file that stands there has other bytes than promised"


@dataclass(frozen=True, slots=True)
class Put:
    """Where a file stands in the end; `why` it has not its own name, None where it has; `was_there` before."""

    path: Path
    why: str | None
    was_there: bool


class Home:
    """The folder, its parts, and what is known of the folders in it. `copies`: words → a place never to be written."""

    def __init__(self, into: Path, copies: Mapping[str, Path]) -> None:
        self.into, self._copies = into, dict(copies)
        self.working = into / WORKING
        self.work = self.working  # of this run alone, once it has begun
        self._numbers = count(1)
        self.made: set[Path] = set()  # folders that got a new name in them, to be flushed
        self._safe: set[Path] = {into}

    def begin_work(self) -> None:
        """Make a fresh folder for this run's files on their way. Errors: OSError."""
        self.work = Path(tempfile.mkdtemp(prefix="run-", dir=self.working))

    def fresh(self, what: str) -> Path:
        """Return a path on this run's own way at which nothing is yet."""
        return self.work / f"{what}-{next(self._numbers)}"

    def names(self, shoot: str, number: int, path: str) -> Iterator[Path]:
        """Yield the names that a promised file may have, best first; `number` is its place in the promise, from 1."""
        yield self.into / shoot / path
        yield self.into / f"{shoot}{AS_PROMISED}" / path
        yield self.into / f"{shoot}{AS_PROMISED}" / f"{number:05d}-{plain(path)}"

    def standing(self, shoot: str, number: int, path: str) -> Iterator[Path]:
        """Yield those of a promised file's names at which a real file of this folder stands now."""
        for name in self.names(shoot, number, path):
            has_place = name_trouble(self._below(name)) is None and self.refusal(name.parent, make=False) is None
            if has_place and is_file(name):
                yield name

    def put(
        self, work: Path, shoot: str, number: int, file: Promised, *, holds: Callable[[Path, Promised], bool]
    ) -> Put:
        """Give a verified file its name, or the next best one; `holds` reads a file that stands there already.

        A file of the same content counts as this one, which is then removed. Errors: Unfinished.
        """
        whys: list[str] = []
        for name in self.names(shoot, number, file.path):
            why = name_trouble(self._below(name)) or self.refusal(name.parent, make=True)
            if why is None:
                try:
                    give_name(work, name)
                    self.made.add(name.parent)
                    return Put(name, whys[0] if whys else None, was_there=False)
                except FileExistsError:
                    if is_file(name) and holds(name, file):
                        work.unlink()
                        return Put(name, whys[0] if whys else None, was_there=True)
                    why = OTHER_BYTES if is_file(name) else "something else has that name there"
                except OSError as error:
                    why = self.about_the_name(error)
            whys.append(why)
        raise Unfinished(f"{shoot}: {file.path} came back and finds no name in {self.into}: {'; '.join(whys)}")

    def refusal(self, folder: Path, *, make: bool) -> str | None:
        """Say why nothing may be put in a folder below this one, None where it may; `make` it where it is missing.

        Errors: Unfinished, where the disk is the reason.
        """
        if folder in self._safe:
            return None
        above = takewhile(lambda at: at not in self._safe, folder.parents)
        for at in reversed([folder, *above]):
            if not (make and self._is_made(at)):
                is_there, why = self._look(at)
                if why is not None or not is_there:
                    return why or ("its folder cannot be made on this disk" if make else None)
            self._safe.add(at)
        return None

    def _is_made(self, folder: Path) -> bool:
        try:
            folder.mkdir()
        except OSError as error:
            self.about_the_name(error)
            return False
        self.made.add(folder.parent)
        return True

    def _look(self, folder: Path) -> tuple[bool, str | None]:
        """Look at a folder that somebody else may have made: links and mounted copies may lead anywhere."""
        try:
            info = folder.lstat()
        except FileNotFoundError:
            return False, None
        except (OSError, ValueError) as error:
            return True, f"its folder cannot be had: {error}"
        if leads_elsewhere(info):
            return True, "its folder is a link to elsewhere"
        if not stat.S_ISDIR(info.st_mode):
            return True, "a file stands where its folder should be"
        inside = (words for words, root in self._copies.items() if falls_in(folder, root))
        return True, next((f"its folder lies in {words}" for words in inside), None)

    @contextmanager
    def disk(self) -> Iterator[None]:
        """Turn what its disk says against reading or writing into Unfinished."""
        try:
            yield
        except OSError as error:
            raise Unfinished(f"{self.into} cannot be written or read: {error.strerror or error}") from error

    def about_the_name(self, error: OSError) -> str:
        """Return in words what the disk has against a name. Errors: Unfinished, where it is against everything."""
        if says_full(error):
            raise NoRoom("is full", is_full=True) from error
        if says_disk_fails(error):
            raise Unfinished(f"{self.into} cannot be written: {error.strerror}") from error
        return error.strerror or str(error)

    def _below(self, name: Path) -> str:
        return str(name)[len(str(self.into)) + 1 :]
