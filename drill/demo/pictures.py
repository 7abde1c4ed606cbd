"""Draw the demo's pictures: real JPEG and TIFF files with camera fields, and the edits that lie beside them.

Flows in: a seed text, a look, a camera, the moment it was taken. Flows out: the bytes of files. The same input
gives the same bytes (with the same Pillow). Must not know: shoots, copies, folders. Facts: Exif tag numbers from
Exif 2.3 (JEITA CP-3451) and the XMP packet from ISO 16684-1, both from memory; what Pillow reads back is what the
tests hold them against. Cameras and places are invented.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from random import Random
from xml.sax.saxutils import escape

from PIL import Image, ImageChops, ImageDraw, ImageOps
from PIL.TiffImagePlugin import IFDRational

Colour = tuple[int, int, int]

JPEG_SIZE = (640, 480)
TIFF_SIZE = (400, 300)
DELIVERED_SIZE = (512, 384)

_MAKE, _MODEL, _DATE_TIME, _ARTIST, _EXIF_IFD = 0x010F, 0x0110, 0x0132, 0x013B, 0x8769
_EXPOSURE, _F_NUMBER, _ISO, _FOCAL_LENGTH = 0x829A, 0x829D, 0x8827, 0x920A
_ORIGINAL, _DIGITIZED, _OFFSET_ORIGINAL = 0x9003, 0x9004, 0x9011

_GRAIN = 22  # grey levels; enough that no two pictures compress alike, little enough to keep files small


@dataclass(frozen=True, slots=True)
class Camera:
    """An invented camera; `prefix` is the four characters its file names begin with (DCF)."""

    make: str
    model: str
    prefix: str


@dataclass(frozen=True, slots=True)
class Look:
    """How the pictures of one shoot look: the sky's two colours, the land's colour, and what stands in it."""

    high: Colour
    low: Colour
    land: Colour
    motif: str


def draw(seed: str, look: Look, size: tuple[int, int]) -> Image.Image:
    """Draw one picture: sky, sun, three ridges, the motif, film grain; the same seed gives the same picture."""
    rng = Random(seed)
    width, height = size
    sky = ImageOps.colorize(Image.linear_gradient("L").resize(size), look.high, look.low)
    pen = ImageDraw.Draw(sky)
    radius = rng.randint(height // 20, height // 9)
    x, y = rng.randint(radius, width - radius), rng.randint(radius, height // 2)
    pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=_towards(look.low, 255, 0.6))
    for ridge in range(3):
        colour = _towards(look.land, 0, 0.25 * ridge)
        pen.polygon(_ridge(rng, size=size, base=0.55 + 0.13 * ridge), fill=colour)
    _MOTIFS[look.motif](pen, rng, size)
    return _grained(sky, rng)


def _towards(colour: Colour, target: int, share: float) -> Colour:
    red, green, blue = (round(part + (target - part) * share) for part in colour)
    return red, green, blue


def _ridge(rng: Random, *, size: tuple[int, int], base: float) -> list[tuple[float, float]]:
    width, height = size
    waves = [(rng.uniform(0.5, 5), rng.uniform(0, math.tau), rng.uniform(0.01, 0.05)) for _ in range(4)]
    points = []
    for x in range(0, width + 8, 8):
        lift = sum(tall * math.sin(much * math.tau * x / width + phase) for much, phase, tall in waves)
        points.append((float(x), height * (base + lift)))
    return [*points, (float(width), float(height)), (0.0, float(height))]


def _grained(image: Image.Image, rng: Random) -> Image.Image:
    levels = bytes(round(value * 2 * _GRAIN / 255) for value in range(256))
    noise = rng.randbytes(image.width * image.height).translate(levels)
    grain = Image.frombytes("L", image.size, noise)
    return ImageChops.add(image, Image.merge("RGB", (grain, grain, grain)), 1, -_GRAIN)


def _reeds(pen: ImageDraw.ImageDraw, rng: Random, size: tuple[int, int]) -> None:
    width, height = size
    for _ in range(60):
        x, tall = rng.uniform(0, width), rng.uniform(0.1, 0.45) * height
        tip = (x + rng.uniform(-25, 25), height - tall)
        pen.line((x, height, *tip), fill=(rng.randint(90, 160), rng.randint(80, 130), 40), width=2)


def _windows(pen: ImageDraw.ImageDraw, rng: Random, size: tuple[int, int]) -> None:
    width, height = size
    for column in range(rng.randint(4, 7)):
        left = width * (0.08 + 0.13 * column)
        pen.rectangle((left, height * 0.35, left + width * 0.1, height), fill=(60, 48, 44))
        for row in range(5):
            top = height * (0.4 + 0.11 * row)
            glow = rng.choice(((250, 214, 130), (40, 40, 52), (210, 150, 84)))
            pen.rectangle((left + 8, top, left + width * 0.1 - 8, top + height * 0.05), fill=glow)


def _lamps(pen: ImageDraw.ImageDraw, rng: Random, size: tuple[int, int]) -> None:
    width, height = size
    for _ in range(rng.randint(12, 30)):
        x, y, radius = rng.uniform(0, width), rng.uniform(0.5, 0.95) * height, rng.uniform(1.5, 6)
        pen.line((x, y, x, min(height, y + radius * 9)), fill=(150, 120, 70))
        pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=(255, rng.randint(190, 240), 140))


def _ponies(pen: ImageDraw.ImageDraw, rng: Random, size: tuple[int, int]) -> None:
    width, height = size
    for _ in range(rng.randint(3, 8)):
        x, y, long = rng.uniform(0.05, 0.85) * width, rng.uniform(0.6, 0.85) * height, rng.uniform(0.05, 0.1) * width
        coat = (rng.randint(60, 150), rng.randint(45, 90), 35)
        pen.ellipse((x, y, x + long, y + long * 0.45), fill=coat)
        pen.ellipse((x + long * 0.85, y - long * 0.3, x + long * 1.2, y + long * 0.1), fill=coat)
        for leg in (0.15, 0.3, 0.7, 0.85):
            pen.line((x + long * leg, y + long * 0.3, x + long * leg, y + long * 0.8), fill=coat, width=3)


def _stairs(pen: ImageDraw.ImageDraw, rng: Random, size: tuple[int, int]) -> None:
    width, height = size
    x, y, turn = width * rng.uniform(0.35, 0.65), height * rng.uniform(0.4, 0.6), rng.uniform(0, math.tau)
    for step in range(48):
        angle, far = turn + step * 0.26, 6 + step * height / 90
        end = (x + far * math.cos(angle), y + far * math.sin(angle))
        pen.line((x, y, *end), fill=(200 - step * 3, 190 - step * 3, 170 - step * 2), width=3)


_MOTIFS: dict[str, Callable[[ImageDraw.ImageDraw, Random, tuple[int, int]], None]] = {
    "reeds": _reeds,
    "windows": _windows,
    "lamps": _lamps,
    "ponies": _ponies,
    "stairs": _stairs,
}


def camera_fields(camera: Camera, *, taken: datetime, artist: str, seed: str) -> Image.Exif:
    """Return the Exif fields that a camera writes; DateTimeOriginal is `taken` with its offset, to the second."""
    rng = Random(seed)
    written = taken.strftime("%Y:%m:%d %H:%M:%S")
    offset = taken.strftime("%z")
    exif = Image.Exif()
    exif[_MAKE], exif[_MODEL], exif[_DATE_TIME], exif[_ARTIST] = camera.make, camera.model, written, artist
    inner = exif.get_ifd(_EXIF_IFD)
    inner[_ORIGINAL] = inner[_DIGITIZED] = written
    inner[_OFFSET_ORIGINAL] = f"{offset[:3]}:{offset[3:5]}" if offset else "+00:00"
    inner[_EXPOSURE] = IFDRational(1, rng.choice((60, 125, 250, 500, 1000)))
    inner[_F_NUMBER] = IFDRational(rng.choice((20, 28, 40, 56, 80)), 10)
    inner[_ISO] = rng.choice((100, 200, 400, 800))
    inner[_FOCAL_LENGTH] = IFDRational(rng.choice((24, 35, 50, 85)), 1)
    return exif


def jpeg(image: Image.Image, fields: Image.Exif, *, quality: int = 80) -> bytes:
    """Write `image` as a JPEG file with its camera fields."""
    out = BytesIO()
    image.save(out, "JPEG", quality=quality, exif=fields)
    return out.getvalue()


def tiff(image: Image.Image, fields: Image.Exif) -> bytes:
    """Write `image` as an uncompressed TIFF file with its camera fields."""
    out = BytesIO()
    # As bytes: handed over as a value, Pillow would leave out the inner directory that holds DateTimeOriginal.
    image.save(out, "TIFF", exif=fields.tobytes())
    return out.getvalue()


def sidecar(title: str, *, edited: datetime, rating: int) -> bytes:
    """Write a minimal XMP packet: title, rating from 0 to 5 and the moment of the edit."""
    text = f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/">
   <xmp:Rating>{rating}</xmp:Rating>
   <xmp:ModifyDate>{edited.isoformat(timespec="seconds")}</xmp:ModifyDate>
   <dc:title><rdf:Alt><rdf:li xml:lang="x-default">{escape(title)}</rdf:li></rdf:Alt></dc:title>
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>
"""
    return text.encode("utf-8")
