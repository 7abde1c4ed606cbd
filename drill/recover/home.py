"""The folder that files come back to: what lies where in it, and how a verified file gets its name there, never over
another.

    FOLDER/SHOOT/promised/path            what is back
    FOLDER/SHOOT.as-promised/…            what is back and could not have its own name
    FOLDER/SHOOT.in-parts/…               what could only be had in part
    FOLDER/SHOOT.KIND, STILL-MISSING.txt  checksum lists; what is not back
    FOLDER/.drill-recovery/               files on their way: none of them is verified

Flows in: a folder, finished files. Flows out: their paths, or why a name could not be had. Nothing is put anywhere
that a link or a mounted folder inside FOLDER leads to. Must not know: copies' contents, plans.
"""

import errno
import os
import re
import stat
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path

from drill.errors import Unfinished
from drill.guard import falls_in
from drill.model import Promised

WORKING = ".drill-recovery"
LIST_OF_MISSING = "STILL-MISSING.txt"
AS_PROMISED = ".as-promised"
IN_PARTS = ".in-parts"

_ABOUT_THE_DISK = frozenset({errno.ENOSPC, errno.EIO, errno.EROFS, errno.ENODEV, getattr(errno, "EDQUOT", -1)})
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])\s*(?:\..*)?", re.IGNORECASE | re.DOTALL)
_LINKS = (getattr(stat, "IO_REPARSE_TAG_SYMLINK", -1), getattr(stat, "IO_REPARSE_TAG_MOUNT_POINT", -1))


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
        self.made: set[Path] = set()  # folders that got a new name in them, to be flushed
        self._safe: set[Path] = {into}

    def names(self, shoot: str, number: int, path: str) -> Iterator[Path]:
        """Yield the names that a promised file may have, best first; `number` is its place in the promise, from 1."""
        yield self.into / shoot / path
        yield self.into / f"{shoot}{AS_PROMISED}" / path
        yield self.into / f"{shoot}{AS_PROMISED}" / f"{number:05d}-{plain(path)}"

    def standing(self, shoot: str, number: int, path: str) -> Iterator[Path]:
        """Yield those of a promised file's names at which a real file of this folder stands now."""
        for name in self.names(shoot, number, path):
            if name_trouble(self._below(name)) is None and self.refusal(name.parent, make=False) is None:
                try:
                    if stat.S_ISREG(name.lstat().st_mode):
                        yield name
                except (OSError, ValueError):
                    continue

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
                    if _is_file(name) and holds(name, file):
                        work.unlink()
                        return Put(name, whys[0] if whys else None, was_there=True)
                    why = "something else has that name there"
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
        if stat.S_ISLNK(info.st_mode) or getattr(info, "st_reparse_tag", 0) in _LINKS:
            return True, "its folder is a link to elsewhere"
        if not stat.S_ISDIR(info.st_mode):
            return True, "a file stands where its folder should be"
        inside = (words for words, root in self._copies.items() if falls_in(folder, root))
        return True, next((f"its folder lies in {words}" for words in inside), None)

    def is_beside(self, other: Path | None) -> bool:
        """Say whether something lies on the same disk."""
        try:
            return other is not None and other.stat().st_dev == self.into.stat().st_dev
        except OSError:
            return False

    @contextmanager
    def disk(self) -> Iterator[None]:
        """Turn what its disk says against reading or writing into Unfinished."""
        try:
            yield
        except OSError as error:
            raise Unfinished(f"{self.into} cannot be written or read: {error.strerror or error}") from error

    def about_the_name(self, error: OSError) -> str:
        """Return in words what the disk has against a name. Errors: Unfinished, where it is against everything."""
        if error.errno in _ABOUT_THE_DISK:
            raise Unfinished(f"{self.into} cannot be written: {error.strerror}") from error
        return error.strerror or str(error)

    def _below(self, name: Path) -> str:
        return str(name)[len(str(self.into)) + 1 :]


def give_name(work: Path, name: Path) -> None:
    """Move a finished file to a name that nothing has. Errors: FileExistsError, where something has it; OSError."""
    try:
        os.link(work, name)
    except FileExistsError:
        raise
    except OSError:  # this disk has no hard links (FAT, exFAT, many networks), or it is about the name
        if os.path.lexists(name):
            raise FileExistsError(errno.EEXIST, "something has that name", str(name)) from None
        work.rename(name)  # Windows refuses by itself a name that has appeared meanwhile
    else:
        work.unlink()


def flush_names(folders: set[Path]) -> None:
    """Have the disk keep the new names in folders, where the system can be told; Windows does so by itself."""
    for folder in sorted(folders) if hasattr(os, "O_DIRECTORY") else ():
        try:
            fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        except OSError:
            continue  # it is gone: a later run will see
        try:
            os.fsync(fd)
        except OSError:
            pass  # some networks know no such thing
        finally:
            os.close(fd)
    folders.clear()


def name_trouble(path: str, *, windows: bool = os.name == "nt") -> str | None:
    """Say why a path below the folder is no name on this system, None where it may be one.

    Windows would take some of them for something else without an error (a stream, a device, a name without its dot).
    Source: Microsoft, "Naming Files, Paths, and Namespaces".
    """
    if not windows:
        return None
    for part in re.split(r"[\\/]", path):
        if re.search(r'[<>:"|?*\x00-\x1f]', part) or part.rstrip(" .") != part or _DEVICES.fullmatch(part):
            return "Windows has no such names"
    return None


def plain(path: str) -> str:
    """Return a promised path as one short name that every disk can have."""
    raw = path.encode("utf-8", "surrogatepass") if _is_odd(path) else path.encode("utf-8", "surrogateescape")
    text = "".join(chr(b) if (chr(b).isalnum() and b < 128) or b in b"._- " else f"%{b:02X}" for b in raw)
    text = text.replace("%2F", "-").replace(" ", "_")
    head, dot, ending = text.rpartition(".")
    short = f"{head[:80]}{dot}{ending[:20]}"
    return short.rstrip(".") or "file"


def _is_odd(path: str) -> bool:
    try:
        path.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:
        return True
    return False


def _is_file(path: Path) -> bool:
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (OSError, ValueError):
        return False
