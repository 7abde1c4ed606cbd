"""The ending: what a story takes and leaves on each medium, as a scenario file to be drilled on the real copies.

Flows in: a story of the record, its studio. Flows out: the text of a scenario file. Must not know: copies.

A theft takes also what no step of the scheme brings a shoot to. So each mishap is written with its own selector, as
wide as it struck; after these comes what is left on the media that the scheme knows. Media on which the right bytes are
left are not named. Where the story is about edits, what is missing or wrong there are the files that edits are in: as
the promises name them.
"""

from collections.abc import Iterable, Iterator, Mapping
from glob import escape
from pathlib import PurePosixPath

from drill.model import Studio
from drill.phrases import many
from drill.searchrecord import Happening, Story
from drill.tables import quoted

FIRST_LINE = "# How a story that `drill search` found ends, to be drilled on the real copies."
_GONE, _DELETED, _REFUSED, _ENCRYPTED = (f'effect = "{name}"' for name in ("gone", "deleted", "refused", "encrypted"))
# Of each file the first byte is another one: as in the story, no copy of it is right.
_ALTERED = 'effect = "altered"\noffsets = [0]'
_LEFT: Mapping[str, str] = {"failed": _GONE, "not there": _DELETED, "wrong": _ALTERED}
_STRUCK: Mapping[str, tuple[str, str]] = {
    "medium": (_GONE, "medium"),
    "place": (_GONE, "place"),
    "account": (_REFUSED, "account"),
    "deleted": (_DELETED, "medium"),
    "rot": (_ALTERED, "medium"),
}
_CARRIED, _ATTACHED = "carried = true", "attached = true"
_EDITED = ("edits", "deliverables")
_SIDECARS = "*.xmp"  # of XMP, ISO 16684-1: where no promise shows what edits are in
_GUESSED = f"\n# No promise shows which files edits are in: {_SIDECARS} is a guess. Write your own at files."


def scenario_text(story: Story, studio: Studio) -> str:
    """Return a scenario file: a hazard for each mishap, as wide as it struck, then one for each way in which media no
    longer hold what the story took."""
    told = [f"{one.local} {one.words}" for one in story.happenings]
    mishaps = [one for one in story.happenings if not one.by_plan]
    count = many(len(mishaps), "mishap")
    first = mishaps[0].words if mishaps else "nothing but the plan"
    goes_on = "" if mishaps and mishaps[0] is story.happenings[-1] else " …"
    edited = edited_files(studio) if story.edit is not None else None
    guessed = _GUESSED if edited == [] else ""
    parts = [
        f"{FIRST_LINE}\n# What it leaves as it was is not named.{guessed}",
        f"title = {quoted(f'A story of {count}: {first}{goes_on}')}\nstory = {quoted('; '.join(told))}",
    ]
    hits = dict.fromkeys([*_struck(mishaps, studio), *_left(story, edited)])
    parts += [f"[[hazards]]\n{effect}\nhits = {{ {selector} }}" for effect, selector in hits]
    return "\n\n".join(parts) + "\n"


def _struck(mishaps: Iterable[Happening], studio: Studio) -> Iterator[tuple[str, str]]:
    """Give the effect of each mishap, and the selector of all that it reaches, whatever the scheme does with that."""
    for one in mishaps:
        kind, _, id_ = one.what.partition(":")
        if kind == "attack":
            yield _ENCRYPTED, _ATTACHED
        elif kind in _STRUCK:
            effect, key = _STRUCK[kind]
            yield effect, _listing(key, [id_])
        at_home = not one.away and studio.scheme is not None and studio.scheme.home == id_
        if kind == "place" and at_home and any(medium.carried for medium in studio.media.values()):
            yield _GONE, _CARRIED


def _left(story: Story, edited: list[str] | None) -> Iterator[tuple[str, str]]:
    """Give what is left on the media of the scheme; of `edited` files alone where the story is of these."""
    files = "" if edited is None else f"\n{_listing('files', edited or [_SIDECARS])}"
    for left, effect in _LEFT.items():
        media = [end.medium for end in story.ends if end.left == left]
        if media:
            yield effect + ("" if effect == _GONE else files), _listing("medium", media)


def edited_files(studio: Studio) -> list[str]:
    """Return globs for the files that edits and deliverables are in, by what is promised and by none of its originals:
    their endings, else the folders that they alone lie in; empty where nothing tells them from originals."""
    paths = [(PurePosixPath(file.path), file.kind) for shoot in studio.shoots for file in shoot.promise]
    others = [path for path, kind in paths if kind not in _EDITED]
    endings, folders = {path.suffix.lower() for path in others}, {path.parts[0] for path in others}
    found: dict[str, None] = {}
    for path, kind in paths:
        if kind in _EDITED and path.suffix and path.suffix.lower() not in endings:
            found[f"*{escape(path.suffix.lower())}"] = None
        elif kind in _EDITED and len(path.parts) > 1 and path.parts[0] not in folders:
            found[f"**/{escape(path.parts[0])}/**"] = None
    return sorted(found)


def _listing(key: str, ids: Iterable[str]) -> str:
    return f"{key} = [{', '.join(map(quoted, ids))}]"
