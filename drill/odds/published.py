"""How often things happen in a year, and who says so.

Flows in: a studio. Flows out: a rate and its source for each event that can happen there. Must not know: what an event
does. The studio's own figures (`fails_per_year`, `[risks]`) come first. Of the rest few are published, and none for a
photographer's things: what a source says is told apart from what is assumed. Low and high are the middle ÷ and ×
`spread`, of all rates alike: nobody's rate is known better than that.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from drill.model import Medium, Risks, Studio
from drill.odds.blows import blows

LEVELS = ("low", "middle", "high")
SPREAD = 3.0  # assumed; the published annual replacement rates of disks lie that far apart: under 1 % to 13 %
_OWN = "the studio file"
_ASSUMED = "assumed, no source"
_DISKS = "disks in use: 2-4 % replaced a year is common, up to 13 % (Schroeder & Gibson, FAST 2007)"

# Per year and medium. Seen: the pages of FAST 2007, an account of FAST 2016, two of the study of laptops.
_FAILS: Mapping[str, tuple[float, str]] = {
    "hard-disk": (0.03, _DISKS),
    "network-storage": (0.03, f"assumed as one disk; {_DISKS}"),
    "ssd": (
        0.015,
        "assumed half a disk's: flash drives are replaced less often (Schroeder, Lagisetty & Merchant, FAST 2016)",
    ),
    "computer": (
        0.05,
        "assumed: 20.4 % of laptops break in three years (a warranty seller's 30,000, 2009), not always with the drive",
    ),
    "tablet": (0.05, _ASSUMED),
    "phone": (0.05, _ASSUMED),
    "card": (0.02, _ASSUMED),
    "optical": (0.01, _ASSUMED),
    "tape": (0.01, _ASSUMED),
    "cloud": (0.001, f"{_ASSUMED}; losing the account is counted apart"),
}

THEFT = (0.05, _ASSUMED)
# Seen: 1/310 = 0.0032 of fire (an account of the report); burglary 0.0276 a year, attempts among them; of the completed
# ones 34 % take electronics or an appliance (the highlights of Bureau of Justice Statistics, Household Burglary,
# 1994-2011): less than 0.0094, of which a fifth is assumed to take all that is there.
FIRE = (
    0.005,
    "one home in 310 has a fire in a year (NFPA, Home Structure Fires, 2005-2009); the rest, for burglary, is assumed",
)
LOCKOUT = (0.01, _ASSUMED)
DELETION = (0.02, _ASSUMED)
ATTACK = (0.01, _ASSUMED)
# Seen: the abstract, and the share in accounts of it: 3.45 % in 32 months = 1.3 % a year. These were sectors that
# cannot be read; for bytes that change and are read without an error no source was found. A shoot is only part of a
# disk, other faults come on top.
ROT = (
    0.01,
    "assumed of any medium: 3.45 % of 1.53 million disks had sectors that could not be read, which nobody knew of, in "
    "32 months (Bairavasundaram et al., SIGMETRICS 2007, by accounts of it)",
)


@dataclass(frozen=True, slots=True)
class Rates:
    """How often each event happens in a year (mean of a Poisson process), and the source of each figure, by its
    name."""

    per_year: Mapping[str, float]
    sources: Mapping[str, str]


def rates(studio: Studio, level: str = "middle") -> Rates:
    """Return the rates of all that can happen in a studio, per year; `level` is one of LEVELS.

    Errors: ValueError for another level.
    """
    if level not in LEVELS:
        raise ValueError(f"no level {level!r}: {', '.join(LEVELS)}")
    risks = studio.scheme.risks if studio.scheme else Risks()
    spread = SPREAD if risks.spread is None else risks.spread
    factor = spread ** (LEVELS.index(level) - 1)
    found = _middle(studio, risks)
    return Rates(
        {event: rate * factor for event, (rate, _) in found.items()},
        {event: source for event, (_, source) in found.items()},
    )


def without(of: Rates, event: str) -> Rates:
    """Return the same rates in a world where an event never happens."""
    return replace(of, per_year={**of.per_year, event: 0.0})


def _middle(studio: Studio, risks: Risks) -> dict[str, tuple[float, str]]:
    """Return the rate and source of each event that hits something when nobody is away: then most can be hit."""
    given = {
        "account": _own(risks.lockout, LOCKOUT),
        "deleted": _own(risks.deletion, DELETION),
        "attack": _own(risks.attack, ATTACK),
        "rot": _own(risks.rot, ROT),
    }
    carried = {m.place for m in studio.media.values() if m.carried}
    found: dict[str, tuple[float, str]] = {}
    for event in blows(studio, away=False):
        what, _, name = event.partition(":")
        if what == "medium":
            found[event] = _fails(studio.media[name])
        elif what == "place":
            found[event] = _own(risks.theft, THEFT) if name in carried else _own(risks.fire, FIRE)
        else:
            found[event] = given[what]
    return found


def _fails(medium: Medium) -> tuple[float, str]:
    return _own(medium.fails_per_year, _FAILS[medium.kind])


def _own(given: float | None, default: tuple[float, str]) -> tuple[float, str]:
    return default if given is None else (given, _OWN)
