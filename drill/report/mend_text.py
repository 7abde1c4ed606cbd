"""Copies with wrong files today, in words: how many copies, and of each what to make anew from where.

Flows in: the record. Flows out: sentences. Must not know: reads, claims, terminals.
"""

from collections.abc import Sequence

from drill.phrases import count_files
from drill.record import Mend

MOST_NAMED = 5


def wrong_today(ids: Sequence[str]) -> str:
    """Return in one sentence which copies have wrong files today; nothing where none is known to."""
    if not ids:
        return ""
    names = ", ".join(ids[:MOST_NAMED])
    more = f" and {len(ids) - MOST_NAMED} more" if len(ids) > MOST_NAMED else ""
    copies = "1 copy has" if len(ids) == 1 else f"{len(ids)} copies have"
    return f"Today, without any scenario, {copies} files that are damaged, missing or not as promised: {names}{more}."


def mend_advice(one: Mend) -> str:
    """Return what to do about one copy. Other bytes without an error may be an edit, so they are looked at first."""
    wrong = one.failed + one.other
    if not wrong:
        return (
            f"{one.copy} is not as it should be today. Look what is wrong there, and where it is right: drill audit "
            f"--copy {one.copy}."
        )
    what = [f"{count_files(one.failed)} {_are(one.failed)} missing or cannot be read"] if one.failed else []
    what += [f"{count_files(one.other)} {_are(one.other)} not what was promised"] if one.other else []
    which = "it" if one.other == 1 else "these"
    look = f" Look at {which} first: a file may have been edited since." if one.other else ""
    return f"{one.copy}, today: {' and '.join(what)}.{look} {_anew(one, wrong)}"


def _anew(one: Mend, wrong: int) -> str:
    make = f"Make {one.copy} anew" if one.is_archive else "Copy it anew" if wrong == 1 else "Copy them anew"
    keep = "Keep what is there until the new one is verified."
    they = "it" if wrong == 1 else "all of them"
    if one.source is None:
        return f"No other copy here is known to have {they}: drill recover gets out what can be had. {keep}"
    if one.right == wrong:
        were = "it was" if wrong == 1 else "they were"
        return f"{make} from {one.source}, where {were} read in this run and {_are(wrong)} right. {keep}"
    if one.right + one.said == wrong:
        read = (
            f"{count_files(one.right)} of them {_are(one.right)} right, the others were" if one.right else "they were"
        )
        read = "it was" if wrong == 1 else read
        return (
            f"{make} from {one.source}, which should have {they} ({read} not read in this run: drill audit --copy "
            f"{one.source} first). {keep}"
        )
    has = f"has {one.right + one.said:,}, and {one.right:,} of these were read in this run and are right"
    if not one.right:
        has = f"should have {one.said:,}, and none of these was read in this run"
    return (
        f"No other copy is known to have all of them; {one.source} {has}. drill recover gets out what all copies "
        f"together give. {keep}"
    )


def _are(number: int) -> str:
    return "is" if number == 1 else "are"
