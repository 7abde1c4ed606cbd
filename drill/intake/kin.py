"""Kin: which files are readings of one and the same picture, though their bytes differ.

Flows in: the wares of all copies, what lists claim, a way to see files' first bytes. Flows out: slots, each one picture
with all its readings. Must not know: shoots, promises.

Equal bytes are one reading. Two readings are of one picture when, the strongest first:
1. bytes: they have one size and their sixteenths are alike (`likeness`: a bad sector, a part never written, a change
   in place);
2. list: a list says that this very path should hold the other;
3. name: they share name, time and camera; or, where neither has a time, name and place, or name and folder; or, where
   one has none, name and size with some bytes alike; and no third file could be meant as well;
4. beginning: one is the other cut short; looked at where they share time and camera, or their name.

What somebody keeps side by side stays two: two readings on one copy are one picture only by 1, 2 or 4, and only if they
share a name (an edit or an export has a name of its own, or bytes of its own); nobody exports under a raw's name, so
for raws 3 counts there too. Two times of capture are two pictures by 3, and by 2. Cameras use names again: a name alone
is no kinship.

What this cannot know: that a file cut short is another's beginning where it has no time, and another name or the same
copy; that two files are two pictures which share name, second and model, or, without times, name and folder, and never
lie on one copy; that a file of which more than half was overwritten, or one under 4 KiB that was damaged, was another's
reading, where it was renamed or lies on the other's copy.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from drill import naming
from drill.comparing import Joined
from drill.coverage import name_key
from drill.intake.contents import Content, Slot, contents_of
from drill.intake.likeness import Heads, may_begin, name_buckets, not_unlike, pairs_by_parts
from drill.intake.wares import Claimed, Ware
from drill.model import Digest
from drill.naming import Nature


def picture_slots(
    wares: Sequence[Ware], claimed: Sequence[Claimed], *, heads: Heads
) -> tuple[list[Slot], list[Claimed]]:
    """Return one slot for each picture, and the claims that no ware meets and no ware stands in the place of."""
    contents = contents_of(wares)
    kin = Kin(contents)
    for _, one, other in sorted(pairs_by_parts(contents), key=lambda pair: (not kin.share_name(*pair[1:]), -pair[0])):
        kin.join_by_bytes(one, other)
    unmet = _by_claims(contents, claimed, kin)
    _by_name(contents, kin)
    _by_beginning(contents, kin, heads)
    slots: dict[int, Slot] = {}
    for number, content in enumerate(contents):
        slots.setdefault(kin.root(number), Slot()).contents.append(content)
    left: list[Claimed] = []
    for at, claim in unmet:
        if at is None:
            left.append(claim)
        else:
            slots[kin.root(at)].unmet.append(claim)
    return list(slots.values()), left


class Kin:
    """Readings that are found to be of one picture, and what keeps others from joining them."""

    def __init__(self, contents: Sequence[Content]) -> None:
        self._joined = Joined(len(contents))
        self._copies = [content.copies for content in contents]
        self._names = [{name_key(ware.name) for ware in content.wares} for content in contents]
        self._times = [{t for ware in content.wares if (t := ware.seen.taken) is not None} for content in contents]

    def root(self, number: int) -> int:
        """Return the number that stands for a reading's picture."""
        return self._joined.root(number)

    def share_name(self, one: int, other: int) -> bool:
        """Say whether any readings of two pictures have a name in common."""
        return not self._names[self.root(one)].isdisjoint(self._names[self.root(other)])

    def apart(self, one: int, other: int) -> bool:
        """Say whether no copy holds readings of both pictures."""
        return self._copies[self.root(one)].isdisjoint(self._copies[self.root(other)])

    def times_agree(self, one: int, other: int) -> bool:
        """Say whether two pictures may have been taken at one time: equal, or not known of one."""
        mine, yours = self._times[self.root(one)], self._times[self.root(other)]
        return not mine or not yours or not mine.isdisjoint(yours)

    def join_by_bytes(self, one: int, other: int) -> None:
        """Join two readings whose bytes say so."""
        if self.apart(one, other) or self.share_name(one, other):
            self._join(one, other)

    def join_by_list(self, one: int, other: int) -> bool:
        """Join two readings because a list says so; say whether nothing spoke against it."""
        if self.times_agree(one, other) and (self.apart(one, other) or self.share_name(one, other)):
            self._join(one, other)
        return self.root(one) == self.root(other)

    def join_by_name(self, numbers: Iterable[int]) -> None:
        """Join readings of one name, unless a copy holds two of these pictures, or they were taken at two times."""
        roots = list(dict.fromkeys(self.root(number) for number in numbers))
        copies = [copy for root in roots for copy in self._copies[root]]
        times = [self._times[root] for root in roots if self._times[root]]
        if len(copies) == len(set(copies)) and (not times or set.intersection(*times)):
            for root in roots[1:]:
                self._join(roots[0], root)

    def _join(self, one: int, other: int) -> None:
        first, second = self.root(one), self.root(other)
        if first == second:
            return
        root = self._joined.join(first, second)
        for table in (self._copies, self._names):
            table[root] = table[first] | table[second]
        self._times[root] = self._times[first] | self._times[second]


def _by_name(contents: Sequence[Content], kin: Kin) -> None:
    at_place, at_time, in_place, in_folder, of_size = name_buckets(contents)
    for buckets in (at_place, at_time, in_place, in_folder):
        for numbers in buckets.values():
            kin.join_by_name(numbers)
    for numbers in of_size.values():
        fitting = [n for n in numbers[1:] if not_unlike(contents[numbers[0]], contents[n])]
        kin.join_by_name([numbers[0], *fitting])
    for numbers in at_time.values():
        raws = [number for number in numbers if contents[number].first.nature is Nature.RAW]
        for number in raws[1:]:
            kin.join_by_bytes(raws[0], number)


def _by_beginning(contents: Sequence[Content], kin: Kin, heads: Heads) -> None:
    """Join a file cut short with the one picture that begins as it does, if there is just one."""
    longer: dict[int, list[int]] = defaultdict(list)
    for short, long, timed in may_begin(contents):
        near = kin.apart(short, long) or (timed and kin.share_name(short, long))
        if near and kin.root(short) != kin.root(long):
            longer[short].append(long)
    numbers = {number for short, many in longer.items() for number in (short, *many)}
    begins = heads([contents[number].first for number in sorted(numbers)]) if numbers else {}
    for short in sorted(longer, key=lambda number: -contents[number].size):
        mine = begins.get(contents[short].first)
        if not mine:
            continue
        fitting = [n for n in longer[short] if begins.get(contents[n].first, b"").startswith(mine)]
        named = [n for n in fitting if kin.share_name(short, n)]
        for among in (named, fitting):
            if len({kin.root(n) for n in among}) == 1:
                kin.join_by_bytes(short, among[0])
                break


def _by_claims(contents: Sequence[Content], claimed: Sequence[Claimed], kin: Kin) -> list[tuple[int | None, Claimed]]:
    """Note claims at the readings they name; join what lies at a claimed path with what should; return the unmet."""
    by_digest: dict[Digest, list[int]] = defaultdict(list)
    at_path: Mapping[tuple[str, str], int] = {
        (ware.copy, ware.entry.path): number for number, content in enumerate(contents) for ware in content.wares
    }
    for number, content in enumerate(contents):
        for digest in content.first.seen.digests:
            by_digest[digest].append(number)
    waiting: list[tuple[int | None, Claimed]] = []
    for claim in claimed:
        met = [number for digest in claim.digests for number in by_digest.get(digest, ())]
        for number in dict.fromkeys(met):
            contents[number].claims.append(claim)
        place = at_path.get((claim.copy, claim.path))
        if not met or (place is not None and place not in met):
            waiting.append((place, claim))
    unmet: list[tuple[int | None, Claimed]] = []
    for place, claim in waiting:
        met = [number for digest in claim.digests for number in by_digest.get(digest, ())]
        if place is None:
            unmet.extend([] if met else [(None, claim)])
            continue
        # A delivery that was listed with a picture's own bytes is a file of its own all the same.
        right = [number for number in met if contents[number].first.delivery == contents[place].first.delivery]
        # What a list names elsewhere as right is no damaged reading of this: files were renamed since.
        if contents[place].claims:
            unmet.extend([] if met else [(None, claim)])
        elif right:
            kin.join_by_list(place, right[0])
        else:
            known = contents[met[0]].first.seen.digests if met else claim.digests
            unmet.append((place, replace(claim, digests=known)))
    return _gathered(unmet, contents, kin)


def _gathered(
    unmet: Sequence[tuple[int | None, Claimed]], contents: Sequence[Content], kin: Kin
) -> list[tuple[int | None, Claimed]]:
    """Bring together what several lists claim of the same bytes, which no copy has: they are of one picture."""
    stands_in: dict[tuple[bool, Digest], int] = {}
    for place, claim in unmet:
        if place is not None:
            for digest in claim.digests:
                kin.join_by_list(stands_in.setdefault((contents[place].first.delivery, digest), place), place)
    found = []
    for place, claim in unmet:
        delivery = any(naming.is_delivery(folder) for folder in claim.path.split("/")[:-1])
        standing = (stands_in.get((delivery, digest)) for digest in claim.digests)
        found.append((next((n for n in standing if n is not None), None) if place is None else place, claim))
    return found
