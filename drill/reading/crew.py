"""The crew: workers that read the media side by side.

Flows in: groups of files, by medium. Flows out: results in the order in which they come. Must not know: the ledger,
who asked. Each medium bears so many readers at once (see `lanes`); reading, and hashing more than a little, release
the interpreter's lock. A copy that vanishes is given up at once, each of its files with that Problem.

Most of a small file's cost is not its bytes: where the copy is a plain folder, they are fetched at one go, of many
files by hands (see `hands`), and all that is not as it should be takes the careful way, the same that archives and
streams under a fault take.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import accumulate, compress
from operator import not_
from threading import Event, Lock, Thread
from typing import NamedTuple, TypeVar

from drill import clock, digests
from drill.copies import FolderOpener, forget, reach
from drill.copies.raw import deliver_file
from drill.errors import CannotReach, DrillError
from drill.model import Entry, Problem, Seen, Trouble
from drill.quick import Named, can_be_quick, contents
from drill.reading.hand import TELL_AFTER_S
from drill.reading.hands import HANDS, WORTH, Hand, start_hands
from drill.reading.lanes import Group, Lane, is_small, readers_of
from drill.reading.meter import Meter
from drill.reading.onepass import OnePass
from drill.shelf import OpenCopy

BLOCK = 1024 * 1024  # out of memory a fifth less work than by 256 kB (measured: 1 GB, 2 to 8 readers on two cores)
_MOST_WORKERS = 32
_LOOK_AGAIN_S = 0.02
_PATIENCE_S = 10.0
_MANY_ARRIVED = 1000  # results for which it is worth waking who takes them
_MOST_ARRIVED = 4000  # results that may lie there; readers wait for the ledger then, as memory is bounded
_FEW = 8  # files of one folder that are not worth asking a hand for
# Files that each of several readers asks for ahead; more gain little (measured), and each is an open file.
_AHEAD, _AHEAD_HERE = 16, 4

_NEW = tuple.__new__  # what a named tuple's own does, a call less
_PLAIN = Seen(0, ())[2:]  # what a reading shows where digests alone are asked for

T = TypeVar("T")

_Answers = tuple[list[Seen | None], list[float]]  # what some files in turn show, None: to be read with care; seconds


class Arrived(NamedTuple):
    """Some files of a group, what each came to, and how long each took, with finding and opening it.

    (Lists side by side: an object for each of many small files costs as much as its reading.)
    """

    group: Group
    entries: Sequence[Entry]
    results: Sequence[Seen | Problem]
    took_s: Sequence[float]


class _Stopped(DrillError):
    """The run ends: no more bytes are wanted."""


class _Taker:
    """The receiver: makes a result of each file's bytes."""

    def __init__(self, crew: "Crew", meter: Meter, group: Group) -> None:
        self._crew, self._meter, self._group = crew, meter, group
        self._since_s = clock.ticks_s()
        files = zip(group.entries, group.kinds, strict=True)
        self._files = {(entry.path, entry.index): (entry, kinds) for entry, kinds in files}

    def begin(self, entry: Entry) -> None:
        self._listed, kinds = self._files[entry.path, entry.index]
        listed = self._listed
        self._pass = OnePass(listed.path, listed.size, kinds=kinds, not_after=self._crew.not_after)
        self._meter.begin(self._group.found.copy.id)

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        if self._crew.stop.is_set():
            raise _Stopped
        self._pass.data(chunk)
        self._meter.bytes += len(chunk)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        result = self._pass.seen() if problem is None else self._crew.unless_away(self._group.found, problem)
        self._meter.end(self._listed.size)
        before_s, self._since_s = self._since_s, clock.ticks_s()
        self._crew.tell(Arrived(self._group, [self._listed], [result], [self._since_s - before_s]))


class _Run(NamedTuple):
    """Small files of one folder, all to be digested in the same kinds; without a place files to be read with care."""

    place: str
    kinds: tuple[str, ...]
    entries: list[Entry]
    names: list[Named]


class Crew:
    """The workers of one run and what they share. With `not_after` they also look when pictures were taken.

    With `from_medium` the system's cache lets go of each file before it is read, where it can be told to and does.
    `error` is what one of them died of, and then all stop.
    """

    def __init__(self, *, not_after: datetime | None, from_medium: bool) -> None:
        self.not_after = not_after
        self._from_medium = from_medium
        self._hands: list[Hand] = []
        self._may_have_hands = not_after is None and can_be_quick(from_medium=from_medium)
        self.stop, self.wake = Event(), Event()
        self._arrived: deque[Arrived] = deque()
        self._lying = 0  # results in `_arrived`
        self._lock = Lock()
        self.meters: list[Meter] = []
        self.error: BaseException | None = None
        self._away: dict[str, Problem] = {}
        self._turns: deque[tuple[Lane, bool]] = deque()
        self._busy: deque[int] = deque()
        self._threads: list[Thread] = []

    def expect(self, groups: Iterable[Group]) -> None:
        """Call hands where so much is sure to come that they are worth it: they get ready meanwhile."""
        if self._may_have_hands and not self._hands and _are_many(groups):
            self._hands = start_hands(HANDS)
            self._may_have_hands = bool(self._hands)

    def start(self, work: Sequence[Lane]) -> None:
        """Let the workers begin."""
        self.expect(group for lane in work for group in lane.groups)
        first = 2 * HANDS if self._hands else 1  # workers that do not wait, see `_take`
        # Every medium gets its first worker before any gets its second.
        self._turns.extend(
            (lane, turn < first) for turn in range(_MOST_WORKERS) for lane in work if lane.readers > turn
        )
        self._busy.extend(range(min(_MOST_WORKERS, len(self._turns))))
        self._threads = [Thread(target=self._run, name=f"reader-{n}", daemon=True) for n in self._busy]
        for thread in self._threads:
            thread.start()

    def wait(self, span_s: float) -> bool:
        """Wait until all have ended, at most so many seconds; say whether they have."""
        self.wake.wait(span_s)
        self.wake.clear()
        return not self._busy

    def tell(self, arrived: Arrived) -> None:
        """Put down what has arrived."""
        with self._lock:
            self._arrived.append(arrived)
            self._lying += len(arrived.entries)

    def collect(self) -> list[Arrived]:
        """Return and strike off what has arrived, a thousand results or a few more; nothing where there is none."""
        some: list[Arrived] = []
        with self._lock:
            rest = self._lying - _MANY_ARRIVED
            while self._arrived and self._lying > rest:
                some.append(self._arrived.popleft())
                self._lying -= len(some[-1].entries)
        return some

    def halt(self) -> None:
        """Have every worker stop within one block, and wait for it; one stuck in a dead server's read is left."""
        self.stop.set()
        hands, self._hands = self._hands, []
        for hand in hands:
            hand.end()
        threads, self._threads = self._threads, []
        for thread in threads:
            if thread.ident is not None:
                thread.join(_PATIENCE_S)

    def unless_away(self, found: OpenCopy, problem: Problem) -> Problem:
        """Return the problem of a read, or, where the whole copy has gone since it was opened, that."""
        if found.copy.at is None or problem.trouble not in (Trouble.MISSING, Trouble.IO):
            return problem
        try:
            reach(found.copy.at, archive=found.is_archive, recognised_by=found.medium.recognised_by)
        except CannotReach as error:
            problem = Problem(Trouble.UNREACHABLE, f"the copy vanished while it was read: {error}")
            self._away[found.copy.id] = problem
        return problem

    def _run(self) -> None:
        buffer = bytearray(BLOCK)
        try:
            while turn := _next(self._turns):
                lane, is_first = turn
                meter = Meter(lane.medium)
                self.meters.append(meter)
                while not self.stop.is_set() and (group := self._take(lane, is_first=is_first)):
                    self._read(group, meter, buffer)
                meter.copy = ""
        except _Stopped:
            pass
        except BaseException as error:
            self.error = self.error or error
            self.stop.set()
        finally:
            self._busy.pop()
            self.wake.set()

    def _take(self, lane: Lane, *, is_first: bool) -> Group | None:
        """Take the next group of a medium. All but its first worker wait as long as small files come from the cache.

        With hands two for each are first ones: what one has asked for is read while the other's answers are taken.
        Then nobody waits for the medium, and workers only contend for the interpreter: often twice as slow (measured).
        """
        while not (is_first or self._from_medium or self.stop.is_set()) and _is_at_hand(lane.next()):
            lane.empty.wait(_LOOK_AGAIN_S)
        return lane.take()

    def _read(self, group: Group, meter: Meter, buffer: bytearray) -> None:
        found = group.found
        if found.is_archive and found.copy.id not in self._away and found.view is not None and found.store is not None:
            for archive in found.store.files():
                self._forget(found, archive, meter)
            found.view.deliver(group.entries, _Taker(self, meter, group))
            return
        opener = None if found.store is None else found.store.open
        for run in _runs(group, opener if isinstance(opener, FolderOpener) else None):
            meter.copy = found.copy.id
            self._make_room()
            if self.stop.is_set():
                raise _Stopped
            done = self._read_small(run, group, meter, buffer) if run.place and not self._away else 0
            for entry in run.entries[done:]:
                self._read_with_care(Group(found, group.root, [entry], [run.kinds]), meter, buffer)

    def _read_small(self, run: _Run, group: Group, meter: Meter, buffer: bytearray) -> int:
        """Read small files of one folder, those that show nothing at one go with care; return how many were reached."""
        done = 0
        for answers, took_s in self._answers(run, meter, is_alone=readers_of(group.found.medium) == 1):
            entries = run.entries[done : done + len(answers)]
            done += len(answers)
            came = [one is not None for one in answers]
            seen = [one for one in answers if one is not None]
            meter.done(seen)
            self.tell(Arrived(group, list(compress(entries, came)), seen, list(compress(took_s, came))))
            for entry in compress(entries, map(not_, came)):
                self._read_with_care(Group(group.found, group.root, [entry], [run.kinds]), meter, buffer)
        return done

    def _make_room(self) -> None:
        """Have the results taken where there are many of them, and wait for that where there are too many."""
        while self._lying >= _MANY_ARRIVED:
            self.wake.set()
            if self._lying < _MOST_ARRIVED or self.stop.wait(_LOOK_AGAIN_S / 4):
                return

    def _answers(self, run: _Run, meter: Meter, *, is_alone: bool) -> Iterator[_Answers]:
        """Yield what small files show, in turn, some at a time; it may end before all have been reached.

        A medium that bears one reader alone is asked for nothing ahead.
        """
        meter.maybe_cached |= not self._from_medium
        hand = min((hand for hand in self._hands if not hand.is_lost), key=lambda hand: hand.busy, default=None)
        kinds = tuple(sorted(set(run.kinds)))
        if hand is None or len(run.entries) < _FEW:
            yield from self._answers_here(run, kinds, ahead=0 if is_alone else _AHEAD_HERE)
            return
        done = 0
        asked = hand.ask(
            run.place,
            run.names,
            kinds,
            from_medium=self._from_medium,
            ahead=0 if is_alone else _AHEAD,
            stops=self.stop.is_set,
        )
        for texts, took_s in asked:
            some = zip(texts, run.names[done : done + len(texts)], strict=False)
            done += len(texts)
            yield (
                [
                    None if one is None else _NEW(Seen, (size or 0, digests.named(kinds, one), *_PLAIN))
                    for one, (_, size) in some
                ],
                took_s,
            )

    def _answers_here(self, run: _Run, kinds: tuple[str, ...], *, ahead: int) -> Iterator[_Answers]:
        digest = digests.at_once(kinds)
        done: list[Seen | None] = []
        took_s: list[float] = []
        told_s = since_s = clock.ticks_s()
        whole = contents(run.place, run.names, from_medium=self._from_medium, ahead=ahead)
        for entry, content in zip(run.entries, whole, strict=True):
            seen: Seen | None = None
            if content is not None and self.not_after is None:
                seen = Seen(len(content), digest(content))
            elif content is not None:
                one = OnePass(entry.path, len(content), kinds=kinds, not_after=self.not_after)
                one.data(content)
                seen = one.seen()
            before_s, since_s = since_s, clock.ticks_s()
            done.append(seen)
            took_s.append(since_s - before_s)
            if seen is None or since_s - told_s > TELL_AFTER_S or self.stop.is_set():
                yield done, took_s
                if self.stop.is_set():
                    return
                done, took_s = [], []
                told_s = since_s = clock.ticks_s()
        if done:
            yield done, took_s

    def _read_with_care(self, one: Group, meter: Meter, buffer: bytearray) -> None:
        """Read one file as a stream, whatever its copy is; what goes wrong is its Problem."""
        found, (listed,) = one.found, one.entries
        if self.stop.is_set():
            raise _Stopped
        taker = _Taker(self, meter, one)
        away = self._away.get(found.copy.id)
        if away is not None or found.store is None:
            taker.begin(listed)
            taker.end(listed, away or Problem(Trouble.UNREACHABLE, found.reason or "the copy is not open"))
            return
        self._forget(found, listed, meter)
        # Without its listed size: a file that has grown or shrunk since is read to its real end.
        # A server gets the smaller blocks: a slow one takes seconds for a megabyte, and the run may be to end.
        entry = Entry(listed.path, None, listed.modified, listed.index)
        deliver_file(found.store, entry, taker, None if found.copy.at is None else buffer)

    def _forget(self, found: OpenCopy, entry: Entry, meter: Meter) -> None:
        """Have the cache let go of a file that is about to be read, or note that it may come from there."""
        if found.copy.at is None and not found.is_archive:
            return  # it comes from a server
        assert found.store is not None
        if not self._from_medium or not forget(found.store, entry):
            meter.maybe_cached = True


def _is_for_hands(group: Group) -> bool:
    """Say whether a group is one of many small files of a plain folder."""
    store = group.found.store
    return len(group.entries) >= _FEW and store is not None and isinstance(store.open, FolderOpener)


def _are_many(groups: Iterable[Group]) -> bool:
    """Say whether there are so many small files of plain folders that other processes are worth starting."""
    counts = (sum(map(is_small, group.entries)) for group in groups if _is_for_hands(group))
    return any(many >= WORTH for many in accumulate(counts))


def _runs(group: Group, quick: FolderOpener | None) -> Iterator[_Run]:
    """Cut a group into runs: each of small files of one folder, or of files that are read with care."""
    run: _Run | None = None
    folder, place_of = "", ""
    for entry, kinds in zip(group.entries, group.kinds, strict=True):
        place, name = "", ""
        if quick is not None and is_small(entry):
            its, _, name = entry.path.rpartition("/")
            if its != folder or not place_of:
                folder, place_of = its, quick.split(entry.path)[0]
            place = place_of
        if run is None or run.place != place or run.kinds != kinds:
            if run is not None:
                yield run
            run = _Run(place, kinds, [], [])
        run.entries.append(entry)
        run.names.append((name, entry.size))
    if run is not None:
        yield run


def _is_at_hand(group: Group | None) -> bool:
    """Say whether a group's first file is a small one that the system has in its cache."""
    if group is None or group.found.store is None or not is_small(group.entries[0]):
        return False
    opener = group.found.store.open
    return isinstance(opener, FolderOpener) and opener.is_cached(group.entries[0])


def _next(queue: deque[T]) -> T | None:
    """Take the next one; None when another worker took the last."""
    try:
        return queue.popleft()
    except IndexError:
        return None
