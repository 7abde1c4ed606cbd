"""Structure: what lies where in an archive, told from its headers alone, and what the loss of each byte costs.

Flows in: a store with one file (the archive), its format, a password. Flows out: an Anatomy. Must not know: faults,
promises, sectors. No member's bytes are read, save where a compressed tar has no other table of contents.
"""

from io import RawIOBase
from typing import Protocol

from drill.copies import Unreadable
from drill.copies.archive import kind_of
from drill.copies.raw import explain
from drill.errors import DrillError
from drill.extents import Anatomy, Kept, Part
from drill.model import Store, Trouble

__all__ = ["anatomy", "header_spans"]


class _AnatomyOf(Protocol):
    def __call__(self, raw: RawIOBase, size: int, password: str | None, *, kept: bool) -> Anatomy: ...


def anatomy(store: Store, archive: str, password: str | None, *, kept: Kept | None = None) -> Anatomy:
    """Return the structure of the archive that is the store's only file; `archive` is one of ARCHIVES.

    With `kept` headers their loss counts as none, where they are of this archive (the same size).
    Errors: Unreadable, with the kind of trouble; CannotReach, CannotRead.
    """
    reader = _reader(archive)
    files = store.files()
    if not files:
        raise Unreadable(Trouble.MISSING, "the archive is not there")
    try:
        with store.open(files[0]) as raw:
            size = raw.seek(0, 2)
            raw.seek(0)
            has_kept = kept is not None and kept.size == size
            return reader(raw, size, password, kept=has_kept)
    except DrillError:
        raise
    except Exception as error:  # whatever damage makes of a library: the archive is at fault, not the program
        problem = explain(error, 0)
        raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})") from None


def header_spans(store: Store, archive: str, password: str | None) -> list[tuple[int, int]]:
    """Return where the headers lie, [from, to), in the archive that is the store's only file.

    A 7z's own two tell: an anatomy would walk through all that is packed. Errors: as `anatomy`, OSError.
    """
    if archive == ".7z":
        from drill.structure import sevenzip  # noqa: PLC0415 - as in `_reader`

        with store.open(store.files()[0]) as raw:
            return sevenzip.header_spans(raw, password)
    spans: list[tuple[int, int]] = []
    for extent in anatomy(store, archive, password).extents:
        if extent.part is not Part.HEADERS:
            continue
        if spans and spans[-1][1] == extent.start:
            spans[-1] = spans[-1][0], extent.end
        else:
            spans.append((extent.start, extent.end))
    return spans


def _reader(archive: str) -> _AnatomyOf:
    """Load the format's reader. Only here: the libraries behind it take longer than all else that a start loads."""
    match kind_of(archive):
        case ".7z":
            from drill.structure import sevenzip  # noqa: PLC0415

            return sevenzip.anatomy_of
        case ".zip":
            from drill.structure import zipped  # noqa: PLC0415

            return zipped.anatomy_of
        case ".tar" | ".tar.gz" | ".tar.xz" | ".tar.zst" as kind:
            from drill.structure import tarred  # noqa: PLC0415

            return lambda raw, size, password, *, kept: tarred.anatomy_of(kind, raw, size, kept=kept)
    raise AssertionError(archive)
