"""The audit as text: a row a copy, then damage by name, what a spot check shows, and what to do first.

Flows in: the record of an audit. Flows out: text. Must not know: files, copies, terminals (the width is given).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from drill import units
from drill.auditrecord import Audit, CopyResult
from drill.phrases import count_files, many
from drill.report.audit_steps_text import MOST_NAMES, Bad, First, first_steps, together
from drill.report.disagree_text import disagreements
from drill.report.sections import NOTHING, Paragraph, Section, Table, filled, items, laid_out, paragraphs

_NAMED = 3  # copies that are named in a sentence

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


def audit_text(audit: Audit, *, width: int = 80) -> str:
    """Return the whole report of an audit."""
    told = tell(audit)
    sections = [
        paragraphs(" ".join((told.verdict, *told.about))),
        *told.by_copy,
        *told.damage,
        told.first_steps,
        told.to_know,
        paragraphs(told.not_proved),
    ]
    return laid_out(sections, width=width)


def answer(audit: Audit) -> str:
    """Return in a sentence whether all is right, and if not, how much is wrong where, and what is known of it."""
    wrong = [copy for copy in audit.copies if copy.damaged]
    broken = [copy.copy for copy in audit.copies if copy.is_broken or copy.is_damaged]
    left = _left(audit)
    if wrong:
        return f"{_wrong(wrong)}{_broken(broken, ' Also, ')}{left}"
    if broken:
        return f"{_broken(broken, '')}{left}"
    verified = sum(copy.counts["verified"] for copy in audit.copies)
    if not verified:
        return _verdict(audit).removeprefix(f"{audit.studio}: ").capitalize()
    others = " Files that are not what was promised are named below." if _has_other_bytes(audit) else ""
    holders = sum(bool(copy.counts["verified"]) for copy in audit.copies)
    where = many(holders, "copy", "copies")
    return (
        f"No damage was found: {count_files(verified)} read on {where} are what was promised or listed.{others}{left}"
    )


def _wrong(copies: Sequence[CopyResult]) -> str:
    number = sum(copy.damaged for copy in copies)
    worst = sorted(copies, key=lambda copy: -copy.damaged)
    names = ", ".join(f"{copy.damaged:,} on {copy.copy}" for copy in worst[:_NAMED])
    more = f" and {len(worst) - _NAMED} more" if len(worst) > _NAMED else ""
    nowhere = sum(not file.intact for copy in copies for file in copy.files if file.is_damage)
    is_are = "is" if number == 1 else "are"
    if not nowhere:
        known = "the right bytes are held elsewhere, or said to be"
    elif nowhere == number:
        known = f"the right bytes are known on no copy, so change nothing on {_places(worst)}"
    else:
        known = f"of {nowhere:,} of them the right bytes are known on no copy, so change nothing on {_places(worst)}"
    return f"{count_files(number)} {is_are} damaged or missing ({names}{more}): {known}."


def _places(copies: Sequence[CopyResult]) -> str:
    names = [copy.copy for copy in copies if any(file.is_damage and not file.intact for file in copy.files)]
    return ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")


def _broken(names: Sequence[str], before: str) -> str:
    if not names:
        return ""
    said = f"{many(len(names), 'archive is', 'archives are')} damaged as a whole: {', '.join(names[:_NAMED])}"
    return f"{before}{said}{f' and {len(names) - _NAMED} more' if len(names) > _NAMED else ''}."


def _left(audit: Audit) -> str:
    """Say of what nothing can be said."""
    unread = sum(copy.counts["not_read"] for copy in audit.copies)
    away = sum(not copy.reached for copy in audit.copies)
    said = [f"{count_files(unread)} {'was' if unread == 1 else 'were'} not read"] if unread else []
    said += [f"{many(away, 'copy', 'copies')} could not be reached"] if away else []
    return f" {' and '.join(said)}: nothing is said of these." if said else ""


@dataclass(frozen=True, slots=True)
class Told:
    """What is said of an audit: in a sentence or two, `about` it, in a row a copy, of the damage, and of what to do."""

    verdict: str
    about: tuple[str, ...]
    by_copy: tuple[Section, ...]
    damage: tuple[Section, ...]
    first_steps: Section
    to_know: Section
    not_proved: str


def tell(audit: Audit, *, most: int = MOST_NAMES) -> Told:
    """Return all that is said of an audit; of what is damaged on a copy, `most` files by their names."""
    damage = [Bad(copy, audit.now) for copy in audit.copies]
    wrong = [
        *(_damage(copy, bad.all, most) for copy, bad in zip(audit.copies, damage, strict=True)),
        _other_bytes(audit, most),
        *disagreements(audit.disagreements),
        items("What the spot check shows", [_sample(copy) for copy in audit.copies if copy.sample]),
    ]
    return Told(
        _verdict(audit),
        tuple(_about(audit)),
        tuple(filled(_table(audit))),
        tuple(filled(wrong)),
        items("What to do first", first_steps(audit, damage)),
        items("To know", [*_to_know(audit), *audit.notes]),
        f"{NOT_PROVED} {AS_LISTED}" if _has_other_bytes(audit) else NOT_PROVED,
    )


def _verdict(audit: Audit) -> str:
    verified = sum(copy.counts["verified"] for copy in audit.copies)
    damaged = sum(copy.damaged for copy in audit.copies)
    reached, other = sum(copy.reached for copy in audit.copies), sum(len(copy.other_bytes) for copy in audit.copies)
    left = sum(copy.counts["not_read"] for copy in audit.copies)
    text = f"{audit.studio}: {count_files(verified)} verified on {many(reached, 'copy', 'copies')}, "
    text += f"{damaged or 'none'} found damaged or missing{f', {left:,} not read' if left else ''}."
    broken = [copy.copy for copy in audit.copies if copy.is_broken or copy.is_damaged]
    if not verified and not damaged and not broken:
        why = (
            "no copy could be reached"
            if not reached
            else "none of the files that were read is a promised or listed one"
        )
        text = f"{audit.studio}: nothing was verified: {why}{f'; {count_files(left)} not read' if left else ''}."
    if broken and not verified and not damaged:
        text = f"{audit.studio}: nothing was verified{f'; {count_files(left)} not read' if left else ''}."
    if broken:
        text += f" {many(len(broken), 'archive is', 'archives are')} damaged as a whole: {', '.join(broken)}."
    return text + (f" {count_files(other)} not what was promised, by the copy's own list." if other else "")


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


def _damage(copy: CopyResult, bad: First, most: int) -> Section:
    if not bad.count or copy.elsewhere is not None:
        return NOTHING
    kinds = [f"{copy.counts[kind]:,} {kind}" for kind in ("altered", "unreadable", "missing") if copy.counts[kind]]
    texts = [f"{file.path}: {file.outcome}: {file.detail}" for file in bad.first(most)]
    if bad.count > most:
        texts.append(f"and {bad.count - most:,} more (--json has all of them)")
    return items(f"{copy.copy}: {', '.join(kinds)}", texts)


def _other_bytes(audit: Audit, most: int) -> Section:
    texts: list[str] = []
    for copy in audit.copies:
        some = sorted(copy.other_bytes, key=lambda one: one.path)
        texts += [
            f"{copy.copy}: {one.path}: its list has other bytes than promised as {one.promised}" for one in some[:most]
        ]
        if len(some) > most:
            texts.append(f"{copy.copy}: and {len(some) - most:,} more (--json has all of them)")
    return items(OTHER_BYTES, texts)


def _has_other_bytes(audit: Audit) -> bool:
    return any(copy.other_bytes for copy in audit.copies)


# --- spot checks -------------------------------------------------------------------------------------------------


def _sample(copy: CopyResult) -> str:
    sample = copy.sample
    assert sample is not None
    read = f"{copy.copy}: {sample.sampled:,} of {count_files(sample.files)} read"
    if not sample.sampled:
        return f"{read}: that shows nothing"
    sure = f"at {sample.confidence * 100:.6g} % confidence"
    if sample.sampled == sample.files:
        return f"{read}, which is all of them: {sample.bad or 'none'} bad"
    if not sample.bad and not sample.bad_at_most:
        left = sample.files - sample.sampled
        return f"{read}: {sure} none of {sample.files:,} is bad; {left:,} {'was' if left == 1 else 'were'} not read"
    if not sample.bad:
        return (
            f"{read}, none of them bad: {sure}, at most {sample.bad_at_most:,} of {count_files(sample.files)} are bad"
        )
    about = f"about {sample.estimate:,} of all {sample.files:,} are"
    return f"{read}, {sample.bad:,} of them bad: {about}, between {sample.low:,} and {sample.high:,} {sure}"


def _to_know(audit: Audit) -> list[str]:
    said = []
    for copy in audit.copies:
        if copy.is_broken:
            said.append(f"{copy.copy} cannot be opened: {copy.reason}")
        elif copy.refuses:
            said.append(f"{copy.copy} was reached and gives nothing: {copy.reason}")
        if copy.unlisted:
            number = many(len(copy.unlisted), "folder")
            said.append(f"{copy.copy}: {number} could not be listed: {', '.join(copy.unlisted[:MOST_NAMES])}")
        extra = [file for file in copy.files if file.outcome == "extra"] if copy.counts["extra"] else []
        unread = [file for file in extra if file.detail.startswith("could not be read")]
        if unread:
            said.append(
                f"{copy.copy}: {count_files(len(unread))} no promise names could not be read: {together(unread)}"
            )
        cannot = [file for file in copy.files if file.outcome == "cannot_check"] if copy.counts["cannot_check"] else []
        if cannot:
            said.append(f"{copy.copy}: {count_files(len(cannot))} cannot be checked here: {together(cannot)}")
    return said
