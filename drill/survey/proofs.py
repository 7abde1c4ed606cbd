"""Proofs: what the ledger knows of each copy, asked copy by copy while a survey looks at them.

Flows in: the ledger, copies as found. Flows out: standings. Must not know: what a survey makes of them.
"""

import os
from collections.abc import Sequence
from datetime import datetime

from drill.evidence import Promises, Standing, standing
from drill.inventory import LOOKED_INTO
from drill.ledger import Ledger, Root
from drill.model import Copy, Shoot
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

    def standing(self, found: Found) -> Standing:
        """Return what earlier readings prove and refute; of a copy that cannot be reached, as of their day."""
        if self._ledger is None or found.state not in (LOOKED_INTO, "away"):
            return Standing()
        copy, is_here = found.copy, found.state == LOOKED_INTO
        if is_here and found.root is None:
            return Standing()
        readings = (
            self._ledger.evidence(found.root)
            if is_here and found.root is not None
            else self._ledger.evidence_of_copy(copy.id, copy.on)
        )
        entries = found.entries if is_here else None
        return standing(readings, self._promises, root=found.root, entries=entries, listed=copy.listed, now=self._now)
