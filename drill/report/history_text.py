"""The history as text: what got worse, what is due, past drills and audits, and what to do first.

Flows in: the record of a history. Flows out: text. Must not know: the ledger, terminals (the width is given).
"""

import math
from collections.abc import Sequence

from drill import clock, units
from drill.historyrecord import DrillThen, DueShoot, History, RunThen, WorseCopy, WorseDrill
from drill.phrases import count_files, many
from drill.report.sections import NOTHING, Paragraph, Section, Table, items, laid_out, paragraphs

DAY_S = 86400.0
MOST_RUNS = 20
MOST_WORSE = 10
_NAMED = 3  # ids that are named before they are counted

NOT_PROVED = (
    "What this does not prove: it is what past drills and audits found, at their time. It reads no copy, and says "
    "nothing of what happened since."
)
NONE_YET = (
    "There is no history yet: no drill and no audit of this studio is in its ledger (one made with --no-ledger leaves "
    "nothing there). The first drill is due now: drill run."
)


def history_text(history: History, *, width: int = 80) -> str:
    """Return the whole report."""
    end = paragraphs(NOT_PROVED) if history.runs else NOTHING
    sections = [paragraphs(verdict(history)), worse(history), first_steps(history), *past_and_due(history), end]
    return laid_out(sections, width=width)


def worse(history: History) -> Section:
    """Return what got worse."""
    return items("What got worse since the time before", _worse(history))


def first_steps(history: History) -> Section:
    """Return what to do about it; before there is a history that is said elsewhere."""
    return items("What to do first", _first_steps(history) if history.runs else [])


def past_and_due(history: History) -> list[Section]:
    """Return what is due and what was done."""
    if not history.runs:
        return [items("To know", history.notes)]
    return [
        _due_table(history),
        _run_table(history.runs),
        items("To know", history.notes),
    ]


def answer(history: History) -> str:
    """Return in a few sentences whether anything got worse, what the last drill and audit found, and what is due."""
    if not history.runs:
        return NONE_YET
    return f"{_worst(history)}{_found_last(history)} {due_words(history)}"


def _worst(history: History) -> str:
    shoots = dict.fromkeys(one.shoot for one in history.worse_drills)
    parts = [f"{_names(list(shoots))} would come back worse"] if shoots else []
    copies = [one.copy for one in history.worse_copies]
    parts += [f"more is damaged or missing on {_names(copies)}"] if copies else []
    slower = [one.medium for one in history.slower_media]
    parts += [f"{_names(slower)} {'was' if len(slower) == 1 else 'were'} read slower than usual"] if slower else []
    if not parts:
        return "Nothing got worse, as far as it was drilled and audited more than once."
    return f"Something got worse since the time before: {', '.join(parts)}. What to do first stands below."


def _found_last(history: History) -> str:
    """Say what the last drill and audit found: what was as bad the time before has not got worse, and is not well."""
    drill, audit = _last_short(history), _last_damage(history)
    said = [f"the last drill fell short in {drill.falling_short} of {many(drill.drills, 'drill')}"] if drill else []
    said += [f"the last audit found {count_files(audit.damaged)} damaged or missing"] if audit else []
    return f" {'And' if history.is_worse else 'But'} {' and '.join(said)}." if said else ""


def _last_short(history: History) -> RunThen | None:
    last = next((run for run in history.runs if run.kind == "drill" and run.drills), None)
    return last if last is not None and last.falling_short else None


def _last_damage(history: History) -> RunThen | None:
    last = next((run for run in history.runs if run.kind == "audit" and run.copies), None)
    return last if last is not None and last.damaged else None


def due_words(history: History) -> str:
    """Return when the next drill is due, in one sentence."""
    due = history.due
    if due.at is None or due.day is None:
        return "No drill is due."
    if not due.overdue:
        away_s = (clock.parse_time(due.at) - clock.parse_time(history.now)).total_seconds()
        return f"The next drill is due on {due.day}, in {many(math.ceil(away_s / DAY_S), 'day')}."
    never = [one.shoot for one in due.shoots if one.last_drilled is None]
    if never:
        return f"A drill is due now: {_names(never)} {'was' if len(never) == 1 else 'were'} never drilled as a whole."
    return f"A drill is overdue since {due.day}."


def verdict(history: History) -> str:
    """Return in a few sentences what was done, what is due and whether anything got worse."""
    if not history.runs:
        return f"{history.studio}: {NONE_YET}"
    kinds = [(sum(run.kind == kind for run in history.runs), kind) for kind in ("drill", "audit", "recovery")]
    done = " and ".join(_runs(number, kind) for number, kind in kinds if number)
    calm = "" if history.is_worse else " Nothing got worse, as far as it was drilled and audited more than once."
    return f"{history.studio}: {done}. Now is {history.now}. {due_words(history)}{calm}{_found_last(history)}"


# --- what got worse --------------------------------------------------------------------------------------------------


def _worse(history: History) -> list[str]:
    said = [_worse_copy(one) for one in history.worse_copies]
    said += [_worse_drill(one) for one in history.worse_drills[:MOST_WORSE]]
    left = len(history.worse_drills) - MOST_WORSE
    said += [f"and {left:,} more scenarios (--json has all of them)"] if left > 0 else []
    for one in history.slower_media:
        last, usual = (f"{units.say_size(round(bps))}/s" for bps in (one.last_bps, one.median_bps))
        said.append(
            f"{one.medium} was read at {last} on {_day(one.last_at)}; the {one.earlier} times before, {usual} was "
            "usual. A slower cable or port does that, and a drive that begins to fail"
        )
    return said


def _worse_drill(one: WorseDrill) -> str:
    then, last = one.before, one.last
    name = f"{one.scenario} ({one.variant})" if one.variant is not None else one.scenario
    said = []
    if last.verdict != then.verdict:
        said.append(f"{last.verdict}, was {then.verdict}")
    if last.lost > then.lost:
        said.append(f"{count_files(last.lost)} lost, {then.lost or 'none'} before")
    if last.score < then.score and not (last.spot_check or then.spot_check):
        said.append(f"score {last.score:.1f}, was {then.score:.1f}")
    if 0 <= last.survivable < then.survivable:
        said.append(f"survives {_failures(last.survivable)} afterwards, was {then.survivable}")
    return f"{one.shoot}, {name}: {'; '.join(said)} ({_times(then, last)})"


def _times(then: DrillThen, last: DrillThen) -> str:
    spot = " by a spot check" if last.spot_check else ""
    lots = "; the two drew by lot differently, which may be a part of it" if then.seed != last.seed else ""
    earlier, later = _apart(then.at, last.at)
    return f"drilled on {later}{spot}, before that on {earlier}{lots}"


def _worse_copy(one: WorseCopy) -> str:
    before, last = one.before, one.last
    told = before.verified + before.damaged
    part = f", when {told:,} were read and {before.not_read:,} were not" if before.not_read else ""
    earlier, later = _apart(before.at, last.at)
    now = f"{count_files(last.damaged)} damaged or missing on {later}"
    return f"{one.copy}: {now}, {before.damaged or 'none'} on {earlier}{part}"


# --- what is due -----------------------------------------------------------------------------------------------------


def _first_steps(history: History) -> list[str]:
    said = [
        f"look at what is damaged on {one.copy}, and where it is intact: drill audit --copy {one.copy}"
        for one in history.worse_copies
    ]
    shoots = list(dict.fromkeys(one.shoot for one in history.worse_drills))
    losing = [id_ for id_ in shoots if any(one.shoot == id_ and one.last.lost for one in history.worse_drills)]
    nearer = [id_ for id_ in shoots if id_ not in losing]
    if losing:
        said.append(f"see what would be lost of {_names(losing)}, and what to do: drill run{_only(losing)}")
    if nearer:
        said.append(f"see why {_names(nearer)} got worse, though no file is lost for it: drill run{_only(nearer)}")
    if not history.worse_drills and (last := _last_short(history)) is not None:
        said.append(f"see what falls short in the last drill, and what to do: drill run{_only(last.shoots)}")
    if not history.worse_copies and _last_damage(history) is not None:
        said.append("look at what is damaged, and where it is intact: drill audit")
    said += [f"bring what is only on {one.medium} to another medium soon" for one in history.slower_media]
    due = [one.shoot for one in history.due.shoots if one.overdue]
    if due and not set(due) <= set(shoots):
        only = "" if len(due) == len(history.due.shoots) else _only(due)
        said.append(f"drill again, with every drive plugged in: drill run{only}")
    return said


def _only(shoots: Sequence[str]) -> str:
    return "".join(f" --shoot {shoot}" for shoot in shoots) if len(shoots) <= _NAMED else ""


def _due_table(history: History) -> Section:
    rows = [_due_row(one) for one in sorted(history.due.shoots, key=lambda one: (one.at is None, one.at or ""))]
    if not rows:
        return NOTHING
    said = (
        "Every: the shoot's target verified_within, else a quarter. ! overdue. A drill counts here when it ran to its "
        "end, was no spot check, and in one scenario at least none of the shoot's files stayed on paper."
    )
    body = Table(["Shoot", "Last drilled", "Every", "Due"], rows, firm=(0,))
    return Section("When each shoot is due", (body, Paragraph(said)))


def _due_row(one: DueShoot) -> list[str]:
    every = units.say_span(one.every_seconds) if one.is_target else "quarter"
    due = "never" if one.at is None else "now" if one.last_drilled is None else str(one.day)
    overdue = one.overdue and one.last_drilled is not None
    last = "never" if one.last_drilled is None else _day(one.last_drilled)
    return [one.shoot, last, every, due + (" !" if overdue else "")]


# --- past runs -------------------------------------------------------------------------------------------------------


def _run_table(runs: Sequence[RunThen]) -> Section:
    rows = [[_minute(run.at), run.kind, _took(run), _scope(run), _result(run)] for run in runs[:MOST_RUNS]]
    left = len(runs) - MOST_RUNS
    earlier = f" {left:,} earlier ones are in --json." if left > 0 else ""
    said = (
        "When: in UTC. Result: the worst verdict of a drill and its score, and how many fall short of the studio "
        f"file's own targets, whatever a test expected of them; the damage that an audit found.{earlier}"
    )
    body = Table(["When", "What", "Took", "Of what", "Result"], rows, firm=(0,))
    return Section("Past drills, audits and recoveries, the newest first", (body, Paragraph(said)))


def _took(run: RunThen) -> str:
    return "-" if run.seconds is None else units.say_span(run.seconds)


def _scope(run: RunThen) -> str:
    if run.kind == "audit":
        said = f"copies: {_names(run.copies)}" if run.copies else "not noted"
        said += f"; not reached: {_names(run.not_reached)}" if run.not_reached else ""
        return said + (f"; {run.not_read:,} files not read" if run.not_read else "")
    if run.kind == "recovery":
        return _names(run.shoots) or "not noted"
    if not run.drills:
        return "not noted"
    spot = ", a spot check" if run.spot_check else ""
    return f"{_names(run.shoots)}, {many(len(run.scenarios), 'scenario')}{spot}"


def _result(run: RunThen) -> str:
    said = []
    if run.worst is not None:
        worst = run.worst
        said.append(f"{worst.verdict} {worst.score:.1f} ({worst.scenario}, {worst.shoot})")
        short = run.falling_short
        said.append(f"{short} of {run.drills} fall{'s' if short == 1 else ''} short" if short else "none falls short")
    if run.copies:
        said.append(f"{count_files(run.damaged)} damaged or missing" if run.damaged else "no damage found")
        said.append(f"{run.verified:,} verified" if run.verified else "nothing verified")
    if run.kind == "recovery" and run.complete:
        said.append("it came to its end")
    if not run.complete:
        is_part = run.kind == "drill" and run.drills > 0 and run.seconds is not None
        said.append("a part: the rest was not drilled" if is_part else "NOT FINISHED")
    return "; ".join(said) or "nothing noted"


def _names(names: Sequence[str]) -> str:
    if len(names) <= _NAMED + 1:
        return ", ".join(names)
    return f"{', '.join(names[:_NAMED])} and {len(names) - _NAMED} more"


def _day(when: str) -> str:
    return when[:10]


def _minute(when: str) -> str:
    return when[:16].replace("T", " ")


def _apart(earlier: str, later: str) -> tuple[str, str]:
    """Write two moments as days, or as fully as it takes to tell them apart."""
    if _day(earlier) != _day(later):
        return _day(earlier), _day(later)
    end = 16 if earlier[:16] != later[:16] else 19
    one, other = (when[:end].replace("T", " ") + " UTC" for when in (earlier, later))
    return one, other


def _failures(number: int) -> str:
    return "no more failure" if not number else f"{number} more failure{'s' if number > 1 else ''}"


def _runs(number: int, kind: str) -> str:
    return many(number, kind) if kind != "recovery" or number == 1 else f"{number:,} recoveries"
