"""Scenes: real bytes of a few pictures, and of their edits where these are asked about, on every medium at one moment
of a story, and what comes of them.

Flows in: a course (for the plan), mishaps by name. Flows out: scenes, by number; what is on each medium. Must not know:
the states of the exhaustive search, whose rules are written down here a second time, over bytes.

- What is copied are the bytes that are there, right or not. A check holds them against their digests, and puts right
  what is wrong from a medium that has the right ones.
- Edits are files of their own beside the pictures. They are made once, are copied with the pictures or (where a turn
  says that it brings what is new) after them, and go where these go.
- A medium that failed has nothing; after a malicious encryption it has every byte replaced, and one knows. Rot is the
  same wrong byte in each picture wherever it comes, so that two rotten copies cannot make a right one: the worst of it.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from drill.edits import Brings
from drill.model import Digest, Promised, Studio
from drill.odds import blows
from drill.search.legs import Course, Turn
from drill.search.mishaps import EARLY

PICTURES = 3
_ROT = 0xFF
Bytes = tuple[bytes, ...]


class Kept(NamedTuple):
    """What is on a medium: the bytes of each picture (None: it is not there), whether one knows they are lost, and the
    bytes of the edits (None: none there)."""

    files: Bytes | None
    failed: bool = False
    edits: Bytes | None = None

    @property
    def is_thought_there(self) -> bool:
        """Say whether a person would think that the shoot is there."""
        return self.files is not None and not self.failed


class Scene(NamedTuple):
    """What is on each medium, in order, and whether what is asked about was made: pictures are from the beginning."""

    kept: tuple[Kept, ...]
    is_made: bool


_EMPTY, _BROKEN = Kept(None), Kept(None, failed=True)


def picture(number: int) -> bytes:
    """Return the bytes of a picture: as many as show a change, and no two pictures alike."""
    return b"picture %d " % number + hashlib.sha256(b"reed %d" % number).digest()


def _edit(number: int) -> bytes:
    return b"edits of picture %d " % number + hashlib.sha256(b"heron %d" % number).digest()


def _promise(contents: Bytes, name: str) -> tuple[Promised, ...]:
    digests = [Digest("sha256", hashlib.sha256(content).hexdigest()) for content in contents]
    pairs = enumerate(zip(digests, contents, strict=True), 1)
    return tuple(Promised(name % number, (digest,), len(content), "other") for number, (digest, content) in pairs)


class Scenes:
    """All scenes met so far, by number; what comes of each is worked out once. `promise` is what is asked about: the
    pictures, or the edits that the course is about."""

    def __init__(self, studio: Studio, course: Course) -> None:
        self.media = course.shelf.media
        self.edit = course.edit
        self.pictures: Bytes = tuple(map(picture, range(PICTURES)))
        self._edits: Bytes = tuple(map(_edit, range(PICTURES)))
        self._of_pictures, of_edits = _promise(self.pictures, "R%04d.DNG"), _promise(self._edits, "R%04d.XMP")
        self.promise = self._of_pictures if self.edit is None else of_edits
        self._studio, self._shift = studio, course.shelf.shift
        self._steps = {step.id: step for step in (studio.scheme.steps if studio.scheme else ())}
        self._blows = {away: blows(studio, away=away) for away in (True, False)}
        self._scenes: list[Scene] = []
        self._numbers: dict[Scene, int] = {}
        self._after: dict[tuple[object, int], int] = {}
        made_on = studio.scheme.made_on if studio.scheme else ()
        first = tuple(Kept(self.pictures) if id_ in made_on else _EMPTY for id_ in self.media)
        self.first = self._number(Scene(first, self.edit is None))

    def of(self, number: int) -> Scene:
        """Return what is on each medium, in the order of `media`."""
        return self._scenes[number]

    def contents(self, kept: Kept) -> dict[str, bytes]:
        """Return the files that are on a medium, by name."""
        names = (file.path for file in (*self._of_pictures, *(self.promise if kept.edits else ())))
        return dict(zip(names, (*(kept.files or ()), *(kept.edits or ())), strict=False))

    def befall(self, number: int, name: str, *, away: bool) -> int:
        """Return the scene after a mishap that is no forgetting."""
        return self._known((name, away), number, lambda scene: self._befallen(scene, name, away=away))

    def turn(self, number: int, turn: Turn) -> int:
        """Return the scene after a step that is done, or the replacement of what failed."""
        key = (turn.step and turn.step.id, turn.planned, turn.edits_planned, turn.brings)
        change = self._replaced if turn.step is None else self._done
        return self._known(key, number, lambda scene: change(scene, turn))

    def is_right(self, kept: Kept) -> bool:
        """Say whether the promised bytes are there, by their digests."""
        contents = kept.files if self.edit is None else kept.edits
        return not kept.failed and _are(contents, self.promise)

    def is_lost(self, number: int) -> bool:
        """Say whether no medium has the right bytes of what is asked about, once that was made."""
        scene = self.of(number)
        return scene.is_made and not any(map(self.is_right, scene.kept))

    def left(self, number: int) -> dict[str, str]:
        """Return in a word what is on each medium: "right", "wrong", "failed" or "not there"."""
        found = {}
        for id_, kept in zip(self.media, self.of(number).kept, strict=True):
            there = "right" if self.is_right(kept) else "wrong"
            is_there = (kept.files if self.edit is None else kept.edits) is not None
            found[id_] = "failed" if kept.failed else there if is_there else "not there"
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

    def _befallen(self, scene: Scene, name: str, *, away: bool) -> Scene:
        kind, _, id_ = name.partition(":")
        now = dict(zip(self.media, scene.kept, strict=True))
        if kind == EARLY:
            self._erase(self._steps[id_].source, now)
        else:
            for medium, _ in self._blows[away].get(name, ()):
                if medium in now and now[medium] != _EMPTY:
                    now[medium] = self._struck(kind, now[medium], attached=self._studio.media[medium].attached)
        return Scene(tuple(now.values()), scene.is_made)

    def _struck(self, kind: str, kept: Kept, *, attached: bool) -> Kept:
        if kind == "deleted":
            return _EMPTY
        if kept.failed:
            return kept
        if kind == "rot":
            return Kept(_rotten(self.pictures), edits=None if kept.edits is None else _rotten(self._edits))
        if kind == "attack" and attached and kept.files is not None:
            return Kept(tuple(bytes(byte ^ 0x5A for byte in content) for content in kept.files), failed=True)
        return _BROKEN

    def _done(self, scene: Scene, turn: Turn) -> Scene:
        step, now = turn.step, dict(zip(self.media, scene.kept, strict=True))
        assert step is not None
        if not all(now.get(id_, _EMPTY).is_thought_there for id_ in step.only_once_on):
            return scene
        source, target = now.get(step.source or "", _EMPTY), step.target or ""
        if step.do in ("copy", "move") and source.is_thought_there:
            is_folder = now.get(target) == _EMPTY
            self._copy(source.files, target, now)
            if turn.brings is Brings.WHAT_IS_NEW or (is_folder and turn.brings is Brings.WITH_FOLDER):
                self._bring(source.edits, target, now)
        if step.do == "erase" or (step.do == "move" and now.get(target, _EMPTY).is_thought_there):
            self._erase(step.source, now)
        if step.do == "verify" and target in now:
            self._put_right(target, turn, now)
        is_edited = step == self.edit and now.get(target, _EMPTY).is_thought_there and self._is_any_right(now)
        if is_edited and not scene.is_made:
            self._bring(self._edits, target, now)
        return Scene(tuple(now.values()), scene.is_made or is_edited)

    def _put_right(self, target: str, turn: Turn, now: dict[str, Kept]) -> None:
        """Hold what is on a medium against its digests, mend it from others, and put there what ought to be."""
        kept = now[target]
        is_wrong = kept.is_thought_there and not self._are_pictures_right(kept)
        if is_wrong or (kept == _EMPTY and self._is_planned(target, turn.planned)):
            kept = kept._replace(files=self.pictures) if self._is_any_right(now) else kept
        if kept.is_thought_there and turn.brings:
            is_missing = kept.edits is None and self._is_planned(target, turn.edits_planned)
            if is_missing or (kept.edits is not None and kept.edits != self._edits):
                kept = kept._replace(edits=self._right_edits(now) or kept.edits)
        now[target] = kept

    def _replaced(self, scene: Scene, turn: Turn) -> Scene:
        now = dict(zip(self.media, scene.kept, strict=True))
        is_any_right, edits = self._is_any_right(now), self._right_edits(now)
        for id_, kept in now.items():
            if kept.failed and not self._is_planned(id_, turn.planned):
                now[id_] = _EMPTY
            elif kept.failed and is_any_right:
                now[id_] = Kept(self.pictures, edits=edits if self._is_planned(id_, turn.edits_planned) else None)
        return Scene(tuple(now.values()), scene.is_made)

    def _is_planned(self, medium: str, planned: int) -> bool:
        return bool(planned >> self._shift.get(medium, planned.bit_length()) & 1)

    def _are_pictures_right(self, kept: Kept) -> bool:
        return not kept.failed and _are(kept.files, self._of_pictures)

    def _is_any_right(self, now: Mapping[str, Kept]) -> bool:
        return any(map(self._are_pictures_right, now.values()))

    def _right_edits(self, now: Mapping[str, Kept]) -> Bytes | None:
        """Return the edits from a medium that has them right."""
        return next((one.edits for one in now.values() if self.edit is not None and self.is_right(one)), None)

    def _copy(self, files: Bytes | None, target: str, now: dict[str, Kept]) -> None:
        if now.get(target) == _EMPTY:
            now[target] = Kept(files)
            for mirror in self._mirrors(target):
                self._copy(files, mirror, now)

    def _bring(self, edits: Bytes | None, target: str, now: dict[str, Kept]) -> None:
        kept = now.get(target, _EMPTY)
        if kept.is_thought_there and kept.edits is None and edits is not None:
            now[target] = kept._replace(edits=edits)
            for mirror in self._mirrors(target):
                self._bring(edits, mirror, now)

    def _erase(self, medium: str | None, now: dict[str, Kept]) -> None:
        if medium in now and now[medium] != _EMPTY:
            now[medium] = _EMPTY
            for mirror in self._mirrors(medium):
                if self._studio.media[mirror].keeps_versions_s is None:
                    self._erase(mirror, now)

    def _mirrors(self, medium: str) -> list[str]:
        return [other.id for other in self._studio.media.values() if other.mirrors == medium]


def _rotten(contents: Bytes) -> Bytes:
    return tuple(bytes([mine[0] ^ _ROT]) + mine[1:] for mine in contents)


def _are(contents: Bytes | None, promise: Sequence[Promised]) -> bool:
    """Say whether contents have the promised digests."""
    found = (Digest("sha256", hashlib.sha256(content).hexdigest()) for content in contents or ())
    return contents is not None and all(d in file.digests for d, file in zip(found, promise, strict=True))
