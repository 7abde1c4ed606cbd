"""Statuses of media packed into one whole number, two bits for each, and the changes of such states.

Flows in: a studio; steps; events. Flows out: changes (state → state), remembered. Must not know: times, probabilities.
Bits: 0 not there, 1 good, 2 rotten, 3 failed. A state without a good medium is the state 0, lost, whatever else it
would be, and nothing leads out of it. In every other state some medium is good, so a check or a replacement always
has a good copy to mend from (the medium that is mended is not good itself): this is why `verify` and `replace` ask
nothing more.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from drill.followers import reached_from
from drill.model import Scheme, Step, Studio
from drill.odds.blows import FAILED, GOOD, NOT_THERE, ROTTEN, Blow

LETTERS = (NOT_THERE, GOOD, ROTTEN, FAILED)
LOST_STATE = 0


class Change(dict[int, int]):
    """What a change makes of each state, worked out when a state is first met."""

    __slots__ = ("make",)

    def __init__(self, make: Callable[[int], int]) -> None:
        super().__init__()
        self.make = make  # where nothing good may be left, and it goes on all the same

    def __missing__(self, state: int) -> int:
        made = self.make(state) if state else LOST_STATE
        if made != state and not good_in(made):
            made = LOST_STATE
        self[state] = made
        return made


_LOW = int("01" * 64, 2)  # the lower bit of each of 64 media; widened where a studio has more


def good_in(state: int) -> int:
    """Return the lower bits of the media that are good."""
    return state & ~(state >> 1) & _low(state)


def there_in(state: int) -> int:
    """Return the lower bits of the media that are not "not there"."""
    return (state | state >> 1) & _low(state)


def thought_in(state: int) -> int:
    """Return the lower bits of the media that are good or rotten: a person would think that the shoot is there."""
    return (state ^ state >> 1) & _low(state)


def _low(state: int) -> int:
    return _LOW if state <= _LOW * 3 else (4 ** ((state.bit_length() + 1) // 2) - 1) // 3


@dataclass(frozen=True, slots=True)
class Shelf:
    """The media that may ever hold the shoot, in the order of the studio file, and where each one's bits are."""

    media: tuple[str, ...]
    shift: Mapping[str, int]
    mirrors: Mapping[str, Sequence[str]]  # by the medium that is mirrored
    versionless: frozenset[str]
    _steps: dict[tuple[Step, bool], Change] = field(default_factory=dict)
    _replaced: dict[int, Change] = field(default_factory=dict)

    def bits(self, media: Iterable[str]) -> int:
        """Return the lower bits of media; one that never holds the shoot has none."""
        return sum(1 << self.shift[id_] for id_ in set(media) if id_ in self.shift)

    def of_blow(self, blow: Blow) -> Blow:
        """Return what a blow does to these media."""
        return tuple(hit for hit in blow if hit[0] in self.shift)

    def letters(self, state: int, media: Iterable[str]) -> tuple[str, ...]:
        """Return the status of each of `media`."""
        return tuple(LETTERS[state >> self.shift[id_] & 3] if id_ in self.shift else NOT_THERE for id_ in media)

    def start(self, scheme: Scheme) -> int:
        """Return the state at the first picture."""
        return self.bits(scheme.made_on)

    def done(self, step: Step, planned: int) -> Change:
        """Return what a step does where the plan has a copy on the media whose lower bits are `planned`."""
        has_target = bool(planned & self.bits([step.target] if step.target else []))
        key = (step, has_target)
        if key not in self._steps:
            self._steps[key] = Change(lambda state: self.after(state, step, has_target=has_target))
        return self._steps[key]

    def replaced(self, planned: int) -> Change:
        """Return what replacing all that failed does."""
        if planned not in self._replaced:
            self._replaced[planned] = Change(lambda state: _replace(state, planned))
        return self._replaced[planned]

    def resting(self, step: Step, planned: int, fading: int) -> Callable[[int], bool]:
        """Return what says of a state whether a step does nothing in it, nor in any that events make of it; `fading`
        are the lower bits of media from which an event may take a copy without a trace. What is good or rotten only
        gets worse."""
        held, there = (1, 2), self.bits([step.target or ""])
        stays, is_planned = not fading & there, bool(planned & there)
        guards = [self.shift.get(id_) for id_ in step.only_once_on]
        source, target = step.source or "", step.target or ""

        def rests(state: int) -> bool:
            if any(shift is None or state >> shift & 3 not in held for shift in guards):
                return True
            if step.do == "copy":
                return self.code(state, source) not in held or (stays and self.code(state, target) != 0)
            if step.do == "verify":
                code = self.code(state, target)
                return (code == 3 and stays) or (code == 0 and not is_planned)
            return self.code(state, source) == 0  # a move, an erase

        return rests

    def after(self, state: int, step: Step, *, has_target: bool) -> int:
        """Return the state that a step makes of one in which some medium is good; only for a verify that matters."""
        if any(self.code(state, id_) not in (1, 2) for id_ in step.only_once_on):
            return state
        source, target = step.source or "", step.target or ""
        if step.do in ("copy", "move") and self.code(state, source) in (1, 2):
            state = self._give(state, target, self.code(state, source))
        if step.do == "erase" or (step.do == "move" and self.code(state, target) in (1, 2)):
            state = self._take(state, source)
        if step.do == "verify" and (self.code(state, target) == 2 or (not self.code(state, target) and has_target)):
            state = state & ~(3 << self.shift[target]) | 1 << self.shift[target]
        return state

    def code(self, state: int, medium: str) -> int:
        """Return the two bits of a medium; 0 for one that never holds the shoot."""
        return state >> self.shift[medium] & 3 if medium in self.shift else 0

    def _give(self, state: int, medium: str, code: int) -> int:
        """Put a copy on a medium that has none, and on the mirrors that have none."""
        if self.code(state, medium):
            return state
        state |= code << self.shift[medium]
        for mirror in self.mirrors.get(medium, ()):
            state = self._give(state, mirror, code)
        return state

    def _take(self, state: int, medium: str) -> int:
        """Take a copy away that is there, and from the mirrors that keep no versions."""
        if not self.code(state, medium):
            return state
        state &= ~(3 << self.shift[medium])
        for mirror in self.mirrors.get(medium, ()):
            if mirror in self.versionless:
                state = self._take(state, mirror)
        return state


def shelf_of(studio: Studio, scheme: Scheme) -> Shelf:
    """Return the media that the camera writes to or a step may ever bring the shoot to, mirrors too."""
    mirrors: dict[str, list[str]] = {}
    for medium in studio.media.values():
        if medium.mirrors:
            mirrors.setdefault(medium.mirrors, []).append(medium.id)
    found = reached_from(scheme.made_on, scheme.steps, studio.media)
    media = tuple(id_ for id_ in studio.media if id_ in found)
    versionless = frozenset(m.id for m in studio.media.values() if m.keeps_versions_s is None)
    return Shelf(media, {id_: 2 * n for n, id_ in enumerate(media)}, mirrors, versionless)


def fall(blow: Blow, shelf: Shelf) -> Change:
    """Return what an event does: statuses only get worse, good < rotten < failed < not there, and what is not there
    stays."""
    to = {status: shelf.bits(id_ for id_, falls_to in blow if falls_to == status) for status in LETTERS}
    rotten, failed, left = to[ROTTEN], to[FAILED], ~(3 * to[NOT_THERE])

    def make(state: int) -> int:
        state ^= 3 * (state & ~(state >> 1) & rotten)  # asked millions of times: the masks are lower bits already
        state |= 3 * ((state | state >> 1) & failed)
        return state & left

    return Change(make)


def _replace(state: int, planned: int) -> int:
    """Return a state in which what failed is there anew where the plan has it, and is not there elsewhere."""
    failed = state & state >> 1 & _low(state)
    return state & ~(3 * failed) | failed & planned
