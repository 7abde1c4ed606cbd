"""What lists name and no copy has: it is promised all the same, in the shoot of the list's other files.

Flows in: claims that no file meets, groups. Flows out: promise lines for a group, disagreements, notes. Must not know:
how groups were made.
"""

import re
from bisect import bisect
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from drill import naming
from drill.coverage import name_key
from drill.intake.contents import Slot
from drill.intake.folders import path_in_shoot, telling
from drill.intake.shoots import Group
from drill.intake.wares import PICTURES, Claimed
from drill.manifests import unsafe
from drill.model import Digest
from drill.proposal import Disagreement, PromiseLine

Place = tuple[str, str]  # a list, and a folder that it names
Order = tuple[str, int, int, str]  # see `naming.dcf_order`


@dataclass(slots=True)
class Absent:
    """What no copy has, by its group's number: paths in the shoot with their claims; and what was found no home for."""

    of_group: Mapping[int, Sequence[tuple[str, Claimed]]] = field(default_factory=dict)
    notes: Sequence[str] = ()


class Homes:
    """In which groups the pictures are that lists name."""

    def __init__(self, groups: Sequence[Group]) -> None:
        self._folders = {key: number for number, group in enumerate(groups) for key in group.folders}
        self._counts: dict[str, Counter[int]] = defaultdict(Counter)
        self._rows: dict[Place, list[tuple[Order, int]]] = defaultdict(list)
        for number, group in enumerate(groups):
            for slot in group.slots:
                for claim in (*slot.unmet, *(claim for content in slot.contents for claim in content.claims)):
                    self._counts[claim.list][number] += 1
                    self._rows[_place(claim)].append((naming.dcf_order(claim.path), number))
        for row in self._rows.values():
            row.sort()

    def of(self, claim: Claimed) -> int | None:
        """Return the group of what the list names before it in the same folder; else of that folder's shoot; else of
        most of the list. None where no file of the list is there."""
        row = self._rows.get(_place(claim), ())
        if row:
            at = bisect(row, naming.dcf_order(claim.path), key=lambda item: item[0])
            return row[max(0, at - 1)][1]
        counts = self._counts.get(claim.list)
        if not counts:
            return None
        folders = telling(tuple(claim.path.split("/")[:-1]))
        for depth in range(1, len(folders) + 1):
            number = self._folders.get((claim.copy, folders[:depth]))
            if number is not None and number in counts:
                return number
        return counts.most_common(1)[0][0]


def _place(claim: Claimed) -> Place:
    return claim.list, claim.path.rpartition("/")[0]


def stand_in(unmet: Sequence[Claimed], groups: Sequence[Group], homes: Homes) -> list[Claimed]:
    """Give claims to the one picture of that name in their shoot of which no list says anything; return the others.

    Such a picture is another reading of what the list names: its own place there is empty.
    """
    slots: dict[tuple[int, bool, str], dict[int, Slot]] = defaultdict(dict)
    for number, group in enumerate(groups):
        for slot in group.slots:
            if not any(content.claims for content in slot.contents):
                for ware in slot.wares:
                    slots[number, ware.delivery, name_key(ware.name)][id(slot)] = slot
    stands_in: dict[tuple[bool, Digest], Slot] = {}
    for claim in unmet:
        home, delivery = homes.of(claim), _is_delivery(claim)
        found = {} if home is None else slots.get((home, delivery, name_key(claim.path)), {})
        if len(found) == 1:
            stands_in |= {(delivery, digest): next(iter(found.values())) for digest in claim.digests}
    left: list[Claimed] = []
    for claim in unmet:
        standing = (stands_in.get((_is_delivery(claim), digest)) for digest in claim.digests)
        known = next((one for one in standing if one is not None), None)
        (left if known is None else known.unmet).append(claim)
    return left


def _is_delivery(claim: Claimed) -> bool:
    return any(naming.is_delivery(folder) for folder in claim.path.split("/")[:-1])


def absent(unmet: Iterable[Claimed], groups: Sequence[Group], homes: Homes) -> Absent:
    """Give what lists name and no copy has to the shoot of the list's other files."""
    found: dict[int, list[tuple[str, Claimed]]] = defaultdict(list)
    alone: Counter[str] = Counter()
    pictures: set[tuple[bool, Digest]] = set()
    for claim in unmet:
        number = homes.of(claim)
        if naming.nature(claim.path) in PICTURES:  # several lists, or places, may name one
            keys = {(_is_delivery(claim), digest) for digest in claim.digests}
            if not pictures.isdisjoint(keys):
                continue
            pictures.update(keys if number is not None else ())
        if number is None:
            alone[claim.list] += 1
        else:
            found[number].append((_path_of(claim, groups[number]), claim))
    said = "{} names {} files, and none of them is on any medium given: not promised, add them by hand"
    return Absent(found, [said.format(name, count) for name, count in alone.items()])


def _path_of(claim: Claimed, group: Group) -> str:
    path, written = claim.path, claim.name
    if written.startswith("data/") and re.search(r"[ /]manifest-[a-z0-9-]+\.txt$", claim.list, re.IGNORECASE):
        written = written.removeprefix("data/")  # a bag's payload: promised paths have no `data/`
        path = path.removesuffix(claim.name) + written
    folders = tuple(path.split("/")[:-1])
    for copy, names in group.folders:
        if copy == claim.copy and telling(folders)[: len(names)] == names:
            return path_in_shoot(folders, path.rpartition("/")[2], names)
    return written if unsafe(written) is None else written.replace("\\", "/").rpartition("/")[2]


def with_absent(
    lines: Sequence[PromiseLine], more: Sequence[tuple[str, Claimed]]
) -> tuple[tuple[PromiseLine, ...], list[Disagreement]]:
    """Return a shoot's promise with what no copy has, and what to say of it; a path that is taken stays as it is."""
    known = {line.path for line in lines}
    added: dict[str, PromiseLine] = {}
    said: list[Disagreement] = []
    for path, claim in more:
        if path not in known and path not in added and unsafe(path) is None:
            added[path] = PromiseLine(path, claim.digests, None)
            said.append(Disagreement(path, ((),), f"no copy holds it, and {claim.list} lists it", judged=False))
    return tuple(sorted((*lines, *added.values()), key=lambda line: line.path)), said
