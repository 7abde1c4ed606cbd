"""What came back only by reading past damage, in words: a verdict alone would make it look like any other file.

Flows in: the record. Flows out: text. Must not know: how it was salvaged, views, faults.
"""

from collections.abc import Sequence

from drill.record import Drill
from drill.report.words import paragraph, table

_MOST_ROWS = 6
_MEANING = (
    "No copy gives these in the ordinary way: drill read on past bad sectors and broken headers, or took each part of "
    "a file from a copy that still has it. Every byte matched the promise. Most programs end at the first error "
    "instead, so on that day use drill recover, and copy these anew first."
)


def saved_text(drills: Sequence[Drill], width: int) -> str:
    """Return which drills brought files back only by salvage, the most files first; nothing where none did."""
    saved = sorted((drill for drill in drills if _count(drill)), key=lambda drill: -_count(drill))
    if not saved:
        return ""
    rows = [
        [
            drill.shoot,
            drill.scenario + (f" ({drill.variant})" if drill.variant else ""),
            f"{_count(drill)}/{drill.files.promised}",
            str(drill.stitched or "-"),
        ]
        for drill in saved[:_MOST_ROWS]
    ]
    headers = ["Shoot", "Scenario", "Saved", "Put together from several copies"]
    text = f"Saved out of damage\n{table(headers, rows, width, right=(2, 3), firm=(0,))}\n"
    more = len(saved) - len(rows)
    said = f"{more} more drill{'s' if more > 1 else ''} saved as many or fewer. " if more else ""
    return text + paragraph(said + _MEANING, width)


def _count(drill: Drill) -> int:
    return drill.salvaged + drill.stitched
