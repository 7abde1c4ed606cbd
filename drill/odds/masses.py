"""Probabilities of states, and how they move from state to state.

Flows in: changes (state → state), how likely each is. Flows out: the probability of each state. Must not know: times,
events, steps. Each state that matters has a slot; which slots a change moves between is worked out once, so that moving
is arithmetic on a list. What would move to a state without a slot is left out, and summed, as long as that is little;
else the states that get most of it are given a slot. Now and then states that have come to matter little lose theirs.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from operator import mul

from drill.odds.statuses import LOST_STATE, Change

_FEW = 40  # states that are gone through sooner than sorted
_GROWN = 2
_TRIMS = 16  # a trim when there are so many times the states, else every so many stops
_BINNED = 0.5  # of what may still be left out at a trim


class _Moves:
    """A change over slots: (from, to) pairs; beside it the slots from which it leads to a state without a slot, those
    states, and what each matters at most (it may have become less since: it is still a bound)."""

    __slots__ = ("change", "known", "matters", "open", "pairs", "states")

    def __init__(self, change: Change) -> None:
        self.change = change
        self.known = 0  # so many slots have been looked at
        self.pairs: list[tuple[int, int]] = []
        self.lead(())

    def lead(self, entries: Iterable[tuple[int, int, float]]) -> None:
        """Set what it leads to that has no slot: from which, which state, what that matters."""
        kept = list(entries)
        self.open = [slot for slot, _, _ in kept]
        self.states = [state for _, state, _ in kept]
        self.matters = [matters for _, _, matters in kept]


class Masses:
    """A distribution over states. `bound` gives for a state what it can matter at most; it may be set anew at any
    time."""

    def __init__(self, start: int, bound: Mapping[int, float]) -> None:
        self.bound = bound
        self.left_out = 0.0
        self.states = [LOST_STATE, start]  # by slot
        self.renewed = 0  # how often the slots have been given anew
        self._values = [0.0, 1.0]
        self._slots = {LOST_STATE: 0, start: 1}
        self._moves: dict[int, _Moves] = {}
        self._after_trim, self._since_trim = _FEW, 0
        self._cut = self._allowed = self._share = 0.0

    def allow(self, allowed: float, moves: int) -> None:
        """Let so much be left out in all up to the next time, by about so many moves and a trim."""
        self._allowed = allowed
        self._share = max(0.0, allowed - self.left_out) * (1.0 - _BINNED) / max(1, moves)

    def lost(self) -> float:
        """Return the probability of the lost state."""
        return self._values[0]

    def __iter__(self) -> Iterator[tuple[int, float]]:
        return ((state, p) for state, p in zip(self.states, self._values, strict=True) if p)

    def move(self, change: Change, chance: float) -> None:
        """Make a change, which comes to nothing more when it is made twice, with a chance, whatever else happens."""
        moves, values = self._moves_of(change), self._values
        if moves.open:
            self._move_open(moves, chance)
        for source, target in moves.pairs:
            part = values[source] * chance
            values[source] -= part
            values[target] += part

    def _move_open(self, moves: _Moves, chance: float) -> None:
        """Leave out what would move to states without a slot, but for those that matter too much: they get one."""
        values = self._values
        weights = list(map(mul, map(values.__getitem__, moves.open), moves.matters))
        weight = sum(weights) * chance
        if weight > max(self._share, 8 * self._cut):
            weight = self._admit(moves, weights, weight, chance)
        self.left_out += weight
        kept = 1.0 - chance
        for source in moves.open:
            values[source] *= kept

    def _admit(self, moves: _Moves, weights: Sequence[float], weight: float, chance: float) -> float:
        """Give slots to those that matter most until the rest is little; return what the rest matters."""
        enough = max(self._share, 8 * self._cut) / 2
        for number in sorted(range(len(weights)), key=weights.__getitem__, reverse=True):
            part = weights[number] * chance
            if weight <= enough or part <= self._cut:
                break
            self._slot(moves.states[number])
            weight -= part
        self._settle(moves)
        return chance * sum(map(mul, map(self._values.__getitem__, moves.open), moves.matters), start=0.0)

    def trim(self, most: int) -> None:
        """Leave out what matters least, where there is more than there was, or not for long: as far as that may be, or
        until no more than `most` states are left."""
        self._since_trim += 1
        if len(self.states) <= (self._after_trim * _GROWN if self._since_trim < _TRIMS else self._after_trim):
            return
        weights = sorted((p * self.bound[s], n) for n, (s, p) in enumerate(zip(self.states, self._values, strict=True)))
        live, room = len(weights), max(0.0, self._allowed - self.left_out) * _BINNED
        gone: set[int] = set()
        self._cut /= 8
        for weight, slot in weights:
            if slot == 0:
                continue
            room -= weight
            if room < 0.0:
                if live <= most:
                    break
                self._cut = weight
            self.left_out += weight
            gone.add(slot)
            live -= 1
        self._after_trim, self._since_trim = max(_FEW, live), 0
        if gone:
            self._close(gone)

    def _close(self, gone: set[int]) -> None:
        """Take their slots from some states; what leads to them leads to states without a slot from now on."""
        old = self.states
        left = [slot for slot in range(len(old)) if slot not in gone]
        new = {slot: number for number, slot in enumerate(left)}
        self.states = [old[slot] for slot in left]
        self._values = [self._values[slot] for slot in left]
        self._slots = {state: slot for slot, state in enumerate(self.states)}
        self.renewed += 1
        for moves in self._moves.values():
            entries = zip(moves.open, moves.states, strict=True)
            opened = [(new[s], state, self.bound[state]) for s, state in entries if s in new]
            opened += [(new[s], old[t], self.bound[old[t]]) for s, t in moves.pairs if t in gone and s in new]
            moves.lead(opened)
            moves.pairs = [(new[s], new[t]) for s, t in moves.pairs if s in new and t in new]
            moves.known = bisect_left(left, moves.known)

    def _slot(self, state: int) -> int:
        slot = self._slots.get(state)
        if slot is None:
            self._slots[state] = slot = len(self.states)
            self.states.append(state)
            self._values.append(0.0)
        return slot

    def _moves_of(self, change: Change) -> _Moves:
        moves = self._moves.get(id(change))
        if moves is None:
            self._moves[id(change)] = moves = _Moves(change)
        if moves.known < len(self.states):
            self._settle(moves)
        return moves

    def _settle(self, moves: _Moves) -> None:
        """Look at the slots that are new since the last time: where they lead, and what leads to them."""
        slots, change = self._slots, moves.change
        fresh = self.states[moves.known :]
        if moves.states and not set(fresh).isdisjoint(moves.states):
            entries = list(zip(moves.open, moves.states, moves.matters, strict=True))
            moves.pairs += [(source, slots[state]) for source, state, _ in entries if state in slots]
            moves.lead([entry for entry in entries if entry[1] not in slots])
        for slot, state in enumerate(fresh, moves.known):
            to = change[state]
            if to == state:
                continue
            if to in slots:
                moves.pairs.append((slot, slots[to]))
            else:
                moves.open.append(slot)
                moves.states.append(to)
                moves.matters.append(self.bound[to])
        moves.known = len(self.states)
