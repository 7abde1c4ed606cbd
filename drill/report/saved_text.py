"""What came back only by reading past damage, in words: a verdict alone would make it look like any other file.

Flows in: the record. Flows out: text. Must not know: how it was salvaged, views, faults.
"""

from collections.abc import Sequence

from drill.record import Drill
from drill.report.words import paragraph, table

_MOST_ROWS = 6
SAVED_HEADERS = ("Shoot", "Scenario", "Saved", "Put together from several copies")
SAVED_MEANING = (
    "No copy gives these in the ordinary way: drill read on past bad sectors and broken headers, or took each part of "
    "a file from a copy that still has it. Every byte matched the promise. Most programs end at the first error "
    "instead, so on that day use drill recover, and copy these anew first."
)


def saved_text(drills: Sequence[Drill], width: int) -> str:
    """Return which drills brought files back only by salvage, the most files first; nothing where none did."""
    rows = saved_rows(drills)
    if not rows:
        return ""
    shown = rows[:_MOST_ROWS]
    text = f"Saved out of damage\n{table(SAVED_HEADERS, shown, width, right=(2, 3), firm=(0,))}\n"
    more = len(rows) - len(shown)
    said = f"{more} more drill{'s' if more > 1 else ''} saved as many or fewer. " if more else ""
    return text + paragraph(said + SAVED_MEANING, width)


def saved_rows(drills: Sequence[Drill]) -> list[list[str]]:
    """Return a row for each drill that saved files out of damage, the most files first, as `SAVED_HEADERS` names it."""
    saved = sorted((drill for drill in drills if _count(drill)), key=lambda drill: -_count(drill))
    return [
        [
            drill.shoot,
            drill.scenario + (f" ({drill.variant})" if drill.variant else ""),
            f"{_count(drill)}/{drill.files.promised}",
            str(drill.stitched or "-"),
        ]
        for drill in saved
    ]


def _count(drill: Drill) -> int:
    return drill.salvaged + drill.stitched
