"""What is missing: where it last was, and what might bring it back.

Flows in: files that did not come back, the bench of the recovery. Flows out: parts of the record. Must not know: files,
terminals, words for people.
"""

from collections.abc import Iterator, Mapping

from drill.coverage import Claim, ListIndex
from drill.model import Entry, Medium, Shoot, Trouble
from drill.recoverrecord import LastSeen, Missing, Way
from drill.rehearse.bench import Bench, Case
from drill.rehearse.reads import Read
from drill.score import Outcome
from drill.shelf import OpenCopy, State

DELIVERED = "deliverables"  # the class of what somebody was sent
_BROKEN = frozenset({Trouble.IO, Trouble.DAMAGED})


def missing(case: Case, why: str, shoot: Shoot, *, bench: Bench, refusing: Mapping[str, ListIndex]) -> Missing:
    """Return what is known of a file that did not come back; `refusing`: the lists of copies that give nothing."""
    seen: list[LastSeen] = []
    ways: dict[Way, None] = {}
    told = {id_: index.claims(case.file) for id_, index in refusing.items()}
    for id_, claims in {**case.claims, **{id_: claims for id_, claims in told.items() if claims}}.items():
        found = bench.copies[id_]
        state = _state(id_, bench)
        reads = [*_reads(claims, id_, bench)] if state == "here" else []
        if reads and all(read.is_any_of(bench.promised) for _, read in reads):
            continue  # what has its name there is another picture
        if reads and all(_is_refused(read) for _, read in reads):
            state = "refuses"
        seen.append(LastSeen(id_, found.copy.on, claims[0].path, state, _detail(id_, state, reads, bench)))
        ways |= dict.fromkeys(_ways(found, state, reads))
    if case.file.kind == DELIVERED and shoot.client:
        ways[Way("client", shoot.client)] = None
    outcome = "on_paper" if case.outcome is Outcome.ON_PAPER else "lost"
    return Missing(case.file.path, case.file.kind, outcome, why, tuple(seen), tuple(ways) or (Way("look", ""),))


def _state(id_: str, bench: Bench) -> str:
    if id_ in bench.stage.out:
        return "refuses" if bench.copies[id_].state is State.REFUSES else "lost"
    if id_ in bench.refused:
        return "refuses"
    return "here" if id_ in bench.usable else "away"


def _reads(claims: list[Claim], id_: str, bench: Bench) -> Iterator[tuple[Entry, Read]]:
    seen = bench.seen.get(id_, {})
    for claim in claims:
        read = seen.get((claim.entry.path, claim.entry.index)) if claim.entry else None
        if claim.entry is not None and read is not None:
            yield claim.entry, read


def _is_refused(read: Read) -> bool:
    return read.problem is not None and read.problem.trouble is Trouble.REFUSED


def _detail(id_: str, state: str, reads: list[tuple[Entry, Read]], bench: Bench) -> str:
    if state == "here" or reads:
        problems = [read.problem.detail for _, read in reads if read.problem is not None]
        return problems[0] if problems else "it has other bytes" if reads else "it is not there any more"
    told = bench.unreached.get(id_) or bench.refused.get(id_) or bench.copies[id_].reason
    return "" if state == "lost" else told


def _ways(found: OpenCopy, state: str, reads: list[tuple[Entry, Read]]) -> Iterator[Way]:
    medium, is_link = found.medium, found.copy.url is not None
    if state == "lost":
        yield _support(medium) if medium.kind == "cloud" else Way("lab", medium.id)
    elif state == "away":
        yield Way("again", found.copy.id) if is_link else Way("plug_in", medium.id)
    elif state == "refuses":
        if found.trouble is Trouble.UNSUPPORTED:
            yield Way("other_program", found.copy.id)
        elif is_link:
            yield _support(medium)
        elif found.trouble in _BROKEN:
            yield Way("lab", medium.id)
    for _, read in reads:
        trouble = read.problem.trouble if read.problem is not None else None
        if trouble is Trouble.UNSUPPORTED:
            yield Way("other_program", found.copy.id)
        elif trouble is Trouble.UNREACHABLE:
            yield Way("again", found.copy.id)
        elif trouble is Trouble.REFUSED and is_link:
            yield _support(medium)
        elif trouble in _BROKEN and not is_link:
            yield Way("lab", medium.id)


def _support(medium: Medium) -> Way:
    return Way("support", medium.account or medium.id)
