"""Bringing: where the plan has the edits of a shoot, and what each step does with them when it is its turn.

Flows in: a life, its scheme, states of edits, the steps in order. Flows out: for each turn where the plan has the
edits, and what the step brings of them. Must not know: mishaps. It is judged by the plan, in which nothing fails: a
step that was due before the edits came to the medium that it reads does not know of them. A step without a rhythm is
done for what is there the first time that it is due; to try it again, or after what comes again, brings nothing that
was edited since.
"""

from dataclasses import dataclass, field
from datetime import datetime

from drill.followers import read_by, with_followed
from drill.model import Scheme, Step
from drill.odds.statuses import Change
from drill.search.edited import Brings, Edited
from drill.timeline import Life


@dataclass(slots=True)
class Planned:
    """A plan under way: the lower bits of media that have the edits (None: not made), and since when. `made_at` is when
    the plan makes them."""

    edited: Edited
    life: Life
    scheme: Scheme
    edits: int | None = None
    made_at: datetime | None = None
    _since: dict[str, datetime] = field(default_factory=dict)
    _first_due: dict[str, datetime] = field(default_factory=dict)
    _new_each_time: set[str] = field(default_factory=set)  # steps by id

    def __post_init__(self) -> None:
        known = {step.id: step for step in self.scheme.steps}
        for step in self.scheme.steps:
            if step.do in ("move", "verify") or any(one.rhythm for one in with_followed(step, known)):
                self._new_each_time.add(step.id)
        for instant in self.life.instants:
            first = self._first_due.setdefault(instant.step.id, instant.due)
            self._first_due[instant.step.id] = min(first, instant.due)

    def turn(self, step: Step, planned: int, *, at: datetime, due: datetime) -> tuple[Change, int, Brings]:
        """Return what a step does to any state, where the plan has the edits when it is its turn, and what it brings;
        go on to the plan after it. `planned`: where it has the shoot."""
        brings, edits = self._brings(step, due), self.edits or 0
        change = self.edited.done(step, planned, edits, brings)
        self._go_on(change, planned, at)
        return change, edits, brings

    def replacement(self, planned: int) -> tuple[Change, int]:
        """Return what replacing all that failed does, and where the plan has the edits then."""
        return self.edited.replaced(planned, self.edits or 0), self.edits or 0

    def _brings(self, step: Step, due: datetime) -> Brings:
        since = self._since.get(read_by(step) or "")
        if since is None or due < since:
            return Brings.NOTHING
        is_new = step.id in self._new_each_time or self._first_due[step.id] >= since
        return Brings.WHAT_IS_NEW if is_new else Brings.WITH_FOLDER

    def _go_on(self, change: Change, planned: int, at: datetime) -> None:
        after = change[self.edited.pack(planned, self.edits)]
        if self.edits == 0:
            return  # the plan itself has lost them
        was, self.edits = self.edits, self.edited.unpack(after)[1] if after else 0
        if was is None and self.edits is not None:
            self.made_at = at
        for id_, shift in self.edited.shelf.shift.items():
            if (self.edits or 0) >> shift & 1:
                self._since.setdefault(id_, at)
            else:
                self._since.pop(id_, None)
