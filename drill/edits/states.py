"""Edited: states of a shoot whose edits are asked about: how the pictures stand on each medium, and how the edits do.

Flows in: a shelf, a step that edits, other steps, events. Flows out: changes of such states. Must not know: times,
names of mishaps. A state is one whole number: how the pictures stand, as `odds.statuses` has it, above that how the
edits do (not there, good or rotten), above both a bit for as long as these are not made. 0 is lost: made, and nowhere
good.

- Edits are made on a medium that is thought to hold the shoot, as long as some medium has it good. They lie beside
  the pictures: where these are not, neither are they.
- A copy brings them along with the whole folder; to a medium that has the folder already only where it brings what is
  new (`Brings`). Whoever looks whether a medium holds the shoot (`only_once_on`) does not look for edits.
- Pictures may be lost here while edits are not: what failed is then not made anew.
"""

from dataclasses import dataclass, field
from enum import IntEnum

from drill.model import Scheme, Step
from drill.odds.blows import ROTTEN, Blow
from drill.odds.statuses import LOST_STATE, Change, Shelf, fall, good_in, there_in, thought_in

_GOOD = 1


class Brings(IntEnum):
    """What a step does with edits that its source has: nothing, as it began before they were there; brings them along
    with a whole folder; brings them also to where the folder is."""

    NOTHING = 0
    WITH_FOLDER = 1
    WHAT_IS_NEW = 2


@dataclass(frozen=True, slots=True)
class Edited:
    """States of the media of a shelf, and what changes them. `planned` and `edits_planned` are the lower bits of media
    where the plan has the shoot and its edits."""

    shelf: Shelf
    edit: Step
    _steps: dict[tuple[Step, bool, bool, Brings], Change] = field(default_factory=dict)
    _replaced: dict[tuple[int, int], Change] = field(default_factory=dict)

    def start(self, scheme: Scheme) -> int:
        """Return the state at the first picture."""
        return self.pack(self.shelf.start(scheme), None)

    def pack(self, pictures: int, edits: int | None) -> int:
        """Return a state; `edits` None: not made yet, or never if the pictures are lost."""
        width = 2 * len(self.shelf.media)
        if edits is None:
            return 1 << 2 * width | (pictures if good_in(pictures) else 0)
        edits &= 3 * thought_in(pictures)
        return edits << width | pictures if good_in(edits) else LOST_STATE

    def unpack(self, state: int) -> tuple[int, int | None]:
        """Return the statuses of the pictures and those of the edits, None where they are not made."""
        width = 2 * len(self.shelf.media)
        edits, pictures = divmod(state, 1 << width)
        return pictures, None if edits >> width else edits

    def fall(self, blow: Blow) -> Change:
        """Return what an event does: rot strikes both, and what takes the pictures takes the edits."""
        of_pictures = fall(blow, self.shelf)
        of_edits = fall(tuple((id_, status) for id_, status in blow if status == ROTTEN), self.shelf)

        def make(state: int) -> int:
            pictures, edits = self.unpack(state)
            return self.pack(of_pictures.make(pictures), None if edits is None else of_edits.make(edits))

        return Change(make)

    def done(self, step: Step, planned: int, edits_planned: int, brings: Brings) -> Change:
        """Return what a step does."""
        target = self.shelf.bits([step.target] if step.target else [])
        key = (step, bool(planned & target), bool(edits_planned & target), brings)
        if key not in self._steps:
            self._steps[key] = Change(lambda state: self._done(state, *key))
        return self._steps[key]

    def replaced(self, planned: int, edits_planned: int) -> Change:
        """Return what replacing all that failed does."""
        key = planned, edits_planned
        if key not in self._replaced:
            self._replaced[key] = Change(lambda state: self._filled(state, planned, edits_planned))
        return self._replaced[key]

    def _done(self, state: int, step: Step, has_target: bool, edits_on_target: bool, brings: Brings) -> int:
        before, edits = self.unpack(state)
        is_idle = step.do == "verify" and not good_in(before)  # nothing is left to put it right from
        after = before if is_idle else self.shelf.after(before, step, has_target=has_target)
        if edits is None:
            is_made = step.id == self.edit.id and good_in(before) and self._thought(before, step.target)
            return self.pack(after, self._give(0, after, step.target, _GOOD) if is_made else None)
        if not all(self._thought(before, id_) for id_ in step.only_once_on):
            return state
        if step.do in ("copy", "move") and self._thought(before, step.source):
            is_folder = not self.shelf.code(before, step.target or "")
            if brings is Brings.WHAT_IS_NEW or (brings is Brings.WITH_FOLDER and is_folder):
                edits = self._give(edits, after, step.target, self.shelf.code(edits, step.source or ""))
        if step.do == "verify" and brings:
            shift = self.shelf.shift[step.target or ""]
            code = edits >> shift & 3
            if code == 2 or (not code and edits_on_target):
                edits = edits & ~(3 << shift) | _GOOD << shift
        return self.pack(after, edits)

    def _filled(self, state: int, planned: int, edits_planned: int) -> int:
        pictures, edits = self.unpack(state)
        failed = there_in(pictures) & ~thought_in(pictures)
        filled = failed & planned if good_in(pictures) else 0
        # What nothing is left to fill from stays failed where the plan has it.
        pictures = pictures & ~(3 * (failed & ~planned)) & ~(2 * filled)
        return self.pack(pictures, None if edits is None else edits | filled & edits_planned)

    def _give(self, edits: int, pictures: int, medium: str | None, code: int) -> int:
        """Put edits on a medium that holds the shoot and has none of them, and on its mirrors alike."""
        if medium is None or self.shelf.code(edits, medium) or not self._thought(pictures, medium):
            return edits
        edits |= code << self.shelf.shift[medium]
        for mirror in self.shelf.mirrors.get(medium, ()):
            edits = self._give(edits, pictures, mirror, code)
        return edits

    def _thought(self, pictures: int, medium: str | None) -> bool:
        return self.shelf.code(pictures, medium or "") in (1, 2)
