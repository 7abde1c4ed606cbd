"""One look into one file: what it is, who looks, and what is said when that fails.

Flows in: a name, its bytes. Flows out: Soundness. Must not know: copies, promises, what the answer is for.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import SEEK_END
from pathlib import Path

from drill.copies.raw import explain
from drill.errors import DrillError
from drill.soundness import databases, packed, sidecars
from drill.soundness.apart import Apart
from drill.soundness.kinds import HEAD_BYTES, PICTURES, Kind, kind_of, named_kind
from drill.soundness.outcome import Outcome, Soundness, cannot_check, damaged
from drill.soundness.source import Opener, Source

Check = Callable[[str, Source], Soundness]
LIMIT_S = 120.0


@contextmanager
def checking(*, scratch: Path | None = None, limit_s: float = LIMIT_S) -> Iterator[Check]:
    """Give a function that looks into one file after the other, from any thread.

    It takes a name and bytes, or a function that opens a seekable stream, as often as asked, and raises nothing.
    `scratch` is a folder for copies of databases, the system's temporary one without; `limit_s` is for one picture.
    """
    apart = Apart(limit_s)

    def check(name: str, source: Source) -> Soundness:
        return _look(name, Opener(source), apart=apart, scratch=scratch)

    try:
        yield check
    finally:
        apart.close()


def check(name: str, source: Source, *, scratch: Path | None = None) -> Soundness:
    """Look into one file; for many, `checking` is quicker."""
    with checking(scratch=scratch) as look:
        return look(name, source)


def _look(name: str, file: Opener, *, apart: Apart, scratch: Path | None) -> Soundness:
    try:
        found = _judge(name, file, apart=apart, scratch=scratch)
    except (OSError, DrillError) as error:
        found = Soundness(Outcome.UNREADABLE, explain(error, 0).detail)
    except MemoryError:
        found = cannot_check("asks for more memory than there is")
    except Exception as error:  # a judge that stumbles over damaged bytes has judged nothing
        found = cannot_check(f"could not be judged ({type(error).__name__})")
    if file.troubles:  # whatever a decoder made of it
        return Soundness(Outcome.UNREADABLE, file.troubles[0].detail)
    return found


def _judge(name: str, file: Opener, *, apart: Apart, scratch: Path | None) -> Soundness:
    with file.buffered() as stream:
        if not stream.seekable():
            return cannot_check("can only be read from its start to its end")
        head = stream.read(HEAD_BYTES)
        size = stream.seek(0, SEEK_END)
    kind = kind_of(name, head)
    if not size:
        return cannot_check("is empty") if kind is Kind.UNKNOWN else damaged("is empty")
    found = _by_kind(file, size, kind, head=head, apart=apart, scratch=scratch)
    named = named_kind(name)
    if found.outcome is Outcome.OPENS and named in PICTURES and kind is not named:
        words = f"is a {kind.value} under the name of a {named.value}"
        return Soundness(found.outcome, "; ".join(filter(None, (words, found.detail))))
    return found


def _by_kind(file: Opener, size: int, kind: Kind, *, head: bytes, apart: Apart, scratch: Path | None) -> Soundness:
    match kind:
        case Kind.RAW | Kind.HEIF if not any(head[:16]) or (kind is Kind.HEIF and head[4:8] != b"ftyp"):
            return damaged(f"does not begin as a {kind.value} does")
        case Kind.XML:
            return sidecars.look(file)
        case Kind.DATABASE:
            return databases.look(file, size, scratch)
        case Kind.UNKNOWN:
            return cannot_check("is of a kind that cannot be looked into here")
    return packed.look(file, size, kind) if kind in packed.KINDS else apart.look(file, size, kind)
