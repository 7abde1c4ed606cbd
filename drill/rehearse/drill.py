"""One drill: one shoot under one stage. Every candidate is tried until the promised bytes have come, or none is left.

Flows in: a shoot with its claims, a stage, the reads of the run. Flows out: Facts, from which the record is made when
the sizes are known. Must not know: terminals, JSON.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drill.coverage import Claim
from drill.model import Entry, Problem, Shoot, Trouble
from drill.record import Unchecked
from drill.rehearse.bench import Bench, Case, readable
from drill.rehearse.by_hand import by_hand
from drill.rehearse.holdings import Holdings
from drill.rehearse.reads import Read
from drill.rehearse.salvaging import salvage_missing
from drill.rehearse.stage import Stage
from drill.restore import Key
from drill.score import Outcome

__all__ = ["Bench", "Case", "Facts", "bring_back", "drill", "whys"]

GONE = " is gone"
LEFT_OUT = "left out of this spot check"


@dataclass(frozen=True, slots=True)
class Facts:
    """What one drill found, before sizes are settled."""

    stage: Stage
    cases: Sequence[Case]
    order: Sequence[str]
    holders: Sequence[frozenset[str]]
    unchecked: Unchecked
    measured_s: float
    whys: Mapping[int, str]  # by the case's number, for what is lost or on paper
    left_out: int = 0  # files that are on paper only because a spot check left them out


def drill(shoot: Shoot, cases: Sequence[Case], order: Sequence[str], *, bench: Bench, holdings: Holdings) -> Facts:
    """Restore one shoot from what the stage leaves. Copies are asked in `order`. Errors: Unfinished."""
    for case in cases:
        if case.left_out:
            case.paper = [*_unread(case, bench), *_on_paper(case, bench)]
    tried = [case for case in cases if not case.paper]
    measured_s = bring_back(tried, order, bench=bench, holdings=holdings)
    _check_touched([case for case in cases if not case.left_out], bench)
    pairs = [(case.file, case.claims) for case in cases if not case.left_out]
    unchecked = by_hand(pairs, shoot=shoot.id, copies=bench.copies, usable=bench.usable, look=bench.look)
    return Facts(
        stage=bench.stage,
        cases=cases,
        order=order,
        holders=[copies for case in cases for copies in _holders(case, bench)],
        unchecked=unchecked,
        measured_s=measured_s,
        whys=whys(cases, bench),
        left_out=sum(case.left_out and any(id_ in bench.usable for id_ in case.paper) for case in cases),
    )


def bring_back(
    cases: Sequence[Case], order: Sequence[str], *, bench: Bench, holdings: Holdings, search: bool = True
) -> float:
    """Restore what can be had of these files, and find who is said to hold the rest; return the seconds that took.

    Without `search` only the files that names or lists lead to are asked for, and nothing is said of the rest.
    Errors: Unfinished.
    """
    took_s = _serve(cases, order, bench)
    if not search:
        return took_s
    took_s += _last_look(cases, bench, holdings)
    took_s += salvage_missing(cases, order, bench)
    for case in cases:
        if not case.is_back:
            case.paper = _on_paper(case, bench)
    return took_s


def whys(cases: Sequence[Case], bench: Bench) -> dict[int, str]:
    """Say of each file that did not come back why not, by its number among the cases."""
    return {n: _why(case, bench) for n, case in enumerate(cases) if case.outcome is not Outcome.VERIFIED}


def _serve(cases: Sequence[Case], order: Sequence[str], bench: Bench) -> float:
    """Try every candidate of every file, file by file the next one after a failure; return the seconds it took."""
    turns = {}
    for number, case in enumerate(cases):
        turns[number] = [
            (id_, entry)
            for id_ in order
            if id_ in bench.usable
            for entry in readable(case.claims.get(id_, ()), bench.usable[id_])
        ]
    counted: dict[tuple[str, Key], float] = {}
    while any(turns.values()):
        for id_ in order:
            batch = {n: turn[0][1] for n, turn in turns.items() if turn and turn[0][0] == id_}
            if not batch:
                continue
            reads = bench.look(id_, batch.values())
            for number, entry in batch.items():
                read = reads[entry.path, entry.index]
                counted[id_, (entry.path, entry.index)] = read.took_s
                turns[number].pop(0)
                if read.gives(cases[number].file):
                    cases[number].served_by, cases[number].read = id_, read
                    turns[number].clear()
    return sum(counted.values())


def _last_look(cases: Sequence[Case], bench: Bench, holdings: Holdings) -> float:
    """Before a file counts as lost, read what lies on copies without a list under a misleading name."""
    took_s = 0.0
    for case in cases:
        if case.served_by is not None:
            continue
        for id_ in bench.usable:
            entries = holdings.unlearned(id_)
            if entries:
                bench.reads.fetch(bench.copies[id_], None, entries)
        claims = holdings.claims(case.file)
        if any(len(claims[id_]) > len(case.claims.get(id_, ())) for id_ in claims):
            case.claims = claims
            took_s += _serve([case], list(claims), bench)
    return took_s


def _unread(case: Case, bench: Bench) -> list[str]:
    """Return the copies that are here, are said to hold the file, and that no fault touches there."""
    return [
        id_
        for id_, faulted in bench.usable.items()
        if any(not faulted.touches(entry) for entry in readable(case.claims.get(id_, ()), faulted))
    ]


def _on_paper(case: Case, bench: Bench) -> list[str]:
    """Return the copies that cannot be reached now and are said to hold the file."""
    found = []
    for id_, claims in case.claims.items():
        if bench.copies[id_].copy.listed is None or id_ not in bench.stage.takes:
            continue
        left = [claim for claim in claims if not bench.stage.takes[id_](claim.path)]
        if id_ in bench.usable:  # it answers, and may give no answer for this very file
            left = [claim for claim in left if _silent(claim, bench.seen.get(id_, {}))]
        elif id_ not in bench.stage.away and id_ not in bench.unreached:
            left = []
        if left:
            found.append(id_)
    return found


def _silent(claim: Claim, seen: Mapping[Key, Read]) -> bool:
    """Say whether a server gave no answer for this very file."""
    read = seen.get((claim.entry.path, claim.entry.index)) if claim.entry else None
    return read is not None and read.problem is not None and read.problem.trouble is Trouble.UNREACHABLE


def _check_touched(cases: Sequence[Case], bench: Bench) -> None:
    """Read every file that a fault touches, served or not, so that no damaged copy counts as one that is left."""
    for id_, faulted in bench.usable.items():
        entries = [
            entry for case in cases for entry in readable(case.claims.get(id_, ()), faulted) if faulted.touches(entry)
        ]
        bench.look(id_, entries)


def _holders(case: Case, bench: Bench) -> list[frozenset[str]]:
    """Return the copies that count for a file after this drill: claimed, still there, not refuted by a read in it.

    A copy that gave the promised bytes past its damage counts; of an archive that is damaged today nothing else does,
    whatever it is said to hold. A file that no copy has whole counts once for each
    stretch of it, with the copies that have it right: each stretch is needed.
    """
    held = set(case.paper if not case.is_back else _on_paper(case, bench))
    if case.salvaged and case.served_by is not None:
        held.add(case.served_by)
    for id_, faulted in bench.usable.items():
        seen = bench.seen.get(id_, {})
        damaged = bool(bench.copies[id_].reason)
        for entry in readable(case.claims.get(id_, ()), faulted):
            read = seen.get((entry.path, entry.index))
            # What a fault touches and nobody read counts for nothing: only a spot check leaves such files.
            if not (faulted.touches(entry) or damaged) if read is None else read.gives(case.file):
                held.add(id_)
                break
    return [piece | held for piece in case.pieces] or [frozenset(held)]


def _why(case: Case, bench: Bench) -> str:
    """Say in plain words, copy by copy, why a file did not come back; what is true of many copies is said once."""
    reasons: list[str] = []
    unread = [id_ for id_ in case.paper if id_ in bench.usable] if case.left_out else []
    if unread:
        reasons.append(f"{LEFT_OUT}; said to be on {', '.join(unread)}")
    absent: list[str] = []
    gone: list[str] = []
    for id_ in bench.copies:
        out = bench.stage.out.get(id_)
        if id_ in unread:
            continue
        if id_ in case.paper:
            away = bench.unreached.get(id_) or bench.copies[id_].reason or "the server does not answer"
            reasons.append(f"said to be on {id_}, which cannot be reached now ({away})")
        elif out is not None and out.endswith(GONE):
            gone.append(out.removesuffix(GONE))
        elif out is not None:
            reasons.append(out)
        elif id_ in bench.refused:
            reasons.append(f"{id_}: {bench.refused[id_]}")
        elif not case.claims.get(id_) or id_ not in bench.usable:
            absent.append(id_)
        else:
            reasons.append(_found_wanting(id_, case, bench))
    if gone:
        reasons.append(f"{', '.join(dict.fromkeys(gone))}{GONE if len(set(gone)) == 1 else ' are gone'}")
    if absent:
        reasons.append(f"not on {', '.join(absent)}")
    return "; ".join(dict.fromkeys(reasons)) or "there is no copy at all"


def _found_wanting(id_: str, case: Case, bench: Bench) -> str:
    """Say what was wrong with each file that a copy offered."""
    entries = readable(case.claims[id_], bench.usable[id_])
    seen = bench.seen.get(id_, {})
    keys = [(entry, (entry.path, entry.index)) for entry in entries]
    reads = [(entry, case.salvages.get((id_, key), seen[key])) for entry, key in keys if key in seen]
    said = [_trouble(id_, entry, read) for entry, read in reads if not read.is_any_of(bench.promised)]
    if reads and not said:
        return f"not on {id_} (what has its name there is another picture)"
    return "; ".join(dict.fromkeys(said)) or f"missing on {id_}"


def _trouble(id_: str, entry: Entry, read: Read) -> str:
    if read.problem is not None and read.problem.trouble is not Trouble.CHECK_VALUE:
        return _say_problem(id_, read.problem)
    if read.finding is not None and read.finding.looks_like_page:
        return f"{id_} gives a web page in place of the file"
    if entry.size is not None and read.size < entry.size:
        return f"cut short on {id_} ({read.size} of {entry.size} bytes)"
    return f"other bytes than promised on {id_}"


def _say_problem(id_: str, problem: Problem) -> str:
    words = {
        Trouble.IO: f"bad sector in {id_}",
        Trouble.DAMAGED: f"damaged on {id_}",
        Trouble.MISSING: f"missing on {id_}",
        Trouble.REFUSED: f"refused by {id_}",
        Trouble.UNREACHABLE: f"{id_} cannot be reached",
        Trouble.UNSUPPORTED: f"on {id_} in a format that cannot be read here",
    }
    return f"{words.get(problem.trouble, f'damaged on {id_}')} ({problem.detail})"
