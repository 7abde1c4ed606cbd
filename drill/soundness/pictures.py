"""Pictures, decoded in full by Pillow; JPEGs also by a decoder that takes libjpeg's warnings for errors.

Flows in: an opened file and its kind. Flows out: Soundness. Must not know: where the file lies. libjpeg goes on after
damage and only warns; Pillow drops the warnings, the package simplejpeg (extra "jpeg") raises them. Decoding at an
eighth of the size notices as much as in full (measured), and takes little memory. PNG's check values are verified.
"""

from contextlib import suppress
from functools import cache
from importlib import import_module
from typing import Any

from PIL import Image, UnidentifiedImageError

from drill.soundness.kinds import PICTURES, Kind
from drill.soundness.outcome import Soundness, cannot_check, damaged, opens
from drill.soundness.source import Opener

_FORMATS: dict[Kind, tuple[str, ...]] = {kind: (kind.value.upper().replace(" ", ""),) for kind in PICTURES}
_FORMATS |= {Kind.JPEG: ("JPEG", "MPO"), Kind.PNM: ("PPM",)}
_MOST_FRAMES = 500
_MOST_PIXELS = 10**9  # of all pictures in one file together; one alone is bounded by Pillow
_UNSUPPORTED = (
    "unsupported",
    "not supported",
    "unknown",
    "cannot handle",
    "not available",
    "unrecognized",
    "unhandled",
)
_BASELINE_TO_PROGRESSIVE = (0xC0, 0xC1, 0xC2)
_COMMON_TIFF = ("raw", "tiff_lzw", "tiff_adobe_deflate", "tiff_deflate", "packbits", "jpeg", "group3", "group4")
_NO_SIZE = frozenset((0x01, *range(0xD0, 0xD9)))  # markers that stand alone
_FRAME = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def look(file: Opener, kind: Kind) -> Soundness:
    """Decode a picture file, all the pictures in it. Errors: MemoryError."""
    if kind is Kind.JPEG and (complaint := _strict_complaint(file)):
        return damaged(f"its decoder says: {complaint}")
    try:
        return _decode(file, kind)
    except MemoryError:
        raise
    except Image.DecompressionBombError:
        return cannot_check("has more pixels than can be decoded here")
    except Exception as error:  # a decoder may raise anything over damaged bytes
        return _complaint(file, kind, error)


def _decode(file: Opener, kind: Kind) -> Soundness:
    Image.init()  # else a decoder that Pillow loads late, or was built without, is not known yet
    formats = [name for name in _FORMATS[kind] if name in Image.OPEN]
    if not formats:
        return cannot_check(f"this Pillow was built without {kind.value}")
    if kind is Kind.PNG:
        with file.buffered() as stream, Image.open(stream, formats=formats) as picture:
            picture.verify()
    with file.buffered() as stream, Image.open(stream, formats=formats) as picture:
        seen, frames = _load_all(picture)
    words = [] if seen == frames else [f"the first {seen} of {frames} pictures in it were decoded"]
    if kind is Kind.JPEG and _simplejpeg() is None:
        words.append("decoded leniently: the strict check needs restore-drill[jpeg]")
    return opens("; ".join(words))


def _load_all(picture: Image.Image) -> tuple[int, int]:
    frames, pixels = getattr(picture, "n_frames", 1), 0
    for frame in range(frames):
        picture.seek(frame)
        pixels += picture.width * picture.height
        if frame and (pixels > _MOST_PIXELS or frame >= _MOST_FRAMES):
            return frame, frames
        picture.load()
    return frames, frames


def _complaint(file: Opener, kind: Kind, error: Exception) -> Soundness:
    """Tell a variant that is not supported from damage."""
    if isinstance(error, UnidentifiedImageError):
        error = _why_not_identified(file, kind) or error
    words = str(error).lower()
    if any(word in words for word in _UNSUPPORTED) or not _is_common(file, kind):
        return cannot_check(f"is a variant of {kind.value} that cannot be decoded here")
    if isinstance(error, UnidentifiedImageError):
        return damaged(f"does not begin as a {kind.value} does")
    return damaged(f"does not decode ({error or type(error).__name__})")


def _why_not_identified(file: Opener, kind: Kind) -> Exception | None:
    """Ask the decoder itself: `Image.open` swallows what it says."""
    for factory, accept in (Image.OPEN[name] for name in _FORMATS[kind] if name in Image.OPEN):
        try:
            with file.buffered() as stream:
                if accept is not None and accept(stream.peek(16)[:16]) is not True:
                    continue
                factory(stream, "").close()
        except Exception as error:
            return error
    return None


def _is_common(file: Opener, kind: Kind) -> bool:
    """Say whether a JPEG or TIFF is packed in a way that every decoder knows; no other kind has many ways."""
    if kind is Kind.TIFF:
        with suppress(Exception), file.buffered() as stream, Image.open(stream, formats=["TIFF"]) as picture:
            return picture.info.get("compression") in _COMMON_TIFF
    return kind is not Kind.JPEG or _has_common_frame(file.content())


def _has_common_frame(head: bytes) -> bool:
    """Say whether a JPEG is baseline, extended or progressive, with Huffman codes; also where it does not say."""
    at = 2
    while at + 4 <= len(head) and head[at] == 0xFF:
        marker = head[at + 1]
        if marker in _FRAME:
            return marker in _BASELINE_TO_PROGRESSIVE
        at += 2 if marker in _NO_SIZE else 1 if marker == 0xFF else 2 + int.from_bytes(head[at + 2 : at + 4], "big")
    return True


@cache
def _simplejpeg() -> Any:
    try:
        return import_module("simplejpeg")
    except ImportError:
        return None


def _strict_complaint(file: Opener) -> str:
    """Return what libjpeg has to say of damage, "" for nothing, also where the strict decoder is not there.

    Its other words (a process or a colour space that it does not know) are left to Pillow to judge.
    """
    strict = _simplejpeg()
    if strict is None:
        return ""
    content = file.content()
    try:
        height, width, *_ = strict.decode_jpeg_header(content, strict=False)
        if height * width > 2 * (Image.MAX_IMAGE_PIXELS or 0):  # Pillow refuses it
            return ""
        strict.decode_jpeg(content, colorspace="GRAY", min_factor=8, strict=True)
    except ValueError as error:
        words = str(error)
        damage = words.startswith(("Corrupt JPEG data", "Premature end")) and "ICC" not in words
        return words if damage else ""  # some writers put the colour profile where libjpeg does not want it
    return ""
