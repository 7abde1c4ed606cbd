"""What stands in the folder already, from an earlier run or from somebody else: it counts only once it has been read.

Flows in: the folder, what is waited for. Flows out: what is back. Must not know: copies, plans.
"""

import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from itertools import islice
from pathlib import Path

from drill.recover.waiting import Waiting, Wanted
from drill.verify import Finding, examine

_READERS = 4
_AT_ONCE = 32  # files asked for at a time: what Ctrl-C waits for


def verify_standing(waiting: Waiting, files: Sequence[Wanted], *, say: Callable[[int], None]) -> None:
    """Read what stands under the names of the files that are waited for, and note those that have the promised bytes.

    `say` gets the bytes of each file that was read.
    """
    todo = ((wanted, [*waiting.home.standing(wanted.shoot, wanted.number, wanted.file.path)]) for wanted in files)
    left = ((wanted, names) for wanted, names in todo if names and wanted.put is None)
    with ThreadPoolExecutor(_READERS, thread_name_prefix="standing") as readers:
        for some in _batches(left):
            for wanted, found in readers.map(_first_promised, some):
                if found is not None:
                    waiting.note_standing(wanted, *found)
                    say(found[1].size)


def _first_promised(asked: tuple[Wanted, Sequence[Path]]) -> tuple[Wanted, tuple[Path, Finding] | None]:
    wanted, names = asked
    for name in names:
        with suppress(OSError):  # what cannot be read is not back
            finding = examine(name, [digest.kind for digest in wanted.file.digests])
            if finding.is_promised(wanted.file):
                return wanted, (name, finding)
    return wanted, None


def _batches(
    items: Iterable[tuple[Wanted, Sequence[Path]]],
) -> Iterator[list[tuple[Wanted, Sequence[Path]]]]:
    rest = iter(items)
    while some := list(islice(rest, _AT_ONCE)):
        yield some


def use_left(waiting: Waiting, kinds: Sequence[str]) -> None:
    """Take what an interrupted run left on its way, where it turns out to be whole; remove the rest.

    Errors: Unfinished; OSError, where the disk fails.
    """
    for folder in [path for path in waiting.home.working.iterdir() if path.is_dir() and not path.is_symlink()]:
        for path in sorted(folder.iterdir()):
            if path.is_file() and not path.is_symlink():
                waiting.take_left(path, examine(path, kinds))
        shutil.rmtree(folder, ignore_errors=True)
