"""A drawing of rectangles and lines of text, as SVG or PNG, or as a part of a page.

Flows in: shapes in pixels. Flows out: the bytes of a picture. Must not know: what is drawn.
SVG 1.1 (W3C Recommendation, 2011): rect, path, text, title, written by the standard library's ElementTree. Libraries
for SVG were tried: svg.py 1.10 escapes neither text nor attributes, so that a file's name would be markup; drawsvg 2.4
fixes the width and brings definitions and a second namespace into the page. PNG by Pillow, with the font that comes
with it.
"""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from xml.etree import ElementTree as ET

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
    about = {"xmlns": "http://www.w3.org/2000/svg", "width": str(width), "height": str(height)}
    root = _plate(about, width=width, height=height, title=title)
    root.extend(map(_element, shapes))
    return (_written(root) + "\n").encode("utf-8")


def inline_svg(shapes: Sequence[Shape], *, width: int, height: int, title: str, id_: str) -> str:
    """Return a drawing as an element of a page, as wide as there is room for, on a white plate in the dark too.

    To those who hear the page it is one picture, called by its title; `id_` is not used on the page otherwise.
    Neighbours of one colour without an edge are one path, which is a third as long.
    """
    root = _plate({"role": "img", "aria-labelledby": id_}, width=width, height=height, title=title)
    root[0].set("id", id_)
    for fill, group in groupby(shapes, _plain_fill):
        if fill:
            outlines = "".join(_outline(one) for one in group if isinstance(one, Rect))
            ET.SubElement(root, "path", fill=fill, d=outlines)
        else:
            root.extend(map(_element, group))
    return _written(root)


def _plate(about: Mapping[str, str], *, width: int, height: int, title: str) -> ET.Element:
    """Return a drawing with nothing on it but its title and a white ground."""
    view = {"viewBox": f"0 0 {width} {height}", "font-family": "Helvetica, Arial, sans-serif"}
    root = ET.Element("svg", {**about, **view})
    ET.SubElement(root, "title").text = safe(title)
    root.append(_element(Rect(0, 0, width, height, "#ffffff")))
    return root


def _written(root: ET.Element) -> str:
    ET.indent(root, space="")
    return ET.tostring(root, encoding="unicode")


def _plain_fill(one: Shape) -> str:
    return one.fill if isinstance(one, Rect) and not one.edge else ""


def _outline(one: Rect) -> str:
    left, top, width, height = (round(number, 2) for number in (one.left, one.top, one.width, one.height))
    return f"M{left:g} {top:g}h{width:g}v{height:g}h{-width:g}z"


def _element(one: Shape) -> ET.Element:
    if isinstance(one, Rect):
        place = {"x": one.left, "y": one.top, "width": one.width, "height": one.height}
        look = {"fill": one.fill, **({"stroke": one.edge} if one.edge else {})}
        return ET.Element("rect", {**{name: f"{value:g}" for name, value in place.items()}, **look})
    more = {"font-weight": "bold"} if one.bold else {}
    more |= {"text-anchor": "end"} if one.right else {}
    at = {"x": f"{one.x:g}", "y": f"{one.baseline:g}", "font-size": str(one.size), "fill": one.fill}
    words = ET.Element("text", {**at, **more})
    words.text = safe(one.text)
    return words


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
