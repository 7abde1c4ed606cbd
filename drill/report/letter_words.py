"""The letter of a proof in words: what the page and the PDF both say.

Flows in: the record of a proof, the numbers of its seal. Flows out: a Letter. Must not know: HTML, PDF, keys, copies.
It is read by people who never heard of this program. A name comes from people and is shown with nothing in it that
could hide or reverse; everything else is our own words.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from drill import units
from drill.phrases import in_a_row, many
from drill.proofrecord import DELIVERABLES, ORIGINALS, OWN, SORTS, Proof, ShootProof
from drill.report.letter_short import Titles, shortfall_words
from drill.report.letter_terms import (
    KINDS,
    between,
    day_of,
    day_or_never,
    named,
    say_kept,
    say_range,
    say_sort,
    shown_id,
    were,
)
from drill.report.pages.base import say_day, shortened

MOST_NAME = 100  # characters of a name that are shown

_WHOLE = "Proof that your pictures can be brought back"
_SHORT = "What can be brought back of your pictures, and what falls short"
_WHAT_IT_IS = (
    "In a restore drill copies are taken away on purpose, every file is brought back from what is left, and every byte "
    "is compared with a checksum that was noted before."
)
_SEAL_WORDS = (
    "This letter and all that lies beside it are signed with our key. Compare the key's fingerprint below with our "
    "letterhead, or ask us by telephone: from this letter alone you cannot tell that it is ours. The second number "
    "stands for the whole list of checksums (RFC 9162)."
)
_NOT_PROMISED = (
    "This letter tells what was tried on these days, with what we keep. It does not promise that nothing has failed "
    "since, that a disaster nobody thought of would end as well, or that anything is kept for longer than we agreed. "
    "It is no reason to let go of your own copy.",
    "What we owe each other is in the contract between us. Where this letter and that contract differ, the contract "
    "counts, and so does the law on clients' data where you and we are. Nothing here is legal advice: for that, ask "
    "somebody who is licensed to give it.",
)


_OTHER_FILES = ("promise_changed", "drill_unknown")  # what was drilled may not be what is kept now


@dataclass(frozen=True, slots=True)
class Seals:
    """The numbers that a letter shows: the key's fingerprint in groups, and the root of the list, in hex."""

    fingerprint: str
    root: str


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands under it."""

    heading: str
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter, part by part in the order it is read. `short` is why it falls short, empty where it does not; `rows`
    are the shoots, and `left_over` is said where there are more of them than are shown."""

    title: str
    studio: str
    client: str
    day: str
    about: str
    short: tuple[str, ...]
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left_over: str
    sections: tuple[Section, ...]
    seals: Seals
    seal_heading: str = "How this is sealed"
    seal_words: str = _SEAL_WORDS


def letter_of(proof: Proof, seals: Seals, *, titles: Titles, most_rows: int) -> Letter:
    """Put a proof into words; at most so many shoots are shown one by one. With none, few mishaps are named either."""
    shoots = proof.shoots
    alone = len(shoots) == 1
    shown = () if alone else shoots[:most_rows]
    return Letter(
        title=_SHORT if proof.falls_short else _WHOLE,
        studio=shortened(proof.studio, MOST_NAME),
        client=shortened(proof.client, MOST_NAME) if proof.client else "",
        day=say_day(proof.issued),
        about=_about(shoots),
        short=tuple(shortfall_words(proof.shortfalls, of=len(shoots), titles=titles)),
        headers=() if alone else ("Shoot", "Day", "Delivered", "Originals", "Came back", "Drilled on", "Read on"),
        rows=tuple(map(_row, shown)),
        left_over=_left_over(shoots, len(shown)) if not alone else "",
        sections=tuple(_sections(proof, titles, is_brief=most_rows == 0)),
        seals=seals,
    )


def _about(shoots: Sequence[ShootProof]) -> str:
    if len(shoots) == 1:
        return f"the shoot {shown_id(shoots[0].shoot)} of {day_of(shoots[0].date)}"
    days = sorted(shoot.date for shoot in shoots)
    span = f"of {day_of(days[0])}" if days[0] == days[-1] else f"from {day_of(days[0])} to {day_of(days[-1])}"
    return f"{len(shoots):,} shoots, {span}"


def _row(one: ShootProof) -> tuple[str, ...]:
    counts = [f"{one.back[sort].promised:,}" if sort in one.back else "none" for sort in (DELIVERABLES, ORIGINALS)]
    came = f"all, in {one.all_back} of {one.drills} drills" if one.drills else "not drilled"
    kept = f"{one.read_on.media} in {many(one.read_on.places, 'place')}" if one.read_on.media else "none holds all"
    return shown_id(one.shoot), day_of(one.date), *counts, came, day_or_never(one.drilled), kept


def _left_over(shoots: Sequence[ShootProof], shown: int) -> str:
    left = shoots[shown:]
    if not left:
        return ""
    files = sum(one.back[DELIVERABLES].promised for one in left if DELIVERABLES in one.back)
    count, more = many(len(left), "shoot"), " more" if shown else ""
    return f"And {count}{more} with {many(files, 'delivered file')}; all of them are in record.json."


# --- the sections ----------------------------------------------------------------------------------------------------


def _sections(proof: Proof, titles: Titles, *, is_brief: bool) -> list[Section]:
    shoots = proof.shoots
    return [
        Section("What was tried", (f"{_WHAT_IT_IS} {_tried(shoots, titles, is_brief=is_brief)}",)),
        Section("What came back", (f"{_came_back(proof)} {_came_from(shoots)}", _read_on(shoots, proof.issued))),
        Section("How long it takes", (_took(shoots),)),
        Section("What you can check", (_checksums(proof),)),
        Section("What this does not promise", _NOT_PROMISED),
    ]


def _tried(shoots: Sequence[ShootProof], titles: Titles, *, is_brief: bool) -> str:
    drilled = [one.drilled for one in shoots if one.drilled is not None]
    if not drilled:
        return "No drill was made."
    total = sum(one.drills for one in shoots)
    names = dict.fromkeys(name for one in shoots for name in one.scenarios)
    known = [titles[name] for name in names if name in titles]
    told = named(known, joint="; ") if is_brief else "; ".join(known)
    own = sum(one.scenarios.get(OWN, 0) for one in shoots)
    made = f"{many(total, 'drill')} {were(total)} made {between(drilled)}"
    if not told:
        return f"{made}, of mishaps that we thought of ourselves."
    also = f". In {own:,} of them it was something that we thought of ourselves" if own else ""
    return f"{made}. What was rehearsed in them: {told}{also}."


def _came_back(proof: Proof) -> str:
    shoots = proof.shoots
    promised: Counter[str] = Counter()
    came: Counter[str] = Counter()
    for one in shoots:
        for sort, back in one.back.items():
            promised[sort] += back.promised
            came[sort] += back.came_back
    total, whole = sum(one.drills for one in shoots), sum(one.all_back for one in shoots)
    files = in_a_row([say_sort(promised[sort], sort) for sort in SORTS if promised[sort]])
    if not total:
        return f"Of {files} nothing is known: no drill was made."
    if whole == total and promised == came:
        then = ", as they were then" if any(one.what in _OTHER_FILES for one in proof.shortfalls) else ""
        return f"In every drill, all of them came back byte for byte: {files}{then}."
    worst = in_a_row([f"{came[sort]:,} of {say_sort(promised[sort], sort)}" for sort in SORTS if promised[sort]])
    each = "of each shoot " if len(shoots) > 1 else ""
    return (
        f"In {whole:,} of {many(total, 'drill')} everything came back byte for byte. In the drills {each}that got "
        f"fewest back: {worst}."
    )


def _came_from(shoots: Sequence[ShootProof]) -> str:
    some = [one.restored_from for one in shoots if one.restored_from.media]
    if not some:
        return ""
    if len(shoots) == 1:
        return f"What came back came from {say_kept(some[0])}."
    kinds = dict.fromkeys(kind for one in some for kind in one.kinds)
    named = in_a_row([KINDS[kind][1] for kind in kinds])
    return f"What came back came from {named}; for each shoot, from {say_range(some)}."


def _read_on(shoots: Sequence[ShootProof], issued: str) -> str:
    """Say on what each shoot was last read as a whole."""
    kept = [one.read_on for one in shoots if one.read_on.media]
    oldest = min((one.oldest for one in kept if one.oldest is not None), default=None)
    if oldest is None:
        which = "these shoots" if len(shoots) > 1 else "this shoot"
        return f"No single device was read that holds every delivered file and every original of {which}."
    which = "For each shoot" if len(shoots) > 1 else "Besides"
    which = which if len(kept) == len(shoots) else f"For {len(kept)} of {len(shoots)} shoots"
    where = say_kept(kept[0]) if len(shoots) == 1 else say_range(kept)
    later = "" if day_of(oldest) == day_of(issued) else " or later"
    return (
        f"{which}, every delivered file and every original was read in whole on {day_of(oldest)}{later}, and found "
        f"right, on {where}."
    )


def _took(shoots: Sequence[ShootProof]) -> str:
    took = [one.took for one in shoots if one.took is not None]
    if not took:
        return "Nothing was measured."
    each = "of a shoot " if len(shoots) > 1 else ""
    measured, projected = max(one.measured for one in took), max(one.projected for one in took)
    targets = [one.target for one in took if one.target is not None]
    of = "" if all(one.all_back == one.drills for one in shoots) else " of what came back"
    missed = any(one.target is not None and one.projected > one.target for one in took)
    target = f" Our own target is {units.say_span(min(targets))} or less" if targets else ""
    target += (", which is missed." if missed else ".") if targets else ""
    return (
        f"Measured: the slowest drill {each}took {units.say_span(measured)} to bring back, write and check what it "
        "could. Projected, not measured: with all that has to be fetched, plugged in or downloaded first, a real "
        f"restore{of} may take {_up_to(projected)}.{target}"
    )


def _up_to(span_s: float) -> str:
    return "less than a minute" if span_s < 60 else f"up to {units.say_span(span_s)}"


def _checksums(proof: Proof) -> str:
    count = len(proof.checksums)
    if not count:
        return "There is no checksum of any delivered file, so nothing can be checked against your own."
    read = sum(one.source == "read" for one in proof.checksums)
    noted = count - read
    said = f"deliverables.sha256 lists the SHA-256 checksum of {many(count, 'delivered file')}."
    if noted:
        said += f" {_all_or(noted, count, 'comes', 'come')} from our list of what we keep."
    if read:
        said += (
            f" {_all_or(read, count, 'was', 'were')} worked out on {day_of(proof.issued)} from a copy that was read "
        )
        said += "in whole and had the bytes noted before."
    if len(proof.shoots) > 1:
        said += " In the list each name begins with its shoot's."
    return (
        f"{said} HOW-TO-CHECK.txt says how to compare your own files with it, by programs that are not ours. Only "
        "SHA-256 stands in it: the quicker checksums that a drill may use find accidents, and do not resist forgery."
    )


def _all_or(count: int, of: int, one: str, many: str) -> str:
    if count == of:
        return f"It {one}" if of == 1 else f"All {many}"
    return f"{count:,} {one if count == 1 else many}"
