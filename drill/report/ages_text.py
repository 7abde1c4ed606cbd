"""How old the proofs are: for each shoot and copy, the oldest proof and what was never verified, in words.

Flows in: ages from the record, the moment that counts as now. Flows out: text. Must not know: the ledger, views.
"""

from collections.abc import Sequence
from datetime import datetime

from drill import clock, units
from drill.model import ProofAge, ProofAges
from drill.report.words import paragraph, safe, table

MOST_NAMED = 5
AGE_HEADERS = ("Shoot", "Copy", "Holds", "Oldest proof", "Never verified", "Wrong")


def ages_text(ages: Sequence[ProofAges], *, now: str, width: int) -> str:
    """Return the table of proofs, and what it means; nothing where nobody asked the ledger."""
    moment = clock.parse_time(now)
    rows = [age_row(shoot, one, moment) for shoot in ages for one in shoot.copies]
    if not rows:
        return ""
    body = table(AGE_HEADERS, rows, width, right=(2, 4, 5), firm=(0,))
    said = [*age_words(ages), *(_wrong(shoot, one) for shoot in ages for one in shoot.copies if one.refuted)]
    return "\n".join(["How old the proofs are", body, *(paragraph(safe(text), width) for text in said)])


def age_words(ages: Sequence[ProofAges]) -> list[str]:
    """Return what the columns mean that are used."""
    said = [
        "Oldest proof: since when the bytes of every file there that has a proof are known to be right; ! it is older "
        "than verified_within, or files there were never verified. A proof ends when the file changes; behind a link "
        "nobody can see that, so it says what the server sent then. Holds: by its list, else by names; of a copy that "
        "cannot be reached now, as it was last seen."
    ]
    copies = [one for shoot in ages for one in shoot.copies]
    if any(one.held > one.proven + one.never for one in copies):
        said.append(
            "Wrong: not right when last read in the ordinary way; a drill may still have saved it out of the damage."
        )
    if any(one.never for one in copies):
        said.append("Never verified: drill audit reads these; a drill reads of each copy only what it needs.")
    return said


def is_overdue(one: ProofAge, target_s: float | None, now: datetime) -> bool:
    """Say whether a copy's proofs miss the target: one is too old, or a file has none."""
    if target_s is None:
        return False
    if one.proven < one.held or one.oldest is None:
        return True
    return (now - clock.parse_time(one.oldest)).total_seconds() > target_s


def age_row(shoot: ProofAges, one: ProofAge, now: datetime) -> list[str]:
    """Return the cells of one copy's row, as `AGE_HEADERS` names them."""
    age = "none" if one.oldest is None else say_age(one.oldest, now)
    mark = " !" if is_overdue(one, shoot.target_s, now) else ""
    wrong = str(one.held - one.proven - one.never) if one.held > one.proven + one.never else "-"
    return [safe(shoot.shoot), safe(one.copy), str(one.held), age + mark, str(one.never or "-"), wrong]


def say_age(when: str, now: datetime) -> str:
    """Write how long ago a moment was."""
    past_s = (now - clock.parse_time(when)).total_seconds()
    return "now" if past_s < 60 else f"{units.say_span(past_s)} ago"


def _wrong(shoot: ProofAges, one: ProofAge) -> str:
    more = f" and {len(one.refuted) - MOST_NAMED} more" if len(one.refuted) > MOST_NAMED else ""
    return f"Wrong on {one.copy} when last read ({shoot.shoot}): {', '.join(one.refuted[:MOST_NAMED])}{more}."
