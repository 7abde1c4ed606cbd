"""The corpus: stories that lost a shoot in earlier runs, kept as text beside the ledger, and tried first in later ones.

Flows in: a folder, stories. Flows out: stories as mishaps with the time after the first picture at which they came.
Must not know: whether one loses now. A story is its mishaps: in another scheme, or on another day, they come as long
after the first picture, and a step is forgotten the time that is nearest.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from drill.model import Studio
from drill.search.legs import Course, Stretch, Turn, begin_of
from drill.search.mishaps import FORGET, all_mishaps, forget_name

SCHEMA = "restore-search-story/1"
_MOST = 500  # files that are looked at
_ENDING = ".json"


@dataclass(frozen=True, slots=True)
class KeptStory:
    """A story of an earlier run: away or at home, each mishap with its seconds after the first picture, and which
    step's edits it loses (None: the shoot)."""

    away: bool
    mishaps: tuple[tuple[str, float], ...]
    edit: str | None = None


def corpus_folder(ledger: Path) -> Path:
    """Return the folder beside the ledger where stories are kept."""
    return ledger.with_name("search.corpus")


def kept_stories(folder: Path) -> tuple[list[KeptStory], list[str]]:
    """Return the stories that are kept in a folder, and what is wrong with files that are none."""
    found: list[KeptStory] = []
    wrong: list[str] = []
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix == _ENDING)
    except OSError:
        return [], []
    for path in files[:_MOST]:
        try:
            found.append(_read(path.read_text(encoding="utf-8")))
        except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
            wrong.append(f"{path} is no story that was kept; it was passed over")
    if len(files) > _MOST:
        wrong.append(f"{folder} holds {len(files):,} stories; the first {_MOST} were tried")
    return found, wrong


def _read(text: str) -> KeptStory:
    value = json.loads(text)
    if value["schema"] != SCHEMA or not isinstance(value["away"], bool):
        raise ValueError(value["schema"])
    mishaps = tuple((str(one["what"]), float(one["after_s"])) for one in value["mishaps"])
    if not all(0 <= after_s < 1e9 for _, after_s in mishaps):
        raise ValueError(mishaps)
    edit = value.get("edit")
    if edit is not None and not isinstance(edit, str):
        raise ValueError(edit)
    return KeptStory(value["away"], mishaps, edit)


def kept_story(course: Course, marks: Sequence[tuple[int, str]]) -> KeptStory:
    """Return a story as it is kept."""
    found = []
    for number, name in marks:
        leg = course.legs[number]
        at = leg.begins + (leg.ends - leg.begins) / 2 if isinstance(leg, Stretch) else begin_of(leg)
        found.append((name, (at - course.life.begins).total_seconds()))
    return KeptStory(course.life.away, tuple(found), None if course.edit is None else course.edit.id)


def file_of(story: KeptStory, words: Sequence[str]) -> tuple[str, str]:
    """Return the name of a story's file and its text; `words` tell it to whoever opens the file."""
    about = [] if story.edit is None else [story.edit]
    names = json.dumps([story.away, [name for name, _ in story.mishaps], *about])
    mishaps = [{"what": name, "after_s": after_s} for name, after_s in story.mishaps]
    value = {"schema": SCHEMA, "away": story.away, "edit": story.edit, "mishaps": mishaps, "story": list(words)}
    return hashlib.sha256(names.encode()).hexdigest()[:16] + _ENDING, json.dumps(value, indent=1) + "\n"


def marks_of(story: KeptStory, course: Course, studio: Studio) -> list[tuple[int, str]] | None:
    """Return the legs on which a kept story's mishaps come in this life; None where one of them cannot any more."""
    known = all_mishaps(studio)
    found = []
    for name, after_s in story.mishaps:
        number = _leg_of(name, after_s, course) if name in known else None
        if number is None:
            return None
        found.append((number, name))
    return sorted(found, key=lambda mark: mark[0])


def _leg_of(name: str, after_s: float, course: Course) -> int | None:
    at = course.life.begins + timedelta(seconds=after_s)
    if name.startswith(f"{FORGET}:"):
        turns = [
            number
            for number, leg in enumerate(course.legs)
            if isinstance(leg, Turn) and leg.step is not None and forget_name(leg.step) == name
        ]
        return min(turns, key=lambda number: abs(begin_of(course.legs[number]) - at), default=None)
    for number, leg in enumerate(course.legs):
        if isinstance(leg, Stretch) and leg.begins <= at < leg.ends:
            return number
    return None
