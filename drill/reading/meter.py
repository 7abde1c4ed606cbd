"""A meter: what one worker has read of one medium.

Flows in: files begun and done with. Flows out: counts, bytes, when. Must not know: threads, copies, the ledger. Written
by its worker alone, read by all.
"""

from collections.abc import Sequence

from drill import clock
from drill.model import Seen


class Meter:
    """What one worker has read of one medium; written by it alone, read by all."""

    __slots__ = ("_at_begin", "bytes", "copy", "end_s", "files", "maybe_cached", "medium", "settled", "start_s")

    def __init__(self, medium: str) -> None:
        self.medium, self.copy = medium, ""
        self.files = self.bytes = 0
        self.maybe_cached = False  # whether bytes may have come from the system's cache and not from the medium
        self.settled = 0  # listed bytes of the files that are done with
        self.start_s = self.end_s = clock.ticks_s()
        self._at_begin = 0

    def begin(self, copy: str) -> None:
        """Note that a file of a copy comes."""
        self.copy, self._at_begin = copy, self.bytes

    def end(self, size: int | None) -> None:
        """Note that a file of so many listed bytes is done with, read or not."""
        self.settled += self.bytes - self._at_begin if size is None else size
        self._at_begin = self.bytes
        self.files += 1
        self.end_s = clock.ticks_s()

    def done(self, seen: Sequence[Seen]) -> None:
        """Note small files that have come at one go, each as long as it was listed."""
        came = sum([one.size for one in seen])
        self.settled += came
        self.bytes += came
        self._at_begin = self.bytes
        self.files += len(seen)
        self.end_s = clock.ticks_s()

    def behind(self) -> int:
        """Return how many of the listed bytes are done with, or have come."""
        return self.settled + self.bytes - self._at_begin
