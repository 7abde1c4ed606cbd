"""What a check of a sealed folder found, as text.

Flows in: `seal.Checked`. Flows out: text. Must not know: files, keys.
"""

from collections.abc import Mapping

from drill.phrases import many
from drill.report.words import listed, paragraph, safe
from drill.seal import Checked, Compared, grouped

_MOST_SHOWN = 50
_BESIDE = 2  # files that are not in the list of contents: that list, and its signature


def seal_text(found: Checked, width: int, *, record: object = None) -> str:
    """Write what a check found: the answer first, then what is wrong, whose key it is, and what was not looked at.

    `record` is the proof's record as JSON has it, whoever wrote it (None: it cannot be read).
    """
    paragraphs = [
        paragraph(_answer(found), width),
        _faults("What is wrong:", [f"{fault.part}: {fault.what}" for fault in found.faults], width),
        "" if found.faults else _told(record, width),
        *_key(found, width),
        *_pictures(found, width),
        paragraph(_left(found), width) if found.left else "",
    ]
    return "\n\n".join(text for text in paragraphs if text) + "\n"


def _answer(found: Checked) -> str:
    if found.faults:
        return "This proof does not hold. Do not rely on it: ask the photographer for a new one."
    same = f"All {len(found.names) + _BESIDE} files of the proof are as they were sealed, to the last byte"
    if found.is_known:
        return f"The seal holds. {same}, and the key is the one you named. What the letter says is its writer's word."
    return f"{same}. Who sealed them is for you to find out, by this fingerprint of their key:"


def _told(record: object, width: int) -> str:
    """Say whose letter it is, to whom and of when, and whether it says itself that something falls short."""
    if not isinstance(record, Mapping):
        return ""
    names = [safe(one) for one in (record.get("studio"), record.get("client")) if isinstance(one, str)]
    day = record.get("issued")
    said = f"The letter is from {' to '.join(names)}" if names else "The letter names nobody"
    said += f", written {safe(day)}." if isinstance(day, str) else "."
    if record.get("falls_short"):
        said += " It says itself that something FALLS SHORT: read it."
    return paragraph(said, width)


def _key(found: Checked, width: int) -> list[str]:
    if found.fingerprint is None or found.is_known or found.faults:
        return []
    digits = grouped(found.fingerprint)
    why = (
        "Compare it with the photographer's letterhead, or ask them by telephone: anybody can seal a folder with a key "
        "of their own. With --fingerprint it is compared for you."
    )
    return [f"  {digits[:39]}\n  {digits[40:]}", paragraph(why, width)]


def _pictures(found: Checked, width: int) -> list[str]:
    if found.compared is not None:
        return _compared(found.compared, found.pictures, width)
    if not found.pictures:
        return []
    count = many(found.pictures, "picture")
    what = f"It lists {count}. The pictures themselves were not looked at: --against FOLDER does that."
    return [paragraph(what, width)]


def _compared(compared: Compared, pictures: int, width: int) -> list[str]:
    if compared.is_elsewhere:
        what = f"It lists {many(pictures, 'picture')}, and none was found: name the folder that they are in."
        return [paragraph(what, width)]
    if not compared.faults:
        return [
            paragraph(
                f"It lists {many(pictures, 'picture')}, and each of them is in your folder, to the last byte.", width
            )
        ]
    title = (
        f"Of {many(pictures, 'picture')} listed, {compared.right:,} are in your folder, to the last byte. The others:"
    )
    return [_faults(title, [f"{fault.part}: {fault.what}" for fault in compared.faults], width)]


def _faults(title: str, texts: list[str], width: int) -> str:
    more = len(texts) - _MOST_SHOWN
    return listed(title, texts[:_MOST_SHOWN] + ([f"and {more} more"] if more > 0 else []), width)


def _left(found: Checked) -> str:
    return f"Most likely left here by a computer, and no part of the proof: {', '.join(found.left)}"
