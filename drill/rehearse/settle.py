"""Settling: the facts of a shoot's drills become records once every size that this run can know is known.

Flows in: facts, claims, a studio. Flows out: record.Drill values. Must not know: reading, terminals.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from drill.coverage import listed_size
from drill.further import further_failures
from drill.model import Digest, Shoot, Studio
from drill.record import Drill, FileNote, Sample, Seconds
from drill.rehearse.bench import Case
from drill.rehearse.drill import Facts
from drill.rehearse.spot import sample_of
from drill.sampling import Spot
from drill.score import Outcome, count_bytes, count_classes, count_files, lost_work, score, verdict
from drill.timing import Load, projected_s


@dataclass(frozen=True, slots=True)
class Sizes:
    """Sizes by promised digests: what drills of this run verified, and what the ledger remembers."""

    remembered: Mapping[tuple[Digest, ...], int] = field(default_factory=dict)
    verified: dict[tuple[Digest, ...], int] = field(default_factory=dict)

    def learn(self, facts: Facts) -> None:
        """Note the size of every file that a drill verified."""
        for case in facts.cases:
            if case.read is not None:
                self.verified[case.file.digests] = case.read.size


def size_of(case: Case, sizes: Sizes) -> int | None:
    """Return a promised file's size: from the promise, a verified read, the listings where they agree, the ledger."""
    if case.file.size is not None:
        return case.file.size
    known = sizes.verified.get(case.file.digests)
    if known is None:
        known = listed_size(case.claims)
    return sizes.remembered.get(case.file.digests) if known is None else known


def settle(
    facts: Facts, shoot: Shoot, studio: Studio, *, sizes: Sizes, now: datetime, spot: Spot | None = None
) -> Drill:
    """Make the record of one drill."""
    outcomes = [case.outcome for case in facts.cases]
    known = [size_of(case, sizes) for case in facts.cases]
    files = count_files(outcomes)
    by_class = count_classes([case.file.kind for case in facts.cases], outcomes)
    target_s = shoot.targets.restore_within_s
    took_s = projected_s(_loads(facts, known, studio), studio.buses)
    return Drill(
        scenario=facts.stage.scenario.name,
        variant=facts.stage.variant,
        shoot=shoot.id,
        verdict=verdict(files, projected_s=took_s, target_s=target_s),
        score=score(by_class, studio.weights),
        files=files,
        bytes=count_bytes(known, outcomes),
        by_class=by_class,
        sources=_sources(facts, studio),
        stitched=sum(bool(case.stitched) for case in facts.cases),
        unchecked=facts.unchecked,
        lost_files=_notes(facts, Outcome.LOST),
        on_paper_files=_notes(facts, Outcome.ON_PAPER),
        seconds=Seconds(round(facts.measured_s, 3), round(took_s, 3), target_s),
        lost_work=lost_work(files, shoot, now),
        further_failures=further_failures(facts.holders, studio, shoot.targets.further_failures),
        sample=None if spot is None else _sample(spot, facts),
        salvaged=sum(case.salvaged for case in facts.cases),
    )


def _sample(spot: Spot, facts: Facts) -> Sample:
    chosen = [case for case in facts.cases if not case.left_out]
    not_back = [case for case in facts.cases if case.outcome is not Outcome.VERIFIED]
    return sample_of(
        spot,
        len(facts.cases),
        chosen=len(chosen),
        not_back=sum(case.outcome is not Outcome.VERIFIED for case in chosen),
        left_out=facts.left_out,
        known=len(not_back) - facts.left_out,
    )


def _sources(facts: Facts, studio: Studio) -> dict[str, int]:
    """Count the files that each copy gave, and those put together for which its bytes were needed."""
    served = Counter(case.served_by for case in facts.cases)
    served.update(id_ for case in facts.cases for id_ in case.stitched)
    return {copy.id: served[copy.id] for copy in studio.copies if served[copy.id]}


def _notes(facts: Facts, outcome: Outcome) -> list[FileNote]:
    return [FileNote(c.file.path, facts.whys[n]) for n, c in enumerate(facts.cases) if c.outcome is outcome]


def _loads(facts: Facts, sizes: Sequence[int | None], studio: Studio) -> list[Load]:
    """Return what each copy serves; what is only on paper counts on the best copy that is said to hold it."""
    files: Counter[str] = Counter()
    total: Counter[str] = Counter()
    for case, size in zip(facts.cases, sizes, strict=True):
        paper = [id_ for id_ in facts.order if id_ in case.paper]
        for id_ in case.stitched or ([case.served_by] if case.served_by is not None else paper[:1]):
            files[id_] += 1
            total[id_] += size or 0
    medium_of = {copy.id: studio.media[copy.on] for copy in studio.copies}
    return [Load(medium_of[id_], count, total[id_], facts.stage.fates[id_].rate_factor) for id_, count in files.items()]


def bytes_needed(cases: Sequence[Case], sizes: Sizes) -> int:
    """Return how much room a shoot needs in scratch, as far as sizes are known; where listings disagree, the least."""
    needed = 0
    for case in cases:
        if case.left_out:
            continue
        size = size_of(case, sizes)
        if size is None:
            entries = (claim.entry for found in case.claims.values() for claim in found)
            size = min((e.size for e in entries if e is not None and e.size is not None), default=0)
        needed += size
    return needed
