"""What is lost, as people name it, and in which order things come back.

Flows in: ids from the command line, a studio. Flows out: the hazards that a drill would have, shoots and classes in
order, or mistakes. Must not know: copies' contents, files.
"""

from collections.abc import Sequence

from drill.errors import Mistake, Mistakes
from drill.faults import aim
from drill.model import Hazard, Promised, Scenario, Selector, Shoot, Studio
from drill.studio import shoots_named


def lost_named(studio: Studio, names: Sequence[str]) -> tuple[str, ...]:
    """Return what is lost as "medium:x", "place:y", "account:z", from ids with or without that word before them.

    An id that stands for two things of different extent has to be written with the word. Errors: Mistakes.
    """
    found: dict[str, None] = {}
    mistakes = []
    for name in names:
        fitting = [key for key in _known(studio) if name in (key, key.partition(":")[2])]
        extents = {_media_of(studio, key) for key in fitting}
        if not fitting:
            ids = ", ".join(_known(studio))
            mistakes.append(_mistake(studio, name, "no medium, place or account has this id", f"known: {ids}"))
        elif len(extents) > 1:
            mistakes.append(_mistake(studio, name, "may mean two things", f"write {' or '.join(fitting)}"))
        else:
            found[fitting[0]] = None
    if mistakes:
        raise Mistakes(mistakes)
    return tuple(found)


def _mistake(studio: Studio, name: str, what: str, advice: str) -> Mistake:
    return Mistake(str(studio.file), f"--lost {name}", what, advice)


def _known(studio: Studio) -> list[str]:
    accounts = dict.fromkeys(medium.account for medium in studio.media.values() if medium.account)
    return [
        *(f"medium:{id_}" for id_ in studio.media),
        *(f"place:{id_}" for id_ in studio.places),
        *(f"account:{id_}" for id_ in accounts),
    ]


def _media_of(studio: Studio, key: str) -> frozenset[str]:
    word, _, id_ = key.partition(":")
    media = studio.media.values()
    return frozenset(m.id for m in media if id_ == {"medium": m.id, "place": m.place, "account": m.account}[word])


def as_scenario(lost: Sequence[str]) -> Scenario:
    """Return the scenario in which all that is lost is gone; where nothing is, one that changes nothing."""
    hazards = []
    for key in lost:
        word, _, id_ = key.partition(":")
        selectors = {
            "medium": Selector(medium=(id_,)),
            "place": Selector(place=(id_,)),
            "account": Selector(account=(id_,)),
        }
        hazards.append(Hazard("gone", selectors[word]))
    nothing = Hazard("slow", Selector(), factor=1.0)
    return Scenario("recovery", "The day it is real", "", tuple(hazards) or (nothing,))


def lost_copies(studio: Studio, lost: Sequence[str]) -> set[str]:
    """Return the copies that are gone with what is lost, by id: also those that cannot be read without it."""
    return {id_ for id_, fate in aim(as_scenario(lost), studio, None).items() if fate.removed is not None}


def shoots_in_order(studio: Studio, ids: Sequence[str]) -> list[Shoot]:
    """Return the shoots in the order in which they come back. Errors: Mistakes.

    Those that are named come in that order. Else what is owed soonest comes first: shoots with a client before those
    without, and of these the newest first, as the one that is likeliest not delivered yet. A studio file knows no due
    dates; this rule is our own.
    """
    chosen = shoots_named(studio, ids)
    if ids:
        places = {id_: number for number, id_ in reversed([*enumerate(ids)])}
        return sorted(chosen, key=lambda shoot: places[shoot.id])
    return sorted(chosen, key=lambda shoot: (shoot.client is None, -shoot.date.toordinal()))


def classes_named(studio: Studio, names: Sequence[str]) -> tuple[str, ...]:
    """Return the classes that come first, of all shoots. Errors: Mistakes, for one that the studio file has not."""
    known = [*studio.weights]
    mistakes = [
        Mistake(str(studio.file), f"--class {name}", "no class has this name", "classes: " + ", ".join(known))
        for name in names
        if name not in known
    ]
    if mistakes:
        raise Mistakes(mistakes)
    return tuple(dict.fromkeys(names))


def rounds(studio: Studio, shoots: Sequence[Shoot], first: Sequence[str]) -> list[tuple[Shoot, list[Promised]]]:
    """Return what is brought back together, in order: each class that comes first, of all shoots; then shoot by shoot
    all the rest. Within a round files are in the order of the studio file's classes, so far as a copy's own best order
    lets them."""
    rank = {kind: number for number, kind in enumerate(studio.weights)}
    done: list[tuple[Shoot, list[Promised]]] = []
    for kind in first:
        done.extend((shoot, [file for file in shoot.promise if file.kind == kind]) for shoot in shoots)
    for shoot in shoots:
        rest = [file for file in shoot.promise if file.kind not in first]
        done.append((shoot, sorted(rest, key=lambda file: rank.get(file.kind, len(rank)))))
    return [(shoot, files) for shoot, files in done if files]
