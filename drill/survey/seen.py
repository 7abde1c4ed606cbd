"""Seen: every copy when it has been looked at: how it was found, and which promised files it is said to hold.

Flows in: a studio, the moment that counts as now, what the ledger knows. Flows out: for each copy its Seen, for each
promised file its size. No picture is read. Must not know: what is counted of it.
"""

from array import array
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from drill.columns import sizes_of
from drill.copies import LinkSession
from drill.evidence import Standing
from drill.inventory import HOLD, LOOKED_INTO, Disagreement, OtherSize
from drill.ledger import Ledger
from drill.model import Shoot, Studio
from drill.naming import dropping
from drill.places import named_inside
from drill.survey.look import Found, look
from drill.survey.match import NONE, REFUSED, SAID, THERE, Holding, Wanted, hold
from drill.survey.proofs import Proofs
from drill.survey.safe import Safe

_SAID_TO_HOLD = bytes(state in (SAID, THERE) for state in range(256))


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Which copies hold which promised file, all shoots in one row.

    `holds` has for each copy, in the studio file's order, a byte for every file: 1 where the copy is said to hold it,
    or has it, and no reading since has refuted that; `sizes` each file's bytes, -1 where not known; `spans` the files
    of each shoot; `away` the copies that could not be looked into, so that they hold only on paper.
    """

    holds: tuple[bytes, ...]
    sizes: "array[int]"
    spans: dict[str, slice]
    away: tuple[str, ...]


def whereabouts(
    studio: Studio,
    *,
    now: datetime,
    ledger: Ledger | None = None,
    progress: Callable[[str], None] = lambda text: None,
) -> Whereabouts:
    """Find out by lists, listings and the ledger which copies hold what; nothing is written anywhere."""
    wanted = Wanted((shoot.id, shoot.promise) for shoot in studio.shoots)
    proofs, safe = Proofs(ledger, studio.shoots, now=now), Safe(None, now=now)
    looked = look_at_all(studio, wanted, proofs, safe, now=now, progress=progress)
    sizes, _ = sizes_told(wanted, looked)
    return Whereabouts(
        tuple(seen.holds() for seen in looked),
        array("q", (-1 if size is None else size for size in sizes)),
        spans_of(studio.shoots),
        tuple(seen.found.copy.id for seen in looked if seen.found.state != LOOKED_INTO),
    )


@dataclass(frozen=True, slots=True)
class Seen:
    """One copy when it has been looked at: how it was found (its listing let go), and what it holds."""

    found: Found
    holding: Holding
    known: Standing
    files: int | None
    listed: int | None
    headers_kept: bool | None
    is_remembered: bool

    def held(self, span: slice) -> "array[int]":
        """Return the promised files, by number, that it is said to hold of a shoot."""
        states = self.holding.state
        return array("q", [number for number in range(span.start, span.stop) if states[number] in (SAID, THERE)])

    def holds(self) -> bytes:
        """Return a byte for each promised file: 1 where this copy holds it and nothing has refuted that."""
        held = bytearray(self.holding.state.translate(_SAID_TO_HOLD))
        for number in self.known.refuted:
            held[number] = 0
        return bytes(held)


def look_at_all(
    studio: Studio, wanted: Wanted, proofs: Proofs, safe: Safe, *, now: datetime, progress: Callable[[str], None]
) -> list[Seen]:
    seen = []
    with LinkSession() as session:
        for copy in studio.copies:
            progress(f"looking at {copy.id}")
            times = proofs.are_of(copy)
            found = look(copy, studio.media[copy.on], session=session, now=now, times=times)
            kept = safe.holds(found)
            seen.append(_look_at(studio, wanted, found, proofs, headers_kept=kept))
    return seen


def _look_at(studio: Studio, wanted: Wanted, found: Found, proofs: Proofs, *, headers_kept: bool | None) -> Seen:
    copy, known, remembered = found.copy, proofs.standing(found), proofs.remembered(found)
    holds = found.state in HOLD
    root = copy.at.name if copy.at is not None and copy.form == "folder" else ""
    holding = hold(wanted, listed=remembered or copy.listed, entries=found.entries, root=root)
    if not holds:
        holding.state[:] = holding.state.replace(bytes([SAID]), bytes([REFUSED]))
    if holding.extra:
        inside, mark = named_inside(copy, studio), found.medium.recognised_by
        holding.extra[:] = [
            path for path in holding.extra if path != mark and not inside.has(path) and dropping(path) is None
        ]
    files = None if found.entries is None else len(found.entries)
    bare = replace(found, entries=None, opened=None)
    listed = None if copy.listed is None else len(copy.listed)
    return Seen(bare, holding, known, files, listed, headers_kept, bool(remembered))


def sizes_told(wanted: Wanted, looked: Sequence[Seen]) -> tuple[list[int | None], dict[int, Disagreement]]:
    """Return each promised file's size: its promise's, else the one that the listings agree on or most of them have.

    A copy that lists another size is marked; where no size has a majority, the file stands in the second value.
    """
    sizes: list[int | None] = list(sizes_of(wanted.files))
    unclear: dict[int, Disagreement] = {}
    for number, listed in enumerate(zip(*(seen.holding.size for seen in looked), strict=True) if looked else ()):
        found = listed if len(set(listed) - {-1}) < 2 else _nearest_names(number, listed, looked)
        known = set(found)
        known.discard(-1)
        size = sizes[number]
        if not known or (len(known) == 1 and (size is None or size in known)):
            sizes[number] = size if size is not None or not known else known.pop()
            continue
        if size is None:
            (most, count), (_, second) = Counter(found_size for found_size in found if found_size >= 0).most_common(2)
            if count == second:
                by_copy = {seen.found.copy.id: at for seen, at in zip(looked, found, strict=True) if at >= 0}
                unclear[number] = Disagreement(wanted.files[number].path, by_copy)
                continue
            sizes[number] = size = most
        for seen, at in zip(looked, found, strict=True):
            if at >= 0 and at != size and seen.holding.state[number] == THERE:
                seen.holding.note_size(number, OtherSize(wanted.files[number].path, size, at))
    return sizes, unclear


def _nearest_names(number: int, found: tuple[int, ...], looked: Sequence[Seen]) -> tuple[int, ...]:
    """Leave out the sizes of files that share less of the promised path than another copy's do: of a name that is
    promised more than once, they are another file, and that copy is not said to hold this one."""
    depths = [seen.holding.depth.get(number, 0) for seen in looked]
    best = max(depth for depth, size in zip(depths, found, strict=True) if size >= 0)
    right = {size for depth, size in zip(depths, found, strict=True) if depth == best and size >= 0}
    kept = list(found)
    for place, (depth, size) in enumerate(zip(depths, found, strict=True)):
        if size >= 0 and depth < best and size not in right:
            kept[place] = -1
            looked[place].holding.state[number] = NONE
    return tuple(kept)


def spans_of(shoots: Iterable[Shoot]) -> dict[str, slice]:
    spans: dict[str, slice] = {}
    at = 0
    for shoot in shoots:
        spans[shoot.id] = slice(at, at + len(shoot.promise))
        at += len(shoot.promise)
    return spans
