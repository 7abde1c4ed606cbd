"""Going: what is no copy any more once a medium has been let go.

Flows in: a studio, a medium. Flows out: media and copies. Must not know: bytes, the ledger. When in doubt a medium does
not count: a mirror follows what it mirrors, and what needs the medium cannot be read without it. Keeping versions does
not save a mirror here: letting go is for good, and versions end.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from drill.followers import with_dependants, with_mirrors
from drill.guard import falls_in
from drill.model import Copy, Studio


@dataclass(frozen=True, slots=True)
class Going:
    """`media` go: the medium itself first, then those that need it. Those in `not_counted` may stay, and yet are no
    other copy, with the reason in words; so are the `shared` copies, that lie where one that goes lies."""

    media: tuple[str, ...]
    not_counted: Mapping[str, str]
    shared: Mapping[str, str]

    def goes(self, copy: Copy) -> bool:
        """Say whether a copy is on a medium that goes."""
        return copy.on in self.media

    def counts(self, copy: Copy) -> bool:
        """Say whether a copy is another one."""
        return not self.goes(copy) and copy.on not in self.not_counted and copy.id not in self.shared


def going(studio: Studio, medium: str) -> Going:
    """Return what goes with a medium, and what is no other copy."""
    needing = sorted(with_dependants({medium}, studio.media) - {medium})
    media = (medium, *needing)
    why: dict[str, str] = {}
    for id_ in with_mirrors([medium], studio.media, keeping_versions=True):
        if id_ not in media:
            why[id_] = f"it is kept in step with {medium}, and what is deleted there is deleted on it too"
    whole = studio.media[medium]
    if whole.kind == "cloud" and whole.account:
        for other in studio.media.values():
            if other.account == whole.account and other.id not in media:
                why.setdefault(other.id, f"it is reached by the same login as {medium} ({whole.account})")
    for id_ in sorted(with_dependants(why, studio.media)):
        if id_ not in media:
            why.setdefault(id_, "it cannot be read without one that does not count")
    return Going(media, why, _shared(studio, {*media, *why}))


def _shared(studio: Studio, out: Iterable[str]) -> dict[str, str]:
    """Return the copies on other media that lie in the same folder, or the same file, as one that is out."""
    out = set(out)
    theirs = [copy for copy in studio.copies if copy.on in out]
    found: dict[str, str] = {}
    for copy in studio.copies:
        if copy.on in out:
            continue
        same = next((one for one in theirs if _overlap(copy, one)), None)
        if same is not None:
            found[copy.id] = f"its place and that of {same.id} are the same files"
    return found


def _overlap(one: Copy, other: Copy) -> bool:
    if one.at is not None and other.at is not None:
        return falls_in(one.at, other.at) or falls_in(other.at, one.at)
    return one.url is not None and one.url == other.url
