"""What a look inside a file without a digest can come to.

Flows in: nothing. Flows out: the nouns of this room. Must not know: formats, files, libraries.
"""

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """What was found: none of these is a proof."""

    OPENS = "opens"  # it decodes from end to end; it may be damaged all the same
    DAMAGED = "damaged"  # its decoder, or its own check value, says so
    CANNOT_CHECK = "cannot_check"  # a kind, or a variant of one, that cannot be judged here
    UNREADABLE = "unreadable"  # its bytes could not be read


@dataclass(frozen=True, slots=True)
class Soundness:
    """One outcome, with the reason, or the limits of the look, in words a photographer understands."""

    outcome: Outcome
    detail: str = ""


def opens(detail: str = "") -> Soundness:
    """Return that it opens."""
    return Soundness(Outcome.OPENS, detail)


def damaged(detail: str) -> Soundness:
    """Return that it is damaged."""
    return Soundness(Outcome.DAMAGED, detail)


def cannot_check(detail: str) -> Soundness:
    """Return that it cannot be judged here."""
    return Soundness(Outcome.CANNOT_CHECK, detail)
