"""The answer to "may it go?" as text: yes or no first, then the reasons, shoot by shoot, what to do first.

Flows in: the record of a retirement. Flows out: text. Must not know: files, copies, terminals (the width is given).
"""

from collections.abc import Sequence

from drill import clock, units
from drill.phrases import count_files, in_a_row
from drill.report.words import paragraph, safe, table
from drill.retirerecord import Named, Reason, Retirement, ShootLeft

MOST_NAMED = 10
MOST_MENDED = 3

NOT_PROVED = (
    "What a yes does not prove: that the other copies are whole tomorrow, or come back in time in every bad case "
    "(drill run rehearses that); that what is promised is all that you owe: a contract, a law or a client may ask for "
    "the originals for longer, or ask that their pictures are wiped, which formatting does not do. Where that matters, "
    "ask a licensed adviser. Nothing was deleted or changed: drill only reads, and what you do next is yours."
)


def retire_text(record: Retirement, *, width: int = 80) -> str:
    """Return the whole answer."""
    parts = [
        f"{paragraph(safe(answer(record)), width)}\n{paragraph(safe(_told(record)), width)}",
        _listed("But", _buts(record), width) if record.may_go else "",
        *(_reason(record, reason, width) for reason in record.reasons),
        _listed("Found wrong on other copies", _named(record.damaged), width),
        _table(record, width),
        _listed("What to do first", _first_steps(record), width),
        _listed("To know", _to_know(record), width),
        paragraph(NOT_PROVED, width),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def answer(record: Retirement) -> str:
    """Return yes or no in one short line."""
    medium = record.medium
    if record.may_go is None:
        return f"No answer yet: {medium} must be kept."
    if record.may_go:
        verb = {"card": "formatted", "cloud": "cancelled"}.get(record.kind, "let go")
        but = f", but {record.but[0]}" if record.but else ""
        return f"Yes{but}: {medium} may be {verb}."
    others = len(record.reasons) - 1
    more = f", and {others} more reason{'' if others == 1 else 's'}" if others else ""
    return f"No: {medium} must be kept: {_short(record.reasons[0])}{more}."


def _short(reason: Reason) -> str:
    many, shoot = count_files(len(reason.files)), reason.shoot or ""
    return {
        "not_known": "what is on it cannot be told",
        "extra": f"{many} on it that no promise knows",
        "unreadable": f"{many} on it could not be read",
        "not_read": f"{many} on it {'was' if len(reason.files) == 1 else 'were'} not read yet",
        "needed": "the studio's own files lie on it",
        "not_verified": f"{many} of {shoot} verified nowhere else",
        "weak": f"{many} of {shoot} cannot be verified",
        "too_few": f"{shoot} would be in too few places",
        "too_slow": f"{shoot} would come back too late",
    }[reason.why]


def _told(record: Retirement) -> str:
    text = f"{record.studio}: {_on_it(record)}. Now is {record.now}; read in this run: "
    text += f"{count_files(record.files_read)}, {units.say_size(record.bytes_read)}."
    text += f" With it goes what needs it: {', '.join(record.with_it)}." if record.with_it else ""
    text += f" Not finished: {record.unfinished}." if record.unfinished else ""
    return text


def _on_it(record: Retirement) -> str:
    stakes, verified = sum(s.at_stake for s in record.shoots), sum(s.verified for s in record.shoots)
    is_unseen = not record.contents.files and any(reason.why == "not_known" for reason in record.reasons)
    there = "" if is_unseen else f". On it: {_contents(record)}"
    if stakes:
        return (
            f"without {record.medium}, {verified:,} of {count_files(stakes)} that are promised and on it, or said to "
            f"be, were verified elsewhere{there}"
        )
    return f"what is on {record.medium} could not be looked at" if is_unseen else f"nothing promised is on it{there}"


def _contents(record: Retirement) -> str:
    on_it = record.contents
    parts = [f"{on_it.promised:,} promised", f"{on_it.extra:,} that no promise knows"]
    parts += [f"{on_it.unreadable:,} unread"] if on_it.unreadable else []
    parts += [f"{on_it.own:,} that systems, cameras and lists leave there"] if on_it.own else []
    return f"{count_files(on_it.files)} ({', '.join(parts)})"


# --- reasons -----------------------------------------------------------------------------------------------------


def _reason(record: Retirement, reason: Reason, width: int) -> str:
    shoot = next((shoot for shoot in record.shoots if shoot.shoot == reason.shoot), None)
    one = len(reason.files) == 1
    many, are, they = count_files(len(reason.files)), "is" if one else "are", "it is" if one else "they are"
    title = {
        "not_known": "What is on it is not known",
        "extra": f"{many} {are} on it that no promise knows",
        "unreadable": f"{many} on it could not be read, so nobody can say what {they}",
        "not_read": f"{many} on it {'was' if one else 'were'} not read yet",
        "needed": "The studio file, or lists or the ledger that it names, lie on it",
        "not_verified": f"{reason.shoot}: {many} {are} verified nowhere else",
        "weak": f"{reason.shoot}: {many} cannot be verified",
        "too_few": f"{reason.shoot} would be in too few places",
        "too_slow": f"{reason.shoot} would come back too late",
    }[reason.why]
    if record.unfinished and reason.why in _EARLY:
        title = f"{reason.shoot}: {_EARLY[reason.why].format(many=many)}"
    if reason.files:
        return _listed(title, _named(reason.files), width)
    return _listed(title, [_slow(shoot) if reason.why == "too_slow" and shoot else reason.detail], width)


_EARLY = {  # what is said of a run that was cut short: reading on may still change it
    "not_verified": "{many} not verified elsewhere yet",
    "too_few": "in too few places so far",
    "too_slow": "by what is known so far it would come back too late",
}


def _slow(shoot: ShootLeft) -> str:
    took, target = units.say_span(shoot.projected_s), units.say_span(shoot.target_s or 0.0)
    return f"restoring it from what is left is projected to take {took}, the target is {target}"


def _named(files: Sequence[Named]) -> list[str]:
    shown = [f"{file.where}: {file.path}" + (f": {file.detail}" if file.detail else "") for file in files[:MOST_NAMED]]
    return shown + ([f"and {len(files) - MOST_NAMED:,} more (--json has all)"] if len(files) > MOST_NAMED else [])


# --- shoot by shoot ----------------------------------------------------------------------------------------------


def _table(record: Retirement, width: int) -> str:
    if not record.shoots:
        return ""
    now = clock.parse_time(record.now)

    def age(when: str | None) -> str:
        past_s = 0.0 if when is None else (now - clock.parse_time(when)).total_seconds()
        return "none" if when is None else "now" if past_s < 60 else f"{units.say_span(past_s)} ago"

    rows = [
        [
            shoot.shoot,
            f"{shoot.at_stake:,}",
            f"{shoot.verified:,}",
            age(shoot.oldest),
            str(shoot.fewest),
            _of_target(str(shoot.survivable), shoot.survivable_target),
            units.say_span(shoot.projected_s)
            + ("" if shoot.target_s is None else f" of {units.say_span(shoot.target_s)}"),
        ]
        for shoot in record.shoots
    ]
    headers = ["Shoot", "On it", "Verified elsewhere", "Oldest proof", "Media", "Survives", "Restore"]
    text = (
        "Without it. Media: on how many others at least each file was verified; no more are read than the targets "
        "need. Survives: further failures after which every file is still on a copy that was verified, and the target."
    )
    body = table(headers, rows, width, right=(1, 2, 4), firm=(0,))
    return f"Shoot by shoot\n{body}\n{paragraph(text, width)}"


def _of_target(said: str, target: int | None) -> str:
    return f"{said} (no target)" if target is None else f"{said} of {target}"


# --- what to do --------------------------------------------------------------------------------------------------


def _first_steps(record: Retirement) -> list[str]:
    kinds = {reason.why for reason in record.reasons}
    if record.may_go is None:
        said = [f"run it again, it goes on reading; until then keep {record.medium}"]
        return said + _mend(record) + [_STEPS[why] for why in _STEPS if why in kinds and why in _LASTING]
    said = []
    if "not_known" in kinds:
        plug = "log in to {0}, or get a new link" if record.kind == "cloud" else "plug {0} in"
        said.append(f"{plug.format(record.medium)}, or name all of it in the studio file, and ask again")
    said += _mend(record)
    for copy, count in record.would_help.items():
        said.append(
            f"plug in or log in to {copy}: it is said to hold {count:,} of the files that lack a proof; ask again"
        )
    said += [step for why, step in _STEPS.items() if why in kinds] + _elsewhere(record)
    if record.may_go:
        said = [f"look once more that it is {record.medium} that you hold, then do it, by hand and with its own device"]
        said += [f"take {record.medium} out of the studio file afterwards, so that nothing counts on it"]
        said += _mend(record)
    return said


def _mend(record: Retirement) -> list[str]:
    """Say which files on other copies to mend."""
    if not record.damaged:
        return []
    shown = [f"{file.path} on {file.where}" for file in record.damaged[:MOST_MENDED]]
    more = len(record.damaged) - len(shown)
    named = ", ".join(shown) + (f" and {more:,} more" if more else "")
    return [f"repair or replace {named}, and ask again; put the old file aside until then"]


def _elsewhere(record: Retirement) -> list[str]:
    """Say where one more copy would be enough, or more of them: each where no failure takes one that is there already.

    Shoots for which mending is all that is needed are left out.
    """
    few = {reason.shoot for reason in record.reasons if reason.why == "too_few"} - {*record.mendable}
    wanted: dict[str, list[str]] = {}
    for shoot in record.shoots:
        if shoot.shoot in few:
            lacking = (shoot.survivable_target or 0) - shoot.survivable
            copies = "one more copy" if lacking == 1 else f"{lacking} more copies"
            where = " at a place" if lacking == 1 else ", each at a place of its own,"
            where += f" other than {in_a_row(shoot.places)}" if shoot.places else ""
            where += f", and not behind the login {in_a_row(shoot.accounts, 'or')}" if shoot.accounts else ""
            wanted.setdefault(f"make {copies} of {{}}{where}, and ask again", []).append(shoot.shoot)
    return [step.format(in_a_row(shoots)) for step, shoots in wanted.items()]


_LASTING = ("extra", "unreadable", "needed", "weak")  # these stay, however far a run that was cut short goes on
_STEPS = {
    "extra": "look at the files that no promise knows: copy what is worth keeping to two other media, one of them in "
    "another place, and promise it (drill new FOLDER --add), or delete it yourself",
    "unreadable": "copy what can still be read to another medium, before anything else",
    "needed": "move the studio file and its lists to another disk, and have them in the studio file by their new place",
    "not_verified": "bring the files that are verified nowhere else to another copy, and ask again",
    "weak": "make a list with sha256 or xxh128 digests while the files are still there",
    "too_slow": "make a copy on a quicker medium, or give the shoot more time (restore_within)",
}


def _to_know(record: Retirement) -> list[str]:
    return list(record.notes) if record.may_go else [*_buts(record), *record.notes]


def _buts(record: Retirement) -> list[str]:
    """Say what a yes rests on: where what is left lies, what does not count, what nobody can check from here."""
    said = list(record.but)
    if said:
        said[-1] += " (also counting what is only said to be there; three copies: common practice, no source)"
    said += [f"{medium} does not count as another copy: {why}" for medium, why in record.not_counted]
    return [*said, *record.cautions]


def _listed(title: str, texts: Sequence[str], width: int) -> str:
    if not texts:
        return ""
    body = "\n".join(paragraph(safe(text), width, first="- ", rest="  ") for text in texts)
    return f"{paragraph(safe(title), width)}\n{body}"
