"""Names on a disk: one is given only where nothing has it, none leads elsewhere, and every disk can have some.

Flows in: paths. Flows out: files under their names, or why a name cannot be had. Must not know: shoots, promises.
"""

import ctypes
import errno
import os
import re
import shutil
import stat
import sys
from pathlib import Path

_DEVICES = re.compile(r"(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])\s*(?:\..*)?", re.IGNORECASE | re.DOTALL)
_LINKS = (getattr(stat, "IO_REPARSE_TAG_SYMLINK", -1), getattr(stat, "IO_REPARSE_TAG_MOUNT_POINT", -1))
_HERE = -100  # AT_FDCWD: paths as they are (Linux, fcntl.h)
_NO_REPLACE, _EXCLUSIVE = 1, 4  # RENAME_NOREPLACE (Linux, rename(2)); RENAME_EXCL (macOS, sys/stdio.h; from memory)


def give_name(work: Path, name: Path) -> None:
    """Move a finished file to a name that nothing has. Errors: FileExistsError, where something has it; OSError.

    At no moment does the name lead to a part of the file, and whatever gets the name meanwhile keeps it.
    """
    try:
        os.link(work, name)
    except FileExistsError:
        raise
    except OSError:  # this disk has no hard links (FAT, exFAT, many networks), or it is about the name
        if not _renamed(work, name):
            _rename_by_holding(work, name)
    else:
        work.unlink()


def _renamed(work: Path, name: Path) -> bool:
    """Rename a file to a name that nothing has; return False where the system or the disk has no such call."""
    if sys.platform == "win32":
        work.rename(name)  # it refuses by itself
        return True
    call = "renameat2" if sys.platform.startswith("linux") else "renamex_np"
    old, new = os.fsencode(work), os.fsencode(name)
    try:
        rename = getattr(ctypes.CDLL(None, use_errno=True), call)
    except (AttributeError, OSError):
        return False
    done = rename(_HERE, old, _HERE, new, _NO_REPLACE) if call == "renameat2" else rename(old, new, _EXCLUSIVE)
    if done == 0:
        return True
    number = ctypes.get_errno()
    if number == errno.EEXIST:
        raise FileExistsError(errno.EEXIST, "something has that name", str(name))
    if number in (errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EPERM):
        return False
    raise OSError(number, os.strerror(number), str(name))


def _rename_by_holding(work: Path, name: Path) -> None:
    """Hold the name with an empty file of our own, and rename over that one: over nothing that was there before."""
    held = name.open("xb")
    try:
        if not os.path.samestat(os.fstat(held.fileno()), name.lstat()) or name.lstat().st_size:
            raise FileExistsError(errno.EEXIST, "something got that name meanwhile", str(name))
    finally:
        held.close()
    try:
        work.rename(name)
    except OSError:
        name.unlink()
        raise


def copy_new(source: Path, target: Path) -> None:
    """Copy a file's bytes to a path at which nothing is, not even a link, and to disk. Errors: OSError."""
    with source.open("rb") as read, target.open("xb") as written:
        shutil.copyfileobj(read, written, 1024 * 1024)
        written.flush()
        os.fsync(written.fileno())


def leads_elsewhere(info: os.stat_result) -> bool:
    """Say whether what was looked at (by lstat) is a link, or what Windows has in its place."""
    return stat.S_ISLNK(info.st_mode) or getattr(info, "st_reparse_tag", 0) in _LINKS


def remove_link(path: Path) -> None:
    """Remove a link, and nothing of what it leads to. Errors: OSError."""
    try:
        path.unlink()
    except OSError:
        path.rmdir()  # what Windows has for folders; nobody else removes a link so


def is_file(path: Path) -> bool:
    """Say whether a real file stands there, and no link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (OSError, ValueError):
        return False


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
