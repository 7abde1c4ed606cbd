"""History: what past drills and audits came to, what got worse since the last, and when the next drill is due. A
recovery is told of, and compared with nothing.

Flows in: a studio, the ledger, the moment that counts as now. Flows out: the record of a history. Must not know:
copies, files, terminals. Nothing is read but the ledger.

A run counts as made when it began, whatever it was told to count as now, as readings are dated. What is compared is
the last drill of a scenario (and variant) for a shoot with the one before, and the last audit of a copy with the one
before, whichever runs these were in: a drill of something else in the meantime hides nothing. A spot check, or an audit
of fewer files, can show that more is wrong, and never that less is.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import NamedTuple

from drill import clock
from drill.duedate import next_due
from drill.errors import Mistake, Mistakes
from drill.historyrecord import (
    CopyThen,
    DrillThen,
    Due,
    DueShoot,
    History,
    RunThen,
    SlowerMedium,
    WorseCopy,
    WorseDrill,
    Worst,
)
from drill.ledger import AuditedCopy, Ledger, MeasuredRate, PastDrill, PastRun
from drill.model import Copy, Shoot, Studio
from drill.rates import FEWEST, Measurement, fit
from drill.record import VERDICTS

QUARTER_S = 91 * 86400.0  # thirteen weeks: how often to drill where no target says; common practice, no source
FALLEN_TO = 0.7  # a medium this much slower is worth a word; our own choice, no source
_SHORTEST_S = 1.0  # a reading that took less says nothing of a medium's rate

_Key = tuple[str, str, str | None]  # shoot, scenario, variant


@dataclass(frozen=True, slots=True)
class Past:
    """One run with all that it came to; `sampled` has the numbers of its drills that were spot checks."""

    run: PastRun
    drills: tuple[PastDrill, ...] = ()
    audits: tuple[AuditedCopy, ...] = ()
    sampled: frozenset[int] = frozenset()

    @property
    def at(self) -> datetime:
        """Return when it was made."""
        return self.run.started


class _Drilled(NamedTuple):
    past: Past
    drill: PastDrill
    is_spot: bool


class _Audited(NamedTuple):
    past: Past
    audited: AuditedCopy


def look_back(studio: Studio, ledger: Ledger, *, now: datetime) -> History:
    """Return the history of a studio as of `now`. Errors: Mistakes (the ledger is damaged), Unfinished."""
    pasts, later = _pasts(ledger, now)
    rates = {id_: ledger.rates(id_) for id_ in dict.fromkeys(copy.on for copy in studio.copies)}
    notes = []
    if later:
        what = "1 run is dated" if later == 1 else f"{later} runs are dated"
        notes.append(f"{what} later than now and left out: was the clock wrong?")
    return History(
        studio=studio.name,
        now=clock.rfc3339(now),
        due=due_of(pasts, studio.shoots, now=now),
        runs=tuple(_run_then(past) for past in reversed(pasts)),
        worse_drills=tuple(worse_drills(pasts, [shoot.id for shoot in studio.shoots])),
        worse_copies=tuple(worse_copies(pasts, studio.copies)),
        slower_media=tuple(slower_media(rates, now=now)),
        notes=tuple(notes),
    )


def _pasts(ledger: Ledger, now: datetime) -> tuple[list[Past], int]:
    """Return the drills, audits and recoveries until now, the first first, and how many are later."""
    found, later = [], 0
    for run in ledger.runs():
        if run.kind not in ("drill", "audit", "recovery"):
            continue
        if run.started > now:
            later += 1
        elif run.kind == "drill":
            drills = ledger.drills_of(run.id)
            spots = frozenset(number for number, drill in enumerate(drills) if _is_spot(drill, ledger.path))
            slim = tuple(replace(drill, record="") for drill in drills)  # it may list thousands of lost files
            found.append(Past(run, drills=slim, sampled=spots))
        elif run.kind == "recovery":
            found.append(Past(run))
        else:
            found.append(Past(run, audits=ledger.audits_of(run.id)))
    return sorted(found, key=lambda past: (past.at, past.run.id)), later


def _is_spot(drill: PastDrill, where: Path | None) -> bool:
    """Say whether only some files were tried. Errors: Mistakes where the ledger's row is no drill any more."""
    try:
        if drill.verdict in VERDICTS:
            return drill.json().get("sample") is not None
    except (ValueError, AttributeError):  # no JSON, or not of an object
        pass
    advice = "nothing in it was changed; move it away, and a new one is begun"
    raise Mistakes([Mistake(str(where), f"run {drill.run}", f"is damaged: what it says of {drill.shoot}", advice)])


# --- the runs --------------------------------------------------------------------------------------------------------


def _run_then(past: Past) -> RunThen:
    run, drills, audits = past.run, past.drills, past.audits
    worst = min(drills, key=_badness, default=None)
    reached = [one for one in audits if one.reached]
    return RunThen(
        run=run.id,
        kind=run.kind,
        at=clock.rfc3339(past.at),
        now=clock.rfc3339(run.now),
        seconds=None if run.ended is None else max(0.0, round((run.ended - run.started).total_seconds(), 3)),
        complete=run.complete,
        seed=run.seed,
        version=run.version,
        shoots=run.shoots if run.kind == "recovery" else tuple(dict.fromkeys(drill.shoot for drill in drills)),
        scenarios=tuple(dict.fromkeys(drill.scenario for drill in drills)),
        drills=len(drills),
        falling_short=sum(_falls_short(drill) for drill in drills),
        worst=None if worst is None else _worst(worst),
        copies=tuple(one.copy for one in audits),
        not_reached=tuple(one.copy for one in audits if not one.reached),
        verified=sum(one.verified for one in reached),
        damaged=sum(map(_damaged, reached)),
        not_read=sum(one.not_read for one in reached),
        spot_check=bool(past.sampled),
    )


def _worst(drill: PastDrill) -> Worst:
    return Worst(drill.shoot, drill.scenario, drill.variant, drill.verdict, drill.score)


def _falls_short(drill: PastDrill) -> bool:
    short = drill.survivable_target is not None and drill.survivable < drill.survivable_target
    return drill.verdict != "restored" or short


def _badness(drill: PastDrill) -> tuple[int, float, int, str, str]:
    """Return a key that sorts the worst first."""
    good = 0 if _falls_short(drill) else len(VERDICTS)
    return VERDICTS.index(drill.verdict) + good, drill.score, drill.survivable, drill.shoot, drill.scenario


def _damaged(one: AuditedCopy) -> int:
    return one.altered + one.unreadable + one.missing


# --- what got worse --------------------------------------------------------------------------------------------------


def worse_drills(pasts: Sequence[Past], shoots: Iterable[str]) -> list[WorseDrill]:
    """Return, the worst first, what comes out worse than the time before: a verdict, a score, files lost, how many
    further failures are survivable. A scenario or variant that later drills no longer have is left out."""
    series: dict[_Key, list[_Drilled]] = defaultdict(list)
    for past in pasts:
        for number, drill in enumerate(past.drills):
            one = _Drilled(past, drill, number in past.sampled)
            known = series[drill.shoot, drill.scenario, drill.variant]
            if one.is_spot and (not known or drill.lost <= known[-1].drill.lost):
                continue  # what was left out of a spot check may be worse or better
            known.append(one)
    wanted = set(shoots)
    worse = [
        (known[-2], known[-1])
        for (shoot, _, _), known in series.items()
        if shoot in wanted and len(known) > 1 and _is_worse(*known[-2:]) and not _is_settled(known[-1], pasts)
    ]
    worse.sort(key=lambda pair: _badness(pair[1].drill))
    return [
        WorseDrill(last.drill.shoot, last.drill.scenario, last.drill.variant, _drill_then(before), _drill_then(last))
        for before, last in worse
    ]


def _is_worse(before: _Drilled, last: _Drilled) -> bool:
    then, now = before.drill, last.drill
    if now.lost > then.lost:
        return True
    if before.is_spot:  # it lost as many; its verdict and score are of some of the files
        return False
    verdict = VERDICTS.index(now.verdict) < VERDICTS.index(then.verdict)
    return verdict or now.score < then.score or now.survivable < then.survivable


def _is_settled(last: _Drilled, pasts: Sequence[Past]) -> bool:
    """Say whether a later whole drill shows that this scenario, or its variant, is not about this studio any more: it
    had the scenario without the variant, or all the others of that run without the scenario."""
    drill = last.drill
    others = {one.scenario for one in last.past.drills if one.shoot == drill.shoot} - {drill.scenario}
    for past in pasts[pasts.index(last.past) + 1 :]:
        if not past.run.complete or past.sampled:
            continue
        had = {one.scenario for one in past.drills if one.shoot == drill.shoot}
        if drill.scenario in had or (others and others <= had):
            return True
    return False


def _drill_then(one: _Drilled) -> DrillThen:
    past, drill = one.past, one.drill
    return DrillThen(
        run=past.run.id,
        at=clock.rfc3339(past.at),
        seed=past.run.seed,
        verdict=drill.verdict,
        score=drill.score,
        lost=drill.lost,
        survivable=drill.survivable,
        spot_check=one.is_spot,
    )


def worse_copies(pasts: Sequence[Past], copies: Iterable[Copy]) -> list[WorseCopy]:
    """Return the copies on which more is damaged or missing than the time before, in the studio file's order."""
    series: dict[str, list[_Audited]] = defaultdict(list)
    listed = {copy.id: None if copy.listed is None else len(copy.listed) for copy in copies}
    for past in pasts:
        for one in past.audits:
            known = series[one.copy]
            whole = not past.run.shoots
            if one.reached and (not known or _tells(one, known[-1].audited, listed.get(one.copy), whole=whole)):
                known.append(_Audited(past, one))
    found = []
    for id_ in listed:
        if len(series[id_]) > 1:
            before, last = series[id_][-2:]
            if _damaged(last.audited) > _damaged(before.audited):
                found.append(WorseCopy(id_, _copy_then(before), _copy_then(last)))
    return found


def _tells(one: AuditedCopy, before: AuditedCopy, listed: int | None, *, whole: bool) -> bool:
    """Say whether an audit takes the place of the one before: it found more damage, or it was of all shoots and looked
    at all that was right then (or at all that the copy's list has now)."""
    if _damaged(one) > _damaged(before):
        return True
    judged = one.verified + _damaged(one)
    return whole and not one.not_read and judged >= min(before.verified, before.verified if listed is None else listed)


def _copy_then(one: _Audited) -> CopyThen:
    audited = one.audited
    at = clock.rfc3339(one.past.at)
    return CopyThen(one.past.run.id, at, _damaged(audited), audited.verified, audited.not_read)


def slower_media(rates: Mapping[str, Sequence[MeasuredRate]], *, now: datetime) -> list[SlowerMedium]:
    """Return the media whose last reading was a good part slower than the median of those before, of which there must
    be three, and than these let expect of so many files; what may have come from memory does not count."""
    found = []
    for medium, all_of in rates.items():
        known = [one for one in all_of if not one.maybe_cached and one.took_s >= _SHORTEST_S and one.at <= now]
        known = [one for one in known if one.bytes > 0]
        if len(known) <= FEWEST:
            continue
        *earlier, last = known
        usual_bps = median(map(_bps, earlier))
        fitted = fit([Measurement(one.files, one.bytes, one.took_s) for one in earlier])
        expected_s = fitted.seconds(last.files, last.bytes) if fitted else 0.0
        if _bps(last) < FALLEN_TO * usual_bps and expected_s < FALLEN_TO * last.took_s:
            found.append(SlowerMedium(medium, len(earlier), usual_bps, _bps(last), clock.rfc3339(last.at)))
    return found


def _bps(one: MeasuredRate) -> float:
    return one.bytes / one.took_s


# --- what is due -----------------------------------------------------------------------------------------------------


def due_of(pasts: Sequence[Past], shoots: Iterable[Shoot], *, now: datetime) -> Due:
    """Return when each shoot, and so the next drill, is due: within its target `verified_within`, else in a quarter."""
    drilled: dict[str, datetime] = {}
    for past in pasts:
        drilled |= dict.fromkeys(_really_drilled(past), past.at)
    found = []
    for shoot in shoots:
        target_s = shoot.targets.verified_within_s
        last = drilled.get(shoot.id)
        due = next_due(last, target_s, QUARTER_S if target_s is None else None, now=now)
        every_s = QUARTER_S if target_s is None else target_s
        found.append((due, _due_shoot(shoot.id, last, every_s, due, now=now, is_target=target_s is not None)))
    soonest = min((due for due, _ in found if due is not None), default=None)
    rows = tuple(row for _, row in found)
    if soonest is None:
        return Due(None, None, overdue=False, shoots=rows)
    return Due(clock.rfc3339(soonest), _day(soonest), soonest <= now, rows)


def _due_shoot(
    id_: str, last: datetime | None, every_s: float, due: datetime | None, *, now: datetime, is_target: bool
) -> DueShoot:
    at, last_drilled = (None if when is None else clock.rfc3339(when) for when in (due, last))
    overdue = due is not None and due <= now
    return DueShoot(id_, last_drilled, every_s, is_target, at, None if due is None else _day(due), overdue)


def _day(when: datetime) -> str:
    return when.astimezone().date().isoformat()


def _really_drilled(past: Past) -> set[str]:
    """Return the shoots that a run proved as a whole: it ran to its end, was no spot check, and in one scenario at
    least no file of the shoot stayed on paper."""
    if not past.run.complete or past.sampled:
        return set()
    return {drill.shoot for drill in past.drills if not drill.on_paper}
