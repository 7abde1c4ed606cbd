"""One small sound file of every kind that is looked into, made by other means than the program's.

Flows in: nothing. Flows out: bytes by name. It must not import the program.
"""

import gzip
import io
import lzma
import sqlite3
import tarfile
import zipfile
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pillow_heif
import py7zr
import raws
import zstandard
from collections_found import jpeg
from PIL import Image

SIDECAR = b"""<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><kiln rating="3">Saltmarsh</kiln></x:xmpmeta>
<?xpacket end="w"?>
"""


def saved(kind: str, **options: object) -> bytes:
    """Return a picture with much in it, as Pillow writes that kind."""
    with Image.open(io.BytesIO(jpeg(1, size=(160, 120)))) as picture:
        out = io.BytesIO()
        picture.convert("RGB").save(out, kind, **options)
    return out.getvalue()


def heif() -> bytes:
    """Return a HEIF as libheif writes it."""
    with Image.open(io.BytesIO(saved("PNG"))) as picture:
        out = io.BytesIO()
        pillow_heif.from_pillow(picture).save(out, quality=80)
    return out.getvalue()


def database() -> bytes:
    """Return a database of many pages with an index."""
    with TemporaryDirectory() as folder:
        path = Path(folder, "reed.lrcat")
        with closing(sqlite3.connect(path)) as made:
            made.execute("CREATE TABLE picture (name TEXT PRIMARY KEY, stars INTEGER)")
            made.executemany("INSERT INTO picture VALUES (?, ?)", [(f"R{n:04}.DNG" * 9, n % 6) for n in range(500)])
            made.commit()
        return path.read_bytes()


def zipped() -> bytes:
    """Return a zip of two files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("heron/R0001.JPG", jpeg(2))
        packed.writestr("heron/R0001.xmp", SIDECAR)
    return out.getvalue()


def seven_zipped() -> bytes:
    """Return a 7z of two files."""
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w") as packed:
        packed.writestr(jpeg(2), "heron/R0001.JPG")
        packed.writestr(SIDECAR, "heron/R0001.xmp")
    return out.getvalue()


def tarred() -> bytes:
    """Return a tar of two files, without more padding than it needs."""
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w") as packed:
        for name, content in (("heron/R0001.JPG", jpeg(2)), ("heron/R0001.xmp", SIDECAR)):
            info = tarfile.TarInfo(name)
            info.size = len(content)
            packed.addfile(info, io.BytesIO(content))
    content = out.getvalue().rstrip(b"\0")
    return content.ljust(-(-len(content) // 512) * 512 + 1024, b"\0")


@cache
def sound() -> dict[str, bytes]:
    """Return all of them."""
    rows, tar = raws.samples(1), tarred()
    return {
        "R0001.JPG": jpeg(1, size=(160, 120)),
        "progressive.jpg": saved("JPEG", progressive=True),
        "R0002.png": saved("PNG"),
        "plain.tif": saved("TIFF"),
        "packed.tif": saved("TIFF", compression="tiff_lzw"),
        "deflated.tif": saved("TIFF", compression="tiff_adobe_deflate"),
        "R0003.webp": saved("WEBP"),
        "R0004.gif": saved("GIF"),
        "R0005.bmp": saved("BMP"),
        "R0006.jp2": saved("JPEG2000"),
        "R0007.HEIC": heif(),
        "plain.dng": raws.dng(rows, packed=False),
        "packed.DNG": raws.dng(rows, packed=True),
        "R0008.xmp": SIDECAR,
        "reed.lrcat": database(),
        "heron.zip": zipped(),
        "heron.7z": seven_zipped(),
        "heron.tar": tar,
        "heron.tar.gz": gzip.compress(tar),
        "heron.tgz": gzip.compress(tar),
        "heron.tar.xz": lzma.compress(tar),
        "heron.tar.zst": zstandard.ZstdCompressor(write_checksum=True).compress(tar),
        "notes.gz": gzip.compress(SIDECAR * 50),
    }
