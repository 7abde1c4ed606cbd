"""The map of an archive as a picture: its sectors as a strip folded into rows, darker where a loss costs more files.

Flows in: the record of a map. Flows out: the bytes of an SVG or PNG. Must not know: formats, files.
Colours: yellow to brown, light to dark (after ColorBrewer's YlOrBr, from memory), and a blue (Okabe and Ito's, from
memory): people who see no red or no green tell them apart, and light from dark is left in grey.
"""

from drill import units
from drill.report.drawing import Rect, Shape, Words, inline_svg, png, svg
from drill.report.sectors_text import say_expected
from drill.report.words import fold, safe
from drill.sectorrecord import SectorMap

WIDTH = 1000
_LEFT, _RIGHT, _TOP = 96, 24, 130
_NONE, _HEADERS, _GREY = "#e4e4e4", "#0072b2", "#666666"
_SHADES = ("#fee391", "#fec44f", "#fe9929", "#d95f0e", "#993404", "#662506")
_MOST_COLUMNS = 100
_FOOT = 0.2  # of a cell's height, for the lower of two bounds: who plans for it plans for luck
_NAME = 44  # columns of a name that fit the title


def sectors_svg(found: SectorMap) -> bytes:
    """Return the map as SVG."""
    shapes, height = _shapes(found)
    return svg(shapes, width=WIDTH, height=height, title=_title(found))


def sectors_png(found: SectorMap) -> bytes:
    """Return the map as PNG."""
    shapes, height = _shapes(found)
    return png(shapes, width=WIDTH, height=height)


def sectors_inline(found: SectorMap) -> str:
    """Return the map as a part of a page, which says beside it what a reader of the picture alone has to be told."""
    grid, bottom = _grid(found, top=8)
    legend, height = _legend(found, bottom + 20)
    return inline_svg([*grid, *legend], width=WIDTH, height=height, title=_title(found), id_="map-title")


def say_cells(found: SectorMap) -> str:
    """Return what a cell of the map stands for."""
    each = units.say_size(found.strip.cell_sectors * found.sector_size)
    one = f"one sector ({each})"
    if found.strip.cell_sectors > 1:
        one = f"{found.strip.cell_sectors:,} sectors ({each}), shaded by their average"
    return f"Each cell is {one}. Numbers at the left: where the row begins in the archive"


def _title(found: SectorMap) -> str:
    first, *more = fold(safe(found.archive), _NAME)
    return f"{first}{'…' if more else ''}: what one unreadable sector costs"


def _shapes(found: SectorMap) -> tuple[list[Shape], int]:
    stops, best = say_expected(found)
    shapes: list[Shape] = [
        Words(24, 38, _title(found), size=20, bold=True),
        Words(24, 64, f"{found.members:,} files in {units.say_size(found.size)}"),
        Words(
            24, 84, f"Files that one bad sector costs on average: at best {best}; with a program that stops, {stops}"
        ),
        Words(24, 106, say_cells(found), fill=_GREY),
    ]
    grid, bottom = _grid(found, top=_TOP)
    legend, height = _legend(found, bottom + 36)
    return [*shapes, *grid, *legend], height


def _grid(found: SectorMap, *, top: float) -> tuple[list[Shape], float]:
    """Return the cells, row by row from `top` on, the lower bounds' strips over them, and where they end."""
    cells = len(found.strip.most)
    columns = min(_MOST_COLUMNS, max(16, round((cells * 2.5) ** 0.5)))
    side = (WIDTH - _LEFT - _RIGHT) / columns
    tall = min(side, 24.0)
    gap = 1.0 if side > 5 else 0.5
    shapes: list[Shape] = []
    feet: list[Shape] = []
    for cell in range(cells):
        row, column = divmod(cell, columns)
        left, upper = _LEFT + column * side, top + row * tall
        if not column and (tall >= 14 or row % 2 == 0):
            at = cell * found.strip.cell_sectors * found.sector_size
            shapes.append(Words(_LEFT - 10, upper + tall / 2 + 4, units.say_size(at), size=11, fill=_GREY, right=True))
        most, least = _shades(found, cell)
        shapes.append(Rect(left, upper, side - gap, tall - gap, most))
        if least != most:
            foot = (tall - gap) * _FOOT
            feet.append(Rect(left, upper + tall - gap - foot, side - gap, foot, least))
    return [*shapes, *feet], top + -(-cells // columns) * tall


def _shades(found: SectorMap, cell: int) -> tuple[str, str]:
    """Return the shades of a cell's bounds, the higher first: where they differ, the lower one's is at its foot."""
    if cell in found.strip.headers:
        return _HEADERS, _HEADERS
    return _shade(found, found.strip.most[cell]), _shade(found, found.strip.least[cell])


def _shade(found: SectorMap, lost: int) -> str:
    if not lost:
        return _NONE
    lows = [one.low for one in found.classes if one.low]
    number = sum(low <= lost for low in lows)  # from 1: the class that it falls into
    if number == len(lows) and found.members > 1:
        return _SHADES[-1]
    return _SHADES[min(number - 1, len(_SHADES) - 2)]


def _legend(found: SectorMap, top: float) -> tuple[list[Shape], int]:
    entries = [(_NONE, "none")]
    for one in found.classes:
        if one.low:
            files = f"{one.low:,}" if one.low == one.high else f"{one.low:,} to {one.high:,}"
            entries.append((_shade(found, one.low), f"all {files}" if one.low == found.members > 1 else files))
    shapes: list[Shape] = [Words(24, top + 13, "Files lost at best:", bold=True)]
    x = 170.0
    for fill, text in entries:
        shapes += [Rect(x, top, 16, 16, fill, "#999999"), Words(x + 24, top + 13, text)]
        x += 56 + 8 * len(text)
    bounds = set(zip(found.strip.least, found.strip.most, strict=True))
    top += 30
    if found.strip.headers:
        words = "headers without which a program finds nothing"
        lost = max((one.lost.most for one in found.headers if one.shared), default=0)
        words += (
            "; at best their loss costs nothing" if not lost else f"; their loss can cost {lost:,} files even at best"
        )
        shapes += [Rect(170, top, 16, 16, _HEADERS, "#999999"), Words(194, top + 13, words)]
        top += 26
    pairs = [(_shade(found, most), _shade(found, least)) for least, most in sorted(bounds, reverse=True)]
    upper, lower = next((pair for pair in pairs if pair[0] != pair[1]), ("", ""))
    if upper:
        shapes += [
            Rect(170, top, 16, 16, upper, "#999999"),
            Rect(170, top + 16 * (1 - _FOOT), 16, 16 * _FOOT, lower, "#999999"),
            Words(
                194, top + 13, "two shades: plan for the upper one; the strip at the foot is the least that can be lost"
            ),
        ]
        top += 26
    return shapes, int(top + 14)
