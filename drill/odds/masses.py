"""Probabilities of states, and how they move from state to state.

Flows in: changes (state → state), how likely each is. Flows out: the probability of each state. Must not know: times,
events, steps. Each state has a slot; which slots a change moves between is worked out once, so that moving is
arithmetic on a list. What is too small to matter is left out, and summed: no more than is allowed, or as much as leaves
no more states than there may be.
"""

from collections.abc import Iterator, Mapping

from drill.odds.statuses import LOST_STATE, Change

_SHARE = 256  # a new state is left out when it is that small a part of what may be
_FINER = 8
_FEW = 40  # states that are gone through sooner than sorted
_GROWN = 1.2


class _Moves:
    """A change over slots: (from, to) pairs, and (from, state, what that matters at most) without a slot.

    What a state matters may have become less since: it is still a bound.
    """

    __slots__ = ("change", "known", "open", "pairs")

    def __init__(self, change: Change) -> None:
        self.change = change
        self.forget()

    def forget(self) -> None:
        self.known = 0  # so many slots have been looked at
        self.pairs: list[tuple[int, int]] = []
        self.open: list[tuple[int, int, float]] = []


class Masses:
    """A distribution over states. `bound` gives for a state what it can matter at most; it may be set anew at any
    time."""

    def __init__(self, start: int, bound: Mapping[int, float]) -> None:
        self.bound = bound
        self.left_out = 0.0
        self._states = [LOST_STATE, start]
        self._values = [0.0, 1.0]
        self._slots = {LOST_STATE: 0, start: 1}
        self._moves: dict[int, _Moves] = {}
        self._after_trim = _FEW
        self._cut = 0.0
        self.allow(0.0)

    def allow(self, allowed: float) -> None:
        """Let so much be left out in all from now on."""
        self._allowed = allowed
        self._room = max(0.0, allowed - self.left_out) / 2  # as much again is for what is least of all at the end
        self._stint, self._least = self.left_out + self._room / 2, max(self._room / _SHARE, self._cut / _FINER)

    def lost(self) -> float:
        """Return the probability of the lost state."""
        return self._values[0]

    def __iter__(self) -> Iterator[tuple[int, float]]:
        return ((state, p) for state, p in zip(self._states, self._values, strict=True) if p)

    def hit(self, change: Change, q: float) -> None:
        """Make a change that comes to nothing more when it is made twice, with probability q, whatever else happens."""
        moves, values = self._moves_of(change), self._values
        for source, target in moves.pairs:
            part = values[source] * q
            values[source] -= part
            values[target] += part
        if moves.open:
            self._hit_open(moves, q)

    def _hit_open(self, moves: _Moves, q: float) -> None:
        """Move to states that had no slot: those that matter enough get one."""
        values, slots, least = self._values, self._slots, self._least
        still: list[tuple[int, int, float]] = []
        for entry in moves.open:
            source, worse, matters = entry
            part = values[source] * q
            weight = part * matters
            if weight <= least and worse not in slots:
                values[source] -= part
                self.left_out += weight
                still.append(entry)
                if self.left_out > self._stint:
                    least = self._next_stint()
            else:
                target = self._slot(worse)
                values[source] -= part
                values[target] += part
                moves.pairs.append((source, target))
        moves.open = still

    def _next_stint(self) -> float:
        """Never leave out more than the room: half of the rest each time, in smaller parts. Beyond that what the last
        cut left out, and less, is still left out."""
        self._room /= 2
        self._stint = max(self._stint, self.left_out) + self._room / 2
        self._least = max(self._least / _FINER, self._cut / _FINER)
        return self._least

    def shift(self, change: Change, done: float) -> None:
        """Make any change with a probability."""
        moves, values = self._moves_of(change), self._values
        for source, state, _ in moves.open:
            moves.pairs.append((source, self._slot(state)))
        moves.open = []
        parts = [values[source] * done for source, _ in moves.pairs]
        for (source, _), part in zip(moves.pairs, parts, strict=True):
            values[source] -= part
        for (_, target), part in zip(moves.pairs, parts, strict=True):
            values[target] += part

    def trim(self, most: int) -> None:
        """Leave out what matters least where there is more than there was: as far as that may be, or until no more than
        `most` states are left."""
        values, bound = self._values, self.bound
        live = len(values) - values.count(0.0)
        if live > self._after_trim * _GROWN:
            self._cut = 0.0
            weights = sorted(
                (p * bound[s], n) for n, (s, p) in enumerate(zip(self._states, values, strict=True)) if p and n
            )
            for weight, slot in weights:
                if self.left_out + weight > self._allowed:
                    if live <= most:
                        break
                    self._cut = weight
                self.left_out += weight
                values[slot] = 0.0
                live -= 1
            self._after_trim = max(_FEW, live)
        if len(values) > 3 * max(live, _FEW):
            self._forget()

    def _forget(self) -> None:
        """Begin anew with the states that are left."""
        left = [(state, p) for state, p in self if state != LOST_STATE]
        self._states = [LOST_STATE, *(state for state, _ in left)]
        self._values = [self._values[0], *(p for _, p in left)]
        self._slots = {state: slot for slot, state in enumerate(self._states)}
        for moves in self._moves.values():
            moves.forget()

    def _slot(self, state: int) -> int:
        slot = self._slots.get(state)
        if slot is None:
            self._slots[state] = slot = len(self._states)
            self._states.append(state)
            self._values.append(0.0)
        return slot

    def _moves_of(self, change: Change) -> _Moves:
        moves = self._moves.get(id(change))
        if moves is None:
            self._moves[id(change)] = moves = _Moves(change)
        for slot in range(moves.known, len(self._states)):
            state = self._states[slot]
            to = change[state]
            if to != state:
                known = self._slots.get(to)
                if known is None:
                    moves.open.append((slot, to, self.bound[to]))
                else:
                    moves.pairs.append((slot, known))
        moves.known = len(self._states)
        return moves
