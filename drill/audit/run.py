"""The whole audit: open, choose, read, judge, remember.

Flows in: a studio, the ledger, options. Flows out: the record, complete or as far as it got. Copies are only read; the
one thing written besides the ledger is an archive behind a link, in a folder of the run's own, removed at the end.
Must not know: terminals.
"""

import math
from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from drill import clock
from drill.audit.choose import Choice, Choosing, Limits, choose
from drill.audit.disagree import Means, compare_all, in_doubt
from drill.audit.judge import Judged, having
from drill.audit.looks import Looks, look_into
from drill.audit.past import CutShort, Past, Proof, Proofs, carried_on, cut_short, measured_rate
from drill.audit.promises import Promises
from drill.audit.reads import Reads, TimeUp, rates_of, say_continued
from drill.audit.results import Found, copy_results, judge_all
from drill.audit.scope import Scope, listed_scope, setting_apart, unlisted_scope
from drill.audit.shown import Key
from drill.auditrecord import Audit, CopyResult, Disagreement
from drill.copies import LinkSession
from drill.coverage import other_bytes
from drill.errors import Unfinished
from drill.insurance import is_kept
from drill.ledger import AuditedCopy, Ledger
from drill.model import Copy, Digest, Entry, Medium, OtherBytes, Problem, Seen, Shoot, Studio, Trouble
from drill.places import named_inside
from drill.reading import JobKey, note_listing, root_of
from drill.shelf import OpenCopy, State, open_copy, room_for_downloads
from drill.soundness import checking
from drill.studio import copies_named, shoots_named
from drill.timing import Load, transfer_s

_GOES_ON = "; what was read is kept in the ledger, and the same command goes on from there"
_LOOK_CUT = "the budget was used up before every file without a digest was looked into"


@dataclass(frozen=True, slots=True)
class Options:
    """How to audit: the moment that counts as now, which copies and shoots (all where none is named), how much.

    Without a seed, that of an audit that was cut short is used again, else `new_seed`. `afresh` reads everything again;
    `look` decodes the files of which no digest is known. `headers` is the folder where archives' headers are kept, if
    any are.
    """

    now: datetime
    new_seed: int
    seed: int | None = None
    copies: tuple[str, ...] = ()
    shoots: tuple[str, ...] = ()
    limits: Limits = field(default_factory=Limits)
    afresh: bool = False
    look: bool = False
    headers: Path | None = None
    progress: Callable[[str], None] = lambda text: None


def audit(studio: Studio, ledger: Ledger, options: Options) -> Audit:
    """Audit the studio's copies. Errors: Mistakes for unknown ids; what stops it later is in the record."""
    copies, shoots = copies_named(studio, options.copies), shoots_named(studio, options.shoots)
    earlier = None if options.afresh else cut_short(ledger, now=options.now)
    seed = options.seed if options.seed is not None else earlier.seed if earlier else None
    seed = options.new_seed if seed is None else seed
    started = clock.now()
    run = ledger.begin_run("audit", now=options.now, seed=seed, shoots=options.shoots)
    desk = _Desk(studio, ledger, options, copies=copies, shoots=shoots, seed=seed)
    unfinished: str | None = None
    with room_for_downloads(copies, studio.scratch) as folder, LinkSession() as session:
        try:
            desk.open(session, folder)
            desk.read(earlier)
            unfinished = desk.vanished()
            if options.look:
                desk.look()
            if unfinished is None:
                desk.compare()
        except KeyboardInterrupt:
            unfinished = f"interrupted{_GOES_ON if ledger.path else ''}"
        except Unfinished as error:
            unfinished = str(error)
        results = desk.results()
    record = Audit(
        studio=studio.name,
        started=clock.rfc3339(started),
        now=clock.rfc3339(options.now),
        seed=seed,
        complete=unfinished is None,
        copies=tuple(results),
        named=options.copies,
        limit=options.limits.words,
        notes=tuple(desk.notes),
        unfinished=unfinished,
        disagreements=tuple(desk.disagreements),
    )
    try:
        _remember(ledger, run, record, desk)
    except Unfinished as error:
        record = replace(record, complete=False, unfinished=record.unfinished or str(error))
    return record


class _Desk:
    """Where an audit is done: its copies as found, what is asked of each, what was read."""

    def __init__(
        self,
        studio: Studio,
        ledger: Ledger,
        options: Options,
        *,
        copies: Sequence[Copy],
        shoots: Sequence[Shoot],
        seed: int,
    ) -> None:
        self.studio, self.ledger, self.options, self.seed = studio, ledger, options, seed
        self.asked = shoots if options.shoots else None
        self.promises = Promises(studio.shoots, shoots)
        away = "it was not looked at any more"
        self.found = {c.id: OpenCopy(c, studio.media[c.on], State.AWAY, reason=away) for c in copies}
        self.pasts: dict[str, Past] = {}
        self.scopes: dict[str, Scope] = {}
        self.carried: dict[JobKey, Seen] = {}
        self.choice = Choice([])
        self.reads: Reads | None = None
        self.looks: dict[str, Looks] = {id_: {} for id_ in self.found}
        self.looked_bytes = 0
        self.disagreements: list[Disagreement] = []
        self.other_bytes: dict[str, tuple[OtherBytes, ...]] = {}
        self._judged: dict[str, Sequence[Judged]] | None = None
        self.notes: list[str] = []

    # --- opening -----------------------------------------------------------------------------------------------------

    def open(self, session: LinkSession, folder: Path) -> None:
        """Find every copy and what is asked of it."""
        for id_, found in self.found.items():
            self.options.progress(f"opening {id_}")
            opened = open_copy(found.copy, found.medium, session=session, downloads=folder)
            self.found[id_] = opened
            note_listing(opened, self.ledger)
            self.pasts[id_] = Past(root_of(opened), self.ledger) if opened.state is State.HERE else Past()
            self.scopes[id_] = self._scope(opened)
            self._note_other_bytes(found.copy)
            self.notes += [f"{id_}: {opened.note}"] if opened.note and not opened.is_damaged else []

    def _scope(self, found: OpenCopy) -> Scope:
        return setting_apart(self._whole_scope(found), named_inside(found.copy, self.studio), self.promises)

    def _whole_scope(self, found: OpenCopy) -> Scope:
        if found.copy.listed is not None:
            return listed_scope(found, found.copy.listed, self.promises, self.asked)
        past = self.pasts.get(found.copy.id, Past())
        past.ask()  # now: what is read later takes the place of what was read before
        listed = {
            digest.kind for copy in self.studio.copies for item in (copy.listed or ())[:1] for digest in item.digests
        }
        kinds = tuple(sorted(listed)) or ("xxh128",)
        return unlisted_scope(found, self.promises, past.digests, whole=self.asked is None, unpromised=kinds)

    # --- reading -----------------------------------------------------------------------------------------------------

    def read(self, earlier: CutShort | None) -> None:
        """Read what is chosen, save what an audit that was cut short has read."""
        here = [scope for scope in self.scopes.values() if scope.found.state is State.HERE]
        if earlier is not None:
            self._carry_on(here, earlier)
        limits = self.options.limits
        has_budget = limits.budget_s is not None or limits.budget_bytes is not None
        proofs = self.proofs() if has_budget else Proofs()
        by = Choosing(self.promises, proofs, self.pasts, self._cost_s, self.seed, self.options.now)
        self.choice = choose(here, limits, by, done=frozenset(self.carried))
        self.reads = Reads(
            self.scopes,
            ledger=self.ledger,
            now=self.options.now,
            progress=self.options.progress,
            budget_s=limits.budget_s,
        )
        portions, self.choice = self.choice.portions, replace(self.choice, portions=())
        self.reads.read(portions)
        self.notes += self.reads.notes

    def _carry_on(self, here: Sequence[Scope], earlier: CutShort) -> None:
        for scope in here:
            id_ = scope.found.copy.id
            found = carried_on(scope, self.pasts[id_], earlier.since)
            self.carried |= {(id_, *key): seen for key, seen in found.items()}
        if self.carried:
            self.notes.append(say_continued(len(self.carried), earlier.since, self.options.now))

    def _cost_s(self, medium: Medium) -> Callable[[int], float]:
        """Return how long a file of so many bytes is expected to take: as measured, else as written, else as usual."""
        measured = measured_rate(self.ledger, medium)
        limit_bps = self.studio.buses[medium.bus].carries_bps if medium.bus else math.inf
        if measured is not None:
            return lambda size: max(measured.seconds(1, size), size / limit_bps)
        return lambda size: transfer_s(Load(medium, 1, size), self.studio.buses)

    def outcome_of(self, key: JobKey) -> Seen | Problem | None:
        """Return what a file showed in this audit, or in the one that it carries on."""
        found = self._read(key[0]).get(key[1:])
        return self.carried.get(key) if found is None else found

    def _read(self, id_: str) -> Mapping[Key, Seen | Problem]:
        return self.reads.results.get(id_, {}) if self.reads is not None else {}

    def proofs(self, only: Container[Digest] | None = None) -> Proofs:
        """Return who is known to hold which bytes: by this audit's reads, else by earlier ones still standing.

        A copy that refuses (a link that is gone, an archive that does not open) holds nothing, whatever it once showed.
        """
        proofs = Proofs(only)
        carried = {key for key in self.carried if key[1:] not in self._read(key[0])}
        for copy in self.studio.copies:
            found = self.found.get(copy.id)
            if found is not None and found.state is State.REFUSES:
                continue  # whatever it held when it was read, it gives nothing now
            if found is None or found.state is not State.HERE:
                for one in self.ledger.evidence_of_copy(copy.id, copy.on).values():
                    proofs.add(Proof(copy.id, one.path, one.read_at), one.digests)
                continue
            past = self.pasts.get(copy.id, Past())
            for entry in found.entries:
                key = (copy.id, entry.path, entry.index)
                result = self.outcome_of(key)
                if key in carried and (known := past.of(entry)) is not None:
                    proofs.add(Proof(copy.id, entry.path, known.read_at), known.digests)
                elif isinstance(result, Seen):
                    proofs.add(Proof(copy.id, entry.path, self.options.now), result.digests)
                elif result is None and (known := past.of(entry)) is not None:
                    proofs.add(Proof(copy.id, entry.path, known.read_at), known.digests)
        return proofs

    def vanished(self) -> str | None:
        """Return in words which copies went away while they were read, None where none did."""
        said = []
        for id_, shown in ({} if self.reads is None else self.reads.results).items():
            gone = [problem for _, problem in shown.problems() if problem.trouble is Trouble.UNREACHABLE]
            if gone and len(gone) == len(shown) and self.found[id_].copy.url is not None:
                # A server that never answered: it was not reached.
                self.found[id_] = replace(self.found[id_], state=State.AWAY, reason=gone[0].detail)
            elif gone:
                said.append(f"the copy {id_} vanished while it was read")
        goes_on = _GOES_ON if self.ledger.path else ""
        return f"{', '.join(said)}: plug it in again{goes_on}" if said else None

    # --- what it came to ---------------------------------------------------------------------------------------------

    def look(self) -> None:
        """Decode the files of which no digest is known, as long as a budget lasts."""
        judged = judge_all(self._facts(), self.promises, whole=self.asked is None)
        with checking(scratch=self._scratch) as check:
            for id_, items in judged.items():
                entries = [item.entry for item in having(items, ("extra",)) if item.entry is not None]
                if entries and self.found[id_].state is State.HERE:
                    look_into(
                        self.found[id_],
                        entries,
                        check=check,
                        goes_on=lambda entry, id_=id_: self._may_look(id_, entry),  # type: ignore[misc]
                        into=self.looks[id_],
                    )

    def _may_look(self, id_: str, entry: Entry) -> bool:
        self.options.progress(f"{id_}: looking into {entry.path}")
        left = self._left_bytes()
        if (self.reads is not None and self.reads.is_up()) or (left is not None and (entry.size or 0) > left):
            self.notes += [] if _LOOK_CUT in self.notes else [_LOOK_CUT]
            return False
        self.looked_bytes += entry.size or 0
        return True

    def compare(self) -> None:
        """Compare what differs from copy to copy, where no promise says what is right."""
        if self.asked is not None:
            return
        self.options.progress("judging")
        doubted = in_doubt(self._facts(), self._judge(), self.promises, look=self.options.look)
        if not doubted:
            return
        with checking(scratch=self._scratch) as check:
            means = Means(self.found, self.studio.media, check, self._tell, self._left_bytes())
            compare_all(doubted, means, self.disagreements)

    def _left_bytes(self) -> int | None:
        """Return what is left of a budget in bytes, None without one."""
        budget = self.options.limits.budget_bytes
        if budget is None or self.reads is None:
            return None
        return max(0, budget - self.reads.bytes.total() - self.looked_bytes)

    def _tell(self, text: str) -> None:
        if self.reads is not None and self.reads.is_up():
            raise TimeUp
        self.options.progress(text)

    @property
    def _scratch(self) -> Path | None:
        scratch = self.studio.scratch
        return scratch if scratch is not None and scratch.is_dir() else None

    def _judge(self) -> dict[str, Sequence[Judged]]:
        if self._judged is None:
            self._judged = judge_all(self._facts(), self.promises, whole=self.asked is None)
        return self._judged

    def results(self) -> list[CopyResult]:
        """Judge every copy."""
        self.options.progress("judging")
        return copy_results(
            self._facts(),
            self._judge(),
            self.promises,
            proofs=self.proofs,
            copies=self.studio.copies,
            confidence=self.options.limits.confidence,
        )

    def _facts(self) -> list[Found]:
        return [
            Found(
                scope=replace(self.scopes[id_], found=found) if id_ in self.scopes else self._scope(found),
                past=self.pasts.get(id_, Past()),
                results=self._results_of(id_),
                carried=frozenset(key[1:] for key in self.carried if key[0] == id_),
                ranges={} if self.reads is None else {k[1:]: r for k, r in self.reads.ranges.items() if k[0] == id_},
                bytes_read=0 if self.reads is None else self.reads.bytes[id_],
                took_s=0.0 if self.reads is None else self.reads.seconds[id_],
                population=self.choice.population.get(id_),
                drawn=frozenset(key[1:] for key in self.choice.drawn.get(id_, ())),
                looks=self.looks[id_],
                other_bytes=self.other_bytes.get(id_, ()),
                headers_kept=self._keeps_headers(found),
            )
            for id_, found in self.found.items()
        ]

    def _keeps_headers(self, found: OpenCopy) -> bool:
        folder = self.options.headers
        return found.is_archive and folder is not None and is_kept(found.copy.id, folder)

    def _note_other_bytes(self, copy: Copy) -> None:
        """Note the names of a copy's list that have other bytes there than promised; nothing is read for that."""
        shoots = self.studio.shoots if self.asked is None else self.asked
        found = other_bytes(copy.listed or (), shoots)
        self.other_bytes[copy.id] = tuple(OtherBytes(path, file.path) for path, file in found)

    def _results_of(self, id_: str) -> Mapping[Key, Seen | Problem]:
        carried: dict[Key, Seen | Problem] = {key[1:]: seen for key, seen in self.carried.items() if key[0] == id_}
        return {**carried, **self._read(id_)} if carried else self._read(id_)


def _remember(ledger: Ledger, run: int, record: Audit, desk: _Desk) -> None:
    """Write what the audit came to into the ledger. Errors: Unfinished."""
    for copy in record.copies:
        counts = {outcome: copy.counts[outcome] for outcome in copy.counts}
        ledger.add_audit(
            run,
            AuditedCopy(copy.copy, copy.reached, **counts, bytes_read=copy.bytes_read, took_s=copy.seconds),
        )
    for medium, read in rates_of({} if desk.reads is None else desk.reads.media).items():
        if read.bytes:
            cached = read.maybe_cached
            ledger.add_rate(run, medium, files=read.files, bytes=read.bytes, took_s=read.took_s, maybe_cached=cached)
    ledger.end_run(run, complete=record.complete)
