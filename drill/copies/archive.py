"""Archives of every format as one kind of view.

Flows in: a store with one file (the archive), its format, a password. Flows out: a View; CannotReach, CannotRead;
Problems. Must not know: faults, manifests, where the archive lies. It is read only through `store.open`.
"""

from collections.abc import Callable, Sequence
from io import RawIOBase

from drill.copies.raw import Unreadable, Waiting, explain, fail
from drill.errors import DrillError
from drill.model import Entry, Listing, Problem, Receiver, Store, Trouble, View

ARCHIVES = (".tar.gz", ".tar.xz", ".tar.zst", ".tar", ".7z", ".zip")

_List = Callable[[RawIOBase, str | None], Sequence[Entry] | Listing]
_Deliver = Callable[[RawIOBase, str | None, Waiting, Receiver], None]


def archive_format(name: str) -> str | None:
    """Return which of ARCHIVES the name ends in, or None. A name that is nothing but an ending has none."""
    lower = name.lower()
    return next((ending for ending in ARCHIVES if lower.endswith(ending) and len(lower) > len(ending)), None)


def kind_of(archive: str) -> str:
    """Return which of ARCHIVES a format or a file's name is. Errors: ValueError."""
    kind = archive if archive in ARCHIVES else archive_format(archive)
    if kind is None:
        raise ValueError(f"{archive!r} is no archive format that is read here")
    return kind


def archive_view(store: Store, archive: str, password: str | None) -> View:
    """Return the archive that is the store's only file as a view of its members; `archive` is one of ARCHIVES.

    An Entry's index names its stream of bytes in the archive, so a hard link in a tar has the index of its target.
    """
    _, deliver_members = _reader(archive)

    def entries() -> Sequence[Entry]:
        return list_archive(store, archive, password).entries

    def deliver(wanted: Sequence[Entry], receiver: Receiver) -> None:
        waiting = Waiting(list(dict.fromkeys(wanted)))
        if not waiting:
            return
        guard = Guard(receiver)
        problem = Problem(Trouble.MISSING, "not found in the archive as it can be read now")
        try:
            with open_archive(store) as raw:
                deliver_members(raw, password, waiting, guard)
        except Exception as error:
            if guard.raised:
                raise
            problem = explain(error, 0)
        fail(waiting.rest(), receiver, problem)

    return View(entries, deliver)


def list_archive(store: Store, archive: str, password: str | None) -> Listing:
    """Return what is in the archive that is the store's only file. Errors: Unreadable; CannotReach, CannotRead."""
    list_members, _ = _reader(archive)
    try:
        with open_archive(store) as raw:
            found = list_members(raw, password)
    except DrillError:
        raise
    except Exception as error:  # whatever damage makes of a library: the archive is at fault, not the program
        problem = explain(error, 0)
        raise Unreadable(problem.trouble, f"the archive cannot be read ({problem.detail})") from None
    return found if isinstance(found, Listing) else Listing(found)


class Guard:
    """Pass everything on, and remember that the receiver itself `raised`: that is never the archive's doing."""

    def __init__(self, receiver: Receiver) -> None:
        self._receiver = receiver
        self.raised = False

    def begin(self, entry: Entry) -> None:
        self.call(self._receiver.begin, entry)

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self.call(self._receiver.data, chunk)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        self.call(self._receiver.end, entry, problem)

    def call(self, method: Callable[..., None], *values: object) -> None:
        """Call one of the receiver's methods."""
        try:
            method(*values)
        except BaseException:
            self.raised = True
            raise


def lists_all(archive: str, raw: RawIOBase) -> bool:
    """Say whether a tar's listing goes to its proper end; it can be listed in part. Errors: those of reading."""
    from drill.copies import tarred  # noqa: PLC0415

    return tarred.is_complete(archive, raw)


def _reader(archive: str) -> tuple[_List, _Deliver]:
    """Load the format's reader. Only here: the libraries behind it take longer than all else that a start loads."""
    match kind_of(archive):
        case ".7z":
            from drill.copies import sevenzip  # noqa: PLC0415

            return sevenzip.list_members, sevenzip.deliver_members
        case ".zip":
            from drill.copies import zipped  # noqa: PLC0415

            return zipped.list_members, zipped.deliver_members
        case ".tar" | ".tar.gz" | ".tar.xz" | ".tar.zst" as kind:
            from drill.copies import tarred  # noqa: PLC0415

            return tarred.reader(kind)
    raise AssertionError(archive)


def open_archive(store: Store) -> RawIOBase:
    """Open the store's only file. Errors: Unreadable, where it is not there; those of the store."""
    files = store.files()
    if not files:
        raise Unreadable(Trouble.MISSING, "the archive is not there")
    return store.open(files[0])
