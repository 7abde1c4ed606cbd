"""Copies that disagree, as text: who is alike, where the others differ, what a look said, who is likely right.

Flows in: disagreements of an audit's record. Flows out: text. Must not know: files, copies, terminals.
"""

from collections.abc import Sequence

from drill import units
from drill.auditrecord import Disagreement, Group
from drill.phrases import in_a_row
from drill.report.sections import Items, Paragraph, Section

MOST_NAMES = 10
_MOST_DIFFERENCES = 3  # of one file that are said

TITLE = "Copies that disagree, and nothing settles it"
NO_PROOF = (
    "A judgement, no proof: no promise says what these files have to be, so their copies were held against each other. "
    "It counts neither as verified nor as damage. Look at the pictures yourself, keep every copy until you have, and "
    "promise the right one (a manifest in [[shoots]])."
)
_LOOKS = {
    "opens": "opens",
    "damaged": "does not open",
    "unreadable": "cannot be read",
    "cannot_check": "cannot be checked by looking into it",
}


def disagreements(disagreements: Sequence[Disagreement]) -> list[Section]:
    """Return the section on copies that disagree; none where none do."""
    if not disagreements:
        return []
    compared = [one for one in disagreements if one.groups]
    files = [one for one in compared if one.is_one_file]
    texts = [_file(one) for one in files[:MOST_NAMES]]
    if len(files) > MOST_NAMES:
        texts.append(f"and {len(files) - MOST_NAMES:,} more (--json has all of them)")
    texts += _named(
        "not one file, it seems, as next to nothing in them is alike", [o for o in compared if o not in files]
    )
    left_out = [one for one in disagreements if not one.groups]
    for why in dict.fromkeys(one.judgement for one in left_out):
        texts += _named(why, [one for one in left_out if one.judgement == why])
    return [Section(TITLE, (Items(texts), Paragraph(NO_PROOF)))]


def _named(what: str, some: Sequence[Disagreement]) -> list[str]:
    if not some:
        return []
    names = ", ".join(one.name for one in some[:MOST_NAMES])
    more = len(some) - MOST_NAMES
    return [f"{names}" + (f" and {more:,} more" if more > 0 else "") + f": {what}"]


def _file(one: Disagreement) -> str:
    said = [f"{one.name}: {'; '.join(_group(group) for group in one.groups)}"]
    said += [each.words for each in one.between[:_MOST_DIFFERENCES]]
    if len(one.between) > _MOST_DIFFERENCES:
        said.append(f"{len(one.between) - _MOST_DIFFERENCES} more differences are in --json")
    said += [f"{text[:1].upper()}{text[1:]}" for text in (one.judgement, one.hint) if text]
    return ". ".join(said) + "."


def _group(group: Group) -> str:
    copies = list(dict.fromkeys(copy for copy, _ in group.files))
    names = in_a_row(copies) + (" (alike)" if len(copies) > 1 else "")
    lost = sum(end - start for start, end in group.unreadable)
    unread = f", {units.say_size(lost)} of it unreadable" if lost else ""
    return f"{names}: {units.say_size(group.size)}{unread}, {_LOOKS[group.looks]}"
