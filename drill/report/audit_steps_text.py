"""What to do about what an audit found damaged, in words: the worst first, and never over anything that may be wanted.

Flows in: the record of an audit. Flows out: texts. Must not know: files, copies, how the texts are laid out.
"""

from collections import defaultdict
from collections.abc import Sequence

from drill import clock, units
from drill.auditrecord import Audit, CopyResult, Elsewhere, FileResult
from drill.phrases import count_files
from drill.report.words import MAKE_ANEW

MOST_NAMES = 10
_MOST_KEPT = 100  # damaged files of a copy that a report can name
_NAMED_TOGETHER = 3  # files of one piece of advice that are named


class First:
    """The first files by their paths, and how many there are."""

    def __init__(self) -> None:
        self._files: list[FileResult] = []
        self.count = 0

    def add(self, file: FileResult) -> None:
        """Take one more."""
        self.count += 1
        self._files.append(file)
        if len(self._files) >= 4 * _MOST_KEPT:
            self._files = self.first(_MOST_KEPT)

    def first(self, most: int) -> list[FileResult]:
        """Return the first files, at most so many and at most _MOST_KEPT."""
        return sorted(self._files, key=lambda file: file.path)[:most]


class Bad:
    """The damaged files of one copy, looked at once, for there may be very many: all, and by what is to be done."""

    def __init__(self, copy: CopyResult, now: str) -> None:
        self.all = First()
        self.is_failing = False
        self.by_advice: dict[_Advice, First] = defaultdict(First)
        for file in copy.files if copy.damaged else ():
            if file.is_damage:
                self.all.add(file)
                self.by_advice[_advice(copy, file, now)].add(file)
                self.is_failing = self.is_failing or bool(file.ranges) or "I/O error" in file.detail


_Advice = tuple[str, str, bool, str]  # holder, since when it is verified there, only by its name, what is wrong


def first_steps(audit: Audit, damage: Sequence[Bad]) -> list[str]:
    """Return what to do, for each copy and its damage."""
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
            names = named([one.path for one in sorted(copy.other_bytes, key=lambda one: one.path)])
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
        all_ = "the one promised file is" if held.promised == 1 else f"all {held.promised:,} promised files are"
        return f"{all_} on other copies ({since})"
    parts = [f"{held.verified:,} on other copies ({since})"] if held.verified else []
    parts += [f"{held.said:,} said by lists to be on other copies, which nobody verified"] if held.said else []
    if held.nowhere:
        parts.append(f"{len(held.nowhere):,} known on no other copy ({named(held.nowhere)}), so change nothing there")
    return f"of {count_files(held.promised)} promised {', '.join(parts)}"


def _advice(copy: CopyResult, file: FileResult, now: str) -> _Advice:
    """Return what the advice on a damaged file goes by; the holder is empty where nobody is known to hold it."""
    is_broken = copy.is_archive and file.outcome == "altered" and file.detail.startswith("damaged in the archive")
    wrong = "unreadable" if is_broken else file.outcome
    if not file.intact:
        return "", "", False, wrong
    best = file.intact[0]
    return best.copy, "" if best.verified is None else _age(best.verified, now), best.by_name, wrong


def _step(copy: CopyResult, advice: _Advice, first: First) -> str:
    """Say what to do about files of one copy. An altered one may be the only copy of another picture."""
    holder, age, by_name, wrong = advice
    files, one = first.first(_NAMED_TOGETHER), first.count == 1
    said = "listed" if copy.has_list else "promised"
    it = ("it" if one else "them") if wrong != "altered" else f"the {said} one{'' if one else 's'}"
    text = f"{named([file.path for file in files], first.count)} on {copy.copy} {_state(copy, wrong, one=one)}; "
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


def together(files: Sequence[FileResult]) -> str:
    """Name the first of some files."""
    return named([file.path for file in files])


def named(paths: Sequence[str], count: int | None = None) -> str:
    """Name the first of so many paths (of those given)."""
    names = ", ".join(paths[:_NAMED_TOGETHER])
    more = (len(paths) if count is None else count) - _NAMED_TOGETHER
    return names + (f" and {more:,} more" if more > 0 else "")


def _age(verified: str, now: str) -> str:
    span_s = (clock.parse_time(now) - clock.parse_time(verified)).total_seconds()
    return "verified in this audit" if span_s <= 0 else f"verified {units.say_span(span_s)} ago"


def _failing(copy: CopyResult) -> str:
    return f"{copy.medium} gives I/O errors and may be failing: copy what it still gives to another drive first"
