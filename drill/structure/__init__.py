"""Structure: what lies where in an archive, told from its headers alone, and what the loss of each byte costs.

Flows in: a store with one file (the archive), its format, a password. Flows out: an Anatomy. Must not know: faults,
promises, sectors. No member's bytes are read, save where a compressed tar has no other table of contents.
"""

from drill.copies import ARCHIVES, Unreadable, archive_format
from drill.copies.raw import explain
from drill.errors import DrillError
from drill.extents import Anatomy, Kept
from drill.model import Store, Trouble
from drill.structure.sevenzip import anatomy_of as anatomy_of_7z
from drill.structure.tarred import anatomy_of as anatomy_of_tar
from drill.structure.zipped import anatomy_of as anatomy_of_zip

__all__ = ["anatomy"]


def anatomy(store: Store, archive: str, password: str | None, *, kept: Kept | None = None) -> Anatomy:
    """Return the structure of the archive that is the store's only file; `archive` is one of ARCHIVES.

    With `kept` headers their loss counts as none, where they are of this archive (the same size).
    Errors: Unreadable, with the kind of trouble; CannotReach, CannotRead.
    """
    files = store.files()
    if not files:
        raise Unreadable(Trouble.MISSING, "the archive is not there")
    try:
        with store.open(files[0]) as raw:
            size = raw.seek(0, 2)
            raw.seek(0)
            has_kept = kept is not None and kept.size == size
            match archive if archive in ARCHIVES else archive_format(archive):
                case ".7z":
                    return anatomy_of_7z(raw, size, password, kept=has_kept)
                case ".zip":
                    return anatomy_of_zip(raw, size, password, kept=has_kept)
                case ".tar" | ".tar.gz" | ".tar.xz" | ".tar.zst" as kind:
                    return anatomy_of_tar(kind, raw, size, kept=has_kept)
    except DrillError:
        raise
    except Exception as error:  # whatever damage makes of a library: the archive is at fault, not the program
        problem = explain(error, 0)
        raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})") from None
    raise ValueError(f"{archive!r} is no archive format that is read here")
