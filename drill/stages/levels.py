"""The levels that people quote, held against a scheme: met or not, from when in a shoot's life on, and why.

Flows in: the spans of a life, its studio. Flows out: one Level for each row. Must not know: terminals, odds.

Sources. Three copies, two kinds, one off-site: P. Ruggiero and M. A. Heckathorn, *Data Backup Options*, US-CERT, 2012.
NDSA Levels of Digital Preservation: version 1 (2013), rows "storage and geographic location" and "file fixity and data
integrity"; version 2.0 (2019), rows "storage" and "integrity". A level asks for the lower ones of its row too.

Honest about what a scheme does not tell: a level whose other parts are met and that asks for more is neither met nor
missed (None), and `why` says what is left to find out. Whether two places face the same disaster nobody can tell from
a studio file: all places that are off-site are taken as one threat, all others as another. What one person carries,
in however many bags, is in one location. What is met for a while only, and no more as the first year ends, is not met.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from drill.model import Studio
from drill.phrases import many
from drill.stages.exposure import first_year, met
from drill.stages.facts import facts
from drill.stages.ground import Facts, Ground, ground
from drill.timeline import Span

US_CERT = "P. Ruggiero and M. A. Heckathorn, Data Backup Options, US-CERT, 2012"
NDSA_1 = "NDSA Levels of Digital Preservation, version 1, 2013"
NDSA_2 = "NDSA Levels of Digital Preservation, version 2.0, 2019"
_FLASH = frozenset({"card", "ssd", "tablet", "phone"})


@dataclass(frozen=True, slots=True)
class Level:
    """One row of a set of levels: met, not met, or None where all that a scheme tells is met and it asks for more.

    `since` is the moment from which all that can be told is so for good; None where it never is.
    """

    name: str
    row: str
    met: bool | None
    since: datetime | None
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class _Stage:
    """What levels are judged by; `in_rhythm`: each copy off the card is verified, and a step does so again and again;
    `flash`: all copies are on flash memory, whatever the kinds are called."""

    has: Facts
    in_rhythm: bool
    flash: bool


@dataclass(frozen=True, slots=True)
class _Part:
    """A part that a scheme tells: whether a stage has it, and the words for one that has not."""

    holds: Callable[[_Stage], bool]
    lacking: str


@dataclass(frozen=True, slots=True)
class _Row:
    name: str
    row: str
    parts: tuple[_Part, ...]
    untold: tuple[str, ...] = ()


_TWO_COPIES = _Part(lambda at: at.has.copies >= 2, "fewer than two copies")
_THREE_COPIES = _Part(lambda at: at.has.copies >= 3, "fewer than three copies")
_TWO_KINDS = _Part(lambda at: at.has.kinds >= 2, "only one kind of media")
_TWO_PLACES = _Part(lambda at: at.has.locations >= 2, "all copies are in one place, or carried by one person")
_OFFSITE = _Part(
    lambda at: at.has.offsite >= 1 and at.has.locations >= 2, "no copy is off-site beside another elsewhere"
)
_TWO_OFFSITE = _Part(
    lambda at: at.has.offsite >= 2 and at.has.locations >= 3, "fewer than two off-site places beside another"
)
_OFF_CARD = _Part(lambda at: at.has.off_card >= 1, "nothing but what the camera wrote to")
_VERIFIED = _Part(lambda at: at.has.verified >= 1, "no copy is ever compared with its list")
_ALL_VERIFIED = _Part(
    lambda at: at.has.off_card >= 1 and at.has.unproven == 0, "a copy is kept that was never compared with its list"
)
_IN_RHYTHM = _Part(lambda at: at.in_rhythm, "not every copy is compared with its list again and again")

_THREAT = "whether the off-site place faces other disasters than the rest: all off-site places are taken as one threat"
_THREATS = "whether three places face three different disasters: all off-site places are taken as one threat"
_OBSOLETE = "whether ageing media and connections are watched"
_DOCUMENT = "whether what is needed to use the media is written down; a studio file with its `needs` is a beginning"
_BLOCKER = "whether cards are read where nothing can write to them"
_VIRUS = "whether the files are checked for viruses"
_REPAIR = "whether what is found damaged is replaced"
_EVENTS = "whether copies are also checked after something has happened to them"

_US_CERT = (
    _Row("3-2-1", "three copies", (_THREE_COPIES,)),
    _Row("3-2-1", "two kinds of media", (_TWO_KINDS,)),
    _Row("3-2-1", "one copy off-site", (_OFFSITE,)),
    _Row("3-2-1", "all three at once", (_THREE_COPIES, _TWO_KINDS, _OFFSITE)),
)
_STORAGE_1 = (
    _Row("NDSA 1, storage", "level 1", (_TWO_COPIES, _TWO_PLACES, _OFF_CARD)),
    _Row("NDSA 1, storage", "level 2", (_THREE_COPIES, _OFFSITE), (_DOCUMENT,)),
    _Row("NDSA 1, storage", "level 3", (_OFFSITE,), (_THREAT, _OBSOLETE)),
    _Row(
        "NDSA 1, storage",
        "level 4",
        (_THREE_COPIES, _TWO_OFFSITE),
        (_THREATS, "whether there is a plan for ageing media"),
    ),
)
_FIXITY_1 = (
    _Row("NDSA 1, fixity", "level 1", (_VERIFIED,)),
    _Row("NDSA 1, fixity", "level 2", (_ALL_VERIFIED,), (_BLOCKER, _VIRUS)),
    _Row("NDSA 1, fixity", "level 3", (_IN_RHYTHM,), (_VIRUS,)),
    _Row(
        "NDSA 1, fixity",
        "level 4",
        (_TWO_COPIES,),
        (_EVENTS, _REPAIR, "whether nobody can write to all copies; who works alone can"),
    ),
)
_STORAGE_2 = (
    _Row("NDSA 2.0, storage", "level 1", (_TWO_COPIES, _TWO_PLACES, _OFF_CARD)),
    _Row("NDSA 2.0, storage", "level 2", (_THREE_COPIES, _OFFSITE), (_DOCUMENT,)),
    _Row("NDSA 2.0, storage", "level 3", (_OFFSITE, _TWO_KINDS), (_THREAT, _OBSOLETE)),
    _Row(
        "NDSA 2.0, storage",
        "level 4",
        (_THREE_COPIES, _TWO_OFFSITE),
        (_THREATS, "whether anything is left that all copies hang on; see the smallest ways to lose a shoot"),
    ),
)
_INTEGRITY_2 = (
    _Row("NDSA 2.0, integrity", "level 1", (_VERIFIED,), (_VIRUS,)),
    _Row(
        "NDSA 2.0, integrity",
        "level 2",
        (_ALL_VERIFIED,),
        (_BLOCKER, "whether the lists are also kept away from the files"),
    ),
    _Row(
        "NDSA 2.0, integrity",
        "level 3",
        (_IN_RHYTHM,),
        ("whether what checks found is written down; an audit does so",),
    ),
    _Row("NDSA 2.0, integrity", "level 4", (_TWO_COPIES,), (_EVENTS, _REPAIR)),
)
_LADDERS = ((_STORAGE_1, NDSA_1), (_FIXITY_1, NDSA_1), (_STORAGE_2, NDSA_2), (_INTEGRITY_2, NDSA_2))


def levels(spans: Sequence[Span], on: Studio | Ground) -> tuple[Level, ...]:
    """Return each row of the levels, judged by a life's first year. Errors: ValueError without a span."""
    here = ground(on)
    year = first_year(spans)
    if not year:
        raise ValueError("a life without a span cannot be judged")
    stages = _stages(year, here)
    found = [_level(row, (), year, stages, US_CERT) for row in _US_CERT]
    for ladder, source in _LADDERS:
        for number in range(len(ladder)):
            found.append(_level(ladder[number], ladder[:number], year, stages, source))
    return tuple(found)


def _stages(year: Sequence[Span], here: Ground) -> list[_Stage]:
    scheme = here.studio.scheme
    checked = {step.target for step in scheme.steps if step.rhythm and step.do == "verify"} if scheme else set()
    made_on = scheme.made_on if scheme else ()
    found = []
    for span in year:
        has = facts(span, here)
        off_card = [held.medium for held in span.copies if held.medium not in made_on]
        flash = all(here.studio.media[held.medium].kind in _FLASH for held in span.copies)
        in_rhythm = bool(off_card) and has.unproven == 0 and checked.issuperset(off_card)
        found.append(_Stage(has, in_rhythm=in_rhythm, flash=flash))
    return found


def _level(row: _Row, below: Sequence[_Row], year: Sequence[Span], stages: Sequence[_Stage], source: str) -> Level:
    """Judge one row; those `below` it are asked for too."""
    rows = (*below, row)
    when = met(year, [all(_holds(each, stage) for each in rows) for stage in stages])
    settled = stages[-1]
    if when.for_good is None:
        missed = next(each for each in rows if not _holds(each, settled))
        why = "; ".join(part.lacking for part in missed.parts if not part.holds(settled))
        why = why if missed is row else f"{missed.row} is not met: {why}"
        why += "; it was met for a while only" if when.first else ""
        return Level(row.name, row.row, False, None, why, source)
    why = _has(settled) + (f". A scheme does not tell {', or '.join(row.untold)}" if row.untold else "")
    lower = [each.row for each in below if each.untold]
    why += f". {lower[-1].capitalize()} leaves something open too" if lower else ""
    return Level(row.name, row.row, None if row.untold or lower else True, when.for_good, why, source)


def _holds(row: _Row, stage: _Stage) -> bool:
    return all(part.holds(stage) for part in row.parts)


def _has(stage: _Stage) -> str:
    has = stage.has
    kinds = f"{many(has.kinds, 'kind', 'kinds')} of media" + (", all of them flash memory" if stage.flash else "")
    return (
        f"{many(has.copies, 'copy', 'copies')} on {kinds}, in {many(has.locations, 'location', 'locations')}, "
        f"{has.offsite or 'none'} of them off-site; {has.verified or 'none'} verified"
    )
