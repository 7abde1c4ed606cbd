"""Sidecars and other XML: read to the end by expat, which stops where the text is not well-formed.

Flows in: an opened file. Flows out: Soundness. Must not know: what the words in it mean. Nothing is fetched and no
entity is expanded: a file that declares entities is left alone (they can grow without bound), as no sidecar needs any.
Facts: XML 1.0; the codes are expat's, of which 18 is an encoding it does not know.
"""

from xml.parsers import expat

from drill.soundness.outcome import Soundness, cannot_check, damaged, opens
from drill.soundness.source import Opener

_BLOCK = 256 * 1024
_UNKNOWN_ENCODING = 18


class _DeclaresEntities(Exception):
    """The text declares an entity."""


def look(file: Opener) -> Soundness:
    """Read XML to its end."""
    parser = expat.ParserCreate()
    parser.EntityDeclHandler = _refuse
    try:
        with file.buffered() as stream:
            while chunk := stream.read(_BLOCK):
                parser.Parse(chunk, False)
            parser.Parse(b"", True)
    except _DeclaresEntities:
        return cannot_check("declares entities, which are not looked into")
    except expat.ExpatError as error:
        if error.code == _UNKNOWN_ENCODING:
            return cannot_check("is in an encoding that cannot be read here")
        return damaged(f"is not well-formed at line {error.lineno} ({expat.ErrorString(error.code)})")
    return opens()


def _refuse(*declared: object) -> None:
    raise _DeclaresEntities
