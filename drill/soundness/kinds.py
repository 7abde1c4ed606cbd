"""What a file is: by its first bytes, and only where they say nothing by the ending of its name.

Flows in: a name and a file's head. Flows out: a Kind. Must not know: how a kind is looked into. Facts: references,
section 11 (JPEG, PNG, TIFF, ZIP, 7z); GIF89a, RFC 9649 (WebP), ISO/IEC 23008-12 (brands of HEIF), RFC 1952 (gzip), the
xz and zstd formats, sqlite.org/fileformat.html, and the magic numbers of raws: from memory. Most raws are TIFFs inside,
so an ending of a raw, or the tag DNGVersion (50706), outweighs the head of a TIFF: Pillow would show the preview.
"""

import struct
from enum import StrEnum

from drill.copies import archive_format
from drill.naming import RAW_ENDINGS, ending

HEAD_BYTES = 64 * 1024
_DNG_VERSION = 50706
_MOST_TAGS = 4096


class Kind(StrEnum):
    """Kinds of file that are looked into in different ways."""

    JPEG = "JPEG"
    PNG = "PNG"
    GIF = "GIF"
    WEBP = "WebP"
    TIFF = "TIFF"
    AVIF = "AVIF"
    BMP = "BMP"
    JPEG_2000 = "JPEG 2000"
    PNM = "PNM"
    TGA = "TGA"
    HEIF = "HEIF"
    RAW = "raw"
    XML = "XML"
    ZIP = ".zip"  # archives by the names that `drill.copies` has for them
    SEVEN_ZIP = ".7z"
    TAR = ".tar"
    TAR_GZ = ".tar.gz"
    TAR_XZ = ".tar.xz"
    TAR_ZST = ".tar.zst"
    GZIP = "gzip"
    XZ = "xz"
    ZSTD = "zstd"
    DATABASE = "database"
    UNKNOWN = "unknown"


_MAGIC = (
    (b"\xff\xd8\xff", Kind.JPEG),
    (b"\x89PNG\r\n\x1a\n", Kind.PNG),
    (b"GIF87a", Kind.GIF),
    (b"GIF89a", Kind.GIF),
    (b"\0\0\0\x0cjP  \r\n\x87\n", Kind.JPEG_2000),
    (b"\xffO\xffQ", Kind.JPEG_2000),
    (b"FUJIFILMCCD-RAW", Kind.RAW),
    (b"IIRO", Kind.RAW),
    (b"IIRS", Kind.RAW),
    (b"MMOR", Kind.RAW),
    (b"IIU\0", Kind.RAW),
    (b"II\x1a\0\0\0HEAPCCDR", Kind.RAW),
    (b"FOVb", Kind.RAW),
    (b"\0MRM", Kind.RAW),
    (b"PK\3\4", Kind.ZIP),
    (b"PK\5\6", Kind.ZIP),
    (b"7z\xbc\xaf\x27\x1c", Kind.SEVEN_ZIP),
    (b"\x1f\x8b\x08", Kind.GZIP),
    (b"\xfd7zXZ\0", Kind.XZ),
    (b"\x28\xb5\x2f\xfd", Kind.ZSTD),
    (b"SQLite format 3\0", Kind.DATABASE),
)
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_XML = (b"<?xml", b"<?xpacket", b"<x:xmpmeta", b"\xfe\xff\0<\0?", b"\xff\xfe<\0?\0")
_BRANDS = {b"crx ": Kind.RAW, b"avif": Kind.AVIF, b"avis": Kind.AVIF}
_BRANDS |= dict.fromkeys((b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"), Kind.HEIF)
_ENDINGS = {
    **dict.fromkeys(("jpg", "jpeg", "jpe", "jfif", "mpo", "insp"), Kind.JPEG),
    **dict.fromkeys(("tif", "tiff"), Kind.TIFF),
    **dict.fromkeys(("heic", "heif", "hif"), Kind.HEIF),
    **dict.fromkeys(("jp2", "j2k", "jpf", "jpx"), Kind.JPEG_2000),
    **dict.fromkeys(("pnm", "ppm", "pgm", "pbm"), Kind.PNM),
    **dict.fromkeys(("xmp", "xml"), Kind.XML),
    **dict.fromkeys(RAW_ENDINGS, Kind.RAW),
    **{"png": Kind.PNG, "gif": Kind.GIF, "webp": Kind.WEBP, "avif": Kind.AVIF, "bmp": Kind.BMP, "tga": Kind.TGA},
    **{"tgz": Kind.TAR_GZ, "txz": Kind.TAR_XZ, "tzst": Kind.TAR_ZST},
    **{"gz": Kind.GZIP, "xz": Kind.XZ, "zst": Kind.ZSTD},
}
PICTURES = frozenset(
    (Kind.JPEG, Kind.PNG, Kind.GIF, Kind.WEBP, Kind.TIFF, Kind.AVIF, Kind.BMP, Kind.JPEG_2000, Kind.PNM, Kind.TGA)
)
_PACKED = {Kind.GZIP: Kind.TAR_GZ, Kind.XZ: Kind.TAR_XZ, Kind.ZSTD: Kind.TAR_ZST}


def kind_of(name: str, head: bytes) -> Kind:
    """Return what a file is; `head` are its first HEAD_BYTES."""
    named = named_kind(name)
    found = _by_head(head)
    if found is Kind.TIFF and (named is Kind.RAW or _is_dng(head)):
        return Kind.RAW
    if found is not None and _PACKED.get(found) is named:
        return named
    return found or named


def named_kind(name: str) -> Kind:
    """Return what a file's name says that it is."""
    archive = archive_format(name)
    return Kind(archive) if archive else _ENDINGS.get(ending(name), Kind.UNKNOWN)


def _by_head(head: bytes) -> Kind | None:
    for magic, kind in _MAGIC:
        if head.startswith(magic):
            return kind
    if head.startswith(_TIFF):
        return Kind.TIFF
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return Kind.WEBP
    if head[4:8] == b"ftyp":
        return _brand(head)
    if head[257:262] == b"ustar":
        return Kind.TAR
    return Kind.XML if head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(_XML) else None


def _brand(head: bytes) -> Kind | None:
    """Return the kind of a file of boxes: by its main brand, else by the first known one that it says to keep to."""
    size = min(int.from_bytes(head[:4], "big"), len(head), 512)
    brands = [head[8:12], *(head[at : at + 4] for at in range(16, size - 3, 4))]
    return next((_BRANDS[brand] for brand in brands if brand in _BRANDS), None)


def _is_dng(head: bytes) -> bool:
    order = "<" if head[:2] == b"II" else ">"
    try:
        (at,) = struct.unpack_from(f"{order}I", head, 4)
        (count,) = struct.unpack_from(f"{order}H", head, at)
        tags = [struct.unpack_from(f"{order}H", head, at + 2 + 12 * n)[0] for n in range(min(count, _MOST_TAGS))]
    except struct.error:
        return False
    return _DNG_VERSION in tags
