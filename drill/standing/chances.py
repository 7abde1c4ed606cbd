"""Chances: how likely it is that files on these copies are lost within some years, as they stand.

Flows in: a studio, the media that files are on. Flows out: probabilities at low, middle and high rates, exact for the
model. Must not know: files, scenarios, calendars. Nothing is copied, checked or replaced in that time: what a year
without any care comes to. Whether carried media are away or at home is not known: the worse of both counts.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import expm1

from drill.faulttree import probability
from drill.model import Studio
from drill.odds import LEVELS, blows, in_words, rates
from drill.standingrecord import Chance

Sets = tuple[frozenset[str], ...]


class Chances:
    """The chances of one studio; equal sets of media are reckoned once."""

    def __init__(self, studio: Studio, *, years: int) -> None:
        self._hits = [_events_on(blows(studio, away=away)) for away in (True, False)]
        self._likely = [
            {event: -expm1(-rate * years) for event, rate in rates(studio, level).per_year.items()} for level in LEVELS
        ]
        self._known: dict[Sets, Chance] = {}

    def of(self, sets: Sets) -> Chance:
        """Return the chance that files are lost, some of which lie on each of these sets of media."""
        if sets not in self._known:
            low, middle, high = (max(self._one(sets, hits, likely) for hits in self._hits) for likely in self._likely)
            self._known[sets] = Chance(low, middle, high, in_words(middle))
        return self._known[sets]

    def alone(self, sets: Sets) -> tuple[tuple[str, bool], ...]:
        """Return each event that by itself takes some files, and whether only while what is carried is at home."""
        found: dict[str, bool] = {}
        for at_home, hits in enumerate(self._hits):
            for media in sets:
                common = [set(hits.get(medium, ())) for medium in media]
                for event in hits.get(min(media, default=""), ()):
                    if all(event in events for events in common):
                        found.setdefault(event, bool(at_home))
        return tuple(found.items())

    def _one(self, sets: Sets, hits: Mapping[str, tuple[str, ...]], likely: Mapping[str, float]) -> float:
        if any(not media for media in sets):
            return 1.0
        return probability("lost", _gates(sets, hits), likely)


def _gates(sets: Sets, hits: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, Sequence[str]]]:
    """Return the tree of "lost": all copies of some set are gone, each by any event that hits its medium."""
    gates: dict[str, tuple[str, Sequence[str]]] = {"lost": ("or", [f"set {n}" for n in range(len(sets))])}
    for number, media in enumerate(sets):
        gates[f"set {number}"] = ("and", [f"copy on {medium}" for medium in sorted(media)])
    return gates | {f"copy on {medium}": ("or", hits[medium]) for media in sets for medium in media}


def _events_on(falls: Mapping[str, Iterable[tuple[str, str]]]) -> dict[str, tuple[str, ...]]:
    """Return which events take a good copy on each medium, in whatever way."""
    found: dict[str, list[str]] = {}
    for event, hit in falls.items():
        for medium, _ in hit:
            found.setdefault(medium, []).append(event)
    return {medium: tuple(dict.fromkeys(events)) for medium, events in found.items()}
