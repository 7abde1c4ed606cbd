"""Opening: every copy of a studio as a run finds it, and the order in which copies are asked for a shoot's files.

Flows in: a studio, what the ledger remembers, the headers kept beside it, what is lost for good. Flows out: opened
copies; copy ids, best first. Must not know: verdicts, where restored files go. An archive whose own headers cannot be
read any more is opened by those that were kept, or by what a salvage can name in it.
"""

from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from drill.copies import LinkSession, archive_view
from drill.coverage import kinds_of
from drill.errors import CannotReach, CannotRead
from drill.extents import Kept
from drill.insurance import Held, insure, kept_headers, lost_since, named_by
from drill.model import Bus, Entry, Studio, Trouble
from drill.plan import order_copies
from drill.rehearse.bench import Case
from drill.rehearse.holdings import Holdings
from drill.rehearse.memory import Memory
from drill.rehearse.parts import Parts
from drill.rehearse.reads import Reads
from drill.rehearse.settle import Sizes, size_of
from drill.rehearse.stage import Stage
from drill.salvage import salvage_entries
from drill.shelf import OpenCopy, State, open_copy
from drill.timing import Load, transfer_s


class Headers:
    """The headers of archives as a run finds and uses them, in a folder beside the ledger; None: neither kept nor used.

    `warnings` says what was in the way, and which kept files are damaged.
    """

    def __init__(self, folder: Path | None, *, now: datetime) -> None:
        self._folder, self._now = folder, now
        self._known: dict[str, Held] = {}
        self.warnings: list[str] = []

    def keep(self, found: OpenCopy) -> OpenCopy:
        """Keep the headers of an archive that opened in good health; name what only its kept headers name any more."""
        if self._folder is None or not found.is_archive or found.state is not State.HERE:
            return found
        lost = lost_since(found, self._held(found.copy.id))
        if lost:
            less = f"its own headers name {len(lost)} files less than when they were kept; these are looked for"
            reason = f"{found.reason}; {less}" if found.reason else less
            return replace(found, entries=(*found.entries, *lost), reason=reason)
        said = insure(found, self._folder, now=self._now)
        self.warnings += [said] if said else []
        self._known.pop(found.copy.id, None)
        return found

    def with_named(self, found: OpenCopy) -> OpenCopy:
        """Count what kept headers name in an archive that cannot be reached and of which nothing else is known: names
        prove nothing, and tell which drive to look for."""
        if found.state is not State.AWAY or found.copy.listed is not None or not found.is_archive:
            return found
        return replace(found, named=len(named_by(found.copy, self.of(found.copy.id))))

    def of(self, id_: str) -> Sequence[Kept]:
        """Return what is kept of a copy's headers, the latest first."""
        return self._held(id_).headers

    def _held(self, id_: str) -> Held:
        if id_ not in self._known and self._folder is not None:
            self._known[id_] = held = kept_headers(id_, self._folder)
            self.warnings += held.warnings
        return self._known.get(id_, Held())


def open_copies(
    studio: Studio,
    *,
    session: LinkSession,
    downloads: Path,
    memory: Memory,
    progress: Callable[[str], None],
    lost: Container[str] = (),
    headers: Headers | None = None,
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
            opened = opened if headers is None else headers.keep(opened)
            opened = past_damage(opened, () if headers is None or opened.damaged is None else headers.of(copy.id))
        remembered = memory.with_remembered(opened)
        found[copy.id] = remembered if headers is None else headers.with_named(remembered)
    return found


@dataclass(frozen=True, slots=True)
class Opened:
    """A studio's copies as a run found them: their sizes as far as they are known, what they hold, what reads them."""

    copies: dict[str, OpenCopy]
    sizes: Sizes
    holdings: Holdings
    reads: Reads
    parts: Parts


def open_studio(
    studio: Studio,
    *,
    session: LinkSession,
    downloads: Path,
    reading: Path,
    flusher: Executor,
    memory: Memory,
    headers: Headers,
    progress: Callable[[str], None],
    keep: bool = False,
    lost: Container[str] = (),
) -> Opened:
    """Open every copy as `open_copies` does, with what the ledger knows of it; it is read by way of folder `reading`.

    With `keep` what is read stays there. Errors: Unfinished, Mistakes (the ledger).
    """
    copies = open_copies(
        studio,
        session=session,
        downloads=downloads,
        memory=memory,
        progress=progress,
        lost=lost,
        headers=headers,
    )
    memory.look_up(copies)
    promises = [file for shoot in studio.shoots for file in shoot.promise]
    holdings = Holdings(copies, promises)
    for found in copies.values():
        for entry, digests in memory.learned(found):
            holdings.learn(found, entry, digests)
    kinds = sorted(kinds_of(promises))
    reads = Reads(reading, kinds=kinds, flusher=flusher, keep=keep, promised=holdings.promised)
    return Opened(copies, Sizes(memory.sizes()), holdings, reads, Parts(reads))


def past_damage(found: OpenCopy, kept: Sequence[Kept]) -> OpenCopy:
    """Return an archive that cannot be listed with what a salvage names in it, if anything; any other as it is.

    No ordinary read brings anything out of it; the reason says so.
    """
    copy = found.copy
    wrong_password = found.trouble is Trouble.REFUSED and copy.password is None
    if found.damaged is None or copy.archive is None or found.trouble is Trouble.UNSUPPORTED or wrong_password:
        return found
    entries, by_kept = next(_named(found, kept), ((), False))
    if not entries:
        return found
    how = "by the headers that were kept of it" if by_kept else "without its headers"
    reason = f"{found.reason}; {len(entries)} files in it are looked for {how}"
    view = archive_view(found.damaged, copy.archive, copy.password)
    return replace(
        found, state=State.HERE, reason=reason, store=found.damaged, view=view, entries=entries, trouble=None
    )


def _named(found: OpenCopy, kept: Sequence[Kept]) -> Iterator[tuple[tuple[Entry, ...], bool]]:
    assert found.damaged is not None and found.copy.archive is not None
    for headers in (*kept, None):
        try:
            entries = salvage_entries(found.damaged, found.copy.archive, found.copy.password, kept=headers)
        except (CannotReach, CannotRead):
            continue
        if entries:
            yield tuple(entries), headers is not None


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
