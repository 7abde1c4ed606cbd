"""The desk: the copies of one question, what is known of them, and the rounds of reading.

Flows in: a studio, what goes, the ledger. Flows out: what is known of the copies. Must not know: verdicts, terminals.

All media are read side by side: the medium's own files where no reading tells what they are, and of each promised file
on it the best other copy; what failed, or is not in enough places, is read elsewhere in the next round.
"""

from collections.abc import Callable, Iterable
from collections.abc import Set as AbstractSet
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from drill.copies import LinkSession
from drill.coverage import kinds_of
from drill.evidence import Promises
from drill.further import events
from drill.ledger import Ledger, ledger_files
from drill.model import Copy, Entry, Problem, Seen, Studio
from drill.reading import Job, read_files
from drill.retire.contents import Contents, is_weak, left_behind
from drill.retire.going import Going
from drill.retire.holdings import Holding
from drill.retire.judge import is_enough
from drill.retire.samefile import Identity, identities, parted
from drill.retire.seek import Source, next_reads
from drill.shelf import OpenCopy, State, open_copy
from drill.timing import Load, transfer_s

_ARCHIVE_WAITS = "it is downloaded only where nothing else proves what is asked"


class Desk:
    """Where one question is answered. `again` has everything read; `untargeted_s` is how old a proof may be where the
    studio file sets no verified_within."""

    def __init__(
        self,
        studio: Studio,
        gone: Going,
        ledger: Ledger,
        *,
        now: datetime,
        again: bool,
        untargeted_s: float,
        progress: Callable[[str], None],
    ) -> None:
        self.studio, self.gone, self.ledger, self.now, self.again = studio, gone, ledger, now, again
        self.progress = progress
        self.promises = Promises(studio.shoots)
        self.kinds = sorted(kinds_of(self.promises.files))
        self.targets = {shoot.id: shoot.targets for shoot in studio.shoots}
        self.events = events(studio)
        self.holdings: dict[str, Holding] = {}  # copies that go
        self.beside: dict[str, Holding] = {}  # copies that may be reached with them
        self.sources: dict[str, Source] = {}  # other copies
        self.waiting: list[Copy] = []  # archives behind links, not downloaded yet
        self.files_read = self.bytes_read = 0
        self.untargeted_s = untargeted_s
        self._enough: dict[tuple[int | None, frozenset[str]], bool] = {}
        self._where: tuple[LinkSession, Path] | None = None
        self.looked = False
        self.from_memory: set[str] = set()  # media of which some bytes may have come from this computer's memory
        self._counted_files: set[Identity] = set()
        self.same: dict[str, tuple[Entry, ...]] = {}  # of other copies, what are the very files of one that is out
        self._gone_files: set[Identity] = set()

    def fresh(self, number: int, at: datetime) -> bool:
        """Say whether a proof of that time still counts; one from later than now never does."""
        within_s = self.targets[self.promises.shoots[number]].verified_within_s
        age_s = (self.now - at).total_seconds()
        return not self.again and 0 <= age_s <= (self.untargeted_s if within_s is None else within_s)

    # --- opening -----------------------------------------------------------------------------------------------------

    def open(self, session: LinkSession, folder: Path) -> None:
        """Find every copy as it is now, first those that are no other copy: the rest is held against their files."""
        self._where = session, folder
        for copy in sorted(self.studio.copies, key=self.gone.counts):
            is_download = copy.url is not None and copy.archive is not None
            if is_download and not (self.gone.goes(copy) and copy.listed is None):
                if self.gone.counts(copy):
                    self.waiting.append(copy)
                self._put(OpenCopy(copy, self.studio.media[copy.on], State.AWAY, reason=_ARCHIVE_WAITS))
                continue
            self._put(self._open(copy))
        self.looked = True

    def _open(self, copy: Copy) -> OpenCopy:
        assert self._where is not None
        self.progress(f"opening {copy.id}")
        session, folder = self._where
        return open_copy(copy, self.studio.media[copy.on], session=session, downloads=folder)

    def _put(self, found: OpenCopy) -> None:
        copy = found.copy
        if self.gone.counts(copy):  # what lies in a trash is no copy of anything
            others, self.same[copy.id] = parted(found, self._gone_files | self._counted_files)
            self._counted_files |= identities(replace(found, entries=others))  # one file under two names is one copy
            kept = tuple(entry for entry in others if not left_behind(entry.path, self.promises))
            contents = Contents(replace(found, entries=kept), self.ledger, self.promises, self.fresh)
            self.sources[copy.id] = Source(contents, self.promises, self._cost_s(copy), same=self.same[copy.id])
            return
        self._gone_files |= identities(found)
        contents = Contents(found, self.ledger, self.promises, self.fresh)
        into = self.holdings if self.gone.goes(copy) else self.beside
        into[copy.id] = Holding(contents, self.promises, self.kinds, ours=self._ours(copy), again=self.again)

    def _ours(self, copy: Copy) -> list[Path]:
        """Return the studio's own files, and what is a copy of its own, that may lie in a copy."""
        mark = self.studio.media[copy.on].recognised_by
        marks = [] if not mark or copy.at is None else [copy.at / mark]
        archives = [c.at for c in self.studio.copies if c.on == copy.on and c.archive is not None and c.at is not None]
        return [*self.kept_files(), *marks, *archives]

    def kept_files(self) -> list[Path]:
        """Return the files that the studio itself needs."""
        return [self.studio.file, *self.studio.manifest_files, *ledger_files(self.studio.ledger)]

    def _cost_s(self, copy: Copy) -> Callable[[int], float]:
        medium = self.studio.media[copy.on]
        return lambda size: transfer_s(Load(medium, 1, size), self.studio.buses)

    # --- reading -----------------------------------------------------------------------------------------------------

    def read(self) -> None:
        """Read, round by round, until nothing more would change the answer."""
        if self._cannot_be_known():
            return  # it is a no already, and for what is not here hours of reading would not make it a yes
        while True:
            jobs = self._jobs()
            if jobs:
                self._read(jobs)
            elif not self._download_one():
                return

    def _cannot_be_known(self) -> bool:
        return not self.holdings or any(holding.is_hidden for holding in self.holdings.values())

    def _jobs(self) -> list[Job]:
        jobs = [Job(h.contents.found, entry) for h in self.holdings.values() for entry in h.to_read()]
        stakes = sorted(number for number in self.at_stake() if not is_weak(self.promises.files[number]))
        wanted = next_reads(stakes, self.sources, self.is_enough, self.sizes(stakes))
        return jobs + [Job(self.sources[id_].contents.found, entry) for id_, entry in wanted]

    def _read(self, jobs: list[Job]) -> None:
        done = read_files(
            jobs,
            kinds=self.kinds,
            ledger=self.ledger,
            now=self.now,
            progress=self.progress,
            on_seen=self._take,
            with_capture=False,
            afresh=True,
            honest_rates=True,  # the system's memory proves nothing: what goes was often copied a moment ago
        )
        self.from_memory |= {id_ for id_, read in done.media.items() if read.maybe_cached}

    def _take(self, job: Job, result: Seen | Problem) -> None:
        id_ = job.found.copy.id
        self.files_read += 1
        self.bytes_read += result.size if isinstance(result, Seen) else 0
        contents = self.sources[id_].contents if id_ in self.sources else self.holdings[id_].contents
        contents.take(job.entry, result, self.now)

    def _download_one(self) -> bool:
        """Open the next archive behind a link, if something is still to be proven; say whether one was opened."""
        stakes = [n for n in self.at_stake() if not is_weak(self.promises.files[n])]
        if all(self.is_enough(number, self.proven(number)) for number in stakes):
            return False
        while self.waiting:
            copy = self.waiting.pop(0)
            if copy.listed is None or any(self.sources[copy.id].is_said_to_hold(number) for number in stakes):
                self._put(self._open(copy))
                return True
        return False

    # --- what is known -----------------------------------------------------------------------------------------------

    def at_stake(self) -> set[int]:
        """Return the promised files that are, or are said to be, on what goes or is reached."""
        return set().union(*(holding.at_stake() for holding in (*self.holdings.values(), *self.beside.values())))

    def proven(self, number: int) -> frozenset[str]:
        """Return the other copies that are proven to hold a promised file."""
        return frozenset(id_ for id_, source in self.sources.items() if number in source.contents.proofs)

    def is_enough(self, number: int, proven: AbstractSet[str]) -> bool:
        """Say whether these copies are enough for the targets of a file's shoot."""
        target = self.targets[self.promises.shoots[number]].further_failures
        key = target, frozenset(proven)
        if key not in self._enough:
            self._enough[key] = is_enough(proven, target, self.events)
        return self._enough[key]

    def sizes(self, numbers: Iterable[int]) -> dict[int, int]:
        """Return the sizes of promised files, by the promise or by any reading."""
        every = [h.contents for h in self.holdings.values()] + [s.contents for s in self.sources.values()]
        found: dict[int, int] = {}
        for number in numbers:
            size = self.promises.files[number].size
            for contents in every if size is None else ():
                first = next(iter(contents.holding.get(number, ())), None)
                if first is not None and (shown := contents.shown.get((first.path, first.index))) is not None:
                    size = shown.size
                    break
            if size is not None:
                found[number] = size
        return found

    def would_help(self) -> dict[str, int]:
        """Return, for copies that are not here, how many of the unproven files each is said to hold."""
        unproven = [number for number in self.at_stake() if not self.is_enough(number, self.proven(number))]
        counts = {
            id_: sum(source.is_said_to_hold(number) for number in unproven)
            for id_, source in self.sources.items()
            if source.contents.found.state is State.AWAY
        }
        return {id_: count for id_, count in counts.items() if count}

    def vanished(self) -> str:
        """Say which copies went away while they were read; nothing where none did, or it was a server."""
        parts = [h.contents for h in self.holdings.values()] + [s.contents for s in self.sources.values()]
        gone = [part.id for part in parts if part.vanished is not None and part.found.copy.url is None]
        return f"{' and '.join(gone)} vanished while being read" if gone else ""
