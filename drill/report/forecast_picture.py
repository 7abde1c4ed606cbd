"""The life of a shoot as a picture: its copies over time, what they amount to, and when which scenario takes it.

Flows in: the record of a forecast. Flows out: the bytes of an SVG or PNG. Must not know: calendars, engines, files.
Danger is dark and barred and has its number or word written in it: no reader has to tell colours apart. Colours are
Okabe and Ito's (from memory).
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drill.forecastrecord import Forecast, LifeThen, Stage, Stretch
from drill.report.drawing import Rect, Shape, Words, inline_svg, png, svg
from drill.report.forecast_scale import ENDS, MARKS, Scale
from drill.report.forecast_words import local, say_day, say_local, where, worst_bands
from drill.report.words import fold, safe

MEASURE = (
    "Time is counted from the first picture. At the broken upright lines nothing happens but that the measure changes: "
    "each quarter between them is even."
)
WIDTH = 1000
PAGE_WIDTH = 780  # its letters are as large as the page's where that is as wide as a tablet held upright
_MARGIN, _LEFT, _RIGHT = 24, 272, 24
_ROW, _BAR = 22, 17
_COPY, _OFFSITE, _PROVED = "#56b4e9", "#0072b2", "#ffffff"
_DANGER, _THIN, _FINE, _GREY, _LINE = "#b23a00", "#f5c26b", "#dfe7ec", "#666666", "#bbbbbb"
_DARK, _LIGHT = "#222222", "#ffffff"
_SEEN = 1.0  # pixels that anything is drawn at the least
_LEAST = 4.0  # pixels that danger is drawn at the least, however short it is
_DASH = 8.0  # pixels from one dash of a broken line to the next
_BARS = 7.0  # pixels from one bar of the pattern to the next
_NAME = 36  # letters of a name that fit beside its row
_TITLE, _LINE_OF_WORDS = 70, 160  # columns
_LETTER = 0.56  # of its size, a letter's usual width


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a row: from, to in seconds, what is written in it, and how bad it is: 2 danger, 1 thin, 0 fine."""

    begins_s: float
    ends_s: float
    text: str
    bad: int


def forecast_svg(found: Forecast) -> bytes:
    """Return the picture as SVG."""
    shapes, height = _shapes(found)
    return svg(shapes, width=WIDTH, height=height, title=_title(found))


def forecast_png(found: Forecast) -> bytes:
    """Return the picture as PNG."""
    shapes, height = _shapes(found)
    return png(shapes, width=WIDTH, height=height)


def life_inline(life: LifeThen, found: Forecast, *, id_: str) -> str:
    """Return what is drawn of one life as a part of a page; `id_` is not used on the page otherwise."""
    drawn, bottom = _life(life, found, 40, width=PAGE_WIDTH)
    shapes = [*_legend(8), *drawn]
    return inline_svg(shapes, width=PAGE_WIDTH, height=int(bottom), title=life_title(life), id_=id_)


def life_title(life: LifeThen) -> str:
    """Return what the drawing of one life is called."""
    return f"The first year of a shoot made {where(life)} on {life.day}: its copies, and when it is in danger"


def _title(found: Forecast) -> str:
    first, *more = fold(safe(f"{found.studio}: the first year of a shoot"), _TITLE)
    return first + ("…" if more else "")


def _shapes(found: Forecast) -> tuple[list[Shape], int]:
    shapes: list[Shape] = [Words(_MARGIN, 38, _title(found), size=20, bold=True)]
    top = 62.0
    for line in fold(safe(found.verdict), _LINE_OF_WORDS):
        shapes.append(Words(_MARGIN, top, line, size=13))
        top += 18
    shapes += _legend(top + 6)
    top += 44
    for life in found.lives:
        drawn, top = _life(life, found, top, width=WIDTH)
        shapes += drawn
    shapes.append(Words(_MARGIN, top + 4, MEASURE, size=12, fill=_GREY))
    return shapes, int(top + 24)


def _life(life: LifeThen, found: Forecast, top: float, *, width: int) -> tuple[list[Shape], float]:
    """Return what is drawn of one life, and where it ends."""
    scale = Scale(_LEFT, width - _LEFT - _RIGHT)
    shapes: list[Shape] = [Words(_MARGIN, top + 15, f"Made {where(life)} on {life.day}", size=15, bold=True)]
    top += 58
    first = top
    rows: list[Shape] = []
    for name, stages in _by_medium(life, found.planned).items():
        rows += [*_label(name, top), *_bars(stages, name, scale, top)]
        top += _ROW
    top += 8
    for name, pieces in (*_counts(life), *_scenarios(life)):
        if name == "":
            top += 8
            continue
        rows += [*_label(name, top), *_pieces(pieces, scale, top)]
        top += _ROW
    written = [one for one in rows if isinstance(one, Words)]
    filled = [one for one in rows if isinstance(one, Rect)]
    return [
        *shapes,
        *_marks(scale, first, top),
        *_dates(life, found, scale, first),
        *filled,
        *_changes(scale, first, top),
        *written,
    ], top + 30


def _label(name: str, top: float) -> list[Shape]:
    name = safe(name) if len(name) <= _NAME else re.split("[:,] ", safe(name))[0]
    first, *more = fold(name, _NAME)
    return [Words(_LEFT - 10, top + 13, first + ("…" if more else ""), size=12, right=True)]


def _marks(scale: Scale, top: float, bottom: float) -> list[Shape]:
    """Return the upright lines, and their words where there is room between those before and the last."""
    size = 11
    (end_s, end), free = MARKS[-1], 0.0
    last = scale.x(end_s) - len(end) * size * _LETTER
    shapes: list[Shape] = [Words(scale.x(end_s) + 2, top - 9, end, size=size, fill=_GREY, right=True)]
    for after_s, text in MARKS:
        x = scale.x(after_s)
        shapes.append(Rect(x, top - 5, 1, bottom - top + 5, "#eeeeee"))
        ends = x + len(text) * size * _LETTER
        if x >= free and ends < last:
            shapes.append(Words(x, top - 9, text, size=size, fill=_GREY))
            free = ends
    return shapes


def _dates(life: LifeThen, found: Forecast, scale: Scale, top: float) -> list[Shape]:
    """Return the local time of the first picture, and the day on which each measure of time begins."""
    texts = {0.0: say_local(life, 0.0, found.zone)} | {s: say_day(local(life, s, found.zone)) for s in ENDS[:-1]}
    return [Words(scale.x(after_s), top - 23, text, size=11, fill=_GREY) for after_s, text in texts.items()]


def _changes(scale: Scale, top: float, bottom: float) -> list[Shape]:
    """Return the broken lines where the measure of time changes."""
    count = int((bottom - top) // _DASH)
    return [
        Rect(scale.x(end_s) - 0.5, top + number * _DASH, 1, _DASH / 2, "#777777")
        for end_s in ENDS[:-1]
        for number in range(count)
    ]


def _by_medium(life: LifeThen, planned: Sequence[str]) -> dict[str, list[Stage]]:
    """Return the stages in which each medium has a copy, in the order in which they come to it; then those that the
    plan copies to in vain, with none."""
    found: dict[str, list[Stage]] = {}
    for stage in life.stages:
        for copy in stage.copies:
            found.setdefault(copy.medium, []).append(stage)
    return found | {id_: [] for id_ in planned if id_ not in found}


def _bars(stages: Sequence[Stage], medium: str, scale: Scale, top: float) -> list[Shape]:
    """Return the bar of one copy; a white line runs through it from when it has been checked."""
    shapes: list[Shape] = []
    if not stages:
        return [Words(scale.left + 4, top + 13, "never gets a copy", size=12, fill=_DANGER, bold=True)]
    for stage in stages:
        copy = next(copy for copy in stage.copies if copy.medium == medium)
        left = scale.x(stage.begins_s)
        wide = max(scale.x(stage.ends_s) - left, _SEEN)
        shapes.append(Rect(left, top, wide, _BAR, _OFFSITE if copy.offsite else _COPY))
        if copy.verified:
            shapes.append(Rect(left, top + 7, wide, 3, _PROVED))
    return shapes


def _counts(life: LifeThen) -> list[tuple[str, list[Piece]]]:
    """Return the rows of what the copies amount to, with an empty one at the end."""
    rows: list[tuple[str, Callable[[Stage], int], tuple[int, int]]] = [
        ("copies that count", lambda stage: stage.distinct, (2, 3)),
        ("kinds of media", lambda stage: stage.kinds, (1, 2)),
        ("places", lambda stage: stage.places, (2, 2)),
        ("off-site places", lambda stage: stage.offsite, (0, 1)),
        ("checked copies", lambda stage: stage.verified, (0, 1)),
        ("failures survived", lambda stage: max(stage.survivable, 0), (1, 2)),
    ]
    drawn = [
        (name, _joined([Piece(s.begins_s, s.ends_s, _count(s, of(s)), _badness(of(s), bounds)) for s in life.stages]))
        for name, of, bounds in rows
    ]
    return [*drawn, ("", [])]


def _count(stage: Stage, count: int) -> str:
    """Write a count; of a shoot that is on no copy any more that it is lost."""
    return str(count) if stage.copies else "lost"


def _badness(count: int, bounds: tuple[int, int]) -> int:
    """Judge a count: below the first bound danger, below the second thin."""
    return 2 if count < bounds[0] else 1 if count < bounds[1] else 0


def _scenarios(life: LifeThen) -> list[tuple[str, list[Piece]]]:
    """Return a row for each scenario that is about this life, under its title, at each moment by its worst variant."""
    titles = {band.scenario: band.title or band.scenario for band in life.bands}
    rows = [(titles[worst.scenario], _band(worst.stretches)) for worst in worst_bands(life.bands).values()]
    return [(name, pieces) for name, pieces in rows if pieces]


def _band(stretches: Sequence[Stretch]) -> list[Piece]:
    return [
        Piece(one.begins_s, one.ends_s, one.outcome, 2 if one.outcome == "lost" else 0)
        for one in stretches
        if one.outcome != "not about it"
    ]


def _joined(pieces: Sequence[Piece]) -> list[Piece]:
    found: list[Piece] = []
    for one in pieces:
        begins_s = found.pop().begins_s if found and found[-1].text == one.text else one.begins_s
        found.append(Piece(begins_s, one.ends_s, one.text, one.bad))
    return found


def _pieces(pieces: Sequence[Piece], scale: Scale, top: float) -> list[Shape]:
    """Return a row; danger comes last and at a width that is seen, over its neighbours."""
    shapes: list[Shape] = []
    for one in sorted(pieces, key=lambda one: one.bad):
        left, right = scale.x(one.begins_s), scale.x(one.ends_s)
        wide = max(right - left, _LEAST if one.bad == 2 else _SEEN)
        gap = 1.0 if wide > 2 * _LEAST else 0.0
        shapes.append(Rect(left, top, wide - gap, _BAR, (_FINE, _THIN, _DANGER)[one.bad]))
        text_wide = len(one.text) * 12 * _LETTER + 8
        if one.bad == 2:
            shapes += _barred(left + (text_wide if wide > text_wide else 0), left + wide, top)
        if wide > text_wide:
            fill = _LIGHT if one.bad == 2 else _DARK
            shapes.append(Words(left + 4, top + 13, one.text, size=12, fill=fill, bold=one.bad == 2))
    return shapes


def _barred(left: float, right: float, top: float) -> list[Shape]:
    """Return light bars over a stretch."""
    count = int((right - left) // _BARS)
    return [Rect(left + number * _BARS + _BARS / 2, top, 1.5, _BAR, "#ffd9c2") for number in range(count)]


def _legend(top: float) -> list[Shape]:
    shapes: list[Shape] = []
    x = float(_MARGIN)
    for fill, text in (
        (_COPY, "a copy"),
        (_OFFSITE, "a copy off-site"),
        ("", "white line: checked"),
        (_FINE, "holds"),
        (_THIN, "only just"),
        (_DANGER, "barred: danger"),
    ):
        shapes.append(Rect(x, top, 26, 16, fill or _COPY))
        if not fill:
            shapes.append(Rect(x, top + 7, 26, 3, _PROVED))
        if fill == _DANGER:
            shapes += _barred(x, x + 26, top - 0.5)
        shapes.append(Words(x + 33, top + 13, text, size=12))
        x += 52 + len(text) * 12 * _LETTER
    return shapes
