"""Reads: the chosen files are read, portion by portion, and what fails is looked at once more.

Flows in: opened copies, a choice, the ledger. Flows out: what each file showed, the ranges that cannot be read, bytes
and seconds by copy, rates by medium. Must not know: lists, promises, verdicts. Every result is kept as it comes: what
stops the reading, a budget's end or Ctrl-C, takes nothing away.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from datetime import datetime
from itertools import count

from drill import clock
from drill.audit.around import Ranges, read_around, read_members, say_ranges
from drill.audit.choose import Pick
from drill.audit.scope import Scope
from drill.audit.shown import Shown
from drill.errors import DrillError
from drill.ledger import Ledger
from drill.model import Entry, Problem, Seen, Trouble
from drill.reading import Job, JobKey, MediumRead, Readings, read_files, root_of
from drill.shelf import OpenCopy
from drill.units import say_span

MOST_AROUND_S = 600.0  # for all files of an audit together


class TimeUp(DrillError):
    """The time that may be spent on reading is used up."""


class Reads:
    """All reading of one audit; a copy's scope says which digest kinds are wanted of each of its files."""

    def __init__(
        self,
        scopes: Mapping[str, Scope],
        *,
        ledger: Ledger,
        now: datetime,
        progress: Callable[[str], None],
        budget_s: float | None = None,
    ) -> None:
        self._scopes, self._ledger, self._now = scopes, ledger, now
        self._progress = progress
        self._ends_s = None if budget_s is None else clock.ticks_s() + budget_s
        self.results: dict[str, Shown] = defaultdict(Shown)
        self.ranges: dict[JobKey, Ranges] = {}
        self.bytes: Counter[str] = Counter()
        self.seconds: dict[str, float] = defaultdict(float)
        self.media: dict[str, list[MediumRead]] = defaultdict(list)
        self.notes: list[str] = []

    def read(self, portions: Iterable[Sequence[Pick]]) -> None:
        """Read all portions, then what failed once more. A budget's end is no error; KeyboardInterrupt is passed on."""
        try:
            for portion in portions:
                if portion:
                    self._read_portion(portion)
            self._read_again()
        except TimeUp:
            left = "the time for reading was used up before all that was chosen was read"
            self.notes.append(left)

    def is_up(self) -> bool:
        """Say whether the time that may be spent is used up."""
        return self._ends_s is not None and clock.ticks_s() >= self._ends_s

    def _say(self, text: str) -> None:
        if self.is_up():
            raise TimeUp
        self._progress(text)

    def _read_portion(self, picks: Sequence[Pick]) -> None:
        self._say("")
        media = {id_: self._scopes[id_].found.medium.id for id_ in {pick.copy for pick in picks}}
        came: dict[str, Counter[str]] = {medium: Counter() for medium in media.values()}
        files: dict[str, Counter[str]] = {medium: Counter() for medium in came}

        def take(job: Job, result: Seen | Problem) -> None:
            id_, medium = job.found.copy.id, job.found.medium.id
            self.results[id_][job.entry.path, job.entry.index] = result
            files[medium][id_] += 1
            if isinstance(result, Seen):
                self.bytes[id_] += result.size
                came[medium][id_] += result.size

        start_s = clock.ticks_s()
        took_s: dict[str, float] = {}
        try:
            read = self._read_files(picks, take)
            took_s = {medium: of_medium.took_s for medium, of_medium in read.media.items()}
        except BaseException:  # also Ctrl-C: what came by then took its time
            took_s = dict.fromkeys(came, clock.ticks_s() - start_s)
            raise
        finally:
            for medium, span_s in took_s.items():
                for id_, part_s in shared_out(span_s, came[medium], files[medium]).items():
                    self.seconds[id_] += part_s
        for medium, of_medium in read.media.items():
            self.media[medium].append(of_medium)

    def _read_files(self, picks: Iterable[Pick], take: Callable[[Job, Seen | Problem], None]) -> Readings:
        return read_files(
            (Job(self._scopes[p.copy].found, p.entry, kinds=self._kinds(p.key)) for p in picks),
            kinds=(),
            ledger=self._ledger,
            now=self._now,
            progress=self._say,
            on_seen=take,
            gather=False,  # `take` does, for what comes before Ctrl-C too
            with_capture=False,
            afresh=True,
            honest_rates=True,  # what lies in the system's memory proves nothing of a medium
        )

    def _kinds(self, key: JobKey) -> tuple[str, ...]:
        return self._scopes[key[0]].kinds_of(key[1], key[2])

    # --- once more ---------------------------------------------------------------------------------------------------

    def _read_again(self) -> None:
        begun_s = clock.ticks_s()
        doubted: dict[str, list[JobKey]] = defaultdict(list)
        failed = [((id_, *key), problem) for id_, shown in self.results.items() for key, problem in shown.problems()]
        entries = self._entries({key for key, _ in failed}) if failed else {}
        for key, result in failed:
            found = self._scopes[key[0]].found
            if found.copy.url is not None:
                continue
            if result.trouble is Trouble.IO and not found.is_archive:
                if clock.ticks_s() - begun_s < MOST_AROUND_S:
                    self._read_around(key, entries[key], found, result)
            elif result.trouble is Trouble.CHECK_VALUE:
                doubted[key[0]].append(key)
        for id_, keys in doubted.items():
            self._read_members(self._scopes[id_].found, keys)

    def _entries(self, keys: Container[JobKey]) -> dict[JobKey, Entry]:
        """Return the entries of these files, looked for once: there may be thousands of them on a failing drive."""
        every = ((id_, entry) for id_ in list(self.results) for entry in self._scopes[id_].found.entries)
        return {key: entry for id_, entry in every if (key := (id_, entry.path, entry.index)) in keys}

    def _read_around(self, key: JobKey, entry: Entry, found: OpenCopy, problem: Problem) -> None:
        self._say(f"{key[0]}: looking which bytes of {key[1]} cannot be read")
        begun_s = clock.ticks_s()
        around = read_around(found, entry, kinds=self._kinds(key))
        took_s = clock.ticks_s() - begun_s
        self.seconds[key[0]] += took_s
        root = root_of(found)
        if around is None or root is None:
            return
        if around.seen is not None:
            self.results[key[0]][key[1:]] = around.seen
            self.bytes[key[0]] += around.seen.size
            self._ledger.put(root, entry, around.seen, took_s=took_s, copy=key[0])
            said = f"{key[0]}: {key[1]} could be read only at a second try ({problem.detail}): copy this medium soon"
            self.notes.append(said)
            return
        told = Problem(Trouble.IO, say_ranges(around))
        self.ranges[key], self.results[key[0]][key[1:]] = around.ranges, told
        self._ledger.put_problem(root, entry, told, ranges=around.ranges, took_s=took_s, copy=key[0])

    def _read_members(self, found: OpenCopy, keys: Sequence[JobKey]) -> None:
        """Digest members of which every byte came and only the archive's own check value differs."""
        id_, root, begun_s = found.copy.id, root_of(found), clock.ticks_s()
        asked = {key[1:] for key in keys}
        entries = {key: entry for entry in found.entries if (key := (entry.path, entry.index)) in asked}
        kinds = sorted({kind for key in keys for kind in self._kinds(key)})
        begun = count(1)

        def begins(entry: Entry) -> None:
            done = f"{next(begun):,} of {len(entries):,}"
            self._say(f"{id_}: unpacking once more what its own check value doubts, {done}")

        def came(entry: Entry, seen: Seen) -> None:
            self.results[id_][entry.path, entry.index] = seen
            self.bytes[id_] += seen.size
            if root is not None:
                self._ledger.put(root, entries[entry.path, entry.index], seen, copy=id_)

        try:
            read_members(found, list(entries.values()), kinds=kinds, begins=begins, came=came)
        finally:
            self.seconds[id_] += clock.ticks_s() - begun_s


def shared_out(span_s: float, came: Mapping[str, int], files: Mapping[str, int]) -> dict[str, float]:
    """Share the seconds of one medium out to its copies by the bytes that came, by files where none came."""
    weights = came if sum(came.values()) else files
    total = sum(weights.values())
    return {id_: span_s * weight / total for id_, weight in weights.items()} if total else {}


def rates_of(media: Mapping[str, Sequence[MediumRead]]) -> dict[str, MediumRead]:
    """Return each medium's portions added up."""
    added: dict[str, MediumRead] = {}
    for medium, portions in media.items():
        files, size = sum(one.files for one in portions), sum(one.bytes for one in portions)
        took_s, cached = sum(one.took_s for one in portions), any(one.maybe_cached for one in portions)
        added[medium] = MediumRead(files, size, took_s, cached)
    return added


def say_continued(count: int, since: datetime, now: datetime) -> str:
    """Return in words how much of an audit that was cut short was not read again."""
    age = say_span(max(0.0, (now - since).total_seconds()))
    files = f"{count:,} file{'' if count == 1 else 's'}"
    return f"{files} were read by an audit that was cut short {age} ago and count as read (--all reads them again)"
