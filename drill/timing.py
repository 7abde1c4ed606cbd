"""Restore time: what a restore plan is projected to take on the studio's own media.

Flows in: how many files and bytes each copy serves, rates from the studio file. Flows out: seconds. Each medium needs
`in_hand_after` from the start, then files × `per_file` + bytes ÷ rate; a bus caps the rate of the media on it; one
medium is read at a time, the one that is in hand first goes first. Must not know: how anything is read. Rates that
nobody gave are a kind's default: round figures below the ceilings of their usual connections (SD UHS-I 104 MB/s, USB
2.0 53 MB/s, Gigabit Ethernet 118 MB/s: published bus figures), from memory, and marked as assumed.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from drill.model import Bus, Medium

DEFAULT_BPS = {
    "card": 80e6,
    "tablet": 40e6,
    "phone": 40e6,
    "computer": 100e6,
    "ssd": 400e6,
    "hard-disk": 120e6,
    "network-storage": 80e6,
    "optical": 20e6,
    "tape": 100e6,
    "cloud": 10e6,
}
DEFAULT_PER_FILE_S = {"cloud": 0.2, "optical": 0.1, "tape": 0.05, "hard-disk": 0.01, "network-storage": 0.01}
_OTHER_PER_FILE_S = 0.005

# What the usual connection of a kind carries at most, in bytes a second. Another connection may carry more.
_SD = (985e6, "SD Express, the fastest SD bus", "SD bus modes, 985 MB/s")
_SATA = (600e6, "SATA III", "6 Gb/s, 8b/10b")
_USB = (10e9 * 128 / 132 / 8, "USB 3.2 Gen 2", "10 Gb/s, 128b/132b")
_ETHERNET = (1e9 * 1460 / 1538 / 8, "Gigabit Ethernet", "1460 of 1538 wire bytes, MTU 1500")
_CEILINGS = {
    "card": _SD,
    "hard-disk": _SATA,
    "ssd": _USB,
    "tablet": _USB,
    "phone": _USB,
    "network-storage": _ETHERNET,
    "cloud": _ETHERNET,
}


@dataclass(frozen=True, slots=True)
class Load:
    """What one copy serves of a plan: its medium, files, bytes, and the factor a hazard puts on the rate."""

    medium: Medium
    files: int
    bytes: int
    rate_factor: float = 1.0


def rate_bps(medium: Medium, buses: Mapping[str, Bus], factor: float = 1.0) -> float:
    """Return a medium's rate in bytes a second: its own, times what a hazard leaves of it, under its bus."""
    rate = (medium.reads_at_bps or DEFAULT_BPS[medium.kind]) * factor
    return min(rate, buses[medium.bus].carries_bps) if medium.bus else rate


def per_file_s(medium: Medium) -> float:
    """Return the time each file costs beside its bytes, in seconds."""
    if medium.per_file_s is not None:
        return medium.per_file_s
    return DEFAULT_PER_FILE_S.get(medium.kind, _OTHER_PER_FILE_S)


def transfer_s(load: Load, buses: Mapping[str, Bus]) -> float:
    """Return how long a load takes once its medium is in hand, in seconds."""
    rate = rate_bps(load.medium, buses, load.rate_factor)
    return load.files * per_file_s(load.medium) + load.bytes / rate


def projected_s(loads: Iterable[Load], buses: Mapping[str, Bus]) -> float:
    """Return how long all the loads take together, one medium at a time, in seconds."""
    busy_s: dict[str, float] = defaultdict(float)
    in_hand_s: dict[str, float] = {}
    for load in loads:
        if load.files:
            busy_s[load.medium.id] += transfer_s(load, buses)
            in_hand_s[load.medium.id] = load.medium.in_hand_after_s
    clock_s = 0.0
    for id_ in sorted(busy_s, key=lambda id_: (in_hand_s[id_], id_)):
        clock_s = max(clock_s, in_hand_s[id_]) + busy_s[id_]
    return clock_s


def ceiling(medium: Medium, buses: Mapping[str, Bus]) -> Sequence[tuple[float, str, str]]:
    """Return the limits that a medium's `reads_at` is above: (bytes a second, of what, source)."""
    rate = medium.reads_at_bps
    if rate is None:
        return []
    limits = [_CEILINGS[medium.kind]] if medium.kind in _CEILINGS else []
    if medium.bus is not None:
        limits.append((buses[medium.bus].carries_bps, f"its bus {medium.bus}", "the studio file"))
    return [limit for limit in limits if rate > limit[0]]
