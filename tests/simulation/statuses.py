"""What each step does to where a shoot is: statuses in, statuses out.

A status for each medium, in the studio file's order: N not there, G good, R bytes changed and nobody knows, F lost
with its medium. Open questions, read the way that leaves less: a copy that had nothing to do, and an erasing of what
is not there, reach no mirror; a mirror of a mirror is written only where that one just was.
"""

from drill.model import Step, Studio

Statuses = tuple[str, ...]
WORSE = "GRFN"  # each letter is worse than those before it


def at_first(studio: Studio) -> Statuses:
    """Return the statuses when the first picture is taken."""
    assert studio.scheme is not None
    return tuple("G" if id_ in studio.scheme.made_on else "N" for id_ in studio.media)


def is_lost(statuses: Statuses) -> bool:
    """Say whether no good copy is left."""
    return "G" not in statuses


def after_step(studio: Studio, step: Step, statuses: Statuses, planned: frozenset[str]) -> Statuses:
    """Return the statuses after a step that was not forgotten; `planned`: media that should hold the shoot now."""
    now = dict(zip(studio.media, statuses, strict=True))
    if all(now[id_] in "GR" for id_ in step.only_once_on):
        if step.do in ("copy", "move"):
            _copy(studio, now, _id(step.source), _id(step.target))
        if step.do == "move" and now[_id(step.target)] in "GR":
            _erase(studio, now, _id(step.source))
        if step.do == "erase":
            _erase(studio, now, _id(step.source))
        if step.do == "verify":
            _verify(now, _id(step.target), planned)
    return tuple(now.values())


def after_replacement(studio: Studio, statuses: Statuses, planned: frozenset[str]) -> Statuses:
    """Return the statuses after what was lost has been replaced."""
    now = dict(zip(studio.media, statuses, strict=True))
    good = "G" in statuses
    for id_, status in now.items():
        if status == "F" and id_ not in planned:
            now[id_] = "N"
        elif status == "F" and good:
            now[id_] = "G"
    return tuple(now.values())


def mirrors_of(studio: Studio, original: str) -> list[str]:
    """Return the media that are kept in step with one, directly."""
    return [medium.id for medium in studio.media.values() if medium.mirrors == original]


def _id(medium: str | None) -> str:
    assert medium is not None
    return medium


def _copy(studio: Studio, now: dict[str, str], source: str, target: str) -> None:
    if now[source] in "GR" and now[target] == "N":
        now[target] = now[source]
        for mirror in mirrors_of(studio, target):
            _copy(studio, now, target, mirror)


def _erase(studio: Studio, now: dict[str, str], source: str) -> None:
    if now[source] != "N":
        now[source] = "N"
        for mirror in mirrors_of(studio, source):
            if studio.media[mirror].keeps_versions_s is None:
                _erase(studio, now, mirror)


def _verify(now: dict[str, str], target: str, planned: frozenset[str]) -> None:
    missed = now[target] == "N" and target in planned
    if (missed or now[target] == "R") and any(now[id_] == "G" for id_ in now if id_ != target):
        now[target] = "G"
