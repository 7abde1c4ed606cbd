"""Where a recovery takes place: the copies that are left, what was read of them, the folder that files come back to.

Flows in: a studio, shoots, what is lost. Flows out: files in the folder, and of each shoot what is missing and why. The
same opening, plan, restore and judge as a drill's. Must not know: the record as a whole, terminals.
"""

import shutil
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from drill.copies import LinkSession
from drill.coverage import ListIndex
from drill.errors import NoRoom
from drill.ledger import Ledger
from drill.model import Entry, Promised, Scenario, Shoot, Studio
from drill.recover.lists import write_lists
from drill.recover.meter import Meter
from drill.recover.names import flush_names
from drill.recover.parts import keep_in_part
from drill.recover.standing import verify_standing
from drill.recover.waiting import Waiting, Wanted
from drill.recover.ways import missing
from drill.recoverrecord import InPart, Missing
from drill.rehearse.bench import Bench, Case
from drill.rehearse.drill import bring_back, whys
from drill.rehearse.holdings import Holdings
from drill.rehearse.links import set_bench
from drill.rehearse.memory import Memory
from drill.rehearse.opening import Headers, asking_order, open_studio
from drill.rehearse.parts import Parts
from drill.rehearse.reads import Read, Reads
from drill.rehearse.settle import Sizes, bytes_needed, size_of
from drill.rehearse.stage import Stage, set_stage
from drill.shelf import OpenCopy, State
from drill.verify import Finding

_FLUSHERS = 4


@dataclass(frozen=True, slots=True)
class Options:
    """How to recover: what is lost (as `lost_named` returns it), which classes come first, the moment that counts as
    now. What is read is noted in the ledger; None: neither read nor written. `headers` is the folder where archives'
    headers are kept and found again; None: neither."""

    lost: tuple[str, ...]
    now: datetime
    first: tuple[str, ...] = ()
    ledger: Ledger | None = None
    headers: Path | None = None
    progress: Callable[[str], None] = lambda text: None


@dataclass(slots=True)
class Told:
    """What is known of one shoot so far: whether what stands in the folder was read, what of it is not right, what is
    missing, its lists, for how much of it there is no room."""

    is_read: bool = False
    missing: dict[int, Missing] = field(default_factory=dict)  # by the file's number in the promise
    in_parts: dict[int, InPart] = field(default_factory=dict)  # likewise
    lists: tuple[str, ...] = ()
    wrong: tuple[Path, ...] = ()  # what stands under promised names and has other bytes
    is_full: bool = False  # it filled the disk, though its size was not known before
    needs: int | None = None  # bytes for which there was no room in the end; 0 where nobody knows how many


class Site:
    """Where a recovery takes place: the copies that are left, what was read of them, the folder."""

    def __init__(self, studio: Studio, waiting: Waiting, options: Options, session: LinkSession) -> None:
        self.studio, self.home, self.waiting = studio, waiting.home, waiting
        self.options, self.session = options, session
        self.memory = Memory(options.ledger, studio.shoots, now=options.now)
        self.flusher = ThreadPoolExecutor(_FLUSHERS, thread_name_prefix="flush")
        self.copies: dict[str, OpenCopy] = {}
        self.refusing: dict[str, ListIndex] = {}
        self.meter: Meter | None = None
        self.now_at = ""
        self.sizes: Sizes
        self.stage: Stage
        self.holdings: Holdings
        self.headers = Headers(options.headers, now=options.now)
        self.reads: Reads
        self.parts: Parts

    def open(self, scenario: Scenario, lost: set[str], downloads: Path) -> None:
        """Open every copy that is left; of the lost ones only what their lists say, or the ledger, is known."""
        opened = open_studio(
            self.studio,
            session=self.session,
            downloads=downloads,
            reading=self.home.work / "reading",
            flusher=self.flusher,
            memory=self.memory,
            headers=self.headers,
            progress=self.options.progress,
            lost=lost,
        )
        self.copies, self.sizes, self.holdings = opened.copies, opened.sizes, opened.holdings
        self.reads, self.parts = opened.reads, opened.parts
        self.reads.on_read, self.reads.take = self._learn, self._take
        self.refusing = dict(self._lists_of_refusing())
        self.stage = set_stage(
            self.studio, scenario, None, copies=self.copies, seed=0, worst=lambda found, hazard: None
        )

    def close(self) -> None:
        """Stop the flushing threads."""
        self.flusher.shutdown(wait=True)

    def notes(self, lost: set[str]) -> list[str]:
        """Say which copies that should be left give nothing, and of which lost ones nobody knows what was on them."""
        about = {id_: self._about(found, id_ in lost) for id_, found in self.copies.items()}
        said = [f"{id_} {words}" for id_, words in about.items() if words]
        for id_, found in self.copies.items():
            said += [f"{id_}: {folder} could not be listed" for folder in found.unlisted]
        return said

    def when(self, file: Promised) -> datetime | None:
        """Return the time of change that the copies give a file, as far as a name leads to it."""
        claimed = (claim.entry for found in self.holdings.claims(file).values() for claim in found)
        return next((entry.modified for entry in claimed if entry is not None and entry.modified is not None), None)

    @staticmethod
    def _about(found: OpenCopy, is_lost: bool) -> str:
        if is_lost:
            unknown = "is lost, has no list, and no earlier run read it: what was on it is not known"
            if found.named:
                files = "1 file" if found.named == 1 else f"{found.named} files"
                unknown = f"is lost, has no list, and was never read: its kept headers name {files} in it, unproved"
            return "" if found.copy.listed is not None else unknown
        how = {State.AWAY: "cannot be reached now", State.REFUSES: "gives nothing", State.HERE: "is damaged"}
        return f"{how[found.state]}: {found.reason}" if found.reason else ""

    def bring(self, shoot: Shoot, files: Sequence[Promised], told: Told, *, search: bool) -> None:
        """Bring back some of a shoot's files, as far as they are not back. Errors: Unfinished.

        With `search` also those that no name leads to, or that have to be salvaged; what is missing then is told.
        """
        everything = self.waiting.files[shoot.id]
        if not told.is_read:
            told.wrong = self._read_standing(shoot, everything)
            told.is_read = True
        asked = {file.path: number for number, file in enumerate(files)}
        left = [wanted for wanted in everything if wanted.put is None and wanted.file.path in asked]
        left.sort(key=lambda wanted: asked[wanted.file.path])
        if left:
            self._restore_if_it_fits(shoot, left, told, search=search)
        told.lists = write_lists(self.home, shoot.id, everything)
        flush_names(self.home.made)

    def _read_standing(self, shoot: Shoot, files: Sequence[Wanted]) -> tuple[Path, ...]:
        self.options.progress(f"{shoot.id}: looking at what is there already")
        meter = Meter(self.options.progress, files=len(files), bytes_=self._size_of(files))

        def say(size: int) -> None:
            meter.add(size, what=f"{shoot.id}, there already")
            if self.meter is not None:
                self.meter.drop(size)

        return tuple(verify_standing(self.waiting, files, say=say))

    def _restore_if_it_fits(self, shoot: Shoot, left: Sequence[Wanted], told: Told, *, search: bool) -> None:
        """Restore, or note that there is no room: another shoot may have it. Errors: Unfinished."""
        cases = [Case(wanted.file, self.holdings.claims(wanted.file)) for wanted in left]
        needed = bytes_needed(cases, self.sizes)
        with self.home.disk():
            fits = needed <= shutil.disk_usage(self.home.into).free
        if told.is_full or not fits:
            told.needs = (told.needs or 0) + needed if search else told.needs
            return
        try:
            self._restore(shoot, left, cases, told, search=search)
        except NoRoom as error:  # nobody knew its size
            if not error.is_full:
                raise
            told.is_full, told.needs = True, (told.needs or 0) if search else told.needs
            self._clear_way()

    def _clear_way(self) -> None:
        """Wait for what is being judged, and remove what was cut short by a full disk."""
        self.flusher.shutdown(wait=True)
        self.flusher = self.reads.flusher = ThreadPoolExecutor(_FLUSHERS, thread_name_prefix="flush")
        self.parts.forget()
        with self.home.disk():
            for path in [*self.reads.folder.iterdir()]:
                path.unlink(missing_ok=True)

    def _restore(
        self, shoot: Shoot, left: Sequence[Wanted], cases: Sequence[Case], told: Told, *, search: bool
    ) -> None:
        if self.meter is None:
            waiting = [wanted for wanted in self.waiting.all() if wanted.put is None]
            self.meter = Meter(self.options.progress, files=len(waiting), bytes_=self._size_of(waiting))
        self.now_at = shoot.id
        bench = set_bench(
            self.stage,
            cases,
            copies=self.copies,
            reads=self.reads,
            session=self.session,
            promised=self.holdings.promised,
            parts=self.parts,
            kept_of=self.headers.of,
        )
        files = {id(case): wanted for wanted, case in zip(left, cases, strict=True)}
        bench.keeps_parts = True
        bench.give_up = lambda case: self._keep_in_part(files[id(case)], case, told)
        order = asking_order(cases, self.stage, copies=self.copies, sizes=self.sizes, buses=self.studio.buses)
        bring_back(cases, order, bench=bench, holdings=self.holdings, search=search)
        self.parts.forget()
        if search:
            self._tell(shoot, [*zip(left, cases, strict=True)], told, bench)

    def _tell(self, shoot: Shoot, tried: Sequence[tuple[Wanted, Case]], told: Told, bench: Bench) -> None:
        """Note what is missing after everything was tried, and what was put together from several copies."""
        reasons = whys([case for _, case in tried], bench)
        for number, (wanted, case) in enumerate(tried):
            if wanted.put is not None and not wanted.put.was_there and case.stitched:
                wanted.sources = case.stitched
            if wanted.put is None:
                why = reasons.get(number, "it was read and not kept: a fault of this program")
                told.missing[wanted.number] = missing(case, why, shoot, bench=bench, refusing=self.refusing)

    def _keep_in_part(self, wanted: Wanted, case: Case, told: Told) -> None:
        """Keep the best version of a file that did not come back; others may still be put together from what it is."""
        with self.home.disk():
            kept = keep_in_part(self.home, wanted, case.versions, size=size_of(case, self.sizes))
        told.in_parts[wanted.number] = kept

    def _size_of(self, files: Sequence[Wanted]) -> int:
        return sum(size_of(Case(w.file, self.holdings.claims(w.file)), self.sizes) or 0 for w in files)

    def _take(self, found: OpenCopy, entry: Entry, path: Path, finding: Finding) -> bool:
        taken = self.waiting.take(found, entry, path, finding)
        if taken and self.meter is not None:
            self.meter.add(finding.size, what=self.now_at)
        return taken

    def _learn(self, found: OpenCopy, entry: Entry, read: Read) -> None:
        self.holdings.learn(found, entry, read.finding.digests if read.finding else ())
        self.memory.note(found, entry, read)

    def _lists_of_refusing(self) -> Iterator[tuple[str, ListIndex]]:
        for id_, found in self.copies.items():
            if found.state is State.REFUSES:
                listed = self.memory.with_remembered(replace(found, state=State.AWAY)).copy.listed
                if listed:
                    yield id_, ListIndex(listed, None)
