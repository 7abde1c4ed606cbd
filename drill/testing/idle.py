"""Whether a mishap does anything at all: a fault that changes nothing would let a test pass that tests nothing.

Flows in: mishaps, a studio. Flows out: nothing, or Mistakes that name the mishap. Copies are listed where a mishap is
about some of their files, and never read. What cannot be told without downloading counts as doing something.
Must not know: what a drill makes of it.
"""

from collections.abc import Sequence
from pathlib import Path

from drill.copies import LinkSession
from drill.errors import Mistake, Mistakes
from drill.faults import Fate, aim
from drill.faults.draw import matching
from drill.model import Entry, Hazard, Scenario, Studio
from drill.scenario import check_selectors
from drill.shelf import OpenCopy, open_copy
from drill.testing.effects import Mishap, scenario_of

_ON_BYTES = frozenset({"unreadable", "altered", "truncated"})


def check_mishaps(mishaps: Sequence[Mishap], studio: Studio) -> None:
    """Refuse mishaps that name what nobody has, or change nothing in this studio. Errors: Mistakes."""
    if not mishaps:
        return
    check_selectors([scenario_of(mishaps)], studio)
    with LinkSession() as session:
        found = Listings(studio, session)
        idle = [mishap for mishap in mishaps if not _does_something(mishap.hazard, studio, found)]
    if idle:
        what = "changes nothing in this studio: it hits no copy, or no file on one"
        advice = "check whom and what it names: a test under it would test nothing"
        raise Mistakes([Mistake(str(studio.file), mishap.words, what, advice) for mishap in idle])


class Listings:
    """What is on each copy, listed when first asked for."""

    def __init__(self, studio: Studio, session: LinkSession) -> None:
        self._studio, self._session = studio, session
        self._opened: dict[str, OpenCopy] = {}

    def of(self, id_: str, hazard: Hazard) -> Sequence[Entry] | None:
        """Return the files of a copy as a hazard sees them; None where that cannot be told from here."""
        copy = next(copy for copy in self._studio.copies if copy.id == id_)
        if copy.url is not None:
            return None if copy.archive else [Entry(item.path, item.size) for item in copy.listed or ()]
        if id_ not in self._opened:
            medium = self._studio.media[copy.on]
            self._opened[id_] = open_copy(copy, medium, session=self._session, downloads=Path())
        found = self._opened[id_]
        if found.store is None:
            return [Entry(item.path, item.size) for item in copy.listed or ()]
        whole = hazard.effect in _ON_BYTES or (hazard.effect == "encrypted" and hazard.files is None)
        return found.store.files() if found.is_archive and whole else found.entries


def _does_something(hazard: Hazard, studio: Studio, found: Listings) -> bool:
    fates = aim(Scenario("", "", "", (hazard,)), studio, None)
    return any(_hurts(fate, id_, found) for id_, fate in fates.items())


def _hurts(fate: Fate, id_: str, found: Listings) -> bool:
    if fate.removed is not None or fate.rate_factor != 1.0:
        return True
    for blow in fate.blows:
        entries = found.of(id_, blow.hazard)
        if entries is None or any(_changes(blow.hazard, entry) for entry in matching(blow.hazard, entries)):
            return True
    return False


def _changes(hazard: Hazard, entry: Entry) -> bool:
    """Say whether a hazard changes what a read of a file gives; of unknown sizes and times it is taken to."""
    size = entry.size
    if hazard.effect == "stale":
        return entry.modified is None or hazard.before is None or entry.modified >= hazard.before
    if size is None or hazard.effect in ("deleted", "expired"):
        return True
    if hazard.effect == "truncated" and hazard.keep is not None:
        return size > (hazard.keep if isinstance(hazard.keep, int) else int(hazard.keep * size))
    if isinstance(hazard.sectors, tuple):
        return any(sector * hazard.sector_size < size for sector in hazard.sectors)
    if hazard.offsets is not None:
        return any(offset < size for offset in hazard.offsets)
    return size > 0
