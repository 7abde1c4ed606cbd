"""A receiver for tests: it insists on begin, data …, end, once for each entry, and keeps what came."""

from drill.model import Entry, Problem, Trouble


class Gather:
    """What came of each entry, in the order it came."""

    def __init__(self) -> None:
        self.got: dict[Entry, tuple[bytes, Problem | None]] = {}
        self._now: tuple[Entry, bytearray] | None = None

    def begin(self, entry: Entry) -> None:
        assert self._now is None and entry not in self.got
        self._now = entry, bytearray()

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        assert self._now is not None
        self._now[1].extend(chunk)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        assert self._now is not None and self._now[0] is entry
        self.got[entry] = bytes(self._now[1]), problem
        self._now = None

    @property
    def order(self) -> list[str]:
        """Return the paths in the order they came."""
        return [entry.path for entry in self.got]

    def good(self) -> dict[str, bytes]:
        """Return what came without a problem, by path."""
        return {e.path: data for e, (data, problem) in self.got.items() if problem is None}

    def troubles(self) -> dict[str, Trouble]:
        """Return the trouble of each path that had one."""
        return {e.path: problem.trouble for e, (_, problem) in self.got.items() if problem is not None}

    def one(self) -> tuple[bytes, Problem | None]:
        """Return the only file's bytes and problem."""
        (only,) = self.got.values()
        return only
