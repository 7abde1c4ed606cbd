"""The letter of a proof in words: what the page and the PDF both say.

Flows in: the record of a proof, the numbers of its seal. Flows out: a Letter. Must not know: HTML, PDF, keys, copies.
It is read by people who never heard of this program. A name comes from people and is shown with nothing in it that
could hide or reverse; everything else is our own words.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from drill import clock, units
from drill.proofrecord import DELIVERABLES, EDITS, ORIGINALS, OTHER, OWN, SORTS, Kept, Proof, ShootProof, Shortfall
from drill.report.words import safe

MOST_NAME = 100  # characters of a name that are shown
_MOST_ID = 40
_MOST_NAMED = 4  # shoots or mishaps that are named before they are counted

_SORTS = {
    DELIVERABLES: ("delivered file", "delivered files"),
    ORIGINALS: ("original", "originals"),
    EDITS: ("file of edits", "files of edits"),
    OTHER: ("other file", "other files"),
}
_KINDS = {
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
_WHOLE = "Proof that your pictures can be brought back"
_SHORT = "What can be brought back of your pictures, and what falls short"
_WHAT_IT_IS = (
    "In a restore drill copies are taken away on purpose, every file is brought back from what is left, and every byte "
    "is compared with a checksum that was noted before."
)
_NOT_PROMISED = (
    "This letter tells what was tried on these days, with what we keep. It does not promise that nothing has failed "
    "since, that a disaster nobody thought of would end as well, or that anything is kept for longer than we agreed. "
    "It is no reason to let go of your own copy.",
    "What we owe each other is in the contract between us. If this letter and that contract differ, the contract counts, "
    "and so does the law on clients' data where you and we are. Nothing here is legal advice: for that, ask somebody "
    "who is licensed to give it.",
)

Titles = Mapping[str, str]  # shipped scenarios: name → title


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


def letter_of(proof: Proof, seals: Seals, *, titles: Titles, most_rows: int) -> Letter:
    """Put a proof into words; at most so many shoots are shown one by one."""
    shoots = proof.shoots
    alone = len(shoots) == 1
    shown = () if alone else shoots[:most_rows]
    return Letter(
        title=_SHORT if proof.falls_short else _WHOLE,
        studio=_cut(safe(proof.studio), MOST_NAME),
        client=_cut(safe(proof.client), MOST_NAME) if proof.client else "",
        day=_moment(proof.issued),
        about=_about(shoots),
        short=tuple(shortfall_words(proof.shortfalls, of=len(shoots), titles=titles)),
        headers=() if alone else ("Shoot", "Day", "Delivered", "Originals", "Came back", "Drilled on", "Read on"),
        rows=tuple(map(_row, shown)),
        left_over=_left_over(shoots, len(shown)) if not alone else "",
        sections=tuple(_sections(proof, titles)),
        seals=seals,
    )


def _about(shoots: Sequence[ShootProof]) -> str:
    if len(shoots) == 1:
        return f"the shoot {_id(shoots[0].shoot)} of {_day(shoots[0].date)}"
    days = sorted(shoot.date for shoot in shoots)
    return f"{len(shoots)} shoots, from {_day(days[0])} to {_day(days[-1])}"


def _row(one: ShootProof) -> tuple[str, ...]:
    counts = [str(one.back[sort].promised) if sort in one.back else "none" for sort in (DELIVERABLES, ORIGINALS)]
    came = f"all, in {one.all_back} of {one.drills} drills" if one.drills else "not drilled"
    kept = f"{one.read_on.media} in {_count(one.read_on.places, 'place')}" if one.read_on.media else "none holds all"
    return _id(one.shoot), _day(one.date), *counts, came, _day_or_never(one.drilled), kept


def _left_over(shoots: Sequence[ShootProof], shown: int) -> str:
    left = shoots[shown:]
    if not left:
        return ""
    files = sum(one.back[DELIVERABLES].promised for one in left if DELIVERABLES in one.back)
    count, more = _count(len(left), "shoot"), " more" if shown else ""
    return f"And {count}{more} with {_count(files, 'delivered file')}; all of them are in record.json."


# --- the sections ----------------------------------------------------------------------------------------------------


def _sections(proof: Proof, titles: Titles) -> list[Section]:
    shoots = proof.shoots
    return [
        Section("What was tried", (f"{_WHAT_IT_IS} {_tried(shoots, titles)}",)),
        Section("What came back", (f"{_came_back(shoots)} {_came_from(shoots)}", *_read_on(shoots))),
        Section("How long it takes", (_took(shoots),)),
        Section("What you can check", (_checksums(proof),)),
        Section("What this does not promise", _NOT_PROMISED),
    ]


def _tried(shoots: Sequence[ShootProof], titles: Titles) -> str:
    drilled = [one.drilled for one in shoots if one.drilled is not None]
    if not drilled:
        return "No drill was made."
    total = sum(one.drills for one in shoots)
    names = dict.fromkeys(name for one in shoots for name in one.scenarios)
    told = "; ".join([titles[name] for name in names if name in titles])
    own = sum(one.scenarios.get(OWN, 0) for one in shoots)
    made = f"{_count(total, 'drill')} {_were(total)} made {_between(drilled)}"
    if not told:
        return f"{made}, of mishaps of our own making."
    also = f". Of mishaps of our own making there were {own} more among them" if own else ""
    return f"{made}. What went wrong in them: {told}{also}."


def _came_back(shoots: Sequence[ShootProof]) -> str:
    promised: Counter[str] = Counter()
    came: Counter[str] = Counter()
    for one in shoots:
        for sort, back in one.back.items():
            promised[sort] += back.promised
            came[sort] += back.came_back
    total, whole = sum(one.drills for one in shoots), sum(one.all_back for one in shoots)
    files = _listed([_sort(promised[sort], sort) for sort in SORTS if promised[sort]])
    if not total:
        return f"Of {files} nothing is known: no drill was made."
    if whole == total and promised == came:
        return f"In every drill, all of them came back byte for byte: {files}."
    worst = _listed([f"{came[sort]} of {_sort(promised[sort], sort)}" for sort in SORTS if promised[sort]])
    each = "of each shoot " if len(shoots) > 1 else ""
    return (
        f"In {whole} of {_count(total, 'drill')} everything came back byte for byte. In the drills {each}that got "
        f"fewest back: {worst}."
    )


def _came_from(shoots: Sequence[ShootProof]) -> str:
    some = [one.restored_from for one in shoots if one.restored_from.media]
    if not some:
        return ""
    if len(shoots) == 1:
        return f"They came from {_kept(some[0])}."
    kinds = dict.fromkeys(kind for one in some for kind in one.kinds)
    named = _listed([_KINDS[kind][1] for kind in kinds])
    return f"They came from {named}; for each shoot, from {_range(one.media for one in some)} in {_places(some)}."


def _read_on(shoots: Sequence[ShootProof]) -> list[str]:
    oldest = [one.read_on.oldest for one in shoots if one.read_on.oldest is not None]
    most = [one for one in shoots if one.read_on.media]
    if len(most) < len(shoots) or not oldest:
        which = "these shoots" if len(shoots) > 1 else "this shoot"
        return [f"Of {which} no single device was read that holds every delivered file and every original."] * (
            not most
        ) or [
            f"For {len(most)} of {len(shoots)} shoots every delivered file and every original was read in whole, byte for "
            f"byte, and found right on one device at least, on {_day(min(oldest))} or later."
        ]
    lead = f"Besides, on {_day(min(oldest))} or later, every delivered file and every original was read in whole, byte for "
    lead += "byte, and found right on "
    if len(shoots) == 1:
        return [f"{lead}{_kept(shoots[0].read_on)}."]
    kept = [one.read_on for one in shoots]
    return [f"{lead}{_range(one.media for one in kept)} in {_places(kept)}, for each shoot."]


def _took(shoots: Sequence[ShootProof]) -> str:
    took = [one.took for one in shoots if one.took is not None]
    if not took:
        return "Nothing was measured."
    each = "of a shoot " if len(shoots) > 1 else ""
    measured, projected = max(one.measured for one in took), max(one.projected for one in took)
    targets = [one.target for one in took if one.target is not None]
    target = f" Our own target is {units.say_span(min(targets))} or less." if targets else ""
    return (
        f"Measured: the slowest drill {each}took {units.say_span(measured)} to bring back, write and check what it could."
        f" Projected, not measured: with everything that has to be fetched, plugged in or downloaded first, up to "
        f"{units.say_span(projected)}.{target}"
    )


def _checksums(proof: Proof) -> str:
    count = len(proof.checksums)
    if not count:
        return "There is no checksum of any delivered file, so nothing can be checked against your own."
    read = sum(one.source == "read" for one in proof.checksums)
    noted = count - read
    said = f"deliverables.sha256 lists the SHA-256 checksum of {_count(count, 'delivered file')}."
    if noted:
        said += f" {_all_or(noted, count)} noted when the pictures were put in our keeping."
    if read:
        said += f" {_all_or(read, count)} computed on {_day(proof.issued)} from a copy that was read in whole and had the "
        said += "bytes noted before."
    if len(proof.shoots) > 1:
        said += " In the list each name begins with its shoot's."
    return (
        f"{said} HOW-TO-CHECK.txt says how to compare your own files with it, by programs that are not ours. Only SHA-256 "
        "stands in it: the quicker checksums that a drill may use find accidents, and do not resist forgery."
    )


def _all_or(count: int, of: int) -> str:
    return ("It was" if of == 1 else "All were") if count == of else f"{count} {_were(count)}"


# --- what falls short ------------------------------------------------------------------------------------------------


def shortfall_words(short: Sequence[Shortfall], *, of: int, titles: Titles) -> list[str]:
    """Say what falls short: one sentence for each kind of it, with the shoots named where there are several."""
    by_kind: dict[str, list[Shortfall]] = {}
    for one in short:
        by_kind.setdefault(one.what, []).append(one)
    said = []
    for what, group in by_kind.items():
        shoots = list(dict.fromkeys(one.shoot for one in group))
        where = "" if of == 1 else f" ({_named([_id(shoot) for shoot in shoots])})"
        said.append(f"{_SAYINGS[what](group, titles)}{where}.")
    return said


def _drill_short(group: Sequence[Shortfall], titles: Titles) -> str:
    names = dict.fromkeys(one.scenario or OWN for one in group)
    own = "a mishap of our own making"
    named = _named([titles.get(name, own) for name in names], joint="; ")
    count, total = sum(one.count for one in group), sum(one.of for one in group)
    return (
        f"{count} of {_count(total, 'drill')} fell short: files did not come back, or could not be proved, or came back "
        f"too late, or too little would have been left in case of more. What went wrong in them: {named}"
    )


def _with_limit(text: str) -> Callable[[Sequence[Shortfall], Titles], str]:
    def say(group: Sequence[Shortfall], _titles: Titles) -> str:
        at = _day_or_never(min((one.at for one in group if one.at is not None), default=None))
        limits = [one.limit_s for one in group if one.limit_s is not None]
        limit = f", and our own target is every {units.say_span(min(limits))}" if limits else ""
        return text.format(at=at, limit=limit)

    return say


def _with_counts(text: str) -> Callable[[Sequence[Shortfall], Titles], str]:
    def say(group: Sequence[Shortfall], _titles: Titles) -> str:
        count, of = sum(one.count for one in group), sum(one.of for one in group)
        at = _day_or_never(min((one.at for one in group if one.at is not None), default=None))
        return text.format(count=count, of=of, files=_count(of, "file"), at=at, were=_were(count))

    return say


_SAYINGS: dict[str, Callable[[Sequence[Shortfall], Titles], str]] = {
    "drill_later": _with_limit("A drill is dated {at}, later than this letter: a clock was wrong"),
    "never_drilled": _with_limit("It was never drilled"),
    "drill_incomplete": _with_limit("The last drill, of {at}, did not run to its end"),
    "drill_spot": _with_limit("Only some files were ever drilled, the last time on {at}"),
    "drill_old": _with_limit("The last drill is of {at}{limit}"),
    "drill_unknown": _with_limit("It is not known which files the drill of {at} was about"),
    "promise_changed": _with_counts(
        "What is in our keeping has changed since the drill of {at}: {count} files then, {of} now, not all the same"
    ),
    "drill_short": _drill_short,
    "audit_later": _with_limit("A reading of the copies is dated {at}, later than this letter: a clock was wrong"),
    "never_audited": _with_limit("The copies were never read through"),
    "audit_old": _with_limit("The copies were last read through on {at}{limit}"),
    "damaged": _with_counts("{count} of {files} {were} found damaged on one copy or more"),
    "not_read": _with_counts("{count} of {files} {were} not read in time, and found right, on any copy"),
    "no_checksum": _with_counts("Of {count} of {files} that {were} delivered no checksum could be had"),
}


# --- small words -----------------------------------------------------------------------------------------------------


def _sort(count: int, sort: str) -> str:
    return f"{count} {_SORTS[sort][count != 1]}"


def _kept(kept: Kept) -> str:
    named = _listed([f"{count} {_KINDS[kind][count != 1]}" for kind, count in kept.kinds.items()])
    return f"{named}, in {_count(kept.places, 'place')}"


def _range(counts: Sequence[int] | object) -> str:
    assert not isinstance(counts, str)
    found = sorted(counts)  # type: ignore[call-overload]
    low, high = found[0], found[-1]
    return f"{_count(low, 'device or account', 'devices or accounts')}" if low == high else f"{low} to {high} devices"


def _places(kept: Sequence[Kept]) -> str:
    low, high = min(one.places for one in kept), max(one.places for one in kept)
    return _count(low, "place") if low == high else f"{low} to {high} places"


def _listed(texts: Sequence[str]) -> str:
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}" if texts else ""


def _named(names: Sequence[str], *, joint: str = ", ") -> str:
    shown = joint.join(names[:_MOST_NAMED])
    left = len(names) - _MOST_NAMED
    return f"{shown}, and {left} more" if left > 0 else shown


def _between(times: Sequence[str]) -> str:
    first, last = _day(min(times)), _day(max(times))
    return f"on {first}" if first == last else f"between {first} and {last}"


def _day_or_never(when: str | None) -> str:
    return "never" if when is None else _day(when)


def _day(when: str) -> str:
    """Write the day of an RFC 3339 time as UTC has it: 12 Sep 2026."""
    year, month, day = when[:10].split("-")
    return f"{int(day)} {clock.MONTHS[int(month) - 1]} {year}"


def _moment(when: str) -> str:
    return f"{_day(when)}, {when[11:16]} UTC"


def _count(count: int, one: str, many: str = "") -> str:
    return f"{count} {one if count == 1 else many or one + 's'}"


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


def _id(text: str) -> str:
    return _cut(text, _MOST_ID)


def _cut(text: str, most: int) -> str:
    """Shorten a name that nobody could read, and say so."""
    return text if len(text) <= most else f"{text[:most]}… ({len(text)} characters)"
