"""Scenes: real bytes of a few pictures on every medium at one moment of a story, and what comes of them.

Flows in: a course (for the plan), mishaps by name. Flows out: scenes, by number; what is on each medium. Must not know:
the states of the exhaustive search, whose rules are written down here a second time, over bytes.

- What is copied are the bytes that are there, right or not. A check holds them against their digests, and puts right
  what is wrong from a medium that has the right ones.
- A medium that failed has nothing; after a malicious encryption it has every byte replaced, and one knows. Rot is the
  same wrong byte in each picture wherever it comes, so that two rotten copies cannot make a right one: the worst of it.
"""

import hashlib
from collections.abc import Callable, Iterable
from typing import NamedTuple

from drill.model import Digest, Promised, Step, Studio
from drill.odds import blows
from drill.search.legs import Course, Turn
from drill.search.mishaps import EARLY

PICTURES = 3
_ROT = 0xFF
Bytes = tuple[bytes, ...]


class Kept(NamedTuple):
    """What is on a medium: the bytes of each picture (None: it is not there), and whether one knows they are lost."""

    files: Bytes | None
    failed: bool = False

    @property
    def is_thought_there(self) -> bool:
        """Say whether a person would think that the shoot is there."""
        return self.files is not None and not self.failed


Scene = tuple[Kept, ...]
_EMPTY, _BROKEN = Kept(None), Kept(None, failed=True)


def picture(number: int) -> bytes:
    """Return the bytes of a picture: as many as show a change, and no two pictures alike."""
    return b"picture %d " % number + hashlib.sha256(b"reed %d" % number).digest()


class Scenes:
    """All scenes met so far, by number; what comes of each is worked out once."""

    def __init__(self, studio: Studio, course: Course) -> None:
        self.media = course.shelf.media
        self.pictures: Bytes = tuple(picture(number) for number in range(PICTURES))
        digests = [Digest("sha256", hashlib.sha256(content).hexdigest()) for content in self.pictures]
        self.promise = tuple(
            Promised(f"R{number:04}.DNG", (digest,), len(content), "other")
            for number, (digest, content) in enumerate(zip(digests, self.pictures, strict=True), 1)
        )
        self._studio, self._shift = studio, course.shelf.shift
        self._steps = {step.id: step for step in (studio.scheme.steps if studio.scheme else ())}
        self._blows = {away: blows(studio, away=away) for away in (True, False)}
        self._scenes: list[Scene] = []
        self._numbers: dict[Scene, int] = {}
        self._after: dict[tuple[object, int], int] = {}
        made_on = studio.scheme.made_on if studio.scheme else ()
        self.first = self._number(tuple(Kept(self.pictures) if id_ in made_on else _EMPTY for id_ in self.media))

    def of(self, number: int) -> Scene:
        """Return what is on each medium, in the order of `media`."""
        return self._scenes[number]

    def befall(self, number: int, name: str, *, away: bool) -> int:
        """Return the scene after a mishap that is no forgetting."""
        return self._known((name, away), number, lambda scene: self._befallen(scene, name, away=away))

    def turn(self, number: int, turn: Turn) -> int:
        """Return the scene after a step that is done, or the replacement of what failed."""
        if turn.step is None:
            return self._known(turn.planned, number, lambda scene: self._replaced(scene, turn.planned))
        step, planned = turn.step, self._is_planned(turn.step.target, turn.planned)
        return self._known((step.id, planned), number, lambda scene: self._done(scene, step, planned=planned))

    def is_right(self, kept: Kept) -> bool:
        """Say whether the promised bytes are there, by their digests."""
        if kept.files is None or kept.failed:
            return False
        found = (Digest("sha256", hashlib.sha256(content).hexdigest()) for content in kept.files)
        return all(digest in file.digests for digest, file in zip(found, self.promise, strict=True))

    def left(self, number: int) -> dict[str, str]:
        """Return in a word what is on each medium: "right", "wrong", "failed" or "not there"."""
        found = {}
        for id_, kept in zip(self.media, self.of(number), strict=True):
            there = "right" if self.is_right(kept) else "wrong"
            found[id_] = "failed" if kept.failed else "not there" if kept.files is None else there
        return found

    def _known(self, key: object, number: int, make: Callable[[Scene], Scene]) -> int:
        after = self._after.get((key, number))
        if after is None:
            after = self._after[key, number] = self._number(make(self._scenes[number]))
        return after

    def _number(self, scene: Scene) -> int:
        number = self._numbers.setdefault(scene, len(self._scenes))
        if number == len(self._scenes):
            self._scenes.append(scene)
        return number

    def _is_planned(self, medium: str | None, planned: int) -> bool:
        return medium is not None and bool(planned >> self._shift.get(medium, planned.bit_length()) & 1)

    def _befallen(self, scene: Scene, name: str, *, away: bool) -> Scene:
        kind, _, id_ = name.partition(":")
        now = dict(zip(self.media, scene, strict=True))
        if kind == EARLY:
            self._erase(self._steps[id_].source, now)
            return tuple(now.values())
        for medium, _ in self._blows[away].get(name, ()):
            if medium in now and now[medium] != _EMPTY:
                now[medium] = self._struck(kind, now[medium], attached=self._studio.media[medium].attached)
        return tuple(now.values())

    def _struck(self, kind: str, kept: Kept, *, attached: bool) -> Kept:
        if kind == "deleted":
            return _EMPTY
        if kept.failed:
            return kept
        if kind == "rot":
            return Kept(tuple(bytes([mine[0] ^ _ROT]) + mine[1:] for mine in self.pictures))
        if kind == "attack" and attached and kept.files is not None:
            return Kept(tuple(bytes(byte ^ 0x5A for byte in content) for content in kept.files), failed=True)
        return _BROKEN

    def _done(self, scene: Scene, step: Step, *, planned: bool) -> Scene:
        now = dict(zip(self.media, scene, strict=True))
        if not all(now.get(id_, _EMPTY).is_thought_there for id_ in step.only_once_on):
            return scene
        source, target = step.source, step.target
        if step.do in ("copy", "move") and now.get(source or "", _EMPTY).is_thought_there:
            self._copy(now[source or ""].files, target, now)
        if step.do == "erase" or (step.do == "move" and now.get(target or "", _EMPTY).is_thought_there):
            self._erase(source, now)
        if step.do == "verify" and target in now:
            kept = now[target]
            wrong = kept.is_thought_there and not self.is_right(kept)
            if wrong or (planned and kept == _EMPTY):
                now[target] = self._right_one(now.values()) or kept
        return tuple(now.values())

    def _replaced(self, scene: Scene, planned: int) -> Scene:
        right = self._right_one(scene)
        return tuple(
            kept if not kept.failed else (right or kept) if self._is_planned(id_, planned) else _EMPTY
            for id_, kept in zip(self.media, scene, strict=True)
        )

    def _right_one(self, kept: Iterable[Kept]) -> Kept | None:
        return next((one for one in kept if self.is_right(one)), None)

    def _copy(self, files: Bytes | None, target: str | None, now: dict[str, Kept]) -> None:
        if target in now and now[target] == _EMPTY:
            now[target] = Kept(files)
            for mirror in self._mirrors(target):
                self._copy(files, mirror, now)

    def _erase(self, medium: str | None, now: dict[str, Kept]) -> None:
        if medium in now and now[medium] != _EMPTY:
            now[medium] = _EMPTY
            for mirror in self._mirrors(medium):
                if self._studio.media[mirror].keeps_versions_s is None:
                    self._erase(mirror, now)

    def _mirrors(self, medium: str) -> list[str]:
        return [other.id for other in self._studio.media.values() if other.mirrors == medium]
