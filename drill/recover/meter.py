"""How far the recovery is, on one line: files, bytes, rate, time left.

Flows in: what came, as it comes, on any thread. Flows out: a line of text some five times a second. Must not know:
terminals.
"""

from collections.abc import Callable
from threading import Lock

from drill import clock
from drill.units import say_size, say_span

_EVERY_S = 0.2


class Meter:
    """Counts what comes of so many files and bytes; `bytes_` is what is known of sizes."""

    def __init__(self, say: Callable[[str], None], *, files: int, bytes_: int) -> None:
        self._say, self._files, self._bytes = say, files, bytes_
        self._lock = Lock()
        self._done_files = self._done_bytes = 0
        self._since_s = clock.ticks_s()
        self._last_s = float("-inf")

    def add(self, size: int, *, what: str) -> None:
        """Note one file of `size` bytes; `what` it is about, such as a shoot."""
        with self._lock:
            self._done_files += 1
            self._done_bytes += size
            now_s = clock.ticks_s()
            if now_s - self._last_s < _EVERY_S:
                return
            self._last_s = now_s
            self._say(self._line(what, max(now_s - self._since_s, 1e-6)))

    def drop(self, size: int) -> None:
        """Note that one file of `size` bytes need not come after all."""
        with self._lock:
            self._files, self._bytes = self._files - 1, max(self._bytes - size, 0)

    def _line(self, what: str, took_s: float) -> str:
        words = [f"{what}: {self._done_files:,} of {self._files:,} files"]
        words.append(f"{say_size(self._done_bytes)} of {say_size(max(self._bytes, self._done_bytes))}")
        words.append(f"{say_size(round(self._done_bytes / took_s))}/s")
        share = self._done_bytes / self._bytes if self._bytes else self._done_files / max(self._files, 1)
        if took_s >= 2 and 0 < share < 1:
            words.append(f"{say_span(took_s * (1 - share) / share)} left")
        return ", ".join(words)
