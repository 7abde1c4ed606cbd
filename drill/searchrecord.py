"""The record of a search: the shortest stories that lose a shoot, what was tried, and how far. The JSON of
`drill search`.

Flows in: numbers, sentences. Flows out: values and JSON text. Must not know: how it was searched, terminals.
Moments are RFC 3339 in UTC; `local` the same as a clock on the wall shows it in the scheme's zone.
"""

import json
from dataclasses import asdict, dataclass
from typing import Any

SCHEMA = "restore-search/1"


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing in a story: `what` is a step, "replacement", "first picture" or a mishap by name; `words` say it.

    `by_plan` is shown so that the story can be followed, and not counted. `away` is where the photographer is then.
    """

    at: str
    local: str
    what: str
    words: str
    by_plan: bool
    away: bool


@dataclass(frozen=True, slots=True)
class End:
    """What a story leaves on a medium: "right", "wrong" (bytes changed), "failed" or "not there"."""

    medium: str
    left: str


@dataclass(frozen=True, slots=True)
class Story:
    """Mishaps after which no copy of the shoot is right any more, or none of the edits that the step `edit` makes, with
    what goes by plan between them.

    `mishaps` are their names. `earliest` and `latest`: between these (local) the first of them may come, and others
    follow with which it is lost. `ends` says what is left on the media that may hold a shoot.
    """

    mishaps: tuple[str, ...]
    earliest: str
    latest: str
    lost_at: str
    happenings: tuple[Happening, ...]
    ends: tuple[End, ...]
    edit: str | None = None


@dataclass(frozen=True, slots=True)
class Level:
    """From `begins` on (until `ends`, as the stories go), it takes so many `mishaps`, and no fewer: all were tried.

    `stories` are the likeliest ones, of `different` that differ in their mishaps. `open_s`: for so many seconds of that
    time in all the first of such mishaps may come (a step that is forgotten is but a moment); `always`: at any moment.
    """

    mishaps: int
    begins: str
    ends: str
    begins_local: str
    ends_local: str
    open_s: float
    always: bool
    different: int
    stories: tuple[Story, ...]


@dataclass(frozen=True, slots=True)
class Chance:
    """The search by chance, over real bytes: `mishaps` of the shortest story found (None: none), up to `most` tried.

    `why_not` says why there was none.
    """

    examples: int
    steps: int
    seed: int
    budget_s: float
    most: int
    mishaps: int | None
    story: Story | None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Edit:
    """Edits that a step makes on a medium; by plan they are made at a moment."""

    step: str
    medium: str
    at: str
    local: str


@dataclass(frozen=True, slots=True)
class Life:
    """What was found for a shoot of one day, away or at home; with `edit` for edits of it alone.

    `complete`: all stories of up to so many mishaps were tried (-1: the time was over before); `clear_from`: no story
    of so many begins at or after that (None: there is one to the end). `states` of all media were gone on from, at
    `moments`. `known`: stories kept from earlier runs that lose it still, `outlived` those that do not any more.
    `known_story` is the shortest of the former. Of every story told here the drill's own restore brought nothing back.
    """

    day: str
    away: bool
    begins: str
    until: str
    levels: tuple[Level, ...]
    complete: int
    clear_from: str | None
    clear_from_local: str | None
    states: int
    moments: int
    known: int
    outlived: int
    known_story: Story | None = None
    chance: Chance | None = None
    interrupted: bool = False
    edit: Edit | None = None

    @property
    def shortest(self) -> Story | None:
        """Return the likeliest of the proved shortest stories, else the shortest by chance or of earlier runs."""
        if self.levels:
            return self.levels[0].stories[0]
        found = [self.known_story, self.chance.story if self.chance is not None else None]
        return min((story for story in found if story is not None), key=lambda one: len(one.mishaps), default=None)


@dataclass(frozen=True, slots=True)
class Search:
    """A whole search. A usual shoot has `size` bytes in `files`; `assumptions` say how long steps are taken to last.
    `depth` mishaps at most were asked for, none of those `without`, and none before `after_s` seconds after the first
    picture."""

    studio: str
    started: str
    now: str
    size: int
    files: int
    assumptions: tuple[str, ...]
    depth: int
    after_s: float
    without: tuple[str, ...]
    lives: tuple[Life, ...]
    notes: tuple[str, ...]

    @property
    def interrupted(self) -> bool:
        """Say whether it was broken off by whoever started it."""
        return any(life.interrupted for life in self.lives)

    @property
    def is_complete(self) -> bool:
        """Say whether every story up to the depth was tried, for each life, or one was found that needs no mishap; of a
        search that was broken off this is not said, as a life may be missing."""
        return not self.interrupted and all(
            life.complete >= self.depth or _is_lost_by_plan(life) for life in self.lives
        )

    @property
    def shortest(self) -> Story | None:
        """Return the shortest story of all lives, the first of equals."""
        found = [life.shortest for life in self.lives if life.shortest is not None]
        return min(found, key=lambda story: len(story.mishaps), default=None)


def _is_lost_by_plan(life: Life) -> bool:
    return bool(life.levels) and not life.levels[0].mishaps


def to_json(found: Search) -> dict[str, Any]:
    """Return the search as the documented JSON value."""
    return {"schema": SCHEMA, "found": found.shortest is not None, "complete": found.is_complete, **asdict(found)}


def dump(found: Search) -> str:
    """Return the search as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(found), indent=1, ensure_ascii=True) + "\n"
