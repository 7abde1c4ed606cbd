"""The whole proof: what was drilled, what was read, what falls short; and the checksums, where a letter is written.

Flows in: a studio, shoots, the ledger, options. Flows out: the record of a proof. Must not know: letters, keys,
terminals.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from drill import __version__, clock
from drill.attest.audits import Readings, audit_shortfalls, audited_at, kept, read_on, readings, separate
from drill.attest.checksums import checksums
from drill.attest.drills import Drilled, drill_shortfalls, drilled_shoots, public_name, told_of
from drill.columns import classes_of
from drill.ledger import Ledger
from drill.model import Shoot, Studio
from drill.proofrecord import OTHER, SORTS, Back, Proof, ShootProof, Shortfall, Took


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
    short: list[Shortfall] = []
    for shoot in shoots:
        short += [*drill_shortfalls(shoot, drilled[shoot.id], now), *audit_shortfalls(shoot, read, now)]
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
    return Proof(
        proof.studio,
        proof.client,
        proof.issued,
        proof.version,
        proof.shoots,
        (*proof.shortfalls, *short),
        tuple(one for one in found.values() if one is not None),
    )


def _shoot_proof(studio: Studio, shoot: Shoot, told: Drilled | None, read: Readings, now: datetime) -> ShootProof:
    drills = told.drills if told is not None else ()
    audited = audited_at(shoot, read, now)
    sources = [id_ for drill in drills for id_ in drill.sources]
    on = {copy.id: copy.on for copy in studio.copies}
    came_from = separate(studio, (on[id_] for id_ in sources if id_ in on))
    scenarios = Counter(public_name(drill.scenario) for drill in drills)
    targets = [drill.seconds.target for drill in drills if drill.seconds.target is not None]
    return ShootProof(
        shoot=shoot.id,
        date=_day(shoot),
        drilled=None if told is None else clock.rfc3339(told.run.started),
        audited=None if audited is None else clock.rfc3339(audited),
        drills=len(drills),
        all_back=sum(drill.files.verified == drill.files.promised for drill in drills),
        back=_back(shoot, told),
        restored_from=kept(came_from),
        read_on=read_on(studio, shoot, read, now),
        took=Took(
            max(drill.seconds.measured for drill in drills),
            max(drill.seconds.projected for drill in drills),
            min(targets, default=None),
        )
        if drills
        else None,
        survivable=min((drill.further_failures.survivable for drill in drills), default=None),
        scenarios=dict(sorted(scenarios.items())),
    )


def _day(shoot: Shoot) -> str:
    """Return the day of a shoot as the studio file has it."""
    return shoot.date.isoformat()[:10]


def _back(shoot: Shoot, told: Drilled | None) -> dict[str, Back]:
    """Return, by sort, how many files are promised and how many came back in the worst drill; classes that people made
    up are of the last sort."""
    promised = Counter(_sort(kind) for kind in classes_of(shoot.promise))
    worst: dict[str, int] = {}
    for drill in told.drills if told is not None else ():
        came: Counter[str] = Counter()
        for kind, count in drill.by_class.items():
            came[_sort(kind)] += count.verified
        worst = {sort: min(came[sort], worst.get(sort, came[sort])) for sort in SORTS}
    return {sort: Back(promised[sort], min(worst.get(sort, 0), promised[sort])) for sort in SORTS if promised[sort]}


def _sort(kind: str) -> str:
    return kind if kind in SORTS else OTHER
