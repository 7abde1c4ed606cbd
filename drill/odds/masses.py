"""Probabilities of states, and how they move from state to state.

Flows in: changes (state → state), how likely each is. Flows out: the probability of each state. Must not know: times,
events, steps. Each state that matters has a slot; which slots a change moves between is worked out once, so that moving
is arithmetic on a list. What would move to a state without a slot is left out, and summed, as long as that is little;
else the states that get most of it are given a slot. Now and then states that have come to matter little lose theirs.
"""

from collections.abc import Iterator, Mapping, Sequence
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
        self.open: list[int] = []
        self.states: list[int] = []
        self.matters: list[float] = []


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
        if weight > self._share:
            weight = self._admit(moves, weights, weight, chance)
        self.left_out += weight
        kept = 1.0 - chance
        for source in moves.open:
            values[source] *= kept

    def _admit(self, moves: _Moves, weights: Sequence[float], weight: float, chance: float) -> float:
        """Give slots to those that matter most until the rest is little; return what the rest matters."""
        enough = self._share / 2
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
            opened = [(new[s], old[t]) for s, t in moves.pairs if t in gone and s not in gone]
            opened += [(new[s], state) for s, state in zip(moves.open, moves.states, strict=True) if s not in gone]
            moves.pairs = [(new[s], new[t]) for s, t in moves.pairs if s in new and t in new]
            moves.known = sum(slot < moves.known for slot in left)
            self._open(moves, opened)

    def _open(self, moves: _Moves, opened: Sequence[tuple[int, int]]) -> None:
        moves.open = [slot for slot, _ in opened]
        moves.states = [state for _, state in opened]
        moves.matters = [self.bound[state] for _, state in opened]

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
        still: list[tuple[int, int]] = []
        for source, state in zip(moves.open, moves.states, strict=True):
            if state in slots:
                moves.pairs.append((source, slots[state]))
            else:
                still.append((source, state))
        for slot in range(moves.known, len(self.states)):
            state = self.states[slot]
            to = change[state]
            if to in slots:
                if to != state:
                    moves.pairs.append((slot, slots[to]))
            else:
                still.append((slot, to))
        moves.known = len(self.states)
        self._open(moves, still)
