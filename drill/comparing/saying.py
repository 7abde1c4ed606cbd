"""Saying: what differs between two groups, in a photographer's words.

Flows in: a difference, two names. Flows out: words. Must not know: bytes, who is right.
"""

from drill.comparing.differing import BLOCK, Difference

_MOST_PLACES = 3


def say_difference(difference: Difference, *, one: str, other: str) -> str:
    """Return in words how two groups of these names differ."""
    names = {difference.one: one, difference.other: other}
    if not difference.blocks:
        return f"{one} and {other} are alike wherever both can be read"
    if difference.beginning is not None:
        longer = other if difference.beginning == difference.one else one
        missing = sum(end - max(start, difference.same_until or 0) for start, end in difference.ranges)
        what = f"{missing} bytes, all zeros" if difference.blank_beyond else f"{missing} bytes"
        return f"{names[difference.beginning]} is the beginning of {longer}, with {what} less"
    said = f"{one} and {other} differ at bytes {_places(difference)}"
    said += f" ({_blocks(difference.blocks)} of {BLOCK} bytes)"
    for name, zeroed in zip((one, other), difference.zeroed, strict=True):
        said += f"; {name} has zeros there{_of(zeroed, difference)}" if zeroed else ""
    said += f"; by a single bit{_of(difference.flipped, difference)}" if difference.flipped else ""
    if difference.shorter is not None:
        longer = other if difference.shorter == difference.one else one
        said += f"; {longer} is longer"
    return said


def _places(difference: Difference) -> str:
    shown = ", ".join(f"{start} to {end - 1}" for start, end in difference.ranges[:_MOST_PLACES])
    more = len(difference.ranges) + difference.ranges_left_out - _MOST_PLACES
    return shown + (f" and {more} more place{'s' if more > 1 else ''}" if more > 0 else "")


def _of(count: int, difference: Difference) -> str:
    return "" if count == difference.blocks == 1 else f" in {count} of them"


def _blocks(count: int) -> str:
    return f"{count} block{'' if count == 1 else 's'}"
