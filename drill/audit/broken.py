"""Broken: of an archive that is too damaged to be opened, what other copies hold of all that is promised.

Flows in: a copy as found, the promises, where right bytes are. Flows out: counts and names. Must not know: how anything
is read. Which files were in such an archive nothing tells for sure, so every promised file counts that was asked for.
"""

from collections.abc import Iterator

from drill.audit.intact import Finder
from drill.audit.judge import Judged
from drill.audit.promises import Promises
from drill.auditrecord import Elsewhere
from drill.model import Trouble
from drill.shelf import OpenCopy, State

_DAMAGE = (Trouble.DAMAGED, Trouble.CHECK_VALUE, Trouble.IO)


def is_broken(found: OpenCopy) -> bool:
    """Say whether a copy is an archive that was reached and is too damaged to be opened."""
    return found.is_archive and found.state is State.REFUSES and found.trouble in _DAMAGE


def may_be_in(found: OpenCopy, promises: Promises) -> Iterator[Judged]:
    """Yield every promised file that was asked for, as one that may be in a broken archive without a list."""
    if is_broken(found) and found.copy.listed is None:
        for number, file in enumerate(promises.files):
            if promises.asked[number]:
                yield Judged(promises.rooted(number), "unreadable", right=file.digests)


def elsewhere(found: OpenCopy, promises: Promises, finder: Finder) -> Elsewhere | None:
    """Return what other copies hold, None of a copy that is no broken archive without a list."""
    if not is_broken(found) or found.copy.listed is not None:
        return None
    promised = verified = said = 0
    oldest: str | None = None
    nowhere: list[str] = []
    for one in may_be_in(found, promises):
        places = [place for place in finder.places(found.copy.id, one) if place.copy != found.copy.id]
        proofs = [place.verified for place in places if place.verified is not None]
        promised += 1
        if proofs:
            verified += 1
            oldest = min(max(proofs), oldest or max(proofs))
        elif places:
            said += 1
        else:
            nowhere.append(one.path)
    return Elsewhere(promised, verified, oldest, said, tuple(nowhere))
