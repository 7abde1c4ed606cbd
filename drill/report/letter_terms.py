"""The small words of a letter: counts, days, kinds of media and sorts of files, as a client reads them.

Flows in: numbers, times in RFC 3339, ids. Flows out: texts. Must not know: what a letter says.
"""

from collections.abc import Sequence

from drill.phrases import in_a_row, many
from drill.proofrecord import DELIVERABLES, EDITS, ORIGINALS, OTHER, Kept
from drill.report.pages.base import say_day, shortened

_MOST_ID = 40
_MOST_NAMED = 4  # shoots or mishaps that are named before they are counted

_SORTS = {
    DELIVERABLES: ("delivered file", "delivered files"),
    ORIGINALS: ("original", "originals"),
    EDITS: ("file of edits", "files of edits"),
    OTHER: ("other file", "other files"),
}
KINDS = {
    "card": ("memory card", "memory cards"),
    "tablet": ("tablet", "tablets"),
    "phone": ("phone", "phones"),
    "computer": ("computer", "computers"),
    "ssd": ("SSD", "SSDs"),
    "hard-disk": ("hard disk", "hard disks"),
    "network-storage": ("network drive", "network drives"),
    "optical": ("optical disc", "optical discs"),
    "tape": ("tape", "tapes"),
    "cloud": ("cloud account", "cloud accounts"),
}


def say_sort(count: int, sort: str) -> str:
    """Say how many files of a sort: 12 originals."""
    return f"{count:,} {_SORTS[sort][count != 1]}"


def say_kept(kept: Kept) -> str:
    """Say on what, and in how many places: 2 hard disks and 1 cloud account, in 3 places."""
    media = in_a_row([f"{count} {KINDS[kind][count != 1]}" for kind, count in kept.kinds.items()])
    return f"{media}, in {many(kept.places, 'place')}"


def say_range(kept: Sequence[Kept]) -> str:
    """Say on how many devices, and in how many places, of several shoots: the least and the most."""
    media, places = sorted(one.media for one in kept), sorted(one.places for one in kept)
    devices = _range(media, "device or account", "devices or accounts")
    return f"{devices}, in {_range(places, 'place', 'places')}"


def _range(counts: Sequence[int], one: str, more: str) -> str:
    low, high = counts[0], counts[-1]
    return many(low, one, more) if low == high else f"{low} to {high} {more}"


def named(names: Sequence[str], *, joint: str = ", ") -> str:
    """Name the first few, and count the others."""
    shown = joint.join(names[:_MOST_NAMED])
    left = len(names) - _MOST_NAMED
    return f"{shown}, and {left} more" if left > 0 else shown


def between(times: Sequence[str]) -> str:
    """Say on which day, or between which."""
    first, last = day_of(min(times)), day_of(max(times))
    return f"on {first}" if first == last else f"between {first} and {last}"


def day_or_never(when: str | None) -> str:
    """Say a day, "never" where there is none."""
    return "never" if when is None else day_of(when)


def day_of(when: str) -> str:
    """Write the day of an RFC 3339 time as UTC has it: 12 Sep 2026."""
    return say_day(when[:10])


def were(count: int) -> str:
    """Return the verb that fits a number."""
    return "was" if count == 1 else "were"


def shown_id(text: str) -> str:
    """Return an id, shortened where it is beyond reading."""
    return shortened(text, _MOST_ID)
