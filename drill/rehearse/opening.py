"""Opening: every copy of a studio as a run finds it, and the order in which copies are asked for a shoot's files.

Flows in: a studio, what the ledger remembers, what is lost for good. Flows out: opened copies; copy ids, best first.
Must not know: verdicts, where restored files go.
"""

from collections.abc import Callable, Container, Mapping, Sequence
from pathlib import Path

from drill.copies import LinkSession
from drill.model import Bus, Studio
from drill.plan import order_copies
from drill.rehearse.drill import Case
from drill.rehearse.memory import Memory
from drill.rehearse.settle import Sizes, size_of
from drill.rehearse.stage import Stage
from drill.shelf import OpenCopy, State, open_copy
from drill.timing import Load, transfer_s


def open_copies(
    studio: Studio,
    *,
    session: LinkSession,
    downloads: Path,
    memory: Memory,
    progress: Callable[[str], None],
    lost: Container[str] = (),
) -> dict[str, OpenCopy]:
    """Open every copy, in the studio file's order; a link to an archive is downloaded whole into `downloads`.

    Copies that are `lost` (by id) are not touched: only what is known of them counts. Errors: Unfinished.
    """
    found: dict[str, OpenCopy] = {}
    for copy in studio.copies:
        medium = studio.media[copy.on]
        if copy.id in lost:
            opened = OpenCopy(copy, medium, State.AWAY, reason="it is lost")
        else:
            progress(f"opening {copy.id}")
            opened = open_copy(copy, medium, session=session, downloads=downloads)
        found[copy.id] = memory.with_remembered(opened)
    return found


def asking_order(
    cases: Sequence[Case], stage: Stage, *, copies: Mapping[str, OpenCopy], sizes: Sizes, buses: Mapping[str, Bus]
) -> list[str]:
    """Return the ids of the copies that a stage leaves, in the order in which they are asked for these files."""

    def cost_s(id_: str, files: int, size: int) -> float:
        medium = copies[id_].medium
        load = Load(medium, files, size, stage.fates[id_].rate_factor)
        return medium.in_hand_after_s + transfer_s(load, buses)

    holders = [frozenset(id_ for id_ in case.claims if id_ not in stage.out) for case in cases]
    return order_copies(holders, [size_of(case, sizes) or 0 for case in cases], cost_s)
