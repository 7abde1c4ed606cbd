"""What is on the media that were named: folders and archives → copies to open.

Flows in: KIND=PATH texts. Flows out: media and copies as the studio file has them. Must not know: what is promised.
Errors: Mistakes. A folder that is empty is taken for a drive that is not plugged in.
"""

import os
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from drill import naming
from drill.copies import archive_format
from drill.errors import Mistake, Mistakes
from drill.guard import falls_in
from drill.intake.wares import is_text
from drill.model import Copy, Medium
from drill.studio import ATTACHED_KINDS, KINDS

Ask = Callable[[str, str], str]  # question, what is assumed → answer

_PLACES = dict.fromkeys(("card", "tablet", "phone", "ssd"), "bag")
_PLACES |= dict.fromkeys(("computer", "hard-disk", "network-storage", "optical", "tape"), "home")
_PLACES["cloud"] = "provider"
_GENERAL = frozenset({"", "dcim", "pictures", "photos", "images", "media", "data", "files", "home", "mnt", "volume"})
_LINK = re.compile(r"https?://[^/?#]+", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Given:
    """One --medium: its kind and where it is, as a path or an address, or neither: it cannot be read from here."""

    kind: str
    at: Path | None = None
    url: str | None = None


def read_given(texts: Sequence[str]) -> list[Given]:
    """Read the --medium options. Errors: Mistakes, all of them."""
    mistakes: list[Mistake] = []
    found: list[Given] = []
    for text in texts:
        try:
            found.append(_given(text))
        except ValueError as error:
            what, _, advice = str(error).partition("; ")
            mistakes.append(Mistake("--medium", text, what, advice))
    mistakes.extend(_overlapping([given.at for given in found if given.at is not None]))
    if mistakes:
        raise Mistakes(mistakes)
    return found


def _given(text: str) -> Given:
    kind, equals, where = text.partition("=")
    if not equals:
        raise ValueError("is not KIND=PATH; write it like card=/media/card-1, or tablet= for one that cannot be read")
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is no kind of medium; use one of: {', '.join(KINDS)}")
    if not where:
        return Given(kind)
    if _LINK.match(where):
        if archive_format(urlsplit(where).path) is None:
            raise ValueError("the address does not end in an archive's name; leave it out here, add it by hand later")
        return Given(kind, url=where)
    try:
        path = Path(where).expanduser().absolute()
        _check_there(path)
    except RuntimeError:  # ~name of nobody
        raise ValueError("there is no such user; write the path in full") from None
    except OSError as error:
        raise ValueError(f"cannot be looked into: {error.strerror}; may you read it?") from None
    return Given(kind, at=path)


def _check_there(path: Path) -> None:
    """Raise ValueError, or OSError, unless there is a folder with something in it, or an archive."""
    if not is_text(str(path)):
        raise ValueError("its name is no valid text; give the folder a plain name first")
    if not path.exists():
        raise ValueError("there is no such folder or archive; is the drive plugged in, the path spelled right?")
    if path.is_dir():
        if not any(path.iterdir()):
            raise ValueError("is empty; is the drive plugged in?")
    elif archive_format(path.name) is None:
        raise ValueError("is a file and no archive that can be read; name the folder that holds it")


def _overlapping(paths: Sequence[Path]) -> list[Mistake]:
    found = []
    for number, one in enumerate(paths):
        for other in paths[:number]:
            if falls_in(one, other) or falls_in(other, one):
                what = f"lies in, holds or is {other}, which is named too: the same files would count as two copies"
                found.append(Mistake("--medium", str(one), what, "name each folder once"))
    return found


def check_known(given: Given, known: Iterable[Copy]) -> bool:
    """Say whether the studio file has what is given. Errors: Mistakes, where it has a part of it."""
    if given.at is None:
        return False
    places = [(copy.id, copy.at) for copy in known if copy.at is not None]
    if any(falls_in(given.at, at) for _, at in places):
        return True
    for id_, at in places:
        if falls_in(at, given.at):
            what = f"holds {at}, which the studio file has as {id_}: the same files would count as two copies"
            raise Mistakes(
                [Mistake("--medium", str(given.at), what, f"change the `at` of {id_} to it, or name another")]
            )
    return False


def medium_for(given: Given, *, taken: Iterable[str], ask: Ask | None) -> tuple[Medium, bool]:
    """Return the medium for one --medium, and whether its place is only assumed."""
    id_ = _unused(_medium_id(given), taken)
    place, assumed = _PLACES[given.kind], True
    if ask is not None:
        answer = naming.slug(ask(f"Where is {id_} ({given.kind}) kept? One fire or theft takes a whole place", place))
        place, assumed = answer or place, False
    return (
        Medium(
            id=id_,
            kind=given.kind,
            place=place,
            attached=given.kind in ATTACHED_KINDS,
            offsite=given.kind == "cloud",
            carried=place == "bag",
            account=f"{id_}-login" if given.kind == "cloud" else None,
        ),
        assumed,
    )


def _medium_id(given: Given) -> str:
    if given.at is None:
        return given.kind
    name = _stem(given.at.name) if given.at.is_file() else given.at.name
    general = naming.slug(name) in _GENERAL or naming.dcf_folder(name) is not None
    return given.kind if general else naming.slug(name) or given.kind


def _unused(id_: str, taken: Iterable[str]) -> str:
    known, number, found = set(taken), 1, id_
    while found in known:
        number += 1
        found = f"{id_}-{number}"
    return found


def _stem(name: str) -> str:
    return name[: -len(archive_format(name) or "")] or name


def copies_on(given: Given, medium: Medium, *, taken: set[str], known: Iterable[Path] = ()) -> list[Copy]:
    """Return the copies on one medium: its folder, and every archive in it; `taken` grows by their ids.

    Archives that are `known` as copies already are left out.
    """
    if given.url is not None:
        return [_copy(medium, medium.id, taken, url=given.url)]
    if given.at is None:
        return [_copy(medium, medium.id, taken)]
    if given.at.is_file():
        return [_copy(medium, medium.id, taken, at=given.at)]
    seen = {Path(os.path.realpath(path)) for path in known}
    found = [] if Path(os.path.realpath(given.at)) in seen else [_copy(medium, medium.id, taken, at=given.at)]
    paths = [path for path in archives_below(given.at) if Path(os.path.realpath(path)) not in seen]
    names = [f"{medium.id}-{naming.slug(_stem(path.name)) or 'archive'}" for path in paths]
    counts = Counter(names)
    for path, name in zip(paths, names, strict=True):
        if counts[name] > 1 or name in taken:  # 2026.7z and 2026.zip: the ending tells which is which
            ending = (archive_format(path.name) or "").replace(".", "-")
            found.append(_copy(medium, name + ending, taken, at=path))
        else:
            found.append(_copy(medium, name, taken, at=path))
    return found


def _copy(medium: Medium, id_: str, taken: set[str], *, at: Path | None = None, url: str | None = None) -> Copy:
    free = _unused(id_, taken)
    taken.add(free)
    if url is not None:
        return Copy(free, medium.id, None, url, "link", archive_format(urlsplit(url).path), None)
    packed = archive_format(at.name) if at is not None and at.is_file() else None
    form = None if at is None else "archive" if packed else "folder"
    return Copy(free, medium.id, at, None, form, packed, None)


def archives_below(folder: Path) -> list[Path]:
    """Return every archive that can be read below a folder, by path.

    What a system left behind is passed over, and what a studio file cannot name (see `wares.candidates`).
    """
    found: list[Path] = []
    for where, folders, names in os.walk(folder):
        inside = Path(where).relative_to(folder).as_posix()
        prefix = "" if inside == "." else f"{inside}/"
        folders[:] = sorted(name for name in folders if naming.dropping(f"{prefix}{name}/x") is None)
        found.extend(
            Path(where) / name
            for name in sorted(names)
            if archive_format(name) is not None and naming.dropping(prefix + name) is None
        )
    return [path for path in found if path.is_file() and not path.is_symlink() and is_text(str(path))]
