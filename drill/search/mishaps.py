"""Mishaps: all that may go wrong in a story, by name, and what each makes of the state of all media.

Flows in: a studio, what is left out. Flows out: named changes of states, away and at home. Must not know: the calendar.

- The events of the forecast: `medium:x`, `place:x`, `account:x`, `deleted:x`, `rot:x`, `attack` (`odds.blows`).
- `forget:STEP`: a step is not done, this one time.
- `early:STEP`: an erase is done when it is not its time, or without looking at what it waits for (the wrong card is
  formatted): the same effect, at any moment.

Edits are made, or not: there is no mishap in that. `edit` and `edit:STEP` may be left out all the same: then it is not
asked what becomes of them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from drill.edits import Brings, Edited
from drill.errors import Mistake, Mistakes
from drill.model import Step, Studio
from drill.odds import blows
from drill.odds.statuses import Change, Shelf, fall

FORGET, EARLY, EDIT = "forget", "early", "edit"
MISHAPS = ("medium", "place", "account", "deleted", "rot", "attack", FORGET, EARLY)
KINDS = (*MISHAPS, EDIT)


class Hits:
    """What can befall a state between two moments: each state that it may become, by the mishap's name."""

    __slots__ = ("_changes", "_named", "_targets")

    def __init__(self, changes: Mapping[str, Change]) -> None:
        self._changes = tuple(changes.items())
        self._named: dict[int, tuple[tuple[int, str], ...]] = {}
        self._targets: dict[int, tuple[int, ...]] = {}

    @property
    def are_any(self) -> bool:
        """Say whether anything can befall it at all."""
        return bool(self._changes)

    def named(self, state: int) -> tuple[tuple[int, str], ...]:
        """Return (state it becomes, mishap) for each mishap that changes a state."""
        found = self._named.get(state)
        if found is None:
            made = ((change[state], name) for name, change in self._changes)
            found = self._named[state] = tuple((after, name) for after, name in made if after != state)
        return found

    def targets(self, state: int) -> tuple[int, ...]:
        """Return the states that one mishap makes of a state, each once."""
        found = self._targets.get(state)
        if found is None:
            found = self._targets[state] = tuple(dict.fromkeys(after for after, _ in self.named(state)))
        return found


def all_mishaps(studio: Studio) -> tuple[str, ...]:
    """Return the name of every mishap there is in a studio with a scheme, events first."""
    scheme = studio.scheme
    steps = scheme.steps if scheme else ()
    events = dict.fromkeys([*blows(studio, away=False), *blows(studio, away=True)])
    early = (f"{EARLY}:{step.id}" for step in steps if step.do == "erase")
    return (*events, *(forget_name(step) for step in steps if step.do != "edit"), *early)


def forget_name(step: Step) -> str:
    """Return the name of the mishap that a step is forgotten."""
    return f"{FORGET}:{step.id}"


def edits_asked(studio: Studio, left_out: Iterable[str]) -> tuple[Step, ...]:
    """Return the steps that edit and are not left out."""
    left_out = tuple(left_out)
    steps = studio.scheme.steps if studio.scheme else ()
    return tuple(step for step in steps if step.do == "edit" and not is_left_out(f"{EDIT}:{step.id}", left_out))


def keeps_a_copy(studio: Studio) -> frozenset[str]:
    """Return the mishaps that mostly do good: who forgets to erase something has a copy more."""
    steps = studio.scheme.steps if studio.scheme else ()
    return frozenset(forget_name(step) for step in steps if step.do in ("erase", "move"))


def check_left_out(studio: Studio, left_out: Iterable[str]) -> None:
    """Refuse names and kinds of mishaps that this studio does not have. Errors: Mistakes."""
    known = (*all_mishaps(studio), *(f"{EDIT}:{step.id}" for step in edits_asked(studio, ())))
    mistakes = []
    for name in left_out:
        if name not in KINDS and name not in known:
            kind, _, id_ = name.partition(":")
            alike = [one for one in known if one.partition(":")[0] == kind] if id_ else []
            advice = f"kinds are {', '.join(KINDS)}" + (f"; of this kind: {', '.join(alike)}" if alike else "")
            mistakes.append(Mistake("--without", name, "is no mishap that can befall this studio", advice))
    if mistakes:
        raise Mistakes(mistakes)


def is_left_out(name: str, left_out: Iterable[str]) -> bool:
    """Say whether a mishap is left out, by its own name or by its kind."""
    return name in left_out or name.partition(":")[0] in left_out


def hits(studio: Studio, shelf: Shelf, left_out: Iterable[str], *, away: bool, edited: Edited | None = None) -> Hits:
    """Return what may befall the media that can hold a shoot (`edited`: and its edits), forgetting aside."""
    scheme = studio.scheme
    changes = {
        event: edited.fall(shelf.of_blow(blow)) if edited else fall(blow, shelf)
        for event, blow in blows(studio, away=away).items()
        if shelf.of_blow(blow)
    }
    for step in scheme.steps if scheme else ():
        if step.do == "erase":
            wrong = replace(step, only_once_on=())
            early = edited.done(wrong, 0, 0, Brings.NOTHING) if edited else shelf.done(wrong, 0)
            changes[f"{EARLY}:{step.id}"] = early
    return Hits({name: change for name, change in changes.items() if not is_left_out(name, left_out)})
