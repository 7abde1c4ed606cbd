"""Lockstep: several readings of one file go by together, and what differs between them is kept.

Flows in: for each reading a way to open its bytes. Flows out: groups of equal readings, and for each two groups where
and how they differ. Must not know: copies, names, who is right. Memory is a chunk of each reading, whatever their size.
Blocks that cannot be read are passed over, within bounds, since every try wears a failing drive; they are neither
alike nor different.
"""

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from io import SEEK_END, RawIOBase
from itertools import combinations

from drill import clock
from drill.comparing.differing import BLOCK, Difference, Differing, RangeList, Ranges, Tally, Tallying, is_blank
from drill.errors import DrillError

__all__ = ["BLOCK", "Comparison", "Difference", "Ranges", "ReadingFound", "Source", "compare"]

Source = Callable[[], RawIOBase]
_CHUNK = 64 * BLOCK
MOST_BAD_BLOCKS = 512
MOST_BAD_S = 60.0  # a drive may try each bad sector for seconds


@dataclass(frozen=True, slots=True)
class ReadingFound:
    """How many bytes one reading has, which of them cannot be read, and from which byte on nothing more was tried."""

    size: int
    unreadable: Ranges = ()
    stopped_at: int | None = None

    @property
    def is_whole(self) -> bool:
        """Say whether every byte came."""
        return not self.unreadable and self.stopped_at is None


@dataclass(frozen=True, slots=True)
class Comparison:
    """What came of it: the readings, groups of equal ones by number, and the differences of each two groups (by the
    groups' numbers, in order); with three readings or more, what most of them have where they differ."""

    readings: tuple[ReadingFound, ...]
    groups: tuple[tuple[int, ...], ...]
    differences: tuple[Difference, ...]
    tally: Tally | None


def compare(
    sources: Sequence[Source], *, voters: Sequence[frozenset[str]] = (), tick: Callable[[int], None] = lambda at: None
) -> Comparison:
    """Compare readings block by block; `tick` gets the byte that they are at.

    `voters` are for each reading what counts for it in the tally (by default each for itself). A reading that cannot
    be opened has no byte. Errors: whatever `tick` raises.
    """
    votes = voters or [frozenset({str(number)}) for number in range(len(sources))]
    pairs = {pair: Differing() for pair in combinations(range(len(sources)), 2)}
    tallying = Tallying(votes) if len(sources) > 2 else None
    with ExitStack() as stack:
        readings = [_Reading(source, stack) for source in sources]
        at = 0
        while True:
            tick(at)
            pieces = [reading.next(at) for reading in readings]
            if not any(pieces):
                break
            _step(at, pieces, [reading.bad for reading in readings], pairs, tallying)
            at += _CHUNK
    found = tuple(reading.found() for reading in readings)
    groups = _groups(found, pairs)
    differences = tuple(
        pairs[groups[one][0], groups[other][0]].value(one, other) for one, other in combinations(range(len(groups)), 2)
    )
    return Comparison(found, groups, differences, None if tallying is None else tallying.value())


def _step(
    at: int,
    pieces: Sequence[bytes],
    bad: Sequence[frozenset[int]],
    pairs: dict[tuple[int, int], Differing],
    tallying: Tallying | None,
) -> None:
    for (one, other), differing in pairs.items():
        if not bad[one] and not bad[other] and pieces[one] == pieces[other]:
            differing.alike += sum(not is_blank(pieces[one][o : o + BLOCK]) for o in range(0, len(pieces[one]), BLOCK))
            continue
        for o in range(0, max(len(pieces[one]), len(pieces[other])), BLOCK):
            if o not in bad[one] and o not in bad[other]:
                differing.take(at + o, pieces[one][o : o + BLOCK], pieces[other][o : o + BLOCK])
    if tallying is None or (not any(bad) and len(set(pieces)) == 1):
        return
    for o in range(0, max(map(len, pieces)), BLOCK):
        tallying.take([None if o in hurt else piece[o : o + BLOCK] for piece, hurt in zip(pieces, bad, strict=True)])


def _groups(found: Sequence[ReadingFound], pairs: dict[tuple[int, int], Differing]) -> tuple[tuple[int, ...], ...]:
    groups: list[list[int]] = []
    for number, reading in enumerate(found):
        for group in groups:
            first = group[0]
            if reading.is_whole and found[first].is_whole and not pairs[first, number].blocks:
                group.append(number)
                break
        else:
            groups.append([number])
    return tuple(tuple(group) for group in groups)


class _Reading:
    """One reading's bytes, chunk after chunk; `bad` are the first bytes of blocks of the last chunk that did not come,
    counted within it."""

    def __init__(self, source: Source, stack: ExitStack) -> None:
        self.bad: frozenset[int] = frozenset()
        self._raw: RawIOBase | None = None
        self._end: int | None = None
        self._size, self._bad_blocks, self._bad_s = 0, 0, 0.0
        self._unreadable = RangeList()
        self._stopped_at: int | None = None
        try:
            self._raw = stack.enter_context(source())
            if self._raw.seekable():
                self._end = self._raw.seek(0, SEEK_END)
                self._raw.seek(0)
        except (OSError, DrillError):
            self._stop(0)

    def found(self) -> ReadingFound:
        """Return what is known of it now."""
        return ReadingFound(self._size, self._unreadable.value(), self._stopped_at)

    def next(self, at: int) -> bytes:
        """Return its bytes from `at` on, a chunk at most: empty at its end. Those of bad blocks are zero."""
        self.bad = frozenset()
        if self._raw is None:
            self.bad = _EVERY_BLOCK if self._stopped_at is not None else frozenset()
            return b""
        buffer = bytearray(_CHUNK)
        got, failed = self._fill(memoryview(buffer))
        if failed:
            got = self._around(at, buffer, got - got % BLOCK)
        elif got < _CHUNK:
            self._raw = None  # its end: nothing more is asked for
        if got:
            self._size = max(self._size, at + got)
        return bytes(buffer[:got])

    def _fill(self, view: memoryview) -> tuple[int, bool]:
        """Read until the view is full or the bytes end; return how many came, and whether a read failed."""
        assert self._raw is not None
        got = 0
        while got < len(view):
            try:
                count = self._raw.readinto(view[got:]) or 0
            except (OSError, DrillError):
                return got, True
            if not count:
                break
            got += count
        return got, False

    def _around(self, at: int, buffer: bytearray, got: int) -> int:
        """Read the rest of a chunk block by block, past those that cannot be read; return how many bytes it has."""
        assert self._raw is not None
        most = 0 if self._end is None else min(_CHUNK, self._end - at)
        hurt: set[int] = set()
        begun_s = clock.ticks_s()
        while got < most:
            if self._bad_blocks >= MOST_BAD_BLOCKS or self._bad_s + clock.ticks_s() - begun_s > MOST_BAD_S:
                break
            step = min(BLOCK, most - got)
            if not self._read_block(at + got, memoryview(buffer)[got : got + step]):
                hurt.add(got)
                self._bad_blocks += 1
                self._unreadable.add(at + got, at + got + step)
                buffer[got : got + step] = bytes(step)
            got += step
        self._bad_s += clock.ticks_s() - begun_s
        if got < most or self._end is None:
            self._stop(at + got)
            hurt.update(range(got, _CHUNK, BLOCK))
        elif not self._goes_on(at + got):
            self._raw = None
        self.bad = frozenset(hurt)
        return got

    def _goes_on(self, at: int) -> bool:
        """Go to where the next chunk begins; say whether there is one."""
        assert self._raw is not None and self._end is not None
        if at >= self._end:
            return False
        try:
            self._raw.seek(at)
        except (OSError, DrillError):
            self._stop(at)
        return True

    def _read_block(self, at: int, view: memoryview) -> bool:
        assert self._raw is not None
        try:
            self._raw.seek(at)
        except (OSError, DrillError):
            return False
        got, failed = self._fill(view)
        return got == len(view) and not failed

    def _stop(self, at: int) -> None:
        self._raw, self._stopped_at = None, at
        self._size = max(self._size, self._end or at)


_EVERY_BLOCK = frozenset(range(0, _CHUNK, BLOCK))
