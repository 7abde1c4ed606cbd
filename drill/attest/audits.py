"""Which media were read, and found to hold what is promised, by the readings in the ledger.

Flows in: a studio, the ledger, shoots, the moment that counts as now. Flows out: media by kind and places, with the day
of the oldest reading, and shortfalls. Must not know: drills, letters. No copy is opened: what is told is told as of the
day it was read.

A medium counts when every delivered and every original file of the shoot was read there and is right. Two copies on
one medium are one, and media that are kept in step with each other, or with the same one, are one too.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from drill import clock
from drill.columns import classes_of
from drill.evidence import Promises, Standing, standing_of
from drill.history import QUARTER_S
from drill.ledger import Ledger, PastRun
from drill.model import Medium, Shoot, Studio
from drill.proofrecord import DELIVERABLES, ORIGINALS, Kept, Shortfall


@dataclass(frozen=True, slots=True)
class Readings:
    """What the ledger shows of every copy, by its id, and where in the row of all promised files each shoot begins;
    audits that came to their end, with the copies that they reached."""

    by_copy: Mapping[str, Standing]
    starts: Mapping[str, int]
    audits: Sequence[tuple[PastRun, frozenset[str]]]

    def numbers_of(self, shoot: Shoot) -> range:
        """Return where a shoot's files stand in the row of all promised files."""
        start = self.starts[shoot.id]
        return range(start, start + len(shoot.promise))

    def audits_of(self, shoot: Shoot) -> list[PastRun]:
        """Return the audits that asked about a shoot, and reached a copy that something of it was read on."""
        ours = self.numbers_of(shoot)
        holding = {
            id_
            for id_, standing in self.by_copy.items()
            if any(number in standing.sizes or number in standing.refuted for number in ours)
        }
        return [run for run, reached in self.audits if _asks_about(run, shoot) and reached & holding]


def readings(studio: Studio, ledger: Ledger, *, now: datetime) -> Readings:
    """Ask the ledger what it shows of every copy. Errors: Mistakes (damaged), Unfinished."""
    promises = Promises(studio.shoots)
    by_copy = {copy.id: standing_of(copy, ledger, promises, root=None, entries=None, now=now) for copy in studio.copies}
    starts, count = {}, 0
    for shoot in studio.shoots:
        starts[shoot.id] = count
        count += len(shoot.promise)
    ended = [run for run in ledger.runs() if run.kind == "audit" and run.complete]
    audits = [(run, frozenset(one.copy for one in ledger.audits_of(run.id) if one.reached)) for run in ended]
    return Readings(by_copy, starts, sorted(audits, key=lambda audit: (audit[0].started, audit[0].id)))


def limit_of(shoot: Shoot) -> float:
    """Return how old what a letter rests on may be, in seconds: the target, else as often as a drill is due."""
    limit_s = shoot.targets.verified_within_s
    return QUARTER_S if limit_s is None else limit_s


def audited_at(shoot: Shoot, known: Readings, now: datetime) -> datetime | None:
    """Return when the last audit of a shoot began; None where there was none until now."""
    return max((run.started for run in known.audits_of(shoot) if run.started <= now), default=None)


def read_on(studio: Studio, shoot: Shoot, known: Readings, now: datetime) -> Kept:
    """Return the media on which all that counts of a shoot was read within the target, and is right."""
    asked = _asked(shoot, known)
    oldest: dict[str, datetime] = {}
    for copy in studio.copies:
        standing = known.by_copy[copy.id]
        times = [standing.proven.get(number) for number in asked]
        if all(at is not None and _is_fresh(shoot, at, now) for at in times):
            first = min(at for at in times if at is not None)
            oldest[copy.on] = max(first, oldest.get(copy.on, first))
    media = separate(studio.media, oldest)
    at = min((oldest[medium.id] for medium in media), default=None)
    return kept(media, oldest=at)


def separate(media: Mapping[str, Medium], ids: Iterable[str]) -> list[Medium]:
    """Return the media of these ids, one of those that are kept in step; ids that are gone are left out."""
    found: dict[str, Medium] = {}
    for id_ in dict.fromkeys(ids):
        if id_ in media:
            source = _in_the_end(id_, media)
            found[source] = media[id_] if id_ == source else found.get(source, media[id_])
    return list(found.values())


def _in_the_end(id_: str, media: Mapping[str, Medium]) -> str:
    """Return what a medium is kept in step with in the end; of media that mirror each other the first by name."""
    seen = [id_]
    while (mirrored := media[seen[-1]].mirrors) is not None:
        if mirrored in seen:
            return min(seen[seen.index(mirrored) :])
        seen.append(mirrored)
    return seen[-1]


def kept(media: Sequence[Medium], *, oldest: datetime | None = None) -> Kept:
    """Count media by their kinds, and their places."""
    kinds: dict[str, int] = {}
    for medium in media:
        kinds[medium.kind] = kinds.get(medium.kind, 0) + 1
    places = {medium.place for medium in media}
    return Kept(dict(sorted(kinds.items())), len(places), None if oldest is None else clock.rfc3339(oldest))


def audit_shortfalls(shoot: Shoot, known: Readings, now: datetime) -> list[Shortfall]:
    """Return what falls short in what was read of a shoot's copies."""
    later = [run for run, reached in known.audits if reached and _asks_about(run, shoot) and run.started > now]
    found = [Shortfall(shoot.id, "audit_later", at=clock.rfc3339(later[-1].started))] if later else []
    limit_s, at = limit_of(shoot), audited_at(shoot, known, now)
    if at is None:
        found.append(Shortfall(shoot.id, "never_audited"))
    elif (now - at).total_seconds() > limit_s:
        found.append(Shortfall(shoot.id, "audit_old", at=clock.rfc3339(at), limit_s=limit_s))
    return [*found, *_damaged(shoot, known), *_not_read(shoot, known, now)]


def _asks_about(run: PastRun, shoot: Shoot) -> bool:
    return not run.shoots or shoot.id in run.shoots


def _damaged(shoot: Shoot, known: Readings) -> list[Shortfall]:
    ours = known.numbers_of(shoot)
    wrong = {number for standing in known.by_copy.values() for number in standing.refuted if number in ours}
    return [Shortfall(shoot.id, "damaged", count=len(wrong), of=len(ours))] if wrong else []


def _not_read(shoot: Shoot, known: Readings, now: datetime) -> list[Shortfall]:
    """Count the files that no copy was seen to hold within the target."""
    asked = _asked(shoot, known)
    unread = sum(
        not any(
            (at := standing.proven.get(number)) is not None and _is_fresh(shoot, at, now)
            for standing in known.by_copy.values()
        )
        for number in asked
    )
    return [Shortfall(shoot.id, "not_read", count=unread, of=len(asked), limit_s=limit_of(shoot))] if unread else []


def _asked(shoot: Shoot, known: Readings) -> list[int]:
    """Return the numbers of a shoot's delivered and original files; of all where it has neither."""
    ours = known.numbers_of(shoot)
    kinds = classes_of(shoot.promise)
    some = [number for number, kind in zip(ours, kinds, strict=True) if kind in (DELIVERABLES, ORIGINALS)]
    return some or list(ours)


def _is_fresh(shoot: Shoot, at: datetime, now: datetime) -> bool:
    return at <= now and (now - at).total_seconds() <= limit_of(shoot)
