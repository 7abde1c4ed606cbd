"""A rehearsal: a studio opened once, in which one exercise after the other is drilled, with reads that they share.

Flows in: a studio, scenarios, options; exercises, in any order. Flows out: a record for each, and what the run came
across. Its folder in scratch is removed whatever happens. Must not know: terminals, whole runs.
"""

import shutil
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from drill import units
from drill.copies import LinkSession
from drill.coverage import kinds_of
from drill.errors import Unfinished
from drill.faults.worst import worst_sector
from drill.ledger import Ledger
from drill.manifests import suffix, write_list
from drill.measured import with_measured_rates
from drill.model import Entry, Hazard, ProofAges, Scenario, Shoot, Studio
from drill.record import Drill, Mend
from drill.rehearse.bench import Case
from drill.rehearse.drill import Facts, drill
from drill.rehearse.exercises import Exercise
from drill.rehearse.findings import Wanting, by_lists, wanting_files
from drill.rehearse.holdings import Claims, Holdings
from drill.rehearse.links import set_bench
from drill.rehearse.memory import Memory
from drill.rehearse.mending import Mending
from drill.rehearse.opening import Headers, asking_order, open_studio
from drill.rehearse.parts import Parts
from drill.rehearse.reads import Read, Reads, place
from drill.rehearse.settle import Sizes, bytes_needed, settle, size_of
from drill.rehearse.spot import Costs, choose
from drill.rehearse.stage import Stage, set_stage
from drill.sampling import Spot
from drill.score import Outcome
from drill.shelf import OpenCopy, State, fresh_folder
from drill.timing import rate_bps

_FLUSHERS = 4


@dataclass(frozen=True, slots=True)
class Options:
    """How to run: the seed, the moment that counts as now, which shoots, whether restored files are kept, and whether
    only some of the files are restored. What the ledger knows is used, and what is read is noted there; None: neither.
    `headers` is the folder where archives' headers are kept and found again; None: neither.
    """

    seed: int
    now: datetime
    shoots: tuple[str, ...] = ()
    keep: bool = False
    ledger: Ledger | None = None
    headers: Path | None = None
    spot: Spot | None = None
    progress: Callable[[str], None] = lambda text: None


class Rehearsal:
    """Where exercises are drilled: a folder, the opened copies, what was read, the stages.

    As a context it opens every copy and removes its folder at the end. `scenarios` and `shoots` are those that
    exercises may be of; exercises of one shoot after the other cost least. `notes` are for people.
    """

    def __init__(
        self, studio: Studio, scenarios: Sequence[Scenario], options: Options, shoots: Sequence[Shoot]
    ) -> None:
        """Get ready. Errors: Mistakes (the ledger), Unfinished."""
        self.studio, self._said = with_measured_rates(studio, options.ledger)
        self.options, self.shoots = options, shoots
        self._seeks_worst = any(hazard.sectors == "worst" for one in scenarios for hazard in one.hazards)
        self.notes: list[str] = []
        self.session = LinkSession()
        self.copies: dict[str, OpenCopy] = {}
        self.sizes = Sizes()
        self.worst: dict[tuple[str, int, tuple[str, ...] | None], tuple[str, int] | None] = {}
        self.worth: dict[str, Counter[tuple[str, int]]] = {}
        self.stages: dict[tuple[str, str | None], Stage] = {}
        self.wanting: Wanting = {}
        self.mending = Mending()
        self.memory = Memory(options.ledger, self.studio.shoots, now=options.now)
        self.tried: dict[str, frozenset[str]] = {}  # of a spot check: by shoot, the promised paths to restore
        self._known_claims: tuple[tuple[str, int], list[Claims]] = (("", -1), [])
        self.headers = Headers(options.headers, now=options.now)
        self.flusher: ThreadPoolExecutor
        self.folder: Path
        self.reads: Reads
        self.parts: Parts
        self.holdings = Holdings({}, ())
        self._shoot: Shoot | None = None  # whose exercises are on
        self._done: list[tuple[Exercise, Facts]] = []  # … and what they found
        self._closing = ExitStack()

    def __enter__(self) -> Self:
        """Open every copy. Errors: Unfinished, Mistakes (the ledger)."""
        with ExitStack() as closing:
            self.folder = closing.enter_context(fresh_folder(self.studio.scratch, keep=self.options.keep))
            self.flusher = ThreadPoolExecutor(_FLUSHERS, thread_name_prefix="flush")
            closing.callback(self._close)
            self._open()
            self._closing = closing.pop_all()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Stop the flushing threads and remove the folder, unless its files are to be kept."""
        self._closing.close()

    def _open(self) -> None:
        """Open every copy, and read once what no promised name matches on copies without a list."""
        opened = open_studio(
            self.studio,
            session=self.session,
            downloads=self.folder / ".downloads",
            reading=self.folder / ".reading",
            flusher=self.flusher,
            memory=self.memory,
            headers=self.headers,
            progress=self.options.progress,
            keep=self.options.keep,
        )
        self.copies, self.sizes, self.holdings = opened.copies, opened.sizes, opened.holdings
        self.reads, self.parts = opened.reads, opened.parts
        self.reads.on_read = self._learn
        # A spot check reads such files only before something would count as lost.
        for id_, entries in self.holdings.strays().items() if self.options.spot is None else ():
            self.options.progress(f"reading {len(entries)} files on {id_} that no promised name matches")
            self.reads.fetch(self.copies[id_], None, entries)
        self.reads.forget_files()
        self._choose(self.shoots)
        if self._seeks_worst:
            self.worth = self._worth()  # now: what exercises teach must not decide where the worst sector is
        self.notes += [*self.holdings.notes(), *_assumed_rates(self.studio), *self._said]
        self.notes += [f"the restored files were left in {self.folder}"] if self.options.keep else []

    def _choose(self, shoots: Sequence[Shoot]) -> None:
        spot = self.options.spot
        if spot is not None:
            media = {id_: found.medium for id_, found in self.copies.items() if found.state is State.HERE}
            self.tried = choose(
                spot,
                shoots,
                size_of=lambda file, claims: size_of(Case(file, claims), self.sizes),
                claims_of=self.holdings.claims,
                costs=Costs(media, self.studio.buses),
                proven=self.memory.proven,
                seed=self.options.seed,
                now=self.options.now,
            )

    def _close(self) -> None:
        self.flusher.shutdown(wait=True)  # what is queued holds open files and is soon done
        self.session.close()
        for name in (".reading", ".downloads"):
            shutil.rmtree(self.folder / name, ignore_errors=True)

    def ages(self, shoots: Sequence[Shoot], *, anew: bool) -> list[ProofAges]:
        """Return how old the proofs are on every copy; nothing without a ledger. Asked `anew` the ledger tells of what
        was read here too, else as it stood when the copies were opened."""
        if self.options.ledger is None:
            return []
        if anew:
            self.memory.look_up(self.copies)
        found = []
        for shoot in shoots:
            claims = [self.holdings.claims(file) for file in shoot.promise]
            rows = tuple(self.memory.ages(self.copies, shoot, claims))
            found.append(ProofAges(shoot.id, shoot.targets.verified_within_s, rows))
        return found

    def wrong_today(self) -> tuple[Wanting, tuple[Mend, ...]]:
        """Return what is wrong on the copies without any scenario, as far as they were read, and which copies that is,
        each with who could give it anew. The shoot at hand ends with it."""
        self._end_shoot()
        listed = by_lists(self.studio.copies, self.shoots)
        mends = self.mending.mends(self.copies, [id_ for id_, _ in listed if id_ in self.copies])
        return listed | self.wanting, mends

    def drill(self, exercise: Exercise) -> Drill:
        """Drill one exercise; return its record, with the sizes that are known by now. Errors: Unfinished."""
        self.play(exercise)
        return self._settle(*self._done[-1])

    def play(self, exercise: Exercise) -> None:
        """Drill one exercise; its record comes with those of its shoot, when that is left. Errors: Unfinished."""
        if exercise.shoot is not self._shoot:
            self._end_shoot()
            self.parts.forget()
            self.reads.forget_files()
            self._check_room(exercise.shoot)
            self._shoot = exercise.shoot
        stage = self.stage(exercise)
        self.options.progress(f"{exercise.shoot.id}: {stage.name}")
        facts = self._drill(exercise.shoot, stage)
        self.sizes.learn(facts)
        self._done.append((exercise, facts))
        if self.options.keep:
            self.notes.extend(_keep(facts, exercise.shoot, self.folder))

    def leave(self) -> list[tuple[Exercise, Drill]]:
        """End with the shoot at hand; return the records of its exercises, with every size that became known."""
        done = self._done
        self._end_shoot()
        return [(exercise, self._settle(exercise, facts)) for exercise, facts in done]

    def _end_shoot(self) -> None:
        shoot = self._shoot
        self._done, self._shoot = [], None
        if shoot is not None:
            self._note_wanting(shoot)

    def _settle(self, exercise: Exercise, facts: Facts) -> Drill:
        options = self.options
        return settle(facts, exercise.shoot, self.studio, sizes=self.sizes, now=options.now, spot=options.spot)

    def _note_wanting(self, shoot: Shoot) -> None:
        def is_here(id_: str) -> bool:
            return self.copies[id_].state is State.HERE

        files = [(case.file, case.claims) for case in self._cases(shoot)]
        as_found = self.reads.as_found
        found = wanting_files(files, read_of=as_found, is_here=is_here, promised=self.holdings.promised)
        self.mending.note(files, found, read_of=as_found, is_here=is_here)
        self.wanting |= found

    def _drill(self, shoot: Shoot, stage: Stage) -> Facts:
        cases = self._cases(shoot)
        bench = set_bench(
            stage,
            cases,
            copies=self.copies,
            reads=self.reads,
            session=self.session,
            promised=self.holdings.promised,
            parts=self.parts,
            kept_of=self.headers.of,
        )
        order = asking_order(cases, stage, copies=self.copies, sizes=self.sizes, buses=self.studio.buses)
        return drill(shoot, cases, order, bench=bench, holdings=self.holdings)

    def _cases(self, shoot: Shoot) -> list[Case]:
        key = (shoot.id, self.holdings.version)
        if self._known_claims[0] != key:
            self._known_claims = (key, [self.holdings.claims(file) for file in shoot.promise])
        pairs = zip(shoot.promise, self._known_claims[1], strict=True)
        if self.options.spot is None:
            return [Case(file, claims) for file, claims in pairs]
        tried = self.tried[shoot.id]
        return [Case(file, claims, left_out=file.path not in tried) for file, claims in pairs]

    def stage(self, exercise: Exercise) -> Stage:
        """Return all copies under an exercise's scenario; they are laid out once for all shoots. Errors: Unfinished."""
        key = exercise.scenario.name, exercise.variant
        if key not in self.stages:
            self.stages[key] = set_stage(
                self.studio,
                exercise.scenario,
                exercise.variant,
                copies=self.copies,
                seed=self.options.seed,
                worst=self._worst,
            )
        return self.stages[key]

    def _worst(self, found: OpenCopy, hazard: Hazard) -> tuple[str, int] | None:
        key = (found.copy.id, hazard.sector_size, hazard.files)
        if key not in self.worst:
            self.options.progress(f"looking for the worst sector of {found.copy.id}")
            worth = self.worth[found.copy.id]
            self.worst[key] = worst_sector(
                found,
                worth=lambda e: worth[e.path, e.index],
                sector_size=hazard.sector_size,
                files=hazard.files,
                kept=next(iter(self.headers.of(found.copy.id)), None),
            )
        return self.worst[key]

    def _worth(self) -> dict[str, Counter[tuple[str, int]]]:
        """Count, for each file of each copy, the promised files of all shoots that it stands for."""
        worth: dict[str, Counter[tuple[str, int]]] = {id_: Counter() for id_ in self.copies}
        for shoot in self.studio.shoots:
            for file in shoot.promise:
                for id_, claims in self.holdings.claims(file).items():
                    best = next((claim.entry for claim in claims if claim.entry), None)
                    if best is not None:
                        worth[id_][best.path, best.index] += 1
        return worth

    def _check_room(self, shoot: Shoot) -> None:
        needed = bytes_needed(self._cases(shoot), self.sizes)
        try:
            free = shutil.disk_usage(self.folder).free
        except OSError as error:
            raise Unfinished(f"scratch vanished during the run: {error.strerror}") from None
        if needed > free:
            raise Unfinished(
                f"{shoot.id} needs {units.say_size(needed)} in scratch and {units.say_size(free)} are free there; "
                "set scratch to a folder on a disk with room"
            )

    def _learn(self, found: OpenCopy, entry: Entry, read: Read) -> None:
        self.holdings.learn(found, entry, read.finding.digests if read.finding else ())
        self.memory.note(found, entry, read)


def _assumed_rates(studio: Studio) -> list[str]:
    used = {copy.on for copy in studio.copies}
    assumed = [
        f"{medium.id} {units.say_size(round(rate_bps(medium, studio.buses)))}/s"
        for medium in studio.media.values()
        if medium.id in used and medium.reads_at_bps is None
    ]
    if not assumed:
        return []
    return [f"restore times assume usual rates for: {', '.join(assumed)} (set reads_at to what you measure)"]


def _keep(facts: Facts, shoot: Shoot, folder: Path) -> list[str]:
    """Lay out what a drill verified under its promised paths, beside the promise as checksum lists; return notes."""
    home = folder / facts.stage.name
    notes = []
    listed_files = [case.file for case in facts.cases if not case.left_out or case.outcome is Outcome.VERIFIED]
    for case in facts.cases:
        if case.outcome is Outcome.VERIFIED and case.read is not None:
            why = place(case.read, home / shoot.id / case.file.path)
            if why:
                notes.append(f"{facts.stage.name}: {case.file.path} came back and could not be kept: {why}")
    try:
        (home / shoot.id).mkdir(parents=True, exist_ok=True)
        for kind in sorted(kinds_of(listed_files)):
            listed = ((d, f"{shoot.id}/{file.path}") for file in listed_files for d in file.digests if d.kind == kind)
            write_list(home / f"{shoot.id}{suffix(kind)}", listed)
    except OSError as error:
        raise Unfinished(f"{home} cannot be written: {error.strerror}") from error
    return notes
