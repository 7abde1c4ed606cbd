"""Play: one story under way in the world in small, moment by moment, as chance has it.

Flows in: a course, its worlds, how many moments to go on, mishaps. Flows out: the world that comes of it, and the
mishaps with the legs they came on. Must not know: who chooses. Moments at which nothing changes are passed over: what
befalls the shoot before one of them, or after it, comes to the same.
"""

from drill.search.legs import Course, Stretch, Turn, is_away
from drill.search.mishaps import FORGET, forget_name
from drill.search.world import Worlds


class Ways:
    """A course with its worlds, and what comes next in each, worked out once; plays share it. None begins a mishap
    before leg `start`."""

    def __init__(self, course: Course, worlds: Worlds, start: int) -> None:
        self.course, self.worlds, self.start = course, worlds, start
        self._next: dict[tuple[int, int], tuple[int, int]] = {}
        self._ends: dict[tuple[int, int], int] = {}

    def following(self, leg: int, world: int) -> tuple[int, int]:
        """Return the stretch after the next moment that changes something (the world, or whether one is away)."""
        key = leg, world
        if key not in self._next:
            away, here, now = self.is_away(leg), leg, world
            while here < len(self.course.legs) and now == world and self.is_away(here) == away:
                here, now = self.past_moment(here, now)
            self._next[key] = here, now
        return self._next[key]

    def past_moment(self, leg: int, world: int, forgotten: int = -1) -> tuple[int, int]:
        """Return the stretch after the one at `leg`, and the world once all is done between but for leg `forgotten`."""
        leg += 1
        while leg < len(self.course.legs):
            here = self.course.legs[leg]
            if isinstance(here, Stretch):
                break
            world = world if leg == forgotten else self.worlds.turn(world, here)
            leg += 1
        return leg, world

    def end(self, leg: int, world: int) -> int:
        """Return the world in which a story ends when nothing more goes wrong."""
        key = leg, world
        if key not in self._ends:
            while leg < len(self.course.legs):
                leg, world = self.following(leg, world)
            self._ends[key] = world
        return self._ends[key]

    def is_away(self, leg: int) -> bool:
        """Say whether the photographer is away in the stretch at `leg`."""
        here = self.course.legs[leg] if leg < len(self.course.legs) else None
        return isinstance(here, Stretch) and is_away(self.course, here)

    def next_turn(self, leg: int, world: int, name: str) -> tuple[int, int, int] | None:
        """Return the stretch before the next time that a step would change something, the world then, and the leg of
        that step; None where it never does."""
        while leg < len(self.course.legs):
            here, now = leg + 1, world
            while here < len(self.course.legs):
                turn = self.course.legs[here]
                if not isinstance(turn, Turn):
                    break
                after = self.worlds.turn(now, turn)
                if turn.step is not None and after != now and forget_name(turn.step) == name:
                    return leg, world, here
                here, now = here + 1, after
            leg, world = here, now
        return None


class Play:
    """One story under way: the stretch it has come to, the world as it is, its mishaps with their legs."""

    __slots__ = ("_ways", "leg", "marks", "world")

    def __init__(self, ways: Ways) -> None:
        self._ways = ways
        self.leg, self.world = 0, ways.worlds.first
        self.marks: list[tuple[int, str]] = []
        while self.leg < min(ways.start, len(ways.course.legs)):
            self.leg, self.world = ways.past_moment(self.leg, self.world)

    def go_on(self, moments: int) -> None:
        """Let so many moments pass at which something changes."""
        for _ in range(moments):
            if self.leg >= len(self._ways.course.legs):
                break
            self.leg, self.world = self._ways.following(self.leg, self.world)

    def befall(self, name: str) -> None:
        """Let a mishap come: in this stretch, or, where a step is forgotten, the next time it would do something."""
        if self.leg >= len(self._ways.course.legs):
            return
        if not name.startswith(f"{FORGET}:"):
            made = self._ways.worlds.befall(self.world, name, away=self._ways.is_away(self.leg))
            if made != self.world:
                self.marks.append((self.leg, name))
            self.world = made
            return
        found = self._ways.next_turn(self.leg, self.world, name)
        if found is not None:
            leg, world, turn = found
            self.marks.append((turn, name))
            self.leg, self.world = self._ways.past_moment(leg, world, forgotten=turn)
