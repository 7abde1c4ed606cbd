"""The whole proof: what was drilled, what was read, what falls short; and the checksums, where a letter is written.

Flows in: a studio, shoots, the ledger, options. Flows out: the record of a proof. Must not know: letters, keys,
terminals.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from drill import __version__, clock
from drill.attest.audits import Readings, audit_shortfalls, audited_at, kept, read_on, readings, separate
from drill.attest.checksums import checksums
from drill.attest.drills import Drilled, drill_shortfalls, drilled_shoots, shipped_variants, told_of
from drill.columns import classes_of
from drill.ledger import Ledger
from drill.model import Shoot, Studio
from drill.proofrecord import OTHER, SORTS, Back, Proof, ShootProof, Shortfall, Took
from drill.record import Drill


@dataclass(frozen=True, slots=True)
class Options:
    """How to ask: the moment that counts as now, and whether a proof that falls short is wanted as it is."""

    now: datetime
    as_is: bool = False
    progress: Callable[[str], None] = lambda text: None


def attest(studio: Studio, shoots: Sequence[Shoot], ledger: Ledger, options: Options) -> Proof:
    """Say what can be proved of one client's shoots. Without `as_is`, one that falls short has no checksums.

    Errors: Mistakes (the ledger is damaged), Unfinished.
    """
    now = options.now
    drilled = drilled_shoots(ledger, [shoot.id for shoot in shoots])
    read = readings(studio, ledger, now=now)
    rehearsable = shipped_variants(studio)
    short: list[Shortfall] = []
    for shoot in shoots:
        short += [*drill_shortfalls(rehearsable, shoot, drilled[shoot.id], now), *audit_shortfalls(shoot, read, now)]
    proof = Proof(
        studio=studio.name,
        client=shoots[0].client,
        issued=clock.rfc3339(now),
        version=__version__,
        shoots=tuple(_shoot_proof(studio, one, told_of(drilled[one.id], now), read, now) for one in shoots),
        shortfalls=tuple(short),
    )
    return proof if short and not options.as_is else _with_checksums(proof, studio, shoots, ledger, options)


def _with_checksums(proof: Proof, studio: Studio, shoots: Sequence[Shoot], ledger: Ledger, options: Options) -> Proof:
    found = checksums(studio, shoots, ledger, now=options.now, progress=options.progress)
    lacking = Counter(shoot for (shoot, _), checksum in found.items() if checksum is None)
    of = Counter(shoot for shoot, _ in found)
    short = [Shortfall(id_, "no_checksum", count=count, of=of[id_]) for id_, count in lacking.items()]
    known = tuple(one for one in found.values() if one is not None)
    return replace(proof, shortfalls=(*proof.shortfalls, *short), checksums=known)


def _shoot_proof(studio: Studio, shoot: Shoot, told: Drilled | None, read: Readings, now: datetime) -> ShootProof:
    drills = told.drills if told is not None else ()
    audited = audited_at(shoot, read, now)
    sources = [id_ for drill in drills for id_ in drill.sources]
    on = {copy.id: copy.on for copy in studio.copies}
    came_from = separate(studio.media, (on[id_] for id_ in sources if id_ in on))
    scenarios = Counter(told.public_name(drill.scenario) for drill in drills) if told is not None else Counter()
    return ShootProof(
        shoot=shoot.id,
        date=_day(shoot),
        drilled=None if told is None else clock.rfc3339(told.run.started),
        audited=None if audited is None else clock.rfc3339(audited),
        drills=len(drills),
        all_back=sum(drill.files.verified == drill.files.promised for drill in drills),
        back=_back(shoot, drills),
        restored_from=kept(came_from),
        read_on=read_on(studio, shoot, read, now),
        took=Took(
            max(drill.seconds.measured for drill in drills),
            max(drill.seconds.projected for drill in drills),
            shoot.targets.restore_within_s,
        )
        if drills
        else None,
        survivable=min((drill.further_failures.survivable for drill in drills), default=None),
        scenarios=dict(sorted(scenarios.items())),
    )


def _day(shoot: Shoot) -> str:
    """Return the day of a shoot as the studio file has it."""
    return shoot.date.isoformat()[:10]


def _back(shoot: Shoot, drills: Sequence[Drill]) -> dict[str, Back]:
    """Return, by sort, how many files were promised and how many of these came back in the worst drill; what came back
    may be told of no other files than those that were drilled. Classes that people made up are of the last sort."""
    if not drills:
        promised = Counter(_sort(kind) for kind in classes_of(shoot.promise))
        return {sort: Back(promised[sort], 0) for sort in SORTS if promised[sort]}
    found: dict[str, Back] = {}
    for drill in drills:
        promised, came = Counter[str](), Counter[str]()
        for kind, count in drill.by_class.items():
            promised[_sort(kind)] += count.promised
            came[_sort(kind)] += count.verified
        for sort in promised:
            worst = found[sort].came_back if sort in found else came[sort]
            found[sort] = Back(promised[sort], min(came[sort], worst))
    return {sort: found[sort] for sort in SORTS if sort in found}


def _sort(kind: str) -> str:
    return kind if kind in SORTS else OTHER
