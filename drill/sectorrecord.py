"""The record of a map: what one unreadable sector of an archive costs. It is all that its report and picture know.

Flows in: numbers and names. Flows out: values and JSON text. Must not know: formats, files, terminals.
"""

import json
from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Any

SCHEMA = "restore-sectors/1"


@dataclass(frozen=True, slots=True)
class Lost:
    """Members lost: to a program that stops at its first error, and at best, between two bounds."""

    stops: int
    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Class:
    """How many sectors cost from `low` to `high` members, counted in the three ways of Lost."""

    low: int
    high: int
    sectors: Lost


@dataclass(frozen=True, slots=True)
class Place:
    """Neighbouring sectors any one of which costs as much: bytes [start, end), what lies there, what is lost.

    `members` is how many members the loss of one or other of the sectors can touch, `first` and `last` name them; with
    a program that stops, `lost` has the costliest. `alike`: how many more places there are of that kind and cost.
    """

    start: int
    end: int
    sectors: int
    what: str
    lost: Lost
    members: int
    first: str
    last: str
    alike: int = 0


@dataclass(frozen=True, slots=True)
class Headers:
    """Headers of one kind: how many, their bytes [first of the first, end of the last), the sectors that they lie in,
    what the loss of the costliest costs. `shared`: a program that stops finds nothing at all without them."""

    what: str
    pieces: int
    start: int
    end: int
    size: int
    sectors: int
    lost: Lost
    shared: bool


@dataclass(frozen=True, slots=True)
class Strip:
    """The archive cut into cells of `cell_sectors` sectors: what a sector of each costs on average, by the two bounds.

    `headers` are the numbers of the cells that hold headers without which a program finds nothing.
    """

    cell_sectors: int
    least: tuple[int, ...]
    most: tuple[int, ...]
    headers: frozenset[int]


@dataclass(frozen=True, slots=True)
class SectorMap:
    """What one unreadable sector of an archive costs, wherever it lies.

    Sizes are bytes. `restarts`: at how many places decoding can begin anew, None where that does not apply. `lost`: the
    members lost, added up over every sector in turn. `runs`: (first sector, how many, members lost by stops, least,
    most), None where there are too many to list. `left_out`: places that cost something and are not among the worst.
    """

    archive: str
    size: int
    sector_size: int
    sectors: int
    members: int
    stream_size: int
    packed_size: int
    restarts: int | None
    encrypted: bool
    kept_elsewhere: bool
    lost: Lost
    classes: tuple[Class, ...]
    worst: tuple[Place, ...]
    left_out: int
    headers: tuple[Headers, ...]
    strip: Strip
    runs: tuple[tuple[int, int, int, int, int], ...] | None
    advice: tuple[str, ...] = ()

    def expected(self) -> tuple[Fraction, Fraction, Fraction]:
        """Return the members lost on average to one bad sector at random: by a program that stops, least, most."""
        over = max(self.sectors, 1)
        return Fraction(self.lost.stops, over), Fraction(self.lost.least, over), Fraction(self.lost.most, over)


def to_json(found: SectorMap) -> dict[str, Any]:
    """Return the map as the documented JSON value."""
    stops, least, most = (float(share) for share in found.expected())
    return {
        "schema": SCHEMA,
        "archive": found.archive,
        "size": found.size,
        "sector_size": found.sector_size,
        "sectors": found.sectors,
        "members": found.members,
        "stream_size": found.stream_size,
        "packed_size": found.packed_size,
        "restarts": found.restarts,
        "encrypted": found.encrypted,
        "headers_kept_elsewhere": found.kept_elsewhere,
        "expected_lost": {"stops": stops, "least": least, "most": most},
        "lost_over_all_sectors": asdict(found.lost),
        "by_members_lost": [{"from": one.low, "to": one.high, **asdict(one.sectors)} for one in found.classes],
        "worst": [asdict(one) for one in found.worst],
        "worst_left_out": found.left_out,
        "headers": [asdict(one) for one in found.headers],
        "map": {**asdict(found.strip), "headers": sorted(found.strip.headers)},
        "runs": found.runs,
        "advice": list(found.advice),
    }


def dump(found: SectorMap) -> str:
    """Return the map as JSON text; names that are no valid Unicode stay escaped."""
    return json.dumps(to_json(found), ensure_ascii=True) + "\n"
