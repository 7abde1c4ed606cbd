"""A second look into a few files: whether they open, and how they begin.

Flows in: wares and the opened copies. Flows out: yes, no, or that it cannot be told here; first bytes. Only for files
of which there are different readings. A file that opens may still be damaged; one that does not open is damaged or not
what its name says. Each copy delivers all that is wanted of it at once: a solid archive is unpacked once.
"""

import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from drill.intake.wares import Ware, by_copy
from drill.model import Entry, Problem
from drill.naming import Nature
from drill.shelf import OpenCopy
from drill.soundness import Check, Outcome, checking

HEAD_BYTES = 64 * 1024
Take = Callable[[Entry, bytearray, Problem | None], None]
_MOST_BYTES = 256 * 10**6
_VALUES = {Outcome.OPENS: True, Outcome.DAMAGED: False, Outcome.UNREADABLE: False, Outcome.CANNOT_CHECK: None}


@dataclass(slots=True)
class _Keeper:
    """A receiver that keeps the first bytes of each file, and hands them over when the file ends."""

    most: int
    take: Take
    kept: bytearray = field(default_factory=bytearray)

    def begin(self, entry: Entry) -> None:
        """Forget the last file."""
        self.kept = bytearray()

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        """Keep what is wanted."""
        if len(self.kept) < self.most:
            self.kept += chunk[: self.most - len(self.kept)]

    def end(self, entry: Entry, problem: Problem | None) -> None:
        """Hand over."""
        self.take(entry, self.kept, problem)


def first_bytes(opened: Mapping[str, OpenCopy], wares: Sequence[Ware]) -> dict[Ware, bytes]:
    """Return the first 64 KiB of files; nothing of one that cannot be read, or is large and in an archive."""
    found: dict[Ware, bytes] = {}
    for copy, some in by_copy(wares).items():
        at = opened[copy]
        if at.is_archive:
            _packed_heads(at, [ware for ware in some if ware.seen.size <= _MOST_BYTES], found)
        elif at.store is not None:
            for ware in some:
                try:
                    with at.store.open(ware.entry) as file:
                        found[ware] = io.BufferedReader(file, HEAD_BYTES).read(HEAD_BYTES)
                except OSError:
                    continue
    return found


def _packed_heads(at: OpenCopy, wares: Sequence[Ware], found: dict[Ware, bytes]) -> None:
    of_entry = {(ware.entry.path, ware.entry.index): ware for ware in wares}

    def take(entry: Entry, kept: bytearray, problem: Problem | None) -> None:
        if problem is None:
            found[of_entry[entry.path, entry.index]] = bytes(kept)

    _deliver(at, wares, _Keeper(HEAD_BYTES, take))


def opening(opened: Mapping[str, OpenCopy], wares: Iterable[Ware]) -> dict[Ware, bool | None]:
    """Decode pictures in full; None for what this program cannot decode (raws, films, sidecars) or is too large."""
    found: dict[Ware, bool | None] = dict.fromkeys(wares)
    decodable = [ware for ware in found if ware.nature is Nature.PICTURE and ware.seen.size <= _MOST_BYTES]
    with checking() as look:
        for copy, some in by_copy(decodable).items():
            _deliver(opened[copy], some, _Keeper(_MOST_BYTES, _decoder(look, some, found)))
    return found


def _decoder(look: Check, wares: Iterable[Ware], found: dict[Ware, bool | None]) -> Take:
    of_entry = {(ware.entry.path, ware.entry.index): ware for ware in wares}

    def take(entry: Entry, kept: bytearray, problem: Problem | None) -> None:
        ware = of_entry[entry.path, entry.index]
        found[ware] = _VALUES[look(ware.name, bytes(kept)).outcome] if problem is None else False

    return take


def _deliver(at: OpenCopy, wares: Sequence[Ware], keeper: _Keeper) -> None:
    if at.view is not None and wares:
        at.view.deliver([ware.entry for ware in wares], keeper)
