"""What a studio file promises already: on a second look only the rest is proposed.

Flows in: groups, the shoots that are there. Flows out: the same groups without what is known, notes. Must not know: how
groups were made.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence

from drill.coverage import name_key
from drill.intake.contents import Slot
from drill.intake.shoots import Group
from drill.model import Digest, Shoot


def leave_known(groups: Sequence[Group], promised: Sequence[Shoot]) -> list[str]:
    """Take what is promised already out of the groups, and tell each its known shoot. Nothing promised is changed.

    A file is known when one of its readings is promised; a sidecar also when one of its name is, in that shoot: it was
    changed since, which is said.
    """
    home: dict[Digest, str] = {d: shoot.id for shoot in promised for file in shoot.promise for d in file.digests}
    names: dict[str, set[str]] = defaultdict(set)
    for shoot in promised:
        names[shoot.id] = {name_key(file.path) for file in shoot.promise}
    changed: Counter[str] = Counter()
    for group in groups:
        homes = Counter(found for slot in group.slots if (found := _home(_digests(slot), home)) is not None)
        homes.update(found for ware in group.others if (found := _home(ware.seen.digests, home)) is not None)
        if not homes:
            continue
        group.known = homes.most_common(1)[0][0]
        group.slots = [slot for slot in group.slots if _home(_digests(slot), home) is None]
        others = [ware for ware in group.others if _home(ware.seen.digests, home) is None]
        group.others = [ware for ware in others if name_key(ware.name) not in names[group.known]]
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


def _home(digests: Iterable[Digest], home: dict[Digest, str]) -> str | None:
    return next((home[digest] for digest in digests if digest in home), None)
