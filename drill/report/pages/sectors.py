"""The page of an archive's map: what one unreadable sector costs, the map, the worst places, and what to do.

Flows in: the record. Flows out: HTML text. Must not know: formats, files, where the page is written.
"""

from drill.report.pages.told import Figure, Told, told_page
from drill.report.sections import items
from drill.report.sectors_picture import say_cells, sectors_inline
from drill.report.sectors_text import NOT_PROVED, about, average, tables, title
from drill.sectorrecord import SectorMap

AGAIN = "The archive is only read. Make a new map after the archive was made anew: another one lies otherwise."
IN_NUMBERS = "The same in numbers stands below, under how many sectors cost how many files, and under the worst places."


def sectors_page(found: SectorMap, *, command: str) -> str:
    """Return the page of a map; `command` makes it again, as it is typed."""
    page = Told(
        title=title(found),
        verdict=average(found),
        facts=[about(found)],
        first=[items("What to do", found.advice)],
        figures_title="The map",
        figures=[Figure(title(found), sectors_inline(found), f"{say_cells(found)}. {IN_NUMBERS}")],
        rest=tables(found),
        not_proved=NOT_PROVED,
        again=AGAIN,
    )
    return told_page(page, command=command)
