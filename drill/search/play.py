"""Play: one story under way, scene by scene, as chance has it.

Flows in: a course, its scenes, how many moments to go on, mishaps. Flows out: the scene that comes of it, and the
mishaps with the legs they came on. Must not know: who chooses. Moments at which nothing changes are passed over: what
befalls the shoot before one of them, or after it, comes to the same. A step that is going to be forgotten is so the
next time that it would change something.
"""

from typing import NamedTuple

from drill.search.legs import Course, Stretch, is_away
from drill.search.mishaps import FORGET, forget_name
from drill.search.scenes import Scenes

Marks = tuple[tuple[int, str], ...]


class Now(NamedTuple):
    """Where a story has come to: the stretch, the scene, the names of what is going to be forgotten."""

    leg: int
    scene: int
    forgetting: frozenset[str] = frozenset()


class Ways:
    """A course with its scenes, and what comes next in each, worked out once; plays share it. None begins a mishap
    before leg `start`."""

    def __init__(self, course: Course, scenes: Scenes, start: int) -> None:
        self.course, self.scenes, self.start = course, scenes, start
        self._next: dict[Now, tuple[Now, Marks]] = {}
        self._ends: dict[Now, tuple[int, Marks]] = {}

    def following(self, now: Now) -> tuple[Now, Marks]:
        """Return the stretch after the next moment that changes something (the scene, whether one is away, what is
        going to be forgotten), and what was forgotten in it."""
        if now not in self._next:
            away, here = self.is_away(now.leg), now
            marks: Marks = ()
            while here.leg < len(self.course.legs) and here[1:] == now[1:] and self.is_away(here.leg) == away:
                here, marks = self.past_moment(here)
            self._next[now] = here, marks
        return self._next[now]

    def end(self, now: Now) -> tuple[int, Marks]:
        """Return the scene in which a story ends when nothing more goes wrong, and what is still forgotten in it."""
        if now not in self._ends:
            here = now
            marks: Marks = ()
            while here.leg < len(self.course.legs):
                here, more = self.following(here)
                marks += more
            self._ends[now] = here.scene, marks
        return self._ends[now]

    def is_away(self, leg: int) -> bool:
        """Say whether the photographer is away in the stretch at `leg`."""
        here = self.course.legs[leg] if leg < len(self.course.legs) else None
        return isinstance(here, Stretch) and is_away(self.course, here)

    def past_moment(self, now: Now) -> tuple[Now, Marks]:
        """Go to the stretch after this one, and do all that is done between, but for what is forgotten."""
        leg, scene, forgetting = now
        marks: Marks = ()
        while leg + 1 < len(self.course.legs):
            leg += 1
            turn = self.course.legs[leg]
            if isinstance(turn, Stretch):
                return Now(leg, scene, forgetting), marks
            after = self.scenes.turn(scene, turn)
            name = "" if turn.step is None else forget_name(turn.step)
            if after != scene and name in forgetting:
                forgetting, marks = forgetting - {name}, (*marks, (leg, name))
            else:
                scene = after
        return Now(len(self.course.legs), scene, forgetting), marks


class Play:
    """One story under way: where it has come to, and its mishaps with their legs."""

    __slots__ = ("_marks", "_ways", "now")

    def __init__(self, ways: Ways) -> None:
        self._ways = ways
        self._marks: Marks = ()
        self.now = Now(0, ways.scenes.first)
        while self.now.leg < min(ways.start, len(ways.course.legs)):
            self.now, _ = ways.past_moment(self.now)

    def go_on(self, moments: int) -> None:
        """Let so many moments pass at which something changes, or all there are: the life is not over then."""
        for _ in range(moments):
            following, marks = self._ways.following(self.now)
            if following.leg >= len(self._ways.course.legs):
                break
            self.now = following
            self._marks += marks

    def befall(self, name: str) -> None:
        """Let a mishap come in this stretch; a step is forgotten the next time that it would do something."""
        leg, scene, forgetting = self.now
        if leg >= len(self._ways.course.legs):
            return
        if name.startswith(f"{FORGET}:"):
            self.now = Now(leg, scene, forgetting | {name})
            return
        made = self._ways.scenes.befall(scene, name, away=self._ways.is_away(leg))
        if made != scene:
            self._marks = (*self._marks, (leg, name))
        self.now = Now(leg, made, forgetting)

    def end(self) -> tuple[int, Marks]:
        """Return the scene in which it ends when nothing more goes wrong, and all its mishaps in order."""
        scene, marks = self._ways.end(self.now)
        return scene, (*self._marks, *marks)
