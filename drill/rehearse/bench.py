"""The bench: what one drill of one shoot works with, and each promised file as a case.

Flows in: a stage, opened copies, the reads of the run. Flows out: this drill's reads. Must not know: how files are
matched, verdicts.
"""

from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from drill.coverage import Claim
from drill.extents import Kept
from drill.faults import Faulted
from drill.model import Digest, Entry, Promised
from drill.rehearse.holdings import Claims
from drill.rehearse.parts import Parts
from drill.rehearse.reads import Read, Reads
from drill.rehearse.stage import Stage
from drill.restore import Key
from drill.score import Outcome
from drill.shelf import OpenCopy
from drill.stitching import Version


@dataclass(slots=True)
class Case:
    """One promised file in one drill: who may have it, who gave it, what went wrong on the way.

    What a spot check left out is only read where every copy that is left was touched by a fault. `salvaged`: the copy
    that gave it had to be read past its damage. Where no copy had it whole, it may have been put together: `stitched`
    are then the copies whose bytes were needed, `pieces` for each stretch of it the copies that have it right.
    `versions` are the damaged versions of a file that did not come back, while they lie in scratch. `salvages` are the
    reads of it, by copy and file there, out of archives whose headers could not be used as they are.
    """

    file: Promised
    claims: Claims
    left_out: bool = False
    served_by: str | None = None
    read: Read | None = None
    salvaged: bool = False
    stitched: tuple[str, ...] = ()
    pieces: tuple[frozenset[str], ...] = ()
    versions: tuple[Version, ...] = ()
    salvages: dict[tuple[str, Key], Read] = field(default_factory=dict)
    paper: list[str] = field(default_factory=list)

    @property
    def is_back(self) -> bool:
        """Say whether its promised bytes came."""
        return self.served_by is not None or bool(self.stitched)

    @property
    def outcome(self) -> Outcome:
        """Return what the drill found of this file."""
        if self.is_back:
            return Outcome.VERIFIED
        return Outcome.ON_PAPER if self.paper else Outcome.LOST


class Bench:
    """What a drill works with: the copies, the reads made in this drill so far, and what was learned in the run.

    `kept_of` gives the headers that are kept of an archive, the latest first. `give_up` is told of each file that could
    not be put together either, while its `versions` lie in scratch.
    """

    def __init__(
        self,
        stage: Stage,
        *,
        copies: Mapping[str, OpenCopy],
        reads: Reads,
        unreached: Mapping[str, str],
        refused: Mapping[str, str],
        promised: Container[Digest],
        parts: Parts,
        kept_of: Callable[[str], Sequence[Kept]],
    ) -> None:
        self.stage, self.copies, self.reads, self.promised = stage, copies, reads, promised
        self.parts, self.kept_of = parts, kept_of
        self.keeps_parts = False  # whether a single copy's wrong bytes are wanted, too
        self.give_up: Callable[[Case], None] = lambda case: None
        self.unreached, self.refused = unreached, refused
        self.usable: dict[str, Faulted] = {
            id_: faulted for id_, faulted in stage.usable.items() if id_ not in unreached and id_ not in refused
        }
        self.seen: dict[str, dict[Key, Read]] = {}

    def look(self, id_: str, entries: Iterable[Entry]) -> Mapping[Key, Read]:
        """Return this drill's reads of a copy, after making the ones that are wanted."""
        seen = self.seen.setdefault(id_, {})
        wanted = [entry for entry in entries if (entry.path, entry.index) not in seen]
        if wanted:
            faulted = self.usable[id_]
            seen |= self.reads.fetch(self.copies[id_], faulted, wanted)
        return seen


def readable(claims: Iterable[Claim], faulted: Faulted) -> list[Entry]:
    """Return the files behind claims that are there under a fault."""
    return [claim.entry for claim in claims if claim.entry is not None and not faulted.hides(claim.entry)]
