"""Proofs: what the ledger knows of each copy, asked copy by copy while a survey looks at them.

Flows in: the ledger, copies as found. Flows out: standings. Must not know: what a survey makes of them.
"""

import os
from collections.abc import Sequence
from datetime import datetime

from drill.evidence import Promises, Standing, remembered, standing_of
from drill.inventory import LOOKED_INTO
from drill.ledger import Ledger, Root
from drill.model import Copy, Listed, Shoot
from drill.survey.look import Found


class Proofs:
    """The ledger as a survey asks it; without one, nothing was ever proved."""

    def __init__(self, ledger: Ledger | None, shoots: Sequence[Shoot], *, now: datetime) -> None:
        self._now = now
        self._ledger = ledger if ledger is not None and ledger.count else None
        self._promises = Promises(shoots if self._ledger is not None else ())

    def are_of(self, copy: Copy) -> bool:
        """Say whether anything is known of a copy's folder, so that its files' times are worth asking for."""
        if self._ledger is None or copy.at is None or copy.form != "folder":
            return False
        return self._ledger.knows(Root(os.path.realpath(copy.at), copy.on))

    def remembered(self, found: Found) -> tuple[Listed, ...]:
        """Return what stands in for the list of a copy that has none and cannot be looked into: what was read on it."""
        if self._ledger is None or found.copy.listed is not None or found.state not in ("answers", "away"):
            return ()
        return remembered(found.copy, self._ledger, self._promises)

    def standing(self, found: Found) -> Standing:
        """Return what earlier readings prove and refute; of a copy that cannot be looked into, as of their day."""
        if self._ledger is None or found.state not in (LOOKED_INTO, "answers", "away"):
            return Standing()
        entries = found.entries if found.state == LOOKED_INTO else None
        return standing_of(found.copy, self._ledger, self._promises, root=found.root, entries=entries, now=self._now)
