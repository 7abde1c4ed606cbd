"""What `drill attest` says to the photographer: a letter was written, or why none was, and what to do about it.

Flows in: the record of a proof. Flows out: text. Must not know: terminals (the width is given), copies.
"""

from collections.abc import Mapping

from drill.phrases import many
from drill.proofrecord import Proof
from drill.report.letter_short import Titles, shortfall_words
from drill.report.typed import typed
from drill.report.words import listed, paragraph, safe

_DRILL = "drill it again as a whole: drill run {studio} --shoot {shoot}"
_AUDIT = "read the copies through: drill audit {studio} --shoot {shoot}"
_CLOCK = "look at this computer's clock, then drill and audit again"
_STEPS: Mapping[str, str] = {
    "drill_later": _CLOCK,
    "never_drilled": _DRILL,
    "drill_incomplete": _DRILL,
    "drill_spot": _DRILL,
    "drill_old": _DRILL,
    "drill_unknown": _DRILL,
    "promise_changed": _DRILL,
    "not_rehearsed": "drill all that can happen: drill run {studio} --shoot {shoot}",
    "drill_short": "see what falls short, and mend it: drill run {studio} --shoot {shoot}",
    "audit_later": _CLOCK,
    "never_audited": _AUDIT,
    "audit_old": _AUDIT,
    "damaged": "see which files, and where the right ones are: drill audit {studio}",
    "not_read": _AUDIT,
    "no_checksum": "plug in a copy that has the delivered files, then ask again",
}
_MOST_STEPS = 8


def refused_text(proof: Proof, *, studio: str, titles: Titles, width: int) -> str:
    """Say why no letter was written."""
    head = (
        f"No letter was written for {_whom(proof)}: what the last drill and audit show falls short. With --as-is it is "
        "written, and says so first."
    )
    if not proof.checksums and any(one.what == "no_checksum" for one in proof.shortfalls):
        head = f"No letter was written for {_whom(proof)}: there is no checksum of any delivered file to sign."
    return _text(head, proof, studio, titles, width)


def written_text(
    proof: Proof, *, studio: str, out: str, fingerprint: str, titles: Titles, width: int, new_key: str = ""
) -> str:
    """Say what was written, and what to do with it; `new_key` is the file of a key that was made for it."""
    files = many(len(proof.checksums), "delivered file")
    head = f"The letter for {_whom(proof)} is in {safe(out)}, with checksums of {files} and a seal over all of it."
    if proof.falls_short:
        head += " It falls short, and says so first."
    key = (
        "Your key's fingerprint, which has to be on your letterhead or wherever clients can look for it: "
        f"{fingerprint}. Send the whole folder; HOW-TO-CHECK.txt in it says how it is checked."
    )
    made = (
        f"That is a NEW key, made just now: {safe(new_key)}. Keep a second copy of that file where nobody else can "
        "read it. What another key sealed looks to a client as if somebody else had sealed it: if you had a key "
        "before, put it there and write this letter anew."
    )
    read = "Read the letter yourself before you send it: it is your word, and this program has checked no contract."
    return _text(head, proof, studio, titles, width, after=[key, *([made] if new_key else []), read])


def _text(head: str, proof: Proof, studio: str, titles: Titles, width: int, *, after: list[str] | None = None) -> str:
    parts = [paragraph(head, width)]
    if proof.falls_short:
        said = shortfall_words(proof.shortfalls, of=len(proof.shoots), titles=titles)
        parts += [listed("What falls short", said, width), listed("What to do", _steps(proof, studio), width)]
    parts += [paragraph(text, width) for text in after or ()]
    return "\n\n".join(parts) + "\n"


def _steps(proof: Proof, studio: str) -> list[str]:
    steps = [_STEPS[one.what].format(studio=typed([studio]), shoot=one.shoot) for one in proof.shortfalls]
    steps = list(dict.fromkeys(steps))
    left = len(steps) - _MOST_STEPS
    return steps if left <= 0 else [*steps[:_MOST_STEPS], f"and {left} more of the same kind, for the other shoots"]


def _whom(proof: Proof) -> str:
    if proof.client:
        return safe(proof.client)
    return ", ".join(one.shoot for one in proof.shoots[:3]) + (" and more" if len(proof.shoots) > 3 else "")
