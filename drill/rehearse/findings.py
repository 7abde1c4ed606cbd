"""Findings: what the fault-free reads of a run showed to be wrong with the copies as they are today.

Flows in: claims and reads. Flows out: texts. Must not know: scenarios. A scenario can hide such a file behind another
copy that serves; it is still one copy less than the photographer counts.
"""

from collections.abc import Callable, Container, Iterable, Mapping, Sequence

from drill.coverage import other_bytes
from drill.model import Copy, Digest, Entry, Promised, Shoot
from drill.rehearse.holdings import Claims
from drill.rehearse.reads import Read

_MOST_NAMED = 5

Wanting = dict[tuple[str, str], str]  # (copy, path) → what is wrong with it


def wanting_files(
    files: Sequence[tuple[Promised, Claims]],
    *,
    read_of: Callable[[str, Entry], Read | None],
    is_here: Callable[[str], bool],
    promised: Container[Digest],
) -> Wanting:
    """Return what is wrong with the files that copies offer for promised ones, as far as they were read."""
    found: Wanting = {}
    for file, claims in files:
        for id_, offered in claims.items():
            for claim in offered if is_here(id_) else ():
                if claim.entry is None:
                    found[id_, claim.path] = "listed and not there"
                    continue
                read = read_of(id_, claim.entry)
                if read is not None and not read.gives(file) and not read.is_any_of(promised):
                    found[id_, claim.path] = _say(read)
    return found


def _say(read: Read) -> str:
    if read.finding is not None and read.finding.looks_like_page:
        return "a web page comes in place of the file"
    if read.problem is None or read.finding is not None:
        return "not what was promised under that name (damaged, edited since, or another picture)"
    return f"cannot be read in the ordinary way ({read.problem.detail})"


def by_lists(copies: Iterable[Copy], shoots: Sequence[Shoot]) -> Wanting:
    """Return what copies' own lists say to be other bytes than promised; nothing needs to be read for that."""
    why = "its own list has other bytes than promised (damaged, edited since, or the promise took the wrong one)"
    return {(copy.id, path): why for copy in copies if copy.listed for path, _ in other_bytes(copy.listed, shoots)}


def say_wanting(found: Mapping[tuple[str, str], str]) -> list[str]:
    """Say each kind of trouble of each copy once, with the first files that have it and how many more."""
    kinds: dict[tuple[str, str], list[str]] = {}
    for (id_, path), why in found.items():
        kinds.setdefault((id_, why), []).append(path)
    said = []
    for (id_, why), paths in kinds.items():
        more = f" and {len(paths) - _MOST_NAMED} more" if len(paths) > _MOST_NAMED else ""
        said.append(f"{id_}: {', '.join(paths[:_MOST_NAMED])}{more}: {why}")
    return said
