"""The record of a run: one plain value, the JSON of `drill run`. It is all that reports know.

Flows in: numbers and names from the conductors. Flows out: values and JSON text. Must not know: views, faults,
terminals.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from drill.model import ProofAges

SCHEMA = "restore-drill/1"
VERDICTS = ("lost", "partial", "unproven", "late", "restored")  # the worst first


@dataclass(frozen=True, slots=True)
class Count:
    """Promised files or bytes, split without a rest: promised = verified + on_paper + lost."""

    promised: int
    verified: int
    on_paper: int
    lost: int


@dataclass(frozen=True, slots=True)
class ByteCount:
    """Bytes as `Count`, and how many files of unknown size counted 0."""

    promised: int
    verified: int
    on_paper: int
    lost: int
    unknown_files: int


@dataclass(frozen=True, slots=True)
class FileNote:
    """One promised file that did not come back, and why."""

    path: str
    why: str


@dataclass(frozen=True, slots=True)
class Unchecked:
    """What a restore by hand brings back, in files."""

    right: int
    silently_wrong: int
    failed: int


@dataclass(frozen=True, slots=True)
class Seconds:
    """What the reads and writes of this drill took, what the real restore is projected to take, and the target."""

    measured: float
    projected: float
    target: float | None


@dataclass(frozen=True, slots=True)
class LostWork:
    """How far back lost work reaches."""

    oldest_lost: str | None
    target_seconds: float | None
    met: bool


@dataclass(frozen=True, slots=True)
class FurtherFailures:
    """How many more failures are survivable, the target, and the smallest sets that are not."""

    survivable: int
    target: int | None
    weakest: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Sample:
    """What a spot check shows of a shoot: the files chosen for restoring, how many of these did not come back, and how
    many others stayed on paper only because they were left out.

    Drawn by chance, at that `confidence` at most `not_back_at_most` files of the whole shoot would not come back; None
    where the files were chosen by a budget, which says nothing of the others.
    """

    chosen: int
    not_back: int
    left_out: int
    confidence: float | None
    not_back_at_most: int | None


@dataclass(frozen=True, slots=True)
class Drill:
    """The result of one scenario (and variant) for one shoot. `sample` is None where every file was tried.

    `salvaged`, for people alone, counts the files that one copy gave only past its damage; `stitched` those that were
    put together from several.
    """

    scenario: str
    variant: str | None
    shoot: str
    verdict: str
    score: float
    files: Count
    bytes: ByteCount
    by_class: Mapping[str, Count]
    sources: Mapping[str, int]
    stitched: int
    unchecked: Unchecked
    lost_files: Sequence[FileNote]
    on_paper_files: Sequence[FileNote]
    seconds: Seconds
    lost_work: LostWork
    further_failures: FurtherFailures
    sample: Sample | None = None
    salvaged: int = 0

    @property
    def falls_short(self) -> bool:
        """Say whether this drill is anything but restored with every target met."""
        further = self.further_failures
        short_of_failures = further.target is not None and further.survivable < further.target
        return self.verdict != "restored" or short_of_failures  # lost work too is a verdict other than restored


@dataclass(frozen=True, slots=True)
class Mend:
    """A copy with wrong files today: those of its files that it fails to give, and those that come with other bytes.

    `source` is the copy that has most of them: `right` were read there in this run and are, `said` were not read.
    """

    copy: str
    failed: int
    other: int
    source: str | None
    right: int
    said: int
    is_archive: bool


@dataclass(frozen=True, slots=True)
class Run:
    """A whole run. `findings` (what is wrong on the copies today), `mends` (on which copies, and who could give it
    anew), `notes` (what could not be reached or matched, which rates are assumed) and `ages` (how old the proofs are)
    are for people."""

    studio: str
    started: str
    now: str
    seed: int
    complete: bool
    not_applicable: tuple[str, ...]
    drills: tuple[Drill, ...]
    titles: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[str, ...] = ()
    mends: tuple[Mend, ...] = ()
    notes: tuple[str, ...] = ()
    ages: tuple[ProofAges, ...] = ()
    unfinished: str | None = None


_PARTS: dict[str, type[Any]] = {
    "files": Count,
    "bytes": ByteCount,
    "unchecked": Unchecked,
    "seconds": Seconds,
    "lost_work": LostWork,
}


def to_json(run: Run) -> dict[str, Any]:
    """Return the run as the documented JSON value."""
    return {
        "schema": SCHEMA,
        "studio": run.studio,
        "started": run.started,
        "now": run.now,
        "seed": run.seed,
        "complete": run.complete,
        "not_applicable": list(run.not_applicable),
        "drills": [drill_to_json(drill) for drill in run.drills],
    }


def dump(run: Run) -> str:
    """Return the run as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(run), indent=1, ensure_ascii=True) + "\n"


def drill_to_json(drill: Drill) -> dict[str, Any]:
    """Return one drill as the documented JSON value."""
    found: dict[str, Any] = _plain(asdict(drill))
    del found["salvaged"]
    if drill.sample is None:
        del found["sample"]
    return found


def drill_from_json(value: Mapping[str, Any]) -> Drill:
    """Return the drill that `drill_to_json` made this value of; what is for people alone is not in it."""
    parts: dict[str, Any] = dict(value)
    parts |= {key: kind(**value[key]) for key, kind in _PARTS.items()}
    parts |= {key: tuple(FileNote(**note) for note in value[key]) for key in ("lost_files", "on_paper_files")}
    further = value["further_failures"]
    parts["further_failures"] = FurtherFailures(
        further["survivable"], further["target"], tuple(tuple(events) for events in further["weakest"])
    )
    parts["by_class"] = {kind: Count(**count) for kind, count in value["by_class"].items()}
    parts["sample"] = Sample(**value["sample"]) if "sample" in value else None
    return Drill(**parts)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
