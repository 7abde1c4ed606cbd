"""Shoots: folders that are one shoot on several copies, and loose pictures by the gaps between their capture times.

Flows in: wares, slots, each ware's shoot folder. Flows out: groups of slots. Must not know: promises.

Folders of different copies are one shoot when they share at least half of the smaller one's pictures, or their name and
day. A folder that shares so with two folders of one copy, of other days, is a selection (the year's best) and joins
neither; a picture that lies in folders of several shoots belongs to the one of the fewest days. A loose picture goes
where its other copies lie; else to the shoot of what was taken next to it on the same copy; else loose pictures are
split wherever no picture was taken for longer than the gap. One without a time goes with its pair, with the day in its
name, or, on a card, with the one before it; what nothing tells of is one group, undated.
"""

from bisect import bisect
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import combinations

from drill import naming
from drill.comparing import Joined
from drill.globs import fold
from drill.intake.contents import Slot
from drill.intake.folders import Names
from drill.intake.wares import Ware
from drill.model import Taken
from drill.naming import Nature

Key = tuple[str, Names]  # a copy, and the names of a folder there


@dataclass(slots=True, eq=False)
class Group:
    """One shoot: the folders it has on the copies (none for loose pictures), its pictures, and what goes with them."""

    folders: list[Key] = field(default_factory=list)
    slots: list[Slot] = field(default_factory=list)
    others: list[Ware] = field(default_factory=list)
    known: str | None = None  # the id of the shoot that the studio file has for it already


def taken_of(slot: Slot) -> Taken | None:
    """Return when a picture was taken, by the first reading that tells."""
    return next((w.seen.taken for w in slot.wares if w.seen.taken is not None), None)


def day_named(slot: Slot) -> date | None:
    """Return the day that a picture's own name carries on some copy."""
    return next((day for w in slot.wares if (day := naming.date_in(w.name)) is not None), None)


def assemble(slots: Sequence[Slot], folder_of: Mapping[Ware, Names | None], *, gap_s: float) -> list[Group]:
    """Return the shoots that pictures make. `folder_of` has every ware of every slot, by identity."""
    named: dict[Key, dict[int, None]] = defaultdict(dict)
    for number, slot in enumerate(slots):
        for ware in slot.wares:
            names = folder_of[ware]
            if names is not None:
                named[ware.copy, names][number] = None
    groups = [_group(keys, named, slots) for keys in _merged(named, slots)]
    home = _one_home(groups, folder_of)
    groups = [group for group in groups if group.slots]
    left = [slot for slot in slots if id(slot) not in home]
    _join_by_time(left, slots, folder_of, home, gap_s)
    left = [slot for slot in left if id(slot) not in home]
    groups.extend(_split_by_time(left, home, _Loose(slots, folder_of), gap_s))
    return groups


def seen_ones(groups: Sequence[Group]) -> tuple[list[Group], list[Ware]]:
    """Part shoots from groups with nothing to see, such as a folder of music; return the latter's wares."""
    kept = [group for group in groups if any(w.nature is not Nature.SOUND for slot in group.slots for w in slot.wares)]
    unseen = [ware for group in groups if group not in kept for slot in group.slots for ware in slot.wares]
    return kept, unseen


def _group(keys: Sequence[Key], named: Mapping[Key, Iterable[int]], slots: Sequence[Slot]) -> Group:
    numbers = dict.fromkeys(number for key in keys for number in named[key])
    return Group(list(keys), [slots[number] for number in numbers])


def _one_home(groups: Sequence[Group], folder_of: Mapping[Ware, Names | None]) -> dict[int, Group]:
    """Leave each slot in one group only, a day's folder last; return the groups by the slots' identities."""
    of_key = {key: number for number, group in enumerate(groups) for key in group.folders}
    days = [len({taken.when.date() for slot in group.slots if (taken := taken_of(slot))}) for group in groups]
    weak = [all(_is_day(names) for _, names in group.folders) for group in groups]
    every = [slot for group in groups for slot in group.slots]
    home: dict[int, int] = {}
    for slot in every:
        lying = Counter(
            of_key[ware.copy, names] for ware in slot.wares if (names := folder_of[ware]) is not None
        )  # every such key is a group's
        home[id(slot)] = min(lying, key=lambda number: (weak[number], days[number], -lying[number], number))
    for number, group in enumerate(groups):
        if weak[number]:
            _follow(group.slots, number, home)
    for number in range(len(groups)):
        groups[number].slots = []
    for slot in dict.fromkeys(every):
        groups[home[id(slot)]].slots.append(slot)
    return {slot: groups[number] for slot, number in home.items()}


def _is_day(names: Names) -> bool:
    """Say whether a folder is named by a day alone: what else is known of its pictures says more."""
    return naming.date_in(names[-1]) is not None and not any(char.isalpha() for char in names[-1])


def _follow(slots: Sequence[Slot], number: int, home: dict[int, int]) -> None:
    """Let what is left of a day's folder follow what was taken next to it and lies in a shoot's folder elsewhere."""
    gone = [(taken.when, home[id(s)]) for s in slots if home[id(s)] != number and (taken := taken_of(s)) is not None]
    for slot in slots:
        taken = taken_of(slot)
        if gone and home[id(slot)] == number and taken is not None:
            home[id(slot)] = min(gone, key=lambda there: abs((there[0] - taken.when).total_seconds()))[1]


def _merged(named: Mapping[Key, Mapping[int, None]], slots: Sequence[Slot]) -> list[list[Key]]:
    keys = list(named)
    joined = Joined(len(keys))
    shared: Counter[tuple[int, int]] = Counter()
    having: dict[int, list[int]] = defaultdict(list)
    for number, key in enumerate(keys):
        for slot in named[key]:
            having[slot].append(number)
    for numbers in having.values():
        shared.update(combinations(numbers, 2))
    days = [{t.when.date() for n in named[key] if (t := taken_of(slots[n]))} for key in keys]
    sizes = [len(named[key]) for key in keys]
    day = [_is_day(names) for _, names in keys]
    half = {
        (one, other): count
        for (one, other), count in shared.items()
        if count * 2 >= min(sizes[one], sizes[other]) and day[one] == day[other]
    }
    collections = _collections(half, keys, days)
    for (one, other), count in half.items():
        if all(count * 2 >= sizes[number] for number in (one, other) if number in collections):
            joined.join(one, other)
    by_name: dict[str, list[int]] = defaultdict(list)
    for number, (_, names) in enumerate(keys):
        by_name[fold(names[-1])].append(number)
    for numbers in by_name.values():
        for one, other in combinations(numbers, 2):
            met = not days[one] or not days[other] or not days[one].isdisjoint(days[other])
            if keys[one][0] != keys[other][0] and met:
                joined.join(one, other)
    found: dict[int, list[Key]] = defaultdict(list)
    for number, key in enumerate(keys):
        found[joined.root(number)].append(key)
    return list(found.values())


def _collections(half: Iterable[tuple[int, int]], keys: Sequence[Key], days: Sequence[Collection[date]]) -> set[int]:
    """Return the folders that would make one shoot of two: those that share with two of one copy and of other days."""
    beside: dict[tuple[int, str], list[int]] = defaultdict(list)
    for one, other in half:
        beside[one, keys[other][0]].append(other)
        beside[other, keys[one][0]].append(one)
    return {
        number
        for (number, _), others in beside.items()
        if any(days[a] and days[b] and set(days[a]).isdisjoint(days[b]) for a, b in combinations(others, 2))
    }


def _join_by_time(
    left: Sequence[Slot],
    slots: Sequence[Slot],
    folder_of: Mapping[Ware, Names | None],
    home: dict[int, Group],
    gap_s: float,
) -> None:
    """Give each loose picture to the shoot of what was taken next to it on the same copy, within the gap."""
    times: dict[str, list[tuple[datetime, Slot]]] = defaultdict(list)
    for slot in slots:
        for ware in slot.wares:
            if folder_of[ware] is None and ware.seen.taken is not None:
                times[ware.copy].append((ware.seen.taken.when, slot))
    waiting = {id(slot) for slot in left}
    for shown in times.values():
        shown.sort(key=lambda pair: pair[0])
        for cluster in _clusters(shown, gap_s):
            anchors = [(when, home[id(slot)]) for when, slot in cluster if id(slot) in home and id(slot) not in waiting]
            moments = [when for when, _ in anchors]
            for when, slot in cluster if anchors else ():
                if id(slot) in waiting and id(slot) not in home:
                    at = bisect(moments, when)
                    beside = anchors[max(0, at - 1) : at + 1]
                    nearest = min(beside, key=lambda anchor: abs((anchor[0] - when).total_seconds()))[1]
                    nearest.slots.append(slot)
                    home[id(slot)] = nearest


def _clusters(shown: Sequence[tuple[datetime, Slot]], gap_s: float) -> list[list[tuple[datetime, Slot]]]:
    found: list[list[tuple[datetime, Slot]]] = []
    for when, slot in shown:
        if found and (when - found[-1][-1][0]).total_seconds() <= gap_s:
            found[-1].append((when, slot))
        else:
            found.append([(when, slot)])
    return found


class _Loose:
    """Where loose pictures lie: those of one folder in the order the camera made them, and pairs of one name."""

    def __init__(self, slots: Iterable[Slot], folder_of: Mapping[Ware, Names | None]) -> None:
        loose = [(ware, slot) for slot in slots for ware in slot.wares if folder_of[ware] is None]
        rows: dict[tuple[str, Names], list[tuple[Ware, Slot]]] = defaultdict(list)
        self._pairs: dict[tuple[str, Names, str], list[Slot]] = defaultdict(list)
        for ware, slot in loose:
            rows[ware.copy, ware.folders].append((ware, slot))
            self._pairs[ware.copy, ware.folders, naming.pair_key(ware.name)].append(slot)
        self._places: dict[Ware, tuple[list[tuple[Ware, Slot]], int]] = {}
        for row in rows.values():
            row.sort(key=lambda item: (naming.dcf_order(item[0].entry.path), item[0].entry.path))
            self._places |= {ware: (row, number) for number, (ware, _) in enumerate(row)}

    def pairs(self, ware: Ware) -> Sequence[Slot]:
        """Return what lies beside a loose picture under the same name but for its ending, itself included."""
        return self._pairs.get((ware.copy, ware.folders, naming.pair_key(ware.name)), ())

    def neighbours(self, ware: Ware) -> Iterator[Slot]:
        """Give what lies before a picture on its card, the nearest first, then what lies after it."""
        if ware in self._places and naming.on_a_card(ware.entry.path):
            row, at = self._places[ware]
            yield from (row[n][1] for n in range(at - 1, -1, -1))
            yield from (row[n][1] for n in range(at + 1, len(row)))


def _split_by_time(left: Sequence[Slot], home: dict[int, Group], loose: _Loose, gap_s: float) -> list[Group]:
    """Return groups for what has no home yet; `home` grows by what is given one."""
    dated = sorted(((t.when, slot) for slot in left if (t := taken_of(slot))), key=lambda pair: pair[0])
    groups: list[Group] = []
    by_day: dict[date | None, Group] = {}
    for cluster in _clusters(dated, gap_s):
        group = Group(slots=[slot for _, slot in cluster])
        groups.append(group)
        home |= {id(slot): group for slot in group.slots}
        for when, _ in cluster:
            by_day.setdefault(when.date(), group)
    for slot in (slot for slot in left if id(slot) not in home):
        day = day_named(slot)
        found = _home_beside(slot, home, loose, day) or by_day.get(day)
        if found is None:
            found = by_day[day] = Group()
            groups.append(found)
        found.slots.append(slot)
        home[id(slot)] = found
    return groups


def _home_beside(slot: Slot, home: Mapping[int, Group], loose: _Loose, day: date | None) -> Group | None:
    """Find the home of a picture without a capture time: its pair's; unless its name has a day, its neighbour's."""
    beside = (other for ware in slot.wares for other in loose.pairs(ware))
    found = next((home[id(other)] for other in beside if id(other) in home), None)
    if found is not None or day is not None:
        return found
    around = (other for ware in slot.wares for other in loose.neighbours(ware))
    return next((home[id(other)] for other in around if id(other) in home), None)


def place_others(others: Sequence[Ware], groups: Sequence[Group], folder_of: Mapping[Ware, Names | None]) -> list[Ware]:
    """Give sidecars and all else that is no picture to the shoot of its folder, of its picture, or of its folder's name
    on another copy; return what belongs to none."""
    by_key: dict[Key, Group] = {key: group for group in groups for key in group.folders}
    by_name: dict[str, set[int]] = defaultdict(set)
    by_pair: dict[tuple[str, Names, str], int] = {}
    pairs: dict[str, set[int]] = defaultdict(set)
    for number, group in enumerate(groups):
        for _, names in group.folders:
            by_name[fold(names[-1])].add(number)
        for slot in group.slots:
            for ware in slot.wares:
                pair = naming.pair_key(ware.name)
                by_pair[ware.copy, ware.folders, pair] = number
                pairs[pair].add(number)
    left: list[Ware] = []
    for ware in others:
        folder = folder_of[ware]
        found = by_key.get((ware.copy, folder)) if folder is not None else None
        if found is None:
            pair = naming.pair_key(ware.name)
            beside = by_pair.get((ware.copy, ware.folders, pair))
            alike = next((by_name[fold(name)] for name in ware.folders if len(by_name.get(fold(name), ())) == 1), None)
            home = beside if beside is not None else _only(alike) if alike else _only(pairs.get(pair))
            found = None if home is None else groups[home]
        if found is None:
            left.append(ware)
        else:
            found.others.append(ware)
    return left


def _only(numbers: set[int] | None) -> int | None:
    return next(iter(numbers)) if numbers is not None and len(numbers) == 1 else None
