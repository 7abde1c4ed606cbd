"""The last drills of a shoot, as the ledger has them, and what falls short in them.

Flows in: the ledger, a shoot, the moment that counts as now. Flows out: the drills that the letter is about, and
shortfalls. Must not know: copies, readings, letters.

What counts is the last drill that ran to its end and tried every file. An easier drill since hides nothing: what a
scenario came to the last time it was drilled counts, until it comes out right, or a later whole drill shows that it is
not about this studio any more. A drill that broke off, or a spot check, can only show that something falls short. A
drill is held to the targets it had, and to those of today. A scenario of one's own is never told by a shipped one's
name, nor does the one stand for the other.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path

from drill import clock
from drill.attest.audits import limit_of
from drill.errors import Mistake, Mistakes
from drill.faults import applies, variants
from drill.ledger import DrilledPromise, Ledger, PastDrill, PastRun
from drill.model import Shoot, Studio
from drill.promisemark import mark_of
from drill.proofrecord import OWN, Shortfall
from drill.record import VERDICTS, Drill, drill_from_json
from drill.scenario import load_scenarios, shipped_names

Which = tuple[str, bool]  # a scenario's name, and whether it is the shipped one, as far as that is known


@dataclass(frozen=True, slots=True)
class Drilled:
    """What one run of drills came to for one shoot, and what it was held against (None: an older program's run).

    `shipped` says of each scenario whether it is the shipped one of its name; what is not in it is not known.
    """

    run: PastRun
    drills: tuple[Drill, ...]
    promise: DrilledPromise | None
    shipped: Mapping[str, bool]

    @property
    def is_spot(self) -> bool:
        """Say whether only some of the files were tried."""
        return any(drill.sample is not None for drill in self.drills)

    @property
    def is_whole(self) -> bool:
        """Say whether it ran to its end and tried every file."""
        return self.run.complete and not self.is_spot

    @property
    def scenarios(self) -> dict[Which, None]:
        """Return its scenarios, in their order."""
        return dict.fromkeys((drill.scenario, self.shipped.get(drill.scenario, True)) for drill in self.drills)

    def of(self, which: Which) -> list[Drill]:
        """Return the drills of one of its scenarios."""
        return [drill for drill in self.drills if drill.scenario == which[0]]

    def public_name(self, scenario: str) -> str:
        """Return a scenario's name if it is the shipped one; the name of one's own may hold a client's."""
        return scenario if self.shipped.get(scenario, False) and scenario in _shipped() else OWN


def drilled_shoots(ledger: Ledger, ids: Iterable[str]) -> dict[str, list[Drilled]]:
    """Return all drills of these shoots, the first first. Errors: Mistakes where the ledger is damaged."""
    found: dict[str, list[Drilled]] = {id_: [] for id_ in ids}
    for run in sorted(ledger.runs(), key=lambda run: (run.started, run.id)):
        if run.kind != "drill" or (run.shoots and not found.keys() & set(run.shoots)):
            continue
        promises = {one.shoot: one for one in ledger.promises_of(run.id)}
        shipped = {one.name: one.is_shipped for one in ledger.scenarios_of(run.id)}
        of_run: dict[str, list[Drill]] = {}
        for past in ledger.drills_of(run.id):
            if past.shoot in found:
                of_run.setdefault(past.shoot, []).append(_drill(past, ledger.path))
        for id_, drills in of_run.items():
            found[id_].append(Drilled(run, tuple(drills), promises.get(id_), shipped))
    return found


def _drill(past: PastDrill, where: Path | None) -> Drill:
    """Read a drill's record. Errors: Mistakes where the row is no drill any more, or says something else."""
    try:
        drill = drill_from_json(past.json())
        told = drill.scenario, drill.shoot, drill.verdict, drill.files.promised, drill.files.verified
        if drill.verdict in VERDICTS and told == (
            *(past.scenario, past.shoot, past.verdict),
            *(past.promised, past.verified),
        ):
            return drill
    except (ValueError, TypeError, KeyError, AttributeError):  # no JSON, or not of a drill
        pass
    advice = "nothing in it was changed; move it away, and drill and audit again"
    what = f"is damaged: what it says of {past.shoot}"
    raise Mistakes([Mistake(str(where), f"run {past.run}", what, advice)]) from None


def told_of(known: Sequence[Drilled], now: datetime) -> Drilled | None:
    """Return the drills that a letter tells of: the last whole ones, else the last ones, else None."""
    past = [one for one in known if one.run.started <= now]
    whole = [one for one in past if one.is_whole]
    return whole[-1] if whole else past[-1] if past else None


def shipped_variants(studio: Studio) -> dict[str, list[str | None]]:
    """Return the shipped scenarios that hit a studio, with their variants."""
    return {one.name: list(variants(one, studio)) for one in load_scenarios([]) if applies(one, studio)}


def drill_shortfalls(
    rehearsable: Mapping[str, Sequence[str | None]], shoot: Shoot, known: Sequence[Drilled], now: datetime
) -> list[Shortfall]:
    """Return what falls short in the drills of a shoot; `rehearsable` are the studio's `shipped_variants`."""
    later = [one for one in known if one.run.started > now]
    past = [one for one in known if one.run.started <= now]
    found = [Shortfall(shoot.id, "drill_later", at=_at(later[-1]))] if later else []
    tries = [one for one in past if not one.is_spot]
    if not past:
        return [*found, Shortfall(shoot.id, "never_drilled")]
    if not tries:
        found.append(Shortfall(shoot.id, "drill_spot", at=_at(past[-1])))
    elif not tries[-1].run.complete:
        found.append(Shortfall(shoot.id, "drill_incomplete", at=_at(tries[-1])))
    whole = next((one for one in reversed(past) if one.is_whole), None)
    if whole is not None:
        mark = mark_of(shoot.promise)
        apart = [*_out_of_date(shoot, whole, now), *_other_promise(shoot, mark, whole)]
        found += apart or _not_rehearsed(rehearsable, shoot, mark, past, now)
    return found + _short(shoot, past, whole)


def _out_of_date(shoot: Shoot, whole: Drilled, now: datetime) -> list[Shortfall]:
    limit_s = limit_of(shoot)
    if (now - whole.run.started).total_seconds() <= limit_s:
        return []
    return [Shortfall(shoot.id, "drill_old", at=_at(whole), limit_s=limit_s)]


def _other_promise(shoot: Shoot, mark: str, whole: Drilled) -> list[Shortfall]:
    """Say whether what is promised is not what was drilled; of an older program's run nobody knows."""
    if whole.promise is None:
        return [Shortfall(shoot.id, "drill_unknown", at=_at(whole))]
    files = len(shoot.promise)
    if (whole.promise.files, whole.promise.mark) == (files, mark):
        return []
    return [Shortfall(shoot.id, "promise_changed", at=_at(whole), count=whole.promise.files, of=files)]


def _not_rehearsed(
    rehearsable: Mapping[str, Sequence[str | None]], shoot: Shoot, mark: str, past: Sequence[Drilled], now: datetime
) -> list[Shortfall]:
    """Return the scenarios that were not all drilled as a whole in time, with these files.

    An easy drill alone must not pass for a proof: what could not go wrong in it was not tried.
    """
    count = [one for one in past if one.is_whole and not _out_of_date(shoot, one, now)]
    count = [one for one in count if not _other_promise(shoot, mark, one)]
    made = {(one.public_name(drill.scenario), drill.variant) for one in count for drill in one.drills}
    found = []
    for name, each in rehearsable.items():
        left = sum((name, variant) not in made for variant in each)
        if left:
            found.append(Shortfall(shoot.id, "not_rehearsed", None, limit_of(shoot), left, len(each), name))
    return found


def _short(shoot: Shoot, past: Sequence[Drilled], whole: Drilled | None) -> list[Shortfall]:
    """Return the scenarios that fell short the last time they were drilled."""
    last: dict[Which, Drilled] = {}
    for one in past:
        for which in one.scenarios:
            if one.is_whole or any(_shows_short(drill, shoot) for drill in one.of(which)):
                last[which] = one
    found = []
    for which, one in last.items():
        drills = one.of(which)
        short = sum(_falls_short(drill, shoot) for drill in drills)
        if short and not _is_over(which, one, whole):
            name = one.public_name(which[0])
            found.append(Shortfall(shoot.id, "drill_short", at=_at(one), count=short, of=len(drills), scenario=name))
    return found


def _shows_short(drill: Drill, shoot: Shoot) -> bool:
    """Say whether a drill shows that something falls short, also where it did not try every file."""
    return bool(drill.lost_files) if drill.sample is not None else _falls_short(drill, shoot)


def _falls_short(drill: Drill, shoot: Shoot) -> bool:
    """Say whether a drill fell short of the targets it had, or would of those of today."""
    further, within_s = shoot.targets.further_failures, shoot.targets.restore_within_s
    is_late = within_s is not None and drill.seconds.projected > within_s
    return drill.falls_short or is_late or (further is not None and drill.further_failures.survivable < further)


def _is_over(which: Which, one: Drilled, whole: Drilled | None) -> bool:
    """Say whether a later whole drill had all the other scenarios of that run without this one."""
    if whole is None or one is whole or one.run.started > whole.run.started:
        return False
    others = one.scenarios.keys() - {which}
    return bool(others) and others <= whole.scenarios.keys()


@cache
def _shipped() -> frozenset[str]:
    return frozenset(shipped_names())


def _at(one: Drilled) -> str:
    return clock.rfc3339(one.run.started)
