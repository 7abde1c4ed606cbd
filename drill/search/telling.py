"""Telling: a story as dated happenings that a photographer can follow, from what the search found.

Flows in: a course, its scenes, mishaps with the legs they come on. Flows out: stories of the record. Must not know: how
a story was found. It is played over again with real bytes, so that what is told is what came of it. A mishap between
two moments is told at a time within its stretch, some two hours after that begins; what is forgotten when it is due.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import prod
from operator import attrgetter
from zoneinfo import ZoneInfo

from drill import clock
from drill.model import Step, Studio
from drill.search.legs import Course, Stretch, Turn, is_away
from drill.search.mishaps import EARLY, FORGET, forget_name
from drill.search.scenes import Scenes
from drill.searchrecord import End, Happening, Story
from drill.stages import event_words
from drill.timeline import usual

_SOON = timedelta(hours=2)
_SELDOM = 0.01

Marks = Sequence[tuple[int, str]]  # in order: the leg, the mishap


def say_local(at: datetime, zone: str | None) -> str:
    """Write a moment as clocks on the wall show it: "Sat 12 Sep 2026 14:00"."""
    shown = at.astimezone(ZoneInfo(zone) if zone else None)
    day = f"{clock.WEEKDAYS[shown.weekday()]} {shown.day} {clock.MONTHS[shown.month - 1]} {shown.year}"
    return f"{day} {shown.hour:02}:{shown.minute:02}"


def mishap_words(name: str, studio: Studio) -> str:
    """Say a mishap: "portable-copy forgotten", "card erased too soon", "fire or burglary at house"."""
    kind, _, id_ = name.partition(":")
    if kind == FORGET:
        return f"{id_} forgotten, or it did not come through"
    if kind == EARLY:
        step = next(step for step in studio.scheme.steps if step.id == id_) if studio.scheme else None
        return f"{step.source if step else id_} erased by mistake, when it was not its time ({id_})"
    return event_words(name, studio)


def step_words(step: Step) -> str:
    """Say what a step does: "import: card copied to tablet"."""
    done = {
        "copy": f"{step.source} copied to {step.target}",
        "move": f"{step.source} moved to {step.target}",
        "erase": f"{step.source} erased",
        "verify": f"{step.target} checked, and made right",
        "edit": f"edits made on {step.target}",
    }[step.do]
    return f"{step.id}: {done}"


@dataclass(slots=True)
class _Telling:
    """A story under way."""

    course: Course
    studio: Studio
    scenes: Scenes
    scene: int
    away: bool
    lost_at: datetime | None = None
    told: list[Happening] = field(default_factory=list)

    def tell(self, at: datetime, what: str, words: str, scene: int, *, by_plan: bool) -> None:
        """Note a happening and the scene that it makes."""
        self.scene = scene
        if self.lost_at is None and self.scenes.is_lost(scene):
            self.lost_at = at
            words += f": {_pictures(self.studio) if self.course.edit is None else 'these edits'} gone"
        local = say_local(at, _zone(self.studio))
        self.told.append(Happening(clock.rfc3339(at), local, what, words, by_plan, self.away))


@dataclass(frozen=True, slots=True)
class Told:
    """A story as it was played, and the scene that it ends in."""

    story: Story
    scene: int


def tell(course: Course, studio: Studio, scenes: Scenes, marks: Marks, between: tuple[int, int]) -> Told | None:
    """Play a story and tell it up to the moment when the shoot is lost; None for one after which something is left.

    `between` are the legs between which its first mishap may come.
    """
    telling = _Telling(course, studio, scenes, scenes.first, course.life.away)
    made_on = ", ".join(studio.scheme.made_on) if studio.scheme else ""
    telling.tell(course.life.begins, "first picture", f"first picture, on {made_on}", scenes.first, by_plan=True)
    for number, leg in enumerate(course.legs):
        names = [name for at, name in marks if at == number]
        telling.away = is_away(course, leg)
        if isinstance(leg, Stretch):
            _tell_stretch(telling, leg, names)
        else:
            _tell_turn(telling, leg, names)
        if telling.lost_at is not None:
            return Told(_story(telling, between), telling.scene)
    return None


def _story(telling: _Telling, between: tuple[int, int]) -> Story:
    assert telling.lost_at is not None
    zone = _zone(telling.studio)
    told = sorted(telling.told, key=attrgetter("at"))  # what is forgotten was due before the leg on which it is missed
    return Story(
        mishaps=tuple(one.what for one in told if not one.by_plan),
        earliest=_local_of(telling.course, between[0], zone),
        latest=_local_of(telling.course, between[1], zone, last=True),
        lost_at=clock.rfc3339(telling.lost_at),
        happenings=tuple(told),
        ends=tuple(End(id_, left) for id_, left in telling.scenes.left(telling.scene).items()),
        edit=None if telling.course.edit is None else telling.course.edit.id,
    )


def _tell_stretch(telling: _Telling, leg: Stretch, names: Sequence[str]) -> None:
    for number, name in enumerate(names, 1):
        lasts = min(leg.ends - leg.begins, _SOON * (len(names) + 1))
        at = leg.begins + lasts * number / (len(names) + 1)
        if lasts > timedelta(minutes=10 * (len(names) + 1)):
            at = at.replace(minute=at.minute - at.minute % 5, second=0, microsecond=0)
        scene = telling.scenes.befall(telling.scene, name, away=telling.away)
        telling.tell(at, name, mishap_words(name, telling.studio), scene, by_plan=False)


def _tell_turn(telling: _Telling, leg: Turn, names: Sequence[str]) -> None:
    if leg.step is not None and forget_name(leg.step) in names:
        what = forget_name(leg.step)
        words = mishap_words(what, telling.studio) + _done_by(leg, _zone(telling.studio))
        telling.tell(leg.due, what, words, telling.scene, by_plan=False)
        return
    made = telling.scenes.turn(telling.scene, leg)
    if made != telling.scene:
        what = "replacement" if leg.step is None else leg.step.id
        words = "what was lost is bought anew and filled again" if leg.step is None else step_words(leg.step)
        telling.tell(leg.at, what, words, made, by_plan=True)


def _done_by(leg: Turn, zone: str | None) -> str:
    """Return when a step that was due would have been done, where that is later."""
    due, done = say_local(leg.due, zone), say_local(leg.at, zone)
    day, _, time = done.rpartition(" ")
    return "" if due == done else f" by {time if due.startswith(day) else done}"


def _zone(studio: Studio) -> str | None:
    return studio.scheme.zone if studio.scheme else None


def _local_of(course: Course, number: int, zone: str | None, *, last: bool = False) -> str:
    if not 0 <= number < len(course.legs):
        return ""
    leg = course.legs[number]
    if isinstance(leg, Turn):
        return say_local(leg.due, zone)
    return say_local(leg.ends if last else leg.begins, zone)


def _pictures(studio: Studio) -> str:
    files = usual(studio)[1]
    return "the one picture" if files == 1 else f"all {files:,} pictures"


def likelihood(names: Iterable[str], per_year: Mapping[str, float], studio: Studio) -> float:
    """Return a figure by which stories of as many mishaps are put in order, the likelier first: the product of the
    forecast's rates, and of 1 - `done` for what is forgotten. Where that is 0, and for an erase by mistake, it is a
    hundredth: our own choice, without a source."""
    done = {f"{FORGET}:{step.id}": 1 - step.done for step in (studio.scheme.steps if studio.scheme else ())}
    return prod(per_year[name] if name in per_year else done.get(name) or _SELDOM for name in names)
