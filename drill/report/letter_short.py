"""What a letter says of what falls short: plainly, and first.

Flows in: shortfalls of a proof. Flows out: sentences. Must not know: pages, copies.
"""

from collections.abc import Callable, Mapping, Sequence

from drill import units
from drill.phrases import count_files, many
from drill.proofrecord import OWN, Shortfall
from drill.report.letter_terms import day_or_never, named, shown_id, were

Titles = Mapping[str, str]  # shipped scenarios: name → title


def shortfall_words(short: Sequence[Shortfall], *, of: int, titles: Titles) -> list[str]:
    """Say what falls short: one sentence for each kind of it, with the shoots named where there are several."""
    by_kind: dict[str, list[Shortfall]] = {}
    for one in short:
        by_kind.setdefault(one.what, []).append(one)
    said = []
    for what, group in by_kind.items():
        shoots = list(dict.fromkeys(one.shoot for one in group))
        where = "" if of == 1 else f" ({named([shown_id(shoot) for shoot in shoots])})"
        said.append(f"{_SAYINGS[what](group, titles)}{where}.")
    return said


def _drill_short(group: Sequence[Shortfall], titles: Titles) -> str:
    names = dict.fromkeys(one.scenario or OWN for one in group)
    own = "something that we thought of ourselves"
    mishaps = named([titles.get(name, own) for name in names], joint="; ")
    short = many(sum(one.count for one in group), "drill")
    return (
        f"{short} fell short: files did not come back, or could not be proved, or came "
        f"back too late, or too little would have been left in case of more. What was rehearsed in them: {mishaps}"
    )


def _not_rehearsed(group: Sequence[Shortfall], titles: Titles) -> str:
    names = dict.fromkeys(one.scenario or OWN for one in group)
    mishaps = named([titles.get(name, "some other mishap") for name in names], joint="; ")
    limits = [one.limit_s for one in group if one.limit_s is not None]
    within = f" in the last {units.say_span(min(limits))}" if limits else ""
    return f"Never rehearsed with these files{within}, though it can happen to what we keep: {mishaps}"


def _with_limit(text: str) -> Callable[[Sequence[Shortfall], Titles], str]:
    def say(group: Sequence[Shortfall], _titles: Titles) -> str:
        at = day_or_never(min((one.at for one in group if one.at is not None), default=None))
        limits = [one.limit_s for one in group if one.limit_s is not None]
        limit = f", and one is due every {units.say_span(min(limits))}" if limits else ""
        return text.format(at=at, limit=limit)

    return say


def _with_counts(text: str) -> Callable[[Sequence[Shortfall], Titles], str]:
    def say(group: Sequence[Shortfall], _titles: Titles) -> str:
        count, of = sum(one.count for one in group), sum(one.of for one in group)
        at = day_or_never(min((one.at for one in group if one.at is not None), default=None))
        return text.format(count=f"{count:,}", of=f"{of:,}", files=count_files(of), at=at, were=were(count))

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
    "not_rehearsed": _not_rehearsed,
    "audit_later": _with_limit("A reading of the copies is dated {at}, later than this letter: a clock was wrong"),
    "never_audited": _with_limit("The copies were never read through"),
    "audit_old": _with_limit("The copies were last read through on {at}{limit}"),
    "damaged": _with_counts("{count} of {files} {were} found damaged on one copy or more"),
    "not_read": _with_counts("Of {count} of {files} no copy was read in time and found right"),
    "no_checksum": _with_counts("Of {count} of {files} that {were} delivered no checksum could be had"),
}
