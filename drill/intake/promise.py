"""The promise of a shoot: which reading of each file is right, under which path, and why.

Flows in: one group of slots. Flows out: promise lines, disagreements, words. Must not know: how groups were made.

A list that is there already decides. Else the reading that most media share does. Where as many share another, the one
that opens; of several that do the longer raw, the newer sidecar, the one on the card, the copy that has most of the
shoot; and it is marked as judged.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from drill import naming
from drill.coverage import name_key
from drill.globs import fold
from drill.intake.contents import Content, Slot, contents_of
from drill.intake.folders import Names, path_in_shoot
from drill.intake.shoots import Group
from drill.intake.wares import Claimed, Ware
from drill.manifests import unsafe
from drill.model import Digest
from drill.naming import Nature
from drill.proposal import Disagreement, PromiseLine

Opens = Mapping[Ware, bool | None]  # None: cannot be told here; asked for by `contested`
_SAME_TIME_S = 2.0  # FAT keeps times to two seconds
_TIERS = tuple((with_bytes, parts) for with_bytes in (1, 0) for parts in (4, 3, 2, 1))


@dataclass(frozen=True, slots=True)
class Chosen:
    """The reading that is promised for one slot; `content` is None where only a list knows it."""

    slot: Slot
    content: Content | None
    digests: tuple[Digest, ...]
    why: str = ""
    judged: bool = False


@dataclass(frozen=True, slots=True)
class Promise:
    """What is proposed to be promised of one shoot."""

    lines: tuple[PromiseLine, ...]
    chosen: tuple[Chosen, ...]
    disagreements: tuple[Disagreement, ...]
    copies: Mapping[str, int]
    base: str
    why: str
    unsafe: tuple[str, ...]


def make_promise(
    group: Group,
    *,
    folder_of: Mapping[Ware, Names | None],
    claims: "Claims",
    order: Sequence[str],
    digest: str,
    opens: Opens,
    used: Iterable[str] = (),
) -> Promise:
    """Choose each file's reading and its path. `order` is the copies' order; `used` are paths already promised."""
    slots = [*group.slots, *other_slots(group.others, claims)]
    having: dict[str, int] = dict.fromkeys(order, 0)
    for slot in slots:
        for copy in {ware.copy for ware in slot.wares}:
            having[copy] += 1
    rank = sorted(order, key=lambda copy: -having[copy])  # stable: the studio file's order among equals
    chosen = [choose(slot, rank=rank, digest=digest, opens=opens) for slot in slots]
    right: dict[str, int] = dict.fromkeys(order, 0)
    for one in chosen:
        for copy in one.content.copies if one.content else ():
            right[copy] += 1
    base = max(rank, key=lambda copy: right[copy])
    lines, refused = _lines(chosen, [base, *(c for c in rank if c != base)], folder_of, {fold(path) for path in used})
    return Promise(
        lines=tuple(line for line, _ in lines),
        chosen=tuple(one for _, one in lines),
        disagreements=tuple(_disagreement(line.path, one) for line, one in lines if one.why),
        copies={copy: count for copy, count in right.items() if count},
        base=base,
        why=_why(base, right[base], lines),
        unsafe=tuple(refused),
    )


def _why(base: str, right: int, lines: Sequence[tuple[PromiseLine, Chosen]]) -> str:
    lists = {claim.list for _, one in lines for claim in _claims(one)}
    listed = sum(bool(_claims(one)) for _, one in lines)
    if lists and listed == len(lines):
        return f"listed in {', '.join(sorted(lists))}"
    held = f"{base}, which has all" if right == len(lines) else f"{base}, which has most: {right} of {len(lines)}"
    return f"{held}; {listed} of them are listed in {', '.join(sorted(lists))}" if lists else held


def _claims(one: Chosen) -> Sequence[Claimed]:
    return one.content.claims if one.content else one.slot.unmet


def choose(slot: Slot, *, rank: Sequence[str], digest: str, opens: Opens) -> Chosen:
    """Return the reading of a slot to promise, and why, where there is more than one."""
    listed = [content for content in slot.contents if content.claims]
    if not listed and slot.unmet:
        claim = slot.unmet[0]
        return Chosen(slot, None, claim.digests, f"no copy of it holds the bytes that {claim.list} lists")
    if len(slot.contents) == 1:
        return _of(slot, slot.contents[0], digest)
    if len(listed) == 1:
        return _of(slot, listed[0], digest, f"{listed[0].claims[0].list} lists it")
    best = _on_most_media(listed or slot.contents)
    if len(best) == 1:
        others = len({medium for content in slot.contents for medium in content.media})
        return _of(slot, best[0], digest, f"{len(best[0].media)} of {others} media have this reading")
    return _judged(slot, best, rank=rank, digest=digest, opens=opens)


def _on_most_media(among: Sequence[Content]) -> list[Content]:
    most = max(len(content.media) for content in among)
    return [content for content in among if len(content.media) == most]


def contested(slot: Slot) -> list[Ware]:
    """Return one ware of each reading that neither a list nor a majority decides between."""
    listed = [content for content in slot.contents if content.claims]
    if len(slot.contents) < 2 or len(listed) == 1 or (slot.unmet and not listed):
        return []
    best = _on_most_media(listed or slot.contents)
    return [content.first for content in best] if len(best) > 1 else []


def _of(slot: Slot, content: Content, digest: str, why: str = "", *, judged: bool = False) -> Chosen:
    kinds = {digest, *(d.kind for claim in content.claims for d in claim.digests)}
    digests = tuple(d for d in content.first.seen.digests if d.kind in kinds)
    return Chosen(slot, content, digests, why, judged)


def _judged(slot: Slot, among: Sequence[Content], *, rank: Sequence[str], digest: str, opens: Opens) -> Chosen:
    """Choose where as many media have one reading as another: a judgement, and marked as one."""
    values = {opens.get(content.first) for content in among}
    best = next(value for value in (True, None, False) if value in values)
    among = [content for content in among if opens.get(content.first) == best]
    if len(among) == 1:
        words = "it opens and the other does not" if False in values else "it opens"
        return _of(slot, among[0], digest, words, judged=True)
    longest = max(content.size for content in among)
    if among[0].first.nature is Nature.RAW and min(content.size for content in among) < longest:
        among = [content for content in among if content.size == longest]
        if len(among) == 1:
            return _of(slot, among[0], digest, "it is the longer one", judged=True)
    newest = _newest(among)
    if not among[0].first.is_picture and newest is not None:
        return _of(slot, newest, digest, "it is the newer one", judged=True)
    shot = [content for content in among if any(naming.on_a_card(ware.entry.path) for ware in content.wares)]
    if len(shot) == 1 and among[0].first.is_picture:
        return _of(slot, shot[0], digest, "it is the one on the card", judged=True)
    first = min(among, key=lambda content: min(rank.index(copy) for copy in content.copies))
    copy = min(first.copies, key=rank.index)
    return _of(slot, first, digest, f"{copy} has most of the shoot", judged=True)


def _newest(among: Sequence[Content]) -> Content | None:
    dated = []
    for content in among:
        times = [ware.entry.modified for ware in content.wares if ware.entry.modified is not None]
        if not times:
            return None
        dated.append((max(times), content))
    dated.sort(key=lambda pair: pair[0])
    if (dated[-1][0] - dated[-2][0]).total_seconds() <= _SAME_TIME_S:
        return None
    return dated[-1][1]


def _disagreement(path: str, one: Chosen) -> Disagreement:
    first = [one.content] if one.content else []
    rest = [content for content in one.slot.contents if content is not one.content]
    readings = tuple(tuple(sorted(content.copies)) for content in (*first, *rest))
    return Disagreement(path, readings, one.why, one.judged)


def _lines(
    chosen: Iterable[Chosen], rank: Sequence[str], folder_of: Mapping[Ware, Names | None], used: set[str]
) -> tuple[list[tuple[PromiseLine, Chosen]], list[str]]:
    """Give each file a path of its own, from the best copy that has it; names that no list may hold are returned."""
    place = {copy: number for number, copy in enumerate(rank)}
    lines: list[tuple[PromiseLine, Chosen]] = []
    refused: list[str] = []

    folders = {parent for path in used for parent in _parents(path)}

    def is_taken(path: str) -> bool:
        folded = fold(path)
        return folded in used or folded in folders or any(parent in used for parent in _parents(folded))

    def named(one: Chosen) -> tuple[int, str]:
        ware = _name_giver(one, place)
        return place[ware.copy], path_in_shoot(ware.folders, ware.name, folder_of[ware])

    for one in sorted(chosen, key=named):
        ware = _name_giver(one, place)
        path = path_in_shoot(ware.folders, ware.name, folder_of[ware])
        tries = (path, f"{ware.copy}/{path}", f"{ware.copy}/{ware.entry.path}")
        path = next((one for one in tries if not is_taken(one)), "")
        if not path or unsafe(path) is not None:
            refused.append(f"{ware.copy}: {ware.entry.path}")
            continue
        used.add(fold(path))
        folders.update(_parents(fold(path)))
        size = one.content.size if one.content else None
        lines.append((PromiseLine(path, one.digests, size), one))
    lines.sort(key=lambda pair: pair[0].path)
    return lines, refused


def _parents(path: str) -> list[str]:
    parts = path.split("/")
    return ["/".join(parts[:n]) for n in range(1, len(parts))]


def _name_giver(one: Chosen, place: Mapping[str, int]) -> Ware:
    wares = one.content.wares if one.content else one.slot.wares
    delivered = any(ware.delivery for ware in wares)
    named = [ware for ware in wares if ware.delivery == delivered]
    return min(named, key=lambda ware: (place[ware.copy], len(ware.folders), ware.entry.path))


def other_slots(others: Sequence[Ware], claims: "Claims") -> list[Slot]:
    """Return slots for what is no picture: by name, then bytes, then folder, one file of each copy to a slot.

    Sidecars are often equal, so equal bytes alone make no slot, and two paths on one copy are always two files.
    """
    by_name: dict[str, dict[str, list[Ware]]] = defaultdict(lambda: defaultdict(list))
    for ware in others:
        by_name[name_key(ware.name)][ware.copy].append(ware)
    slots: list[Slot] = []
    for copies in by_name.values():
        rows: list[list[Ware]] = []
        for copy in sorted(copies, key=lambda copy: -len(copies[copy])):
            _spread(copies[copy], rows)
        slots.extend(claims.attach(Slot(contents_of(row))) for row in rows)
    return slots


def _spread(wares: Sequence[Ware], rows: list[list[Ware]]) -> None:
    """Put each file of one copy into a row of its own: equal bytes first, then the longest common end of paths."""
    taken: set[int] = set()
    left = list(wares)
    for with_bytes, parts in _TIERS:
        free: dict[object, list[int]] = defaultdict(list)
        for number in range(len(rows) - 1, -1, -1) if left else ():
            if number not in taken:
                for key in {_tier(other, with_bytes, parts) for other in rows[number]}:
                    free[key].append(number)
        rest = []
        for ware in left:
            queue = free.get(_tier(ware, with_bytes, parts), [])
            while queue and queue[-1] in taken:
                queue.pop()
            if queue:
                taken.add(queue[-1])
                rows[queue.pop()].append(ware)
            else:
                rest.append(ware)
        left = rest
    rows.extend([ware] for ware in left)


def _tier(ware: Ware, with_bytes: int, parts: int) -> object:
    return ware.seen.digests if with_bytes else None, fold("/".join(ware.entry.path.split("/")[-parts:]))


class Claims:
    """What lists claim of files that are no pictures, looked up by bytes and name, and by place."""

    def __init__(self, claimed: Iterable[Claimed]) -> None:
        self._by_digest: dict[tuple[str, Digest], list[Claimed]] = defaultdict(list)
        self._by_place: dict[tuple[str, str], list[Claimed]] = defaultdict(list)
        for claim in claimed:
            self._by_place[claim.copy, claim.path].append(claim)
            for digest in claim.digests:
                self._by_digest[name_key(claim.path), digest].append(claim)
        self.met: set[int] = set()

    def attach(self, slot: Slot) -> Slot:
        """Note on a slot which reading a list names, or what a list claims that no copy has."""
        for content in slot.contents:
            keys = [(name_key(content.first.name), digest) for digest in content.first.seen.digests]
            content.claims = [claim for key in keys for claim in self._by_digest.get(key, ())]
            self.met.update(id(claim) for claim in content.claims)
        if not any(content.claims for content in slot.contents):
            slot.unmet = [c for w in slot.wares for c in self._by_place.get((w.copy, w.entry.path), ())]
            self.met.update(id(claim) for claim in slot.unmet)
        return slot
