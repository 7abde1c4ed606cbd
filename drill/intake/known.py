"""What a studio file promises already: on a second look only the rest is proposed.

Flows in: groups, the shoots that are there. Flows out: the same groups without what is known, notes. Must not know: how
groups were made.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence

from drill.coverage import name_key
from drill.globs import fold
from drill.intake.contents import Slot
from drill.intake.shoots import Group
from drill.intake.wares import Ware
from drill.model import Copy, Digest, Shoot


def leave_known(groups: Sequence[Group], promised: Sequence[Shoot], copies: Sequence[Copy]) -> list[str]:
    """Take what is promised already out of the groups, and tell each its known shoot. Nothing promised is changed.

    A file is known when one of its readings is promised, or its copy's own list says that it was; one that is cut
    short, or is no picture, also when one of its name is promised in that shoot: damaged or changed since, which is
    said.
    """
    home: dict[Digest, str] = {d: shoot.id for shoot in promised for file in shoot.promise for d in file.digests}
    names = {shoot.id: {name_key(file.path) for file in shoot.promise} for shoot in promised}
    paths = {shoot.id: {_ending(file.path) for file in shoot.promise} for shoot in promised}
    was = {(c.id, i.path) for c in copies for i in c.listed or () if _home(i.digests, home) is not None}
    changed: Counter[str] = Counter()
    for group in groups:
        homes = Counter(found for slot in group.slots if (found := _home(_digests(slot), home)) is not None)
        homes.update(found for ware in group.others if (found := _home(ware.seen.digests, home)) is not None)
        if not homes:
            continue
        group.known = homes.most_common(1)[0][0]
        group.slots = [
            slot
            for slot in group.slots
            if _home(_digests(slot), home) is None
            and not any((ware.copy, ware.entry.path) in was for ware in slot.wares)
            and not (_cut(slot) and any(name_key(ware.name) in names[group.known] for ware in slot.wares))
        ]
        others = [ware for ware in group.others if _home(ware.seen.digests, home) is None]
        held = {(w.copy, name_key(w.name)) for w in group.others if _home(w.seen.digests, home) is not None}
        group.others = [w for w in others if not _changed(w, names[group.known], paths[group.known], held)]
        changed[group.known] += len({name_key(w.name) for w in others}) - len({name_key(w.name) for w in group.others})
    return [
        f"{id_}: {count} sidecars or other files (no pictures) are not what was promised under their names: edited "
        "since, or damaged; the promise stays. To promise what is there now, delete their lines from its list, and "
        "look again"
        for id_, count in changed.items()
        if count
    ]


def _digests(slot: Slot) -> Iterator[Digest]:
    yield from (digest for content in slot.contents for digest in content.first.seen.digests)
    yield from (digest for claim in slot.unmet for digest in claim.digests)


def _changed(ware: Ware, names: Collection[str], paths: Collection[str], held: Collection[tuple[str, str]]) -> bool:
    """Say whether a sidecar is a promised one that was changed: it lies where that does, or its copy has no other of
    its name. A second camera's picture of the same number has a sidecar of its own."""
    name = name_key(ware.name)
    return name in names and (_ending(ware.entry.path) in paths or (ware.copy, name) not in held)


def _ending(path: str) -> str:
    return "/".join(fold(path).split("/")[-2:])


def _cut(slot: Slot) -> bool:
    return all(content.first.seen.whole is False for content in slot.contents)


def _home(digests: Iterable[Digest], home: dict[Digest, str]) -> str | None:
    return next((home[digest] for digest in digests if digest in home), None)
