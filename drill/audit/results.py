"""Results: what was found on each copy becomes its part of the record.

Flows in: scopes, results by file, proofs. Flows out: CopyResult values. Must not know: how anything is read.
"""

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain

from drill.audit.around import Ranges
from drill.audit.broken import elsewhere, is_broken, may_be_in
from drill.audit.intact import Finder
from drill.audit.judge import (
    Judged,
    Outcomes,
    Results,
    counts_of,
    having,
    judge_listed,
    judge_refusing,
    judge_unlisted,
    sizes_of,
)
from drill.audit.looks import Looks, said_of
from drill.audit.past import Past, Proofs
from drill.audit.promises import Content, Promises
from drill.audit.scope import Scope
from drill.audit.shown import Key
from drill.auditrecord import DAMAGE, OUTCOMES, CopyResult, FileResult, Intact, Sample
from drill.columns import Lazy
from drill.model import Copy, Digest, OtherBytes, Problem, Trouble
from drill.sampling import bad_at_most, estimate, interval
from drill.shelf import State

_TOLD = ("verified", *DAMAGE, "extra")  # outcomes that tell of a drawn file whether it is bad


@dataclass(frozen=True, slots=True)
class Found:
    """What was found out about one copy; `carried` was read by an audit that this one carries on.

    With a confidence `population` is the number of files that the `drawn` ones stand for. `other_bytes` are the names
    of its list that have other bytes there than promised.
    """

    scope: Scope
    past: Past
    results: Results
    carried: frozenset[Key]
    ranges: Mapping[Key, Ranges]
    bytes_read: int
    took_s: float
    population: int | None
    drawn: frozenset[Key]
    looks: Looks
    other_bytes: tuple[OtherBytes, ...] = ()
    headers_kept: bool = False


def copy_results(
    found: Sequence[Found],
    judged: Mapping[str, Sequence[Judged]],
    promises: Promises,
    *,
    proofs: Callable[[Container[Digest]], Proofs],
    copies: Sequence[Copy],
    confidence: Fraction | None,
) -> list[CopyResult]:
    """Return what came of each copy, whose files were judged."""
    opened = [one.scope.found for one in found]
    sought = {each.copy.id: [*having(judged[each.copy.id], DAMAGE), *may_be_in(each, promises)] for each in opened}
    finder = Finder(sought, promises, copies, proofs)
    return [
        replace(
            _result(one, judged[one.scope.found.copy.id], finder, confidence),
            elsewhere=elsewhere(one.scope.found, promises, finder),
        )
        for one in found
    ]


def judge_all(found: Sequence[Found], promises: Promises, *, whole: bool) -> dict[str, Sequence[Judged]]:
    """Return every file's outcome, by copy; without `whole` files that have nothing to do with the shoots asked for are
    left out."""
    has_unlisted = any(one.scope.candidates for one in found)
    earlier = chain.from_iterable(one.past.sizes() for one in found if one.scope.candidates)
    read = ((one.scope, one.results) for one in found)
    sizes = sizes_of(read, promises, earlier) if has_unlisted else {}
    judged = {one.scope.found.copy.id: _judge(one, promises, sizes, whole=whole) for one in found}
    return {one.scope.found.copy.id: _looked(one, _too_many(one, judged[one.scope.found.copy.id])) for one in found}


def _too_many(one: Found, judged: Sequence[Judged]) -> Sequence[Judged]:
    """Leave out of what is extra the files of another copy inside; not one that could not be read."""
    inside = one.scope.inside

    def is_known(item: Judged) -> bool:
        if item.outcome != "extra" or item.entry is None or not inside.has(item.path):
            return False
        return not isinstance(one.results.get((item.entry.path, item.entry.index)), Problem)

    if not (inside.files or inside.folders):
        return judged
    if isinstance(judged, Outcomes):
        judged.rest = [item for item in judged.rest if not is_known(item)]
        return judged
    return [item for item in judged if not is_known(item)]


def _looked(one: Found, judged: Sequence[Judged]) -> Sequence[Judged]:
    """Put what a look came to in the place of "extra"."""
    if not one.looks:
        return judged
    if isinstance(judged, Outcomes):
        judged.rest = _looked(one, judged.rest)
        return judged
    done: list[Judged] = []
    for item in judged:
        look = one.looks.get((item.entry.path, item.entry.index)) if item.entry is not None else None
        if item.outcome == "extra" and look is not None:
            outcome, detail = said_of(look)
            item = replace(item, outcome=outcome, detail=detail)  # noqa: PLW2901
        done.append(item)
    return done


def _judge(one: Found, promises: Promises, sizes: Mapping[Content, int], *, whole: bool) -> Sequence[Judged]:
    scope, state = one.scope, one.scope.found.state
    if state is State.REFUSES:
        problem = Problem(scope.found.trouble or Trouble.REFUSED, scope.found.reason)
        return judge_refusing(scope, problem)
    if scope.found.copy.listed is not None:
        return judge_listed(scope, one.results, reached=state is State.HERE)
    return judge_unlisted(scope, one.results, promises, sizes, known=one.past.digests, was=one.past.before, whole=whole)


def _result(one: Found, judged: Sequence[Judged], finder: Finder, confidence: Fraction | None) -> CopyResult:
    found = one.scope.found
    counts = counts_of(judged)
    verified = (item.entry for item in having(judged, ("verified",)) if item.entry) if one.carried else ()
    return CopyResult(
        copy=found.copy.id,
        medium=found.medium.id,
        reached=found.state is not State.AWAY,
        counts={outcome: counts[outcome] for outcome in OUTCOMES},
        bytes_read=one.bytes_read,
        seconds=round(one.took_s, 3),
        files=Told(one, having(judged, OUTCOMES[1:]), finder),
        reason=found.reason,
        refuses=found.state is State.REFUSES,
        continued=sum((entry.path, entry.index) in one.carried for entry in verified),
        unlisted=found.unlisted,
        sample=_sample(one, judged, confidence),
        other_bytes=one.other_bytes,
        is_archive=found.is_archive,
        has_list=found.copy.listed is not None,
        is_broken=is_broken(found),
        headers_kept=one.headers_kept,
    )


class Told(Lazy[FileResult]):
    """The files of a copy that are not verified, each made when it is asked for."""

    __slots__ = ("_finder", "_found", "_judged")

    def __init__(self, found: Found, judged: Sequence[Judged], finder: Finder) -> None:
        self._found, self._judged, self._finder = found, judged, finder

    def __len__(self) -> int:
        return len(self._judged)

    def at(self, number: int) -> FileResult:
        return _file(self._found, self._judged[number], self._finder)


def _file(one: Found, item: Judged, finder: Finder) -> FileResult:
    intact: tuple[Intact, ...] = ()
    detail = item.detail
    if item.outcome in DAMAGE:
        intact = finder.places(one.scope.found.copy.id, item)
        here = next((place for place in intact if place.copy == one.scope.found.copy.id), None)
        if item.outcome == "missing" and here is not None:
            what = "what is promised under that name is" if here.by_name else "the same bytes are"
            detail = f"not there; {what} at {here.path}"
    ranges = one.ranges.get((item.entry.path, item.entry.index), ()) if item.entry is not None else ()
    return FileResult(item.path, item.outcome, detail, ranges, intact)


def _sample(one: Found, judged: Sequence[Judged], confidence: Fraction | None) -> Sample | None:
    """Return what a spot check shows; drawn files that could not be judged are not counted as read."""
    if confidence is None or not one.population:
        return None
    told = [
        item
        for item in having(judged, _TOLD)
        if item.entry is not None and (item.entry.path, item.entry.index) in one.drawn
    ]
    bad, read, files = sum(item.outcome in DAMAGE for item in told), len(told), one.population
    low, high = interval(files, read, bad, confidence=confidence)
    return Sample(
        files=files,
        sampled=read,
        bad=bad,
        confidence=float(confidence),
        bad_at_most=bad_at_most(files, read, bad, confidence=confidence),
        estimate=estimate(files, read, bad) if read else 0,
        low=low,
        high=high,
    )
