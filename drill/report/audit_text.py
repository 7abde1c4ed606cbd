"""The audit as text: a row a copy, then damage by name, what a spot check shows, and what to do first.

Flows in: the record of an audit. Flows out: text. Must not know: files, copies, terminals (the width is given).
"""

from collections import defaultdict
from collections.abc import Sequence

from drill import clock, units
from drill.auditrecord import Audit, CopyResult, FileResult
from drill.report.disagree_text import disagreements_text
from drill.report.words import listed, paragraph, safe, table

MOST_NAMES = 10
_NAMED_TOGETHER = 3  # files of one piece of advice that are named

NOT_PROVED = (
    "What this does not prove: verified files were read from their copy and are what its list, or the promise, says; "
    "whether they come back in time, from what is left after a loss, only a drill (drill run) shows. What was not read "
    "may be damaged. A list that was made from a damaged file calls the damage right. And a drive may fail tomorrow."
)
OPENS_IS_LITTLE = (
    "Opens: no digest is known, and the file could be decoded. That is little: on real photographs full decoding "
    "notices about 1 in 100 flipped bits and almost no lost sector."
)


def audit_text(audit: Audit, *, width: int = 80) -> str:
    """Return the whole report of an audit."""
    parts = [
        _head(audit, width),
        _table(audit, width),
        *(_damage(copy, width) for copy in audit.copies),
        disagreements_text(audit.disagreements, width),
        listed("What the spot check shows", [_sample(copy) for copy in audit.copies if copy.sample], width),
        listed("What to do first", _first_steps(audit), width),
        listed("To know", [*_to_know(audit), *audit.notes], width),
        paragraph(NOT_PROVED, width),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(audit: Audit, width: int) -> str:
    verified = sum(copy.counts["verified"] for copy in audit.copies)
    damaged = sum(copy.damaged for copy in audit.copies)
    left = sum(copy.counts["not_read"] for copy in audit.copies)
    text = f"{audit.studio}: {_many(verified)} verified on {_count(len(audit.copies), 'copy', 'copies')}, "
    text += f"{damaged or 'none'} found damaged or missing{f', {left:,} not read' if left else ''}. Now is {audit.now}."
    text += f" Asked was {audit.limit} (seed {audit.seed})." if audit.limit else ""
    if audit.unfinished is not None:
        text += f" Not finished: {audit.unfinished}."
    return paragraph(safe(text), width)


# --- the table ---------------------------------------------------------------------------------------------------


def _table(audit: Audit, width: int) -> str:
    if not audit.copies:
        return "No copies are named in the studio file."
    shown = [("Verified", ("verified",)), ("Damage", ("altered", "unreadable", "missing")), ("Extra", ("extra",))]
    shown += [("Opens", ("opens",))] if any(copy.counts["opens"] for copy in audit.copies) else []
    shown += [("Cannot check", ("cannot_check",))] if any(c.counts["cannot_check"] for c in audit.copies) else []
    shown += [("Not read", ("not_read",))]
    rows = [
        [
            copy.copy if copy.copy == copy.medium else f"{copy.copy} on {copy.medium}",
            "no" if not copy.reached else "gives nothing" if copy.refuses else "yes",
            *(_number(sum(copy.counts[outcome] for outcome in outcomes)) for _, outcomes in shown),
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
    body = table(headers, rows, width, right=range(2, len(headers)), firm=(0,))
    return f"Copy by copy\n{body}\n{paragraph(text, width)}"


def _number(count: int) -> str:
    return f"{count:,}" if count else "-"


def _rate(copy: CopyResult) -> str:
    if not copy.bytes_read or copy.seconds < 0.01:
        return "-"
    return f"{units.say_size(round(copy.bytes_read / copy.seconds))}/s"


# --- damage ------------------------------------------------------------------------------------------------------


def _damage(copy: CopyResult, width: int) -> str:
    bad = sorted((file for file in copy.files if file.is_damage), key=lambda file: file.path)
    if not bad:
        return ""
    kinds = [f"{copy.counts[kind]:,} {kind}" for kind in ("altered", "unreadable", "missing") if copy.counts[kind]]
    texts = [f"{file.path}: {file.outcome}: {file.detail}" for file in bad[:MOST_NAMES]]
    if len(bad) > MOST_NAMES:
        texts.append(f"and {len(bad) - MOST_NAMES:,} more (--json has all of them)")
    return listed(safe(f"{copy.copy}: {', '.join(kinds)}"), texts, width)


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
    if not sample.bad:
        return f"{read}, none of them bad: {sure}, at most {sample.bad_at_most:,} of {_many(sample.files)} are bad"
    about = f"about {sample.estimate:,} of all {sample.files:,} are"
    return f"{read}, {sample.bad:,} of them bad: {about}, between {sample.low:,} and {sample.high:,} {sure}"


# --- what to do --------------------------------------------------------------------------------------------------


def _first_steps(audit: Audit) -> list[str]:
    said: list[str] = []
    for copy in audit.copies:
        bad = [file for file in copy.files if file.is_damage]
        said += _failing(copy, bad)
        by_place: dict[tuple[str, str], list[FileResult]] = defaultdict(list)
        for file in sorted(bad, key=lambda file: file.path):
            by_place[_best(file, audit.now)].append(file)
        # What nobody else holds comes first: it may be the last trace of a picture.
        for (holder, age), files in sorted(by_place.items(), key=lambda item: (item[0][0] != "", item[0])):
            said.append(_step(copy, holder, age, files))
    said += [
        f"{copy.copy} could not be reached ({copy.reason}): plug it in or log in, and audit it (--copy {copy.copy})"
        for copy in audit.copies
        if not copy.reached
    ]
    return said


def _best(file: FileResult, now: str) -> tuple[str, str]:
    """Return the copy to bring a file back from, and when it was verified there; empty where nobody knows one."""
    if not file.intact:
        return "", ""
    best = file.intact[0]
    return best.copy, "" if best.verified is None else _age(best.verified, now)


def _step(copy: CopyResult, holder: str, age: str, files: Sequence[FileResult]) -> str:
    one = len(files) == 1
    it, verb = ("it", "is") if one else ("them", "are")
    missing = {file.outcome == "missing" for file in files}
    state = "damaged or missing" if len(missing) > 1 else "missing" if True in missing else "damaged"
    text = f"{_together(files)} on {copy.copy} {verb} {state}; "
    if not holder:
        return f"{text}no other copy is known to hold {it}: change nothing there, and look for {it} elsewhere now"
    if holder == copy.copy:
        return f"{text}the same bytes are at {files[0].intact[0].path} there{'' if one else ' and so on'}, {age}"
    if not age:
        return f"{text}{holder} is said to hold {it}, which nobody verified: audit that copy (--copy {holder})"
    return f"{text}{holder} holds {it}, {age}: bring {it} back from there, and audit again"


def _together(files: Sequence[FileResult]) -> str:
    names = ", ".join(file.path for file in files[:_NAMED_TOGETHER])
    more = len(files) - _NAMED_TOGETHER
    return names + (f" and {more:,} more" if more > 0 else "")


def _age(verified: str, now: str) -> str:
    span_s = (clock.parse_time(now) - clock.parse_time(verified)).total_seconds()
    return "verified in this audit" if span_s <= 0 else f"verified {units.say_span(span_s)} ago"


def _failing(copy: CopyResult, bad: Sequence[FileResult]) -> list[str]:
    if not any(file.ranges or "I/O error" in file.detail for file in bad):
        return []
    return [f"{copy.medium} gives I/O errors and may be failing: copy what it still gives to another drive first"]


def _to_know(audit: Audit) -> list[str]:
    said = []
    for copy in audit.copies:
        if copy.refuses:
            said.append(f"{copy.copy} was reached and gives nothing: {copy.reason}")
        if copy.unlisted:
            number = _count(len(copy.unlisted), "folder")
            said.append(f"{copy.copy}: {number} could not be listed: {', '.join(copy.unlisted[:MOST_NAMES])}")
        extra = [file for file in copy.files if file.outcome == "extra"]
        unread = [file for file in extra if file.detail.startswith("could not be read")]
        if unread:
            said.append(f"{copy.copy}: {_many(len(unread))} no promise names could not be read: {_together(unread)}")
        cannot = [file for file in copy.files if file.outcome == "cannot_check"]
        if cannot:
            said.append(f"{copy.copy}: {_many(len(cannot))} cannot be checked here: {_together(cannot)}")
    return said


# --- words -------------------------------------------------------------------------------------------------------


def _count(number: int, noun: str, plural: str = "") -> str:
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def _many(number: int) -> str:
    return _count(number, "file")
