"""What stands in the folder already, from an earlier run or from somebody else: it counts only once it has been read.

Flows in: the folder, what is waited for. Flows out: what is back. Must not know: copies, plans.
"""

import os
import shutil
import stat
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import datetime
from itertools import islice
from pathlib import Path

from drill.model import Promised
from drill.quick import forget_cached
from drill.recover.names import is_file, leads_elsewhere
from drill.recover.waiting import Waiting, Wanted
from drill.verify import Finding, examine

_READERS = 4
_AT_ONCE = 32  # files asked for at a time: what Ctrl-C waits for


def verify_standing(waiting: Waiting, files: Sequence[Wanted], *, say: Callable[[int], None]) -> list[Path]:
    """Read what stands under the names of the files that are waited for, and note those that have the promised bytes.

    `say` gets the bytes of each file that was read. Return what stands under such a name and has other bytes, or cannot
    be read.
    """
    wrong: list[Path] = []
    todo = ((wanted, [*waiting.home.standing(wanted.shoot, wanted.number, wanted.file.path)]) for wanted in files)
    left = ((wanted, names) for wanted, names in todo if names and wanted.put is None)
    with ThreadPoolExecutor(_READERS, thread_name_prefix="standing") as readers:
        for some in _batches(left):
            for wanted, found, others in readers.map(_first_promised, some):
                wrong += others
                if found is not None:
                    waiting.note_standing(wanted, *found)
                    say(found[1].size)
    return wrong


def _first_promised(
    asked: tuple[Wanted, Sequence[Path]],
) -> tuple[Wanted, tuple[Path, Finding] | None, list[Path]]:
    """Return the first name at which the promised bytes stand, and those before it at which others do."""
    wanted, names = asked
    others: list[Path] = []
    for name in names:
        with suppress(OSError):  # what cannot be read is not back
            finding = examine(name, [digest.kind for digest in wanted.file.digests])
            if finding.is_promised(wanted.file):
                return wanted, (name, finding), others
        others.append(name)
    return wanted, None, others


def _batches(
    items: Iterable[tuple[Wanted, Sequence[Path]]],
) -> Iterator[list[tuple[Wanted, Sequence[Path]]]]:
    rest = iter(items)
    while some := list(islice(rest, _AT_ONCE)):
        yield some


def use_left(waiting: Waiting, kinds: Sequence[str], *, when: Callable[[Promised], datetime | None]) -> None:
    """Take what an interrupted run left on its way, where it turns out to be whole on the disk; remove the rest.

    `when` tells the time of change of a promised file. Errors: Unfinished; OSError, where the disk fails.
    """
    home = waiting.home
    for folder in [path for path in home.working.iterdir() if path != home.work and _is_folder(path)]:
        for path in sorted(Path(at, name) for at, _, names in os.walk(folder) for name in names):
            # A second name of a file is of one that has its name already, or of something else altogether.
            if is_file(path) and path.lstat().st_nlink == 1:
                _settle_on_disk(path)
                waiting.take_left(path, examine(path, kinds), when=when)
        shutil.rmtree(folder, ignore_errors=True)


def _is_folder(path: Path) -> bool:
    info = path.lstat()
    return stat.S_ISDIR(info.st_mode) and not leads_elsewhere(info)


def _settle_on_disk(path: Path) -> None:
    """Have a file that nobody flushed on the disk, and the cache let go of it, so that the disk is what is judged."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())
        forget_cached(file.fileno())
