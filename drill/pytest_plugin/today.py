"""Today: what a session's drills came across that is wrong on the copies without any scenario.

Flows in: what each process that drilled a file found. Flows out: lines for the end of pytest's report. A drill passes
when another copy gave what this one could not, and it is one copy less all the same. Must not know: pytest's items.
"""

from collections.abc import Sequence
from typing import Any

from drill.record import Mend
from drill.rehearse import Wanting, say_wanting
from drill.report.mend_text import wrong_today
from drill.report.words import fold, safe

HEADLINE = "wrong on the copies today"


def carried(command: str, wanting: Wanting, mends: Sequence[Mend]) -> dict[str, Any]:
    """Return what one process found in a studio, which `command` drills as a whole, as JSON has it."""
    copies = [one.copy for one in mends]
    return {"command": command, "copies": copies, "wanting": [[*at, why] for at, why in wanting.items()]}


def today_lines(found: Sequence[dict[str, Any]], *, width: int) -> list[str]:
    """Return what is wrong, studio by studio; processes tell the same of what both have read. Nothing: no lines."""
    lines = []
    for command in dict.fromkeys(one["command"] for one in found):
        mine = [one for one in found if one["command"] == command]
        copies = list(dict.fromkeys(id_ for one in mine for id_ in one["copies"]))
        if copies:
            wanting = {(id_, path): why for one in mine for id_, path, why in one["wanting"]}
            said = [wrong_today(copies), *(f"- {text}" for text in say_wanting(wanting))]
            lines += [line for text in said for line in fold(safe(text), width)]
            lines.append(f"What to do about it: {command}")
    return lines
