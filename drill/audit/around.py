"""Around: a second look at what failed. Which bytes of a file cannot be read, and what a doubted archive member holds.

Flows in: a copy as found, entries whose first reading ran into an I/O error or a check value. Flows out: byte ranges,
or, where every byte came after all, what they showed. Must not know: lists, promises, verdicts. A failing drive is
worn by every try, so both the bad blocks and the time for one file are bounded.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from io import SEEK_END, RawIOBase

from drill import clock
from drill.digests import Digester
from drill.errors import CannotReach, CannotRead
from drill.model import Entry, Problem, Seen, Trouble
from drill.shelf import OpenCopy

BLOCK = 4096  # what disks and file systems lose at once
_CHUNK = 256 * 1024
MOST_BAD_BLOCKS = 512
MOST_S = 60.0  # a drive may try each bad sector for seconds

Ranges = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Around:
    """What a second reading gave: all that the bytes showed, or the ranges that cannot be read, [from, to).

    `stopped_at` is the byte from which on nothing more was tried, None where the file was read to its end.
    """

    seen: Seen | None
    ranges: Ranges
    size: int
    stopped_at: int | None = None


def read_around(found: OpenCopy, entry: Entry, *, kinds: Iterable[str], most_s: float = MOST_S) -> Around | None:
    """Read a file of a folder once more, past its bad blocks; None where it cannot even be opened."""
    assert found.store is not None
    try:
        with found.store.open(entry) as raw:
            return _read(raw, Digester(kinds), most_s)
    except (OSError, CannotReach, CannotRead):
        return None


def _read(raw: RawIOBase, digester: Digester, most_s: float) -> Around:
    size = raw.seek(0, SEEK_END)
    view = memoryview(bytearray(_CHUNK))
    bad: list[int] = []  # the first bytes of bad blocks
    at, careful_until, begun_s = 0, 0, clock.ticks_s()
    while at < size:
        if len(bad) >= MOST_BAD_BLOCKS or clock.ticks_s() - begun_s > most_s:
            return Around(None, merged(bad, size), size, stopped_at=at)
        to_next = BLOCK - at % BLOCK
        step = to_next if at < careful_until else _CHUNK
        try:
            raw.seek(at)
            got = raw.readinto(view[: min(step, size - at)]) or 0
        except OSError:
            if step == _CHUNK:
                careful_until = at + _CHUNK
                continue
            bad.append(at)
            at += to_next
            continue
        if not got:
            break
        digester.update(view[:got])
        at += got
    return Around(None if bad else Seen(at, digester.digests()), merged(bad, size), size)


def merged(blocks: Sequence[int], size: int) -> Ranges:
    """Return blocks, by their first bytes in rising order, as as few ranges as there can be."""
    ranges: list[tuple[int, int]] = []
    for start in blocks:
        end = min(start - start % BLOCK + BLOCK, size)
        if ranges and ranges[-1][1] == start:
            ranges[-1] = ranges[-1][0], end
        else:
            ranges.append((start, end))
    return tuple(ranges)


def say_ranges(around: Around) -> str:
    """Return in words which bytes of a file cannot be read."""
    lost = sum(end - start for start, end in around.ranges)
    first = ", ".join(f"{start} to {end - 1}" for start, end in around.ranges[:3])
    more = f" and {len(around.ranges) - 3} more places" if len(around.ranges) > 3 else ""
    said = f"I/O error: bytes {first}{more} cannot be read ({lost} of {around.size})"
    return said + ("" if around.stopped_at is None else f"; not tried further from byte {around.stopped_at}")


class _Members:
    """A receiver: digests members whose bytes came whole, whatever the archive's own check value says."""

    def __init__(
        self, kinds: Iterable[str], begins: Callable[[Entry], None], came: Callable[[Entry, Seen], None]
    ) -> None:
        self._kinds, self._begins, self._came = tuple(kinds), begins, came

    def begin(self, entry: Entry) -> None:
        self._begins(entry)
        self._digester = Digester(self._kinds)

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self._digester.update(chunk)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        if problem is None or problem.trouble is Trouble.CHECK_VALUE:
            self._came(entry, Seen(self._digester.size, self._digester.digests()))


def read_members(
    found: OpenCopy,
    entries: Sequence[Entry],
    *,
    kinds: Iterable[str],
    begins: Callable[[Entry], None],
    came: Callable[[Entry, Seen], None],
) -> None:
    """Unpack members once more; `came` gets what those showed all of whose bytes came, `begins` each before that.

    What `begins` raises (a DrillError) ends it.
    """
    assert found.view is not None
    found.view.deliver(entries, _Members(kinds, begins, came))
