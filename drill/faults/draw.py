"""Draws: a hazard's settings and a seed become places in files. The same seed gives the same places.

Flows in: a hazard, the fault-free listing of a copy, the seed. Flows out: Damage for each file hit.
Must not know: bytes. An archive is one file here: its own.
"""

import random
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate

from drill.faults.aim import Blow
from drill.globs import last_part, matcher
from drill.model import Entry, Hazard

# A link's file has no listed size; a draw takes one and scales the place to the real size when it is known.
ASSUMED_SIZE = 1 << 20


@dataclass(slots=True)
class Damage:
    """What lies over one byte stream: bad sectors, changed bytes, a cut end, every byte replaced."""

    bad: set[tuple[int, int]] = field(default_factory=set)  # (first byte, length)
    changed: dict[int, int] = field(default_factory=dict)  # offset → what is XORed onto the byte, never 0
    scaled_bad: set[tuple[float, int]] = field(default_factory=set)  # (share of the size, sector length)
    scaled_changed: dict[float, int] = field(default_factory=dict)
    keep: list[float | int] = field(default_factory=list)
    veil: str | None = None  # the key of the pad that replaces every byte


def seeded(*parts: object) -> random.Random:
    """Return a random generator that depends on all the parts and nothing else."""
    return random.Random("\x1f".join(str(part) for part in parts))


def add_damage(
    damage: dict[str, Damage],
    blow: Blow,
    *,
    entries: Sequence[Entry],
    origin_entries: Sequence[Entry],
    seed: str,
    worst: tuple[str, int] | None = None,
) -> None:
    """Add what one blow does to the files of a copy (by path). `worst` is (path, sector) where it is asked for."""
    hazard = blow.hazard
    chosen = matching(hazard, entries)
    key = key_of(blow, seed)
    if hazard.effect == "truncated" and hazard.keep is not None:
        for entry in chosen:
            damage.setdefault(entry.path, Damage()).keep.append(hazard.keep)
    elif hazard.effect == "encrypted":
        for entry in chosen:
            damage.setdefault(entry.path, Damage()).veil = f"{key}\x1f{last_part(entry.path)}"
    elif hazard.count is not None:
        _add_drawn(damage, blow, chosen=chosen, drawn_from=matching(hazard, origin_entries) or chosen, key=key)
    elif hazard.sectors == "worst":
        if worst is None:
            return
        path, sector = worst
        damage.setdefault(path, Damage()).bad.add((sector * hazard.sector_size, hazard.sector_size))
    else:
        for entry in chosen:
            here = damage.setdefault(entry.path, Damage())
            for sector in hazard.sectors if isinstance(hazard.sectors, tuple) else ():
                here.bad.add((sector * hazard.sector_size, hazard.sector_size))
            for offset in hazard.offsets or ():
                here.changed.setdefault(offset, _change(key, offset))


def key_of(blow: Blow, seed: str) -> str:
    """Return what a blow's draws depend on: the seed, its place in the scenario, the copy whose draw it shares."""
    return f"{seed}\x1f{blow.number}\x1f{blow.origin}"


def matching(hazard: Hazard, entries: Sequence[Entry]) -> list[Entry]:
    """Return the files that a hazard's globs match; without globs, all."""
    if hazard.files is None:
        return list(entries)
    matches = matcher(hazard.files)
    return [entry for entry in entries if matches(entry.path)]


def _add_drawn(
    damage: dict[str, Damage], blow: Blow, *, chosen: Sequence[Entry], drawn_from: Sequence[Entry], key: str
) -> None:
    hazard = blow.hazard
    here = {entry.path: entry for entry in chosen}
    by_name = {last_part(entry.path): entry for entry in chosen}
    for entry, offset in _draw(drawn_from, hazard.count or 0, seeded(key, "count")):
        target = here.get(entry.path) or by_name.get(last_part(entry.path))
        if target is None:
            continue
        spot = damage.setdefault(target.path, Damage())
        if entry.size is None:
            share = offset / ASSUMED_SIZE
            if hazard.effect == "altered":
                spot.scaled_changed.setdefault(share, _change(key, offset))
            else:
                spot.scaled_bad.add((share, hazard.sector_size))
        elif hazard.effect == "altered":
            spot.changed.setdefault(offset, _change(key, offset))
        else:
            first = offset - offset % hazard.sector_size
            spot.bad.add((first, hazard.sector_size))


def _draw(entries: Sequence[Entry], count: int, rng: random.Random) -> list[tuple[Entry, int]]:
    """Draw `count` different bytes over all the bytes of the entries."""
    sizes = [ASSUMED_SIZE if entry.size is None else entry.size for entry in entries]
    ends = list(accumulate(sizes))
    total = ends[-1] if ends else 0
    found = []
    for place in rng.sample(range(total), min(count, total)):
        number = bisect_right(ends, place)
        found.append((entries[number], place - (ends[number] - sizes[number])))
    return found


def _change(key: str, offset: int) -> int:
    return seeded(key, "change", offset).randrange(1, 256)
