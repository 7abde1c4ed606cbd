"""The audit as text: a row a copy, then damage by name, what a spot check shows, and what to do first.

Flows in: the record of an audit. Flows out: text. Must not know: files, copies, terminals (the width is given).
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from drill import clock, units
from drill.auditrecord import Audit, CopyResult, Elsewhere, FileResult
from drill.report.disagree_text import disagreements
from drill.report.sections import NOTHING, Paragraph, Section, Table, filled, items, laid_out, paragraphs
from drill.report.words import MAKE_ANEW

MOST_NAMES = 10
_NAMED_TOGETHER = 3  # files of one piece of advice that are named

NOT_PROVED = (
    "What this does not prove: verified files were read from their copy and are what its list, or the promise, says; "
    "whether they come back in time, from what is left after a loss, only a drill (drill run) shows. What was not read "
    "may be damaged. A list that was made from a damaged file calls the damage right. And a drive may fail tomorrow."
)
AS_LISTED = (
    "And the files that are not what was promised, by the copy's own list, count above as that list says: "
    "verified there means as listed, and never that the promised picture is safe."
)
OTHER_BYTES = "Not what was promised, by the copy's own list"
OPENS_IS_LITTLE = (
    "Opens: no digest is known, and the file could be decoded. That is little: on real photographs full decoding "
    "notices about 1 in 100 flipped bits and almost no lost sector."
)


class _First:
    """The first files by their paths, and how many there are."""

    def __init__(self) -> None:
        self._files: list[FileResult] = []
        self.count = 0

    def add(self, file: FileResult) -> None:
        """Take one more."""
        self.count += 1
        self._files.append(file)
        if len(self._files) >= 16 * MOST_NAMES:
            self._files = self.files

    @property
    def files(self) -> list[FileResult]:
        """Return the first files."""
        return sorted(self._files, key=lambda file: file.path)[:MOST_NAMES]


class _Bad:
    """The damaged files of one copy, looked at once, for there may be very many: all, and by what is to be done."""

    def __init__(self, copy: CopyResult, now: str) -> None:
        self.all = _First()
        self.is_failing = False
        self.by_advice: dict[_Advice, _First] = defaultdict(_First)
        for file in copy.files if copy.damaged else ():
            if file.is_damage:
                self.all.add(file)
                self.by_advice[_advice(copy, file, now)].add(file)
                self.is_failing = self.is_failing or bool(file.ranges) or "I/O error" in file.detail


def audit_text(audit: Audit, *, width: int = 80) -> str:
    """Return the whole report of an audit."""
    told = tell(audit)
    sections = [
        paragraphs(" ".join((told.verdict, *told.about))),
        *told.by_copy,
        *told.damage,
        told.first_steps,
        told.to_know,
        told.not_proved,
    ]
    return laid_out(sections, width=width)


@dataclass(frozen=True, slots=True)
class Told:
    """What is said of an audit: in a sentence or two, `about` it, in a row a copy, of the damage, and of what to do."""

    verdict: str
    about: tuple[str, ...]
    by_copy: tuple[Section, ...]
    damage: tuple[Section, ...]
    first_steps: Section
    to_know: Section
    not_proved: Section


def tell(audit: Audit) -> Told:
    """Return all that is said of an audit."""
    damage = [_Bad(copy, audit.now) for copy in audit.copies]
    wrong = [
        *(_damage(copy, bad.all) for copy, bad in zip(audit.copies, damage, strict=True)),
        _other_bytes(audit),
        *disagreements(audit.disagreements),
        items("What the spot check shows", [_sample(copy) for copy in audit.copies if copy.sample]),
    ]
    return Told(
        _verdict(audit),
        tuple(_about(audit)),
        tuple(filled(_table(audit))),
        tuple(filled(wrong)),
        items("What to do first", _first_steps(audit, damage)),
        items("To know", [*_to_know(audit), *audit.notes]),
        paragraphs(f"{NOT_PROVED} {AS_LISTED}" if _has_other_bytes(audit) else NOT_PROVED),
    )


def _verdict(audit: Audit) -> str:
    verified = sum(copy.counts["verified"] for copy in audit.copies)
    damaged = sum(copy.damaged for copy in audit.copies)
    reached, other = sum(copy.reached for copy in audit.copies), sum(len(copy.other_bytes) for copy in audit.copies)
    left = sum(copy.counts["not_read"] for copy in audit.copies)
    text = f"{audit.studio}: {_many(verified)} verified on {_count(reached, 'copy', 'copies')}, "
    text += f"{damaged or 'none'} found damaged or missing{f', {left:,} not read' if left else ''}."
    broken = [copy.copy for copy in audit.copies if copy.is_broken or copy.is_damaged]
    if not verified and not damaged and not broken:
        why = (
            "no copy could be reached"
            if not reached
            else "none of the files that were read is a promised or listed one"
        )
        text = f"{audit.studio}: nothing was verified: {why}{f'; {_many(left)} not read' if left else ''}."
    if broken and not verified and not damaged:
        text = f"{audit.studio}: nothing was verified{f'; {_many(left)} not read' if left else ''}."
    if broken:
        text += f" {_count(len(broken), 'archive is', 'archives are')} damaged as a whole: {', '.join(broken)}."
    return text + (f" {_many(other)} not what was promised, by the copy's own list." if other else "")


def _about(audit: Audit) -> list[str]:
    said = [f"Now is {audit.now}."]
    said += [f"Asked was {audit.limit} (seed {audit.seed})."] if audit.limit else []
    return said + ([f"Not finished: {audit.unfinished}."] if audit.unfinished is not None else [])


# --- the table ---------------------------------------------------------------------------------------------------


def _table(audit: Audit) -> list[Section]:
    if not audit.copies:
        return [paragraphs("No copies are named in the studio file.")]
    shown = [("Verified", ("verified",)), ("Damage", ("altered", "unreadable", "missing")), ("Extra", ("extra",))]
    shown += [("Opens", ("opens",))] if any(copy.counts["opens"] for copy in audit.copies) else []
    shown += [("Cannot check", ("cannot_check",))] if any(c.counts["cannot_check"] for c in audit.copies) else []
    shown += [("Not read", ("not_read",))]
    rows = [
        [
            copy.copy if copy.copy == copy.medium else f"{copy.copy} on {copy.medium}",
            _reached(copy),
            *(_shown(copy, outcomes) for _, outcomes in shown),
            units.say_size(copy.bytes_read) if copy.bytes_read else "-",
            _rate(copy),
        ]
        for copy in audit.copies
    ]
    headers = ["Copy", "Reached", *(title for title, _ in shown), "Bytes", "Rate"]
    text = (
        "Damage: altered, unreadable or missing. Extra: files that no list or promise names, their bytes unproven. "
        "Bytes: read in this audit."
    )
    if any(copy.counts["opens"] for copy in audit.copies):
        text += " " + OPENS_IS_LITTLE
    body = Table(headers, rows, right=range(2, len(headers)), firm=(0,))
    return [Section("Copy by copy", (body, Paragraph(text)))]


def _reached(copy: CopyResult) -> str:
    if not copy.reached:
        return "no"
    if copy.is_broken:
        return "cannot be opened"
    return "gives nothing" if copy.refuses else "damaged" if copy.is_damaged else "yes"


def _shown(copy: CopyResult, outcomes: Sequence[str]) -> str:
    if copy.elsewhere is not None and "unreadable" in outcomes:
        return "all"
    return _number(sum(copy.counts[outcome] for outcome in outcomes))


def _number(count: int) -> str:
    return f"{count:,}" if count else "-"


def _rate(copy: CopyResult) -> str:
    if not copy.bytes_read or copy.seconds < 0.01:
        return "-"
    return f"{units.say_size(round(copy.bytes_read / copy.seconds))}/s"


# --- damage ------------------------------------------------------------------------------------------------------


def _damage(copy: CopyResult, bad: _First) -> Section:
    if not bad.count or copy.elsewhere is not None:
        return NOTHING
    kinds = [f"{copy.counts[kind]:,} {kind}" for kind in ("altered", "unreadable", "missing") if copy.counts[kind]]
    texts = [f"{file.path}: {file.outcome}: {file.detail}" for file in bad.files]
    if bad.count > MOST_NAMES:
        texts.append(f"and {bad.count - MOST_NAMES:,} more (--json has all of them)")
    return items(f"{copy.copy}: {', '.join(kinds)}", texts)


def _other_bytes(audit: Audit) -> Section:
    texts: list[str] = []
    for copy in audit.copies:
        some = sorted(copy.other_bytes, key=lambda one: one.path)
        texts += [
            f"{copy.copy}: {one.path}: its list has other bytes than promised as {one.promised}"
            for one in some[:MOST_NAMES]
        ]
        if len(some) > MOST_NAMES:
            texts.append(f"{copy.copy}: and {len(some) - MOST_NAMES:,} more (--json has all of them)")
    return items(OTHER_BYTES, texts)


def _has_other_bytes(audit: Audit) -> bool:
    return any(copy.other_bytes for copy in audit.copies)


# --- spot checks -------------------------------------------------------------------------------------------------


def _sample(copy: CopyResult) -> str:
    sample = copy.sample
    assert sample is not None
    read = f"{copy.copy}: {sample.sampled:,} of {_many(sample.files)} read"
    if not sample.sampled:
        return f"{read}: that shows nothing"
    sure = f"at {sample.confidence * 100:.6g} % confidence"
    if sample.sampled == sample.files:
        return f"{read}, which is all of them: {sample.bad or 'none'} bad"
    if not sample.bad and not sample.bad_at_most:
        left = sample.files - sample.sampled
        return f"{read}: {sure} none of {sample.files:,} is bad; {left:,} {'was' if left == 1 else 'were'} not read"
    if not sample.bad:
        return f"{read}, none of them bad: {sure}, at most {sample.bad_at_most:,} of {_many(sample.files)} are bad"
    about = f"about {sample.estimate:,} of all {sample.files:,} are"
    return f"{read}, {sample.bad:,} of them bad: {about}, between {sample.low:,} and {sample.high:,} {sure}"


# --- what to do --------------------------------------------------------------------------------------------------

_Advice = tuple[str, str, bool, str]  # holder, since when it is verified there, only by its name, what is wrong


def _first_steps(audit: Audit, damage: Sequence[_Bad]) -> list[str]:
    said: list[str] = []
    for copy, bad in zip(audit.copies, damage, strict=True):
        said += [_failing(copy)] if bad.is_failing else []
        said += _archive_steps(copy, audit.now)
        if copy.elsewhere is not None:
            continue  # its only file is the archive
        # What nobody else holds comes first: it may be the last trace of a picture.
        for advice, files in sorted(bad.by_advice.items(), key=lambda item: (item[0][0] != "", item[0])):
            said.append(_step(copy, advice, files))
        if copy.other_bytes:
            names = _names([one.path for one in sorted(copy.other_bytes, key=lambda one: one.path)])
            why = "damaged before its list was made, edited since, or wrongly promised"
            said.append(f"{names} on {copy.copy}: not what was promised ({why}): look before you count on that copy")
    said += [
        f"{copy.copy} could not be reached ({copy.reason}): plug it in or log in, and audit it (--copy {copy.copy})"
        for copy in audit.copies
        if not copy.reached
    ]
    return said


def _archive_steps(copy: CopyResult, now: str) -> list[str]:
    """Say what to do about an archive that is damaged as a whole."""
    if copy.is_damaged:
        return [f"{copy.copy}: the archive is damaged: {copy.reason}; {MAKE_ANEW}"]
    if not copy.is_broken:
        return []
    kept = ", all the more as its headers are kept beside the ledger" if copy.headers_kept else ""
    get = f"drill run and drill recover look past the damage and may still get most out of it{kept}"
    held = "" if copy.elsewhere is None else f"{_held_elsewhere(copy.elsewhere, now)}; "
    return [f"{copy.copy}: the archive cannot be read in the ordinary way; {held}{get}; {MAKE_ANEW}"]


def _held_elsewhere(held: Elsewhere, now: str) -> str:
    age = "" if held.oldest is None else _age(held.oldest, now)
    since = f"each {age}" + (" or later" if age.endswith("ago") else "")
    if held.verified == held.promised:
        many = "the one promised file is" if held.promised == 1 else f"all {held.promised:,} promised files are"
        return f"{many} on other copies ({since})"
    parts = [f"{held.verified:,} on other copies ({since})"] if held.verified else []
    parts += [f"{held.said:,} said by lists to be on other copies, which nobody verified"] if held.said else []
    if held.nowhere:
        parts.append(f"{len(held.nowhere):,} known on no other copy ({_names(held.nowhere)}), so change nothing there")
    return f"of {_many(held.promised)} promised {', '.join(parts)}"


def _advice(copy: CopyResult, file: FileResult, now: str) -> _Advice:
    """Return what the advice on a damaged file goes by; the holder is empty where nobody is known to hold it."""
    is_broken = copy.is_archive and file.outcome == "altered" and file.detail.startswith("damaged in the archive")
    wrong = "unreadable" if is_broken else file.outcome
    if not file.intact:
        return "", "", False, wrong
    best = file.intact[0]
    return best.copy, "" if best.verified is None else _age(best.verified, now), best.by_name, wrong


def _step(copy: CopyResult, advice: _Advice, first: _First) -> str:
    """Say what to do about files of one copy. An altered one may be the only copy of another picture."""
    holder, age, by_name, wrong = advice
    files, one = first.files, first.count == 1
    said = "listed" if copy.has_list else "promised"
    it = ("it" if one else "them") if wrong != "altered" else f"the {said} one{'' if one else 's'}"
    text = f"{_names([file.path for file in files], first.count)} on {copy.copy} {_state(copy, wrong, one=one)}; "
    if not holder:
        seek = f"change nothing there, {'try drill recover, ' if copy.is_broken else ''}and look for {it} elsewhere now"
        return f"{text}no other copy is known to hold {it}: {seek}"
    if holder == copy.copy:
        which = (
            f"what is promised under {'that name' if one else 'those names'} is" if by_name else f"the {said} bytes are"
        )
        return f"{text}{which} at {files[0].intact[0].path} there{'' if one else ' and so on'}, {age}"
    name = f"{holder}, by {'its name' if one else 'their names'}," if by_name else holder
    if not age:
        return f"{text}{name} is said to hold {it}, which nobody verified: audit that copy (--copy {holder})"
    return f"{text}{name} holds {it}, {age}: {_cure(copy, wrong, it, one=one)}"


def _state(copy: CopyResult, wrong: str, *, one: bool) -> str:
    if wrong == "missing":
        return "is missing" if one else "are missing"
    if wrong == "unreadable" and copy.is_broken:
        return "cannot be read in the ordinary way"
    if wrong == "unreadable":
        return "is damaged" if one else "are damaged"
    than = "its list says" if copy.has_list else "promised"
    other = "another picture of that name" if one else "other pictures of those names"
    return f"{'has' if one else 'have'} other bytes than {than}: damaged, or {other} (a camera uses names again)"


def _cure(copy: CopyResult, wrong: str, it: str, *, one: bool) -> str:
    """Say how right bytes that are elsewhere come back, over nothing that may be wanted yet."""
    if copy.is_archive:
        look = "look at both; " if wrong == "altered" else ""
        anew = "no single file can be put back into an archive, so make it anew from there, beside this one"
        return f"{look}{anew}, and keep this one until the new one has been audited"
    if wrong == "altered":
        keep = "this one under another name" if one else "these under other names"
        return f"look at both before anything is copied over {'it' if one else 'them'}, and keep {keep}"
    if wrong == "unreadable":
        return f"bring {it} back from there to a sound drive, not over what is left here, and audit again"
    return f"bring {it} back from there, over no other file, and audit again"


def _together(files: Sequence[FileResult]) -> str:
    return _names([file.path for file in files])


def _names(paths: Sequence[str], count: int | None = None) -> str:
    """Name the first of so many paths (of those given)."""
    names = ", ".join(paths[:_NAMED_TOGETHER])
    more = (len(paths) if count is None else count) - _NAMED_TOGETHER
    return names + (f" and {more:,} more" if more > 0 else "")


def _age(verified: str, now: str) -> str:
    span_s = (clock.parse_time(now) - clock.parse_time(verified)).total_seconds()
    return "verified in this audit" if span_s <= 0 else f"verified {units.say_span(span_s)} ago"


def _failing(copy: CopyResult) -> str:
    return f"{copy.medium} gives I/O errors and may be failing: copy what it still gives to another drive first"


def _to_know(audit: Audit) -> list[str]:
    said = []
    for copy in audit.copies:
        if copy.is_broken:
            said.append(f"{copy.copy} cannot be opened: {copy.reason}")
        elif copy.refuses:
            said.append(f"{copy.copy} was reached and gives nothing: {copy.reason}")
        if copy.unlisted:
            number = _count(len(copy.unlisted), "folder")
            said.append(f"{copy.copy}: {number} could not be listed: {', '.join(copy.unlisted[:MOST_NAMES])}")
        extra = [file for file in copy.files if file.outcome == "extra"] if copy.counts["extra"] else []
        unread = [file for file in extra if file.detail.startswith("could not be read")]
        if unread:
            said.append(f"{copy.copy}: {_many(len(unread))} no promise names could not be read: {_together(unread)}")
        cannot = [file for file in copy.files if file.outcome == "cannot_check"] if copy.counts["cannot_check"] else []
        if cannot:
            said.append(f"{copy.copy}: {_many(len(cannot))} cannot be checked here: {_together(cannot)}")
    return said


# --- words -------------------------------------------------------------------------------------------------------


def _count(number: int, noun: str, plural: str = "") -> str:
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def _many(number: int) -> str:
    return _count(number, "file")
