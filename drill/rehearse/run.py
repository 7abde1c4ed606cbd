"""The whole run: every shoot under every scenario, one shoot at a time.

Flows in: a studio, scenarios, options. Flows out: the record, complete or as far as it got. Scratch is cleaned whatever
happens. Must not know: terminals.
"""

import shutil
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from drill import clock, units
from drill.copies import LinkSession
from drill.coverage import kinds_of
from drill.errors import Mistake, Mistakes, Unfinished
from drill.faults import applies, variants
from drill.faults.worst import worst_sector
from drill.ledger import Ledger
from drill.manifests import suffix, write_list
from drill.measured import with_measured_rates
from drill.model import Entry, Hazard, ProofAges, Scenario, Shoot, Studio
from drill.record import Drill, Mend, Run
from drill.rehearse.bench import Case
from drill.rehearse.drill import Facts, drill
from drill.rehearse.findings import Wanting, by_lists, say_wanting, wanting_files
from drill.rehearse.holdings import Claims, Holdings
from drill.rehearse.links import set_bench
from drill.rehearse.memory import Memory
from drill.rehearse.mending import Mending
from drill.rehearse.opening import Headers, asking_order, open_studio
from drill.rehearse.parts import Parts
from drill.rehearse.reads import Read, Reads, place
from drill.rehearse.settle import Sizes, bytes_needed, settle, size_of
from drill.rehearse.spot import Costs, choose
from drill.rehearse.stage import Stage, folder_name, set_stage
from drill.sampling import Spot
from drill.score import Outcome
from drill.shelf import OpenCopy, State, fresh_folder
from drill.studio import shoots_named
from drill.tables import repeated
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


def rehearse(studio: Studio, scenarios: Sequence[Scenario], options: Options) -> Run:
    """Drill the studio. Errors: Mistakes, before anything is written; what stops it later is in the record."""
    started = clock.now()
    studio, said = with_measured_rates(studio, options.ledger)
    chosen = shoots_named(studio, options.shoots)
    fitting = [scenario for scenario in scenarios if applies(scenario, studio)]
    if not fitting:
        what = "no scenario hits anything in this studio: " + ", ".join(s.name for s in scenarios)
        raise Mistakes([Mistake(str(studio.file), "--scenario", what, "name others, or add the media they are about")])
    _check_names(fitting, studio)
    drills: list[tuple[int, int, Drill]] = []
    unfinished: str | None = None
    notes: list[str] = []
    findings: list[str] = []
    mends: tuple[Mend, ...] = ()
    ages: list[ProofAges] = []
    try:
        with fresh_folder(studio.scratch, keep=options.keep) as folder:
            hall = _Hall(studio, fitting, options, folder)
            try:
                hall.open(notes, chosen)
                notes.extend(said)
                notes.extend([f"the restored files were left in {folder}"] if options.keep else [])
                for number, shoot in enumerate(chosen):
                    hall.drill_shoot(shoot, number, drills, notes)
            finally:
                notes.extend(hall.headers.warnings)
                listed = by_lists(studio.copies, chosen)
                findings = say_wanting(listed | hall.wanting)
                mends = hall.mending.mends(hall.copies, [id_ for id_, _ in listed if id_ in hall.copies])
                ages = hall.ages(chosen)
                hall.close()
    except KeyboardInterrupt:
        unfinished = "interrupted"
    except Unfinished as error:
        unfinished = str(error)
    return Run(
        studio=studio.name,
        started=clock.rfc3339(started),
        now=clock.rfc3339(options.now),
        seed=options.seed,
        complete=unfinished is None,
        not_applicable=tuple(s.name for s in scenarios if s not in fitting),
        drills=tuple(record for _, _, record in sorted(drills, key=lambda item: item[:2])),
        titles={scenario.name: scenario.title for scenario in scenarios},
        findings=tuple(findings),
        mends=mends,
        notes=tuple(notes),
        ages=tuple(ages),
        unfinished=unfinished,
    )


def _check_names(scenarios: Sequence[Scenario], studio: Studio) -> None:
    """Refuse two drills whose kept files would lie in one folder: x--m beside x with variant m. Errors: Mistakes."""
    names = [folder_name(s.name, variant) for s in scenarios for variant in variants(s, studio)]
    same = repeated(names)
    if same:
        raise Mistakes(
            [Mistake("--scenario", name, "is the name of two drills", "rename one scenario") for name in same]
        )


class _Hall:
    """Where a run takes place: its folder, the opened copies, what was read, the stages."""

    def __init__(self, studio: Studio, scenarios: Sequence[Scenario], options: Options, folder: Path) -> None:
        self.studio, self.scenarios, self.options, self.folder = studio, scenarios, options, folder
        self.session = LinkSession()
        self.flusher = ThreadPoolExecutor(_FLUSHERS, thread_name_prefix="flush")
        self.copies: dict[str, OpenCopy] = {}
        self.sizes = Sizes()
        self.worst: dict[tuple[str, int, tuple[str, ...] | None], tuple[str, int] | None] = {}
        self.worth: dict[str, Counter[tuple[str, int]]] = {}
        self.stages: list[Stage] = []
        self.wanting: Wanting = {}
        self.mending = Mending()
        self.memory = Memory(options.ledger, studio.shoots, now=options.now)
        self.tried: dict[str, frozenset[str]] = {}  # of a spot check: by shoot, the promised paths to restore
        self._known_claims: tuple[tuple[str, int], list[Claims]] = (("", -1), [])
        self.headers = Headers(options.headers, now=options.now)
        self.reads: Reads
        self.parts: Parts
        self.holdings = Holdings({}, ())

    def open(self, notes: list[str], shoots: Sequence[Shoot]) -> None:
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
        self._choose(shoots)
        notes.extend(self.holdings.notes())
        notes.extend(_assumed_rates(self.studio))

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

    def close(self) -> None:
        """Stop the flushing threads and remove what lay in the reading folder."""
        self.flusher.shutdown(wait=True)  # what is queued holds open files and is soon done
        self.session.close()
        for name in (".reading", ".downloads"):
            shutil.rmtree(self.folder / name, ignore_errors=True)

    def ages(self, shoots: Sequence[Shoot]) -> list[ProofAges]:
        """Return how old the proofs are on every copy, this run's own among them; nothing without a ledger."""
        if self.options.ledger is None:
            return []
        self.memory.look_up(self.copies)
        found = []
        for shoot in shoots:
            claims = [self.holdings.claims(file) for file in shoot.promise]
            rows = tuple(self.memory.ages(self.copies, shoot, claims))
            found.append(ProofAges(shoot.id, shoot.targets.verified_within_s, rows))
        return found

    def drill_shoot(self, shoot: Shoot, number: int, drills: list[tuple[int, int, Drill]], notes: list[str]) -> None:
        """Run every stage for one shoot; records (stage, shoot, drill) are added even when a later one fails."""
        if not self.stages:
            self._set_stages()
        done: list[tuple[int, Facts]] = []
        self._check_room(shoot)
        try:
            for at, stage in enumerate(self.stages):
                self.options.progress(f"{shoot.id}: {stage.name}")
                facts = self._drill(shoot, stage)
                self.sizes.learn(facts)
                done.append((at, facts))
                if self.options.keep:
                    notes.extend(_keep(facts, shoot, self.folder))
        finally:
            for at, facts in done:
                record = settle(
                    facts, shoot, self.studio, sizes=self.sizes, now=self.options.now, spot=self.options.spot
                )
                drills.append((at, number, record))
            self._note_wanting(shoot)
        self.parts.forget()
        self.reads.forget_files()

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

    def _set_stages(self) -> None:
        for scenario in self.scenarios:
            for variant in variants(scenario, self.studio):
                self.stages.append(
                    set_stage(
                        self.studio,
                        scenario,
                        variant,
                        copies=self.copies,
                        seed=self.options.seed,
                        worst=self._worst,
                    )
                )

    def _worst(self, found: OpenCopy, hazard: Hazard) -> tuple[str, int] | None:
        key = (found.copy.id, hazard.sector_size, hazard.files)
        if key not in self.worst:
            self.options.progress(f"looking for the worst sector of {found.copy.id}")
            worth = self._worth(found.copy.id)
            self.worst[key] = worst_sector(
                found,
                worth=lambda e: worth[e.path, e.index],
                sector_size=hazard.sector_size,
                files=hazard.files,
                kept=next(iter(self.headers.of(found.copy.id)), None),
            )
        return self.worst[key]

    def _worth(self, id_: str) -> Counter[tuple[str, int]]:
        """Count, for each file of a copy, the promised files of all shoots that it stands for."""
        if not self.worth:
            self.worth = {other: Counter() for other in self.copies}
            for shoot in self.studio.shoots:
                for file in shoot.promise:
                    for other, claims in self.holdings.claims(file).items():
                        best = next((claim.entry for claim in claims if claim.entry), None)
                        if best is not None:
                            self.worth[other][best.path, best.index] += 1
        return self.worth[id_]

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
