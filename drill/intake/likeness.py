"""Likeness: what speaks for two readings being of one picture: their bytes' sixteenths, their first bytes, their names.

Flows in: contents. Flows out: pairs and buckets of contents by number. Must not know: what is made of it (see `kin`).

A sixteenth tells when it occurs once in its file, and in few other files of that size at that place: a white
background, a film's silence or a writer's empty tail are alike in pictures that have nothing to do with each other.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import combinations

from drill import naming
from drill.coverage import name_key
from drill.globs import fold
from drill.intake.contents import Content
from drill.intake.folders import telling
from drill.intake.wares import PART, PARTS, Ware

Heads = Callable[[Sequence[Ware]], Mapping[Ware, bytes]]  # the first bytes of files; none of what cannot be read
Key = tuple[object, ...]

_COMMON = 64  # a sixteenth that more files of one size have at one place is background
_MOST_OF_ONE_NAME = 512  # pictures of one name, or of one moment, whose first bytes are compared


def telling_parts(content: Content) -> set[tuple[int, bytes]]:
    """Return the sixteenths that occur once in a file, each with its place."""
    parts = content.first.seen.parts
    cut = [parts[n * PART : (n + 1) * PART] for n in range(len(parts) // PART)]
    times = Counter(cut)
    return {(n, part) for n, part in enumerate(cut) if times[part] == 1}


def pairs_by_parts(contents: Sequence[Content]) -> list[tuple[int, int, int]]:
    """Return (sixteenths alike, one, other) for files of one size that are one picture by their bytes.

    They are when half of all sixteenths are alike, or three quarters, and two at least, of those that tell in the one
    that has fewer of them (a copy whose rest was never written is blank there).
    """
    sizes: dict[tuple[bool, int], list[int]] = defaultdict(list)
    for number, content in enumerate(contents):
        if content.first.seen.parts:
            sizes[content.first.delivery, content.size].append(number)
    found = []
    for numbers in sizes.values():
        telling_of = _without_background({n: telling_parts(contents[n]) for n in numbers}) if len(numbers) > 1 else {}
        having: dict[tuple[int, bytes], list[int]] = defaultdict(list)
        for number, parts in telling_of.items():
            for part in parts:
                having[part].append(number)
        alike = Counter(pair for same in having.values() for pair in combinations(same, 2))
        for (one, other), count in alike.items():
            fewer = min(len(telling_of[one]), len(telling_of[other]))
            if count * 2 >= PARTS or (count >= 2 and count * 4 >= fewer * 3):
                found.append((count, one, other))
    return found


def _without_background(telling_of: Mapping[int, set[tuple[int, bytes]]]) -> dict[int, set[tuple[int, bytes]]]:
    shared = Counter(part for parts in telling_of.values() for part in parts)
    return {number: {part for part in parts if shared[part] <= _COMMON} for number, parts in telling_of.items()}


def not_unlike(one: Content, other: Content) -> bool:
    """Say whether two files of one size may be one: a sixteenth is alike, or there is nothing to tell by."""
    mine, yours = telling_parts(one), telling_parts(other)
    return not mine or not yours or bool(mine & yours)


@lru_cache(maxsize=4096)  # a copy's folders come again and again
def _place(folders: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    """Return the last folder that tells a shoot ("" if none does), and the folders that name parts of one, folded.

    A camera's own folders are named alike on every card, and say nothing.
    """
    names = telling(folders)
    told = fold(names[-1]) if names and not naming.is_vague(names[-1]) else ""
    return told, tuple(fold(f) for f in folders if naming.is_part(f) and naming.dcf_folder(f) is None)


def name_buckets(contents: Sequence[Content]) -> list[dict[Key, list[int]]]:
    """Return, the most telling first, what contents have in common by name: buckets of numbers.

    Name, time and camera, and place; name, time and camera; without times, name and place; name and folder; with or
    without, name and size. A delivery is only ever held against one in folders named alike: web and print sizes share
    all else.
    """
    found: list[dict[Key, dict[int, None]]] = [defaultdict(dict) for _ in range(5)]
    for number, content in enumerate(contents):
        for ware in content.wares:
            for bucket, key in zip(found, _keys(ware), strict=True):
                if key is not None:
                    bucket[key][number] = None
    return [{key: list(numbers) for key, numbers in bucket.items() if len(numbers) > 1} for bucket in found]


def _keys(ware: Ware) -> tuple[Key | None, ...]:
    name, taken = name_key(ware.name), ware.seen.taken
    told, parts = _place(ware.folders)
    apart = parts if ware.delivery else ()
    return (
        (ware.delivery, name, taken, told, parts) if told and taken is not None else None,
        None if taken is None else (ware.delivery, name, taken, apart),
        (ware.delivery, name, told, parts) if told and taken is None else None,
        (ware.delivery, name, told, apart) if told and taken is None else None,
        (ware.delivery, name, ware.seen.size, apart),
    )


def may_begin(contents: Sequence[Content]) -> Iterator[tuple[int, int, bool]]:
    """Give (shorter, longer, whether both say when) of contents that may be one file, one of them cut short.

    They share time and camera; or their name, where one of them has no time.
    """
    moments: dict[Key, dict[int, None]] = defaultdict(dict)
    names: dict[Key, dict[int, None]] = defaultdict(dict)
    for number, content in enumerate(contents):
        taken = content.first.seen.taken
        if taken is not None:
            moments[content.first.delivery, taken][number] = None
        for ware in content.wares:
            names[ware.delivery, name_key(ware.name)][number] = None
    for groups, timed in ((moments, True), (names, False)):
        for numbers in groups.values():
            yield from _pairs(contents, numbers, timed=timed) if len(numbers) <= _MOST_OF_ONE_NAME else ()


def _pairs(contents: Sequence[Content], numbers: Iterable[int], *, timed: bool) -> Iterator[tuple[int, int, bool]]:
    for one, other in combinations(sorted(numbers, key=lambda n: (contents[n].size, n)), 2):
        both = contents[one].first.seen.taken is not None and contents[other].first.seen.taken is not None
        if both == timed and contents[one].size < contents[other].size:
            yield one, other, timed
