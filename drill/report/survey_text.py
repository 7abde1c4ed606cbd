"""The survey as text: what falls short, then shoot by shoot, copy by copy, then what is worth knowing.

Flows in: the record of a survey. Flows out: text. Must not know: files, copies, terminals (the width is given).
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from heapq import nsmallest
from typing import TypeVar

from drill import clock, units
from drill.inventory import LOOKED_INTO, CopyStock, OddRate, ShootStock, Survey, Tally
from drill.model import ProofAges
from drill.report.ages_text import ages_text, say_age
from drill.report.words import MAKE_ANEW, listed, paragraph, safe, table

T = TypeVar("T")
MOST_NAMES = 5
DAY_S = 86400.0
_NO_LIST = "that no list or promise names"

NOT_PROVED = (
    "What this does not prove: names and sizes were listed, and the survey read no picture. One that is there may be "
    "damaged, and a name may stand on another picture; only a drill (drill run) reads. What is on paper is what a list "
    "says."
)
RULE = 'Ruggiero & Heckathorn, "Data Backup Options", US-CERT 2012'
SEPARATE = "ISO 16363:2012, 4.4.1.2, and NDSA levels, integrity 2, ask for a copy elsewhere"


def survey_text(survey: Survey, *, width: int = 80) -> str:
    """Return the whole report of a survey."""
    short = [text for shoot in survey.shoots for text in _shoot_short(shoot)]
    short += [text for copy in survey.copies for text in _copy_short(copy)]
    short += _unproved(survey.shoots, clock.parse_time(survey.now))
    parts = [
        _head(survey, len(short), width),
        listed("What falls short", short, width),
        _shoot_table(survey.shoots, width),
        _class_table(survey.shoots, width),
        _copy_table(survey.copies, width),
        ages_text(_ages(survey), now=survey.now, width=width),
        listed("Where a shoot is in danger (advice: it does not change the exit code)", _advice(survey), width),
        listed("To know", [*_to_know(survey), *survey.notes], width),
        paragraph(NOT_PROVED, width),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(survey: Survey, short: int, width: int) -> str:
    files, size = sum(s.promised.files for s in survey.shoots), sum(s.promised.bytes for s in survey.shoots)
    lone = sum(len(s.on_one_copy) for s in survey.shoots)
    none = sum(len(s.on_no_copy) for s in survey.shoots)
    text = f"{survey.studio}: {_many(files)} promised in {_count(len(survey.shoots), 'shoot')}"
    text += f" ({units.say_size(size)})" if size else ""
    text += f", {f'{none} on no copy' if none else 'each of them on a copy'}, {lone or 'none'} on one copy only. "
    text += f"Now is {survey.now}. "
    text += f"{_count(short, 'thing')} fall{'s' if short == 1 else ''} short." if short else "Nothing falls short."
    return paragraph(safe(text), width)


# --- what falls short --------------------------------------------------------------------------------------------


def _shoot_short(shoot: ShootStock) -> list[str]:
    said = []
    if shoot.on_no_copy:
        said.append(
            f"{shoot.shoot}: {_many(len(shoot.on_no_copy))} on no copy, by any list or name: {_names(shoot.on_no_copy)}"
        )
    if shoot.sizes_disagree:
        number = len(shoot.sizes_disagree)
        few = _first(shoot.sizes_disagree, lambda item: item.path)
        each = [f"{item.path} ({_by_copy(item.sizes.items())})" for item in few]
        said.append(
            f"{shoot.shoot}: {_many(number)} of another size on each copy, so one at least is wrong: "
            + _names(each, number)
        )
    return said


def _unproved(shoots: Sequence[ShootStock], now: datetime) -> list[str]:
    """Say which shoots miss the target for proofs, together where they miss it alike."""
    alike: dict[str, list[str]] = {}
    for shoot in shoots:
        target_s = shoot.verified.target_seconds
        if target_s is not None and not shoot.verified.met:
            said = f"{_proved(shoot, now)}, and the target is within {units.say_span(target_s)}"
            alike.setdefault(said, []).append(shoot.shoot)
    return [f"{said}: {', '.join(ids)}" for said, ids in alike.items()]


def _proved(shoot: ShootStock, now: datetime) -> str:
    verified = shoot.verified
    if verified.last_verified is None:
        return "never verified byte for byte"
    last = f"last verified byte for byte {say_age(verified.last_verified, now)}"
    return f"{_many(verified.never_verified)} never verified, the others {last}" if verified.never_verified else last


def _by_copy(sizes: Iterable[tuple[str, int]]) -> str:
    return ", ".join(f"{size} bytes on {copy}" for copy, size in sizes)


def _copy_short(copy: CopyStock) -> list[str]:
    said = []
    if copy.refuted:
        what = "wrong when last read, and not verified since"
        said.append(f"{copy.copy}: {_many(len(copy.refuted))} {what}: {_names(copy.refuted)}")
    if copy.state == "expired" or copy.expired:
        said.append(f"{copy.copy}: the link expired {copy.expires}; get a new one")
    elif copy.falls_short and copy.state == "refuses":
        said.append(f"{copy.copy}: gives nothing: {copy.reason}")
    elif copy.is_damaged:
        said.append(f"{copy.copy}: the archive is damaged: {copy.reason}; {MAKE_ANEW}")
    if copy.unlisted:
        number = _count(len(copy.unlisted), "folder")
        said.append(
            f"{copy.copy}: {number} could not be listed, so what is in {'it' if len(copy.unlisted) == 1 else 'them'} "
            f"counts as missing: {_names(copy.unlisted)}"
        )
    if copy.missing:
        each = [
            item.path + (f" (a file of that name is at {item.elsewhere})" if item.elsewhere else "")
            for item in _first(copy.missing, lambda item: item.path)
        ]
        said.append(
            f"{copy.copy}: {_many(len(copy.missing))} in its list, not there: {_names(each, len(copy.missing))}"
        )
    if copy.other_size:
        few = _first(copy.other_size, lambda item: item.path)
        each = [f"{i.path} ({i.found} bytes in place of {i.expected})" for i in few]
        said.append(
            f"{copy.copy}: {_many(len(copy.other_size))} of another size (or another picture of that name): "
            f"{_names(each, len(copy.other_size))}"
        )
    if copy.other_bytes:
        each = [item.path for item in _first(copy.other_bytes, lambda item: item.path)]
        words = "with other bytes by its own list than promised (damaged, edited since, or wrongly promised)"
        said.append(f"{copy.copy}: {_many(len(copy.other_bytes))} {words}: {_names(each, len(copy.other_bytes))}")
    return said


# --- tables ------------------------------------------------------------------------------------------------------


def _shoot_table(shoots: Sequence[ShootStock], width: int) -> str:
    rows = [
        [
            shoot.shoot,
            str(shoot.promised.files),
            _size(shoot.promised),
            str(shoot.there),
            str(shoot.on_paper or "-"),
            str(len(shoot.on_no_copy) or "-"),
            str(len(shoot.on_one_copy) or "-"),
            _rule(shoot),
        ]
        for shoot in shoots
    ]
    headers = ["Shoot", "Files", "Size", "There", "On paper", "On no copy", "On one", "3-2-1 rule"]
    text = (
        "On paper: on no copy that could be looked into; a list says so. On one: on one medium only. 3-2-1 rule: three "
        "copies, two kinds of media, one off-site, for every file, or what is missing of that (and for how many files, "
        f"where not for all). {RULE}."
    )
    return (
        f"Shoot by shoot\n{table(headers, rows, width, right=(1, 2, 3, 4, 5, 6), firm=(0,))}\n{paragraph(text, width)}"
    )


def _rule(shoot: ShootStock) -> str:
    rule = shoot.rule_3_2_1
    lacks = (("copies", rule.lack_copies), ("kinds", rule.lack_kinds), ("off-site", rule.lack_offsite))
    said = [name + ("" if count == shoot.promised.files else f" ({count})") for name, count in lacks if count]
    return f"lacks {', '.join(said)}" if said else "met"


def _size(tally: Tally) -> str:
    if tally.unknown_files == tally.files:
        return "unknown"
    return units.say_size(tally.bytes) + ("+" if tally.unknown_files else "")


def _class_table(shoots: Sequence[ShootStock], width: int) -> str:
    names = list(dict.fromkeys(name for shoot in shoots for name in shoot.by_class))
    if names in ([], ["other"]):
        return ""
    rows = [
        [shoot.shoot]
        + [f"{tally.files}, {_size(tally)}" if (tally := shoot.by_class.get(name)) else "-" for name in names]
        for shoot in shoots
    ]
    text = "+: and some whose size is not known." if any("+" in cell for row in rows for cell in row[1:]) else ""
    body = table(["Shoot", *names], rows, width, firm=(0,))
    return "\n".join(part for part in ("What is promised, by class (files, size)", body, text) if part)


def _copy_table(copies: Sequence[CopyStock], width: int) -> str:
    if not copies:
        return "No copies are named in the studio file."
    rows = [
        [
            copy.copy if copy.copy == copy.medium else f"{copy.copy} on {copy.medium}",
            f"{copy.kind}, {copy.place}",
            _state(copy),
            "-" if copy.listed is None else str(copy.listed),
            str(copy.promised),
            str(copy.there) if copy.state == LOOKED_INTO else "-",
            str(len(copy.missing) or "-"),
            str(len(copy.other_size) or "-"),
            str(len(copy.extra) or "-"),
        ]
        for copy in copies
    ]
    headers = ["Copy", "What, where", "State", "Listed", "Promised", "There", "Missing", "Other size", "Others"]
    text = (
        "Listed: names in its own list. Promised: promised files it is said to hold. Others: files that no list "
        "or promise names."
        + (" Gives nothing: it answers or is there, and no file comes." if any(map(_gives_nothing, copies)) else "")
        + ("" if any(_ever_read(copy) for copy in copies) else " No byte of these copies was ever read.")
    )
    return f"Copy by copy\n{table(headers, rows, width, right=(3, 4, 5, 6, 7, 8), firm=(0,))}\n{paragraph(text, width)}"


def _ever_read(copy: CopyStock) -> bool:
    return copy.last_verified is not None or bool(copy.refuted)


def _ages(survey: Survey) -> list[ProofAges]:
    """Return the age of the proofs, shoot by shoot; nothing where none was ever made."""
    if not any(_ever_read(copy) for copy in survey.copies):
        return []
    return [ProofAges(s.shoot, s.verified.target_seconds, s.verified.copies) for s in survey.shoots]


def _state(copy: CopyStock) -> str:
    if copy.state == "away":
        return "on paper"
    if _gives_nothing(copy):
        return "gives nothing"
    if copy.expires_in_seconds is None or copy.state == "expired":
        return copy.state
    return f"{copy.state}, {_until(copy.expires_in_seconds)}"


def _gives_nothing(copy: CopyStock) -> bool:
    return copy.state == "refuses"


def _until(span_s: float) -> str:
    days = int(span_s // DAY_S)
    return f"expires in {_count(days, 'day')}" if days else f"expires in {units.say_span(span_s)}"


# --- advice ------------------------------------------------------------------------------------------------------


def _advice(survey: Survey) -> list[str]:
    said = [text for shoot in survey.shoots for text in _exposed(shoot)]
    for mirror in survey.mirrors:
        said.append(
            f"{mirror.medium} only mirrors {mirror.mirrors}: what is deleted or encrypted there is soon gone here too. "
            "It is no second copy against these"
        )
    for beside in survey.lists_beside:
        said.append(
            f"the list {beside.list} lies only on {beside.copy}, beside the files it is about: if {beside.medium} "
            f"goes, so does the proof. Keep a copy of it elsewhere ({SEPARATE})"
        )
    return said


def _exposed(shoot: ShootStock) -> list[str]:
    total, exposure, practice = shoot.promised.files, shoot.exposure, shoot.practice
    where = f" ({shoot.places[0]})" if len(shoot.places) == 1 else ""
    kind = f" ({shoot.kinds[0]})" if len(shoot.kinds) == 1 else ""
    found: dict[int, list[str]] = {}
    for number, words in (
        (len(shoot.on_one_copy), "on one copy only" + _lone_names(shoot)),
        (exposure.one_place, f"all copies in one place{where}: one fire or theft takes them"),
        (exposure.one_kind, f"all copies on one kind of medium{kind}"),
        (exposure.none_offsite, "no copy off-site"),
        (exposure.only_mirrors, "only on a medium and what mirrors it: one deletion reaches them all"),
        (
            practice.card_and_tablet_only,
            "on card, tablet or phone alone: not enough to leave the field with (common practice: three copies)",
        ),
        (
            practice.files_short - practice.card_and_tablet_only,
            "fewer than the three copies that common practice wants before leaving the field",
        ),
    ):
        if number > 0:
            found.setdefault(number, []).append(words)
    return [f"{shoot.shoot}, {_share(number, total)}: {'; '.join(words)}" for number, words in found.items()]


def _lone_names(shoot: ShootStock) -> str:
    lone = shoot.on_one_copy
    if len(lone) == shoot.promised.files and len({one.copy for one in lone}) == 1:
        return f" ({lone[0].copy})"
    few = _first(lone, lambda one: one.path)
    each = [f"{one.path} ({one.copy}{', on paper' if one.on_paper else ''})" for one in few]
    return f" ({_names(each, len(lone))})"


def _share(number: int, total: int) -> str:
    return f"all {_many(total)}" if number == total and total > 1 else f"{number} of {_many(total)}"


def _lacking(shoots: Sequence[ShootStock]) -> list[str]:
    """Say once for all shoots that lack the same classes what that means."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for shoot in shoots:
        if shoot.lacks_classes:
            alike.setdefault(tuple(shoot.lacks_classes), []).append(shoot.shoot)
    return [
        f"originals are promised and no {' and no '.join(lacks)} in {_names(ids)}. Edits that live only in an app's "
        "own catalogue are on no copy: export them, or their sidecars, and promise them"
        for lacks, ids in alike.items()
    ]


def _to_know(survey: Survey) -> list[str]:
    said = _lacking(survey.shoots)
    for shoot in survey.shoots:
        for lacks, words in (("sidecar", "a sidecar"), ("jpeg", "the JPEG"), ("raw", "the raw")):
            paths = [item.path for item in shoot.unpaired if item.lacks == lacks]
            if paths:
                most = f"without {words} that most others have beside them"
                said.append(f"{shoot.shoot}: {_many(len(paths))} {most}: {_names(paths)}")
        if shoot.colliding:
            each = [" and ".join(sorted(group)) for group in shoot.colliding]
            said.append(
                f"{shoot.shoot}: {_count(len(each), 'group')} of promised names that are one name on a disk that "
                f"ignores case or the spelling of accents; restore them to one that does not: {_names(each)}"
            )
    said += [_odd_rate(rate) for rate in survey.rates]
    for copy in survey.copies:
        if copy.extra:
            renamed = (
                "" if copy.listed is not None else " (a picture under another name is found by a drill, which reads)"
            )
            said.append(f"{copy.copy}: {_many(len(copy.extra))} {_NO_LIST}{renamed}: {_names(copy.extra)}")
    return said + _headers(survey.copies)


def _headers(copies: Sequence[CopyStock]) -> list[str]:
    """Say of which archives the headers are kept, and of which they are not."""
    kept = [copy.copy for copy in copies if copy.headers_kept]
    bare = [copy.copy for copy in copies if copy.headers_kept is False]
    said = []
    if kept:
        said.append(
            f"the headers of {_names(kept)} are kept beside the ledger: where an archive has lost its own, drill run "
            "and drill recover use these, and no file is lost for that"
        )
    if bare:
        what = "are not kept beside the ledger yet: one bad sector in them could take every file of the archive"
        said.append(f"the headers of {_names(bare)} {what}")
    return said


def _odd_rate(rate: OddRate) -> str:
    right = (
        "a restore gets no more than that"
        if rate.source == "the studio file"
        else "it can only be right over a faster connection; measure it"
    )
    return (
        f"{rate.medium}: reads_at {units.say_size(round(rate.reads_at))}/s is more than {rate.limit_of} carries, "
        f"{units.say_size(round(rate.limit))}/s ({rate.source}): {right}"
    )


# --- words -------------------------------------------------------------------------------------------------------


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _many(number: int) -> str:
    return _count(number, "file")


def _names(names: Sequence[str], total: int | None = None) -> str:
    """Return the first five names in their order, and how many more there are."""
    more = (len(names) if total is None else total) - MOST_NAMES
    return ", ".join(_first(names, str)) + (f" and {more} more" if more > 0 else "")


def _first(items: Iterable[T], key: Callable[[T], str]) -> list[T]:
    """Return the first five by name: the order of a list or a promise is often nobody's."""
    return nsmallest(MOST_NAMES, items, key=key)
