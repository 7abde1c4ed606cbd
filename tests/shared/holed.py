"""A collector of what a 7z salvage gives, which also marks as holes what is only in doubt."""

from bad_disk import Salvaged

from drill.model import Entry, Problem


class Holed(Salvaged):
    """What came of each entry and which of its bytes are in doubt; a hole lies inside its entry, with a problem."""

    def end(self, entry: Entry, problem: Problem | None) -> None:
        noted, self._noted = self._noted, []
        super().end(entry, problem)
        assert not noted or (problem is not None and all(end <= (entry.size or 0) for _, end in noted))
        self.holes[entry] = noted

    def covered(self, entry: Entry, right: bytes) -> bool:
        """Say whether the bytes are right but for the holes."""
        content = bytearray(self.got[entry][0])
        for start, end in self.holes[entry]:
            content[start:end] = right[start:end]
        return bytes(content) == right
