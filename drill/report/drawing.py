"""A drawing of rectangles and lines of text, as SVG or PNG, or as a part of a page.

Flows in: shapes in pixels. Flows out: the bytes of a picture. Must not know: what is drawn.
SVG 1.1 (W3C Recommendation, 2011), written by hand: rect, path, text, title. PNG by Pillow, with the font that
comes with it.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

from PIL import Image, ImageDraw, ImageFont

from drill.report.words import safe

BOLD_WIDER = 0.5  # pixels by which bold letters are drawn wider in a PNG: the font has no bold


@dataclass(frozen=True, slots=True)
class Rect:
    """A filled rectangle; `edge` is the colour of its line, if it has one."""

    left: float
    top: float
    width: float
    height: float
    fill: str
    edge: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text: where its baseline begins (or, to the right, ends), its size in pixels."""

    x: float
    baseline: float
    text: str
    size: int = 14
    fill: str = "#222222"
    bold: bool = False
    right: bool = False


Shape = Rect | Words


def svg(shapes: Sequence[Shape], *, width: int, height: int, title: str) -> bytes:
    """Return a drawing as SVG."""
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}"'
        ' font-family="Helvetica, Arial, sans-serif">',
        f"<title>{escape(safe(title))}</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        *(_svg_rect(one) if isinstance(one, Rect) else _svg_words(one) for one in shapes),
        "</svg>",
    ]
    return ("\n".join(lines) + "\n").encode("utf-8", "backslashreplace")


def inline_svg(shapes: Sequence[Shape], *, width: int, height: int, title: str, id_: str) -> str:
    """Return a drawing as an element of a page, as wide as there is room for, on a white plate in the dark too.

    To those who hear the page it is one picture, called by its title; `id_` is not used on the page otherwise.
    Neighbours of one colour without an edge are one path, which is a third as long.
    """
    lines = [
        f'<svg role="img" aria-labelledby="{id_}" viewBox="0 0 {width} {height}" font-family="Helvetica, Arial, '
        f'sans-serif"><title id="{id_}">{escape(safe(title))}</title>',
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
    ]
    for fill, group in groupby(shapes, _plain_fill):
        if fill:
            path = "".join(_outline(one) for one in group if isinstance(one, Rect))
            lines.append(f'<path fill={quoteattr(fill)} d="{path}"/>')
        else:
            lines += [_svg_rect(one) if isinstance(one, Rect) else _svg_words(one) for one in group]
    return "\n".join([*lines, "</svg>"])


def _plain_fill(one: Shape) -> str:
    return one.fill if isinstance(one, Rect) and not one.edge else ""


def _outline(one: Rect) -> str:
    left, top, width, height = (round(number, 2) for number in (one.left, one.top, one.width, one.height))
    return f"M{left:g} {top:g}h{width:g}v{height:g}h{-width:g}z"


def _svg_rect(one: Rect) -> str:
    edge = f" stroke={quoteattr(one.edge)}" if one.edge else ""
    place = f'x="{one.left:g}" y="{one.top:g}" width="{one.width:g}" height="{one.height:g}"'
    return f"<rect {place} fill={quoteattr(one.fill)}{edge}/>"


def _svg_words(one: Words) -> str:
    more = ' font-weight="bold"' if one.bold else ""
    more += ' text-anchor="end"' if one.right else ""
    place = f'x="{one.x:g}" y="{one.baseline:g}" font-size="{one.size}"'
    return f"<text {place} fill={quoteattr(one.fill)}{more}>{escape(safe(one.text))}</text>"


@cache  # it is read anew for every line else, and a picture has hundreds
def _font(size: int) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(size)


def png(shapes: Sequence[Shape], *, width: int, height: int) -> bytes:
    """Return a drawing as PNG, at twice the size so that it is sharp."""
    scale = 2
    image = Image.new("RGB", (width * scale, height * scale), "#ffffff")
    draw = ImageDraw.Draw(image)
    for one in shapes:
        if isinstance(one, Rect):
            left, top = one.left * scale, one.top * scale
            box = (left, top, left + one.width * scale - 1, top + one.height * scale - 1)
            draw.rectangle(box, fill=one.fill, outline=one.edge or None)
        else:
            font = _font(one.size * scale)
            anchor = "rs" if one.right else "ls"
            draw.text(
                (one.x * scale, one.baseline * scale),
                safe(one.text),
                fill=one.fill,
                font=font,
                anchor=anchor,
                stroke_width=BOLD_WIDER if one.bold else 0,
            )
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()
