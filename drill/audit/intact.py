"""Intact: where the right bytes of what is damaged are, as far as reading or lists tell.

Flows in: damaged files, proofs, the copies' lists. Flows out: for each file the places, best first. Must not know: how
anything is read. A place found damaged or missing in the same audit is none.
"""

from collections import defaultdict
from collections.abc import Callable, Container, Iterable, Mapping, Sequence

from drill import clock
from drill.audit.judge import Judged
from drill.audit.past import Proofs
from drill.audit.promises import Promises
from drill.auditrecord import DAMAGE, Intact
from drill.coverage import WEAK
from drill.model import Copy, Digest

MOST_PLACES = 3

Damaged = Mapping[str, Sequence[Judged]]  # by copy


class Finder:
    """Finds where the right bytes are; made once all files of an audit are judged. `proofs` gives those of digests."""

    def __init__(
        self,
        judged: Damaged,
        promises: Promises,
        copies: Iterable[Copy],
        proofs: Callable[[Container[Digest]], Proofs],
    ) -> None:
        self._promises = promises
        damaged = {id_: [one for one in found if one.outcome in DAMAGE] for id_, found in judged.items()}
        self._bad = {(id_, one.path) for id_, found in damaged.items() for one in found}
        asked = {digest for found in damaged.values() for one in found for digest in self._digests(one)}
        self._proofs = proofs(asked) if asked else Proofs(asked)
        self._said: dict[Digest, list[tuple[str, str]]] = defaultdict(list)
        for copy in copies if asked else ():
            for item in copy.listed or ():
                for digest in item.digests:
                    if digest in asked:
                        self._said[digest].append((copy.id, item.path))

    def places(self, copy: str, one: Judged) -> tuple[Intact, ...]:
        """Return where the right bytes of a damaged file are: one place a copy, what was read before what is said."""
        digests = self._digests(one)
        found: dict[str, Intact] = {}
        for proof in self._proofs.of(digests):
            if (proof.copy, proof.path) not in self._bad:
                found.setdefault(proof.copy, Intact(proof.copy, proof.path, clock.rfc3339(proof.at)))
        for digest in digests:
            for id_, path in self._said.get(digest, ()):
                if id_ != copy and (id_, path) not in self._bad:
                    found.setdefault(id_, Intact(id_, path, None))
        return tuple(found.values())[:MOST_PLACES]

    def _digests(self, one: Judged) -> list[Digest]:
        """Return every digest of the right bytes, those too that a promise has of them in other kinds."""
        known = [digest for digest in one.right if digest.kind not in WEAK]
        for number in self._promises.holding(known, path=one.path, size=None):
            known += [digest for digest in self._promises.files[number].digests if digest.kind not in WEAK]
        return list(dict.fromkeys(known))
