"""Safe: of which archives the headers are kept beside the ledger, after keeping those that can be kept today.

Flows in: copies as found, the folder beside the ledger. Flows out: yes, no, or that it does not matter. Must not know:
promises.
"""

from datetime import datetime
from pathlib import Path

from drill.insurance import KEEPS, insure, is_kept
from drill.survey.look import Found


class Safe:
    """The kept headers as a survey finds and leaves them, in a folder beside the ledger; None: not used."""

    def __init__(self, folder: Path | None, *, now: datetime) -> None:
        self._folder, self._now = folder, now
        self.warnings: list[str] = []

    def holds(self, found: Found) -> bool | None:
        """Say whether a copy's headers are kept; None for what has no headers to be kept, or where nothing is kept."""
        if self._folder is None or found.copy.archive not in KEEPS:
            return None
        if found.opened is not None:
            said = insure(found.opened, self._folder, now=self._now)
            self.warnings += [said] if said else []
        return is_kept(found.copy.id, self._folder)
