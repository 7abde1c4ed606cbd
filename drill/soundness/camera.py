"""Raws by LibRaw (extra "raw") and HEIFs by libheif (extra "heic"), decoded in full.

Flows in: a file's bytes. Flows out: Soundness. Must not know: where the file lies. Of a raw the raw data is decoded and
not developed: that takes as long again and notices nothing more (measured). A raw that is not packed has nothing to
notice damage by. A variant that the library does not know is no damage. Memory: LibRaw's own limit is 2 GB.
"""

import io
from importlib import import_module
from typing import Any

from drill.soundness.outcome import Soundness, cannot_check, damaged, opens

_MOST_PIXELS = 500 * 10**6


def look_at_raw(content: bytes) -> Soundness:
    """Decode a raw. Errors: ImportError, MemoryError."""
    rawpy: Any = import_module("rawpy")
    unknown = (rawpy.LibRawFileUnsupportedError, rawpy.LibRawNotImplementedError, rawpy.NotSupportedError)
    too_large = (rawpy.LibRawTooBigError, rawpy.LibRawUnsufficientMemoryError, rawpy.LibRawMemPoolOverflowError)
    try:
        with rawpy.imread(io.BytesIO(content)) as raw:
            if raw.sizes.raw_width * raw.sizes.raw_height > _MOST_PIXELS:
                return cannot_check("has more pixels than can be decoded here")
            raw.unpack()
    except unknown:
        return cannot_check("is a raw, or a variant of one, that this LibRaw does not know")
    except too_large:
        return cannot_check("asks for more memory than is allowed")
    except rawpy.LibRawError as error:
        words = error.args[0] if error.args else type(error).__name__
        return damaged(f"does not decode ({words.decode(errors='replace') if isinstance(words, bytes) else words})")
    return opens()


def look_at_heif(content: bytes) -> Soundness:
    """Decode every picture in a HEIF; previews and depth maps are left. Errors: ImportError, MemoryError."""
    heif: Any = import_module("pillow_heif")
    try:
        pictures = heif.open_heif(content, convert_hdr_to_8bit=False)
        if sum(picture.size[0] * picture.size[1] for picture in pictures) > _MOST_PIXELS:
            return cannot_check("has more pixels than can be decoded here")
        for picture in pictures:
            picture.load()
    except MemoryError:
        raise
    except Exception as error:  # the library's own are of no one class
        words = str(error) or type(error).__name__
        if any(word in words.lower() for word in ("unsupported", "not supported", "security limit")):
            return cannot_check(f"is a variant of HEIF that cannot be decoded here ({words})")
        return damaged(f"does not decode ({words})")
    return opens()
