"""Search: the combinations of what differs are tried, the likeliest first, until the promised digests agree.

Flows in: versions, promised digests, the promised size where it is known. Flows out: a Stitched or None. Must not know:
copies. Bounded by the number of combinations and by the bytes that are digested, never by time, so that the same
versions give the same answer. What two combinations begin with alike is digested once.

Versions are compared from coarse to fine: by 4096 bytes, 512, 16, single bytes; where it matters first in runs, then
cell by cell. Only what is undecided, as many copies saying one thing as another, is looked at more finely. A few
combinations are tried at each level; then all of them, beginning with the level where least is undecided.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from drill.digests import Digester
from drill.model import Digest
from drill.stitching.likely import Choice, combinations, ranked
from drill.stitching.lockstep import Stretch, compare, families
from drill.stitching.versions import Bytes, Cut, Stitched, Version

MOST_COMBINATIONS = 4096
_LEVELS = ((4096, False), (4096, True), (512, False), (512, True), (16, True), (1, False), (1, True))
_MOST_PLACES = 4096  # that differ, at most, in versions of one file
_MOST_REFINED = 64  # places that are looked at more finely
_HOPELESS = 1 << 20  # so many combinations as likely as the likeliest are not worth trying any further
_FEW = 64  # tries then, where nobody has some of the bytes, and before a finer look
_LEAST_ALIKE, _ALIKE = 64 * 1024, 0.25


@dataclass(frozen=True, slots=True)
class Bounds:
    """How much is tried for one file: combinations, and bytes digested as a multiple of its size (and within bytes)."""

    combinations: int = MOST_COMBINATIONS
    times_size: int = 256
    least_bytes: int = 1 << 30
    most_bytes: int = 1 << 36

    def bytes_for(self, size: int) -> int:
        """Return how many bytes may be digested for a file of that size."""
        return min(max(self.times_size * size, self.least_bytes), self.most_bytes)


def stitch(
    versions: Sequence[Version], digests: Sequence[Digest], *, size: int | None, bounds: Bounds | None = None
) -> Stitched | None:
    """Put together the file that all the digests promise, or return None. Errors: NoRoom, where scratch fails.

    Without a promised size, the sizes that the versions have or declare are tried. The order of versions changes
    nothing but which of equal bytes are named.
    """
    versions = [version for version in versions if version.size]
    if not versions or not digests:
        return None
    bounds = bounds or Bounds()
    sizes = [size] if size is not None else _sizes(versions)
    tries = _Tries(digests, bounds.combinations, bounds.bytes_for(max(sizes)))
    with Bytes(versions) as content:
        for each in sizes:
            found = _of_size(versions, content, each, tries)
            if found is not None:
                return found
    return None


def _sizes(versions: Sequence[Version]) -> list[int]:
    """Return the sizes that the file may have: what most versions say, then the largest."""
    said = Counter(version.size if version.declared is None else version.declared for version in versions)
    said.update({version.size: 0 for version in versions})
    return sorted(said, key=lambda size: (-said[size], -size))


@dataclass(slots=True)
class _Tries:
    """What is left to be tried, and for what."""

    digests: Sequence[Digest]
    combinations: int
    bytes: int

    def fits(self, digester: Digester) -> bool:
        known = dict(digester.digests())
        return all(known.get(kind) == text for kind, text in self.digests)


def _of_size(versions: Sequence[Version], content: Bytes, size: int, tries: _Tries) -> Stitched | None:
    for number, version in enumerate(versions):  # what only has something added at its end
        if version.size > size > 0 and not any(start < size for start, _ in version.holes):
            choices = [Choice(Stretch(0, size, ((number,),)), (number,), (0,))]
            if _try(choices, content, tries, 1) is not None:
                return _stitched(choices, (0,), versions, size)
    coarse = list(islice(compare(content, versions, [(0, size)], cell=4096), _MOST_PLACES * 8))
    whole = bool(coarse) and coarse[-1].end == size
    groups = families(coarse, len(versions), least=_LEAST_ALIKE, share=_ALIKE)
    for family in sorted(groups, key=lambda group: (-len(group), group)):
        if len(family) == len(versions) and not whole:
            return None
        found = _of_family(versions, family, content, size=size, tries=tries)
        if found is not None:
            return found
    return None


def _of_family(
    versions: Sequence[Version], family: Sequence[int], content: Bytes, *, size: int, tries: _Tries
) -> Stitched | None:
    """Try versions that belong together, from coarse to fine."""
    kept = [v if n in family else Version(v.source, v.path, 0) for n, v in enumerate(versions)]  # numbers stay
    if len(family) == 1 and versions[family[0]].size == size:
        return None  # it was judged as it is
    sizes = [version.size for version in kept]
    first = list(islice(compare(content, kept, [(0, size)], cell=_LEVELS[0][0]), _MOST_PLACES * 8))
    if not first or first[-1].end != size or sum(stretch.differs for stretch in first) > _MOST_PLACES:
        return None
    levels = [[ranked(stretch, content, sizes) for stretch in first]]
    for cell, apart in _LEVELS[1:]:
        finer = _refined(levels[-1], kept, content, cell=cell, apart=apart)
        levels += [finer] if finer != levels[-1] else []
    turns = [(choices, _FEW) for choices in levels]
    turns += [(choices, _undecided(choices) + _FEW) for choices in sorted(levels, key=_undecided) if _is_open(choices)]
    for choices, most in turns:
        taken = _try(choices, content, tries, most)
        if taken is not None:
            return _stitched(choices, taken, versions, size)
    return None


def _is_open(choices: Sequence[Choice]) -> bool:
    """Say whether more than a few tries are worth it: somebody has every byte, and not too much is undecided."""
    return all(choice.stretch.groups for choice in choices) and 1 < _undecided(choices) <= _HOPELESS


def _undecided(choices: Sequence[Choice]) -> int:
    """Return how many combinations are as likely as the likeliest, as far as it matters."""
    count = 1
    for choice in choices:
        count = min(count * choice.costs.count(0), 1 << 64)
    return count


def _refined(
    choices: list[Choice], versions: Sequence[Version], content: Bytes, *, cell: int, apart: bool
) -> list[Choice]:
    """Look at what is undecided more finely, unless it is too much."""
    undecided = [choice.stretch for choice in choices if choice.undecided]
    length = sum(stretch.end - stretch.start for stretch in undecided)
    if len(undecided) > _MOST_REFINED or length > _MOST_PLACES * cell:
        return choices
    sizes = [version.size for version in versions]
    finer: list[Choice] = []
    for choice in choices:
        if choice.undecided:
            span = (choice.stretch.start, choice.stretch.end)
            found = compare(content, versions, [span], cell=cell, apart=apart)
            finer += [ranked(stretch, content, sizes) for stretch in found]
        else:
            finer.append(choice)
    return finer


def _try(choices: Sequence[Choice], content: Bytes, tries: _Tries, most: int) -> tuple[int, ...] | None:
    """Try at most so many combinations; return, for each choice, which alternative fits."""
    turns = [number for number, choice in enumerate(choices) if len(choice.costs) > 1]
    ends = [*turns[1:], len(choices)]
    head = Digester(kind for kind, _ in tries.digests)
    _feed(head, choices[: turns[0] if turns else len(choices)], (), content, tries)
    states = [head]  # before each turn, as the last combination had it
    last: tuple[int, ...] = ()
    for picked in islice(combinations([choices[number].costs for number in turns]), most):
        if tries.combinations <= 0 or tries.bytes <= 0:
            return None
        tries.combinations -= 1
        same = next((n for n, (one, other) in enumerate(zip(picked, last, strict=False)) if one != other), 0)
        del states[same + 1 :]
        digester = states[same].copy()
        for turn in range(same, len(turns)):
            if turn > same:
                states.append(digester.copy())
            _feed(digester, choices[turns[turn] : ends[turn]], picked[turn : turn + 1], content, tries)
        last = picked
        if tries.fits(digester):
            taken = dict(zip(turns, picked, strict=True))
            return tuple(taken.get(number, 0) for number in range(len(choices)))
    return None


def _feed(digester: Digester, choices: Sequence[Choice], picked: Sequence[int], content: Bytes, tries: _Tries) -> None:
    """Digest choices one after the other: of the first the alternative that is picked, of all others the likeliest."""
    for number, choice in enumerate(choices):
        version = choice.versions[picked[0] if picked and not number else 0]
        for piece in content.pieces(version, choice.stretch.start, choice.stretch.end):
            digester.update(piece)
            tries.bytes -= len(piece)


def _stitched(choices: Sequence[Choice], taken: Sequence[int], versions: Sequence[Version], size: int) -> Stitched:
    """Say which copies' bytes are right where, and name as few of them as give everything."""
    rights: list[tuple[int, ...]] = []
    for choice, at in zip(choices, taken, strict=True):
        version = choice.versions[at]
        group = next((group for group in choice.stretch.groups if version in group), None)
        rights.append(group if group is not None else () if version is None else (version,))
    held = tuple(dict.fromkeys(frozenset(versions[n].source for n in group) for group in rights if group))
    sources = fewest(held)
    cuts: list[Cut] = []
    for choice, group in zip(choices, rights, strict=True):
        named = next((number for number in group if versions[number].source in sources), None)
        if cuts and cuts[-1].version == named:
            cuts[-1] = Cut(cuts[-1].start, choice.stretch.end, named)
        else:
            cuts.append(Cut(choice.stretch.start, choice.stretch.end, named))
    return Stitched(size, tuple(cuts), sources, held)


def fewest(held: Sequence[frozenset[str]]) -> tuple[str, ...]:
    """Return few copies of which each stretch has one, none of them needless: the one with most first, ties by id."""
    left, taken = list(held), list[str]()
    while left:
        count = Counter(source for copies in left for source in copies)
        best = min(count, key=lambda source: (-count[source], source))
        taken.append(best)
        left = [copies for copies in left if best not in copies]
    for source in list(taken):
        others = [other for other in taken if other != source]
        if all(copies.intersection(others) for copies in held):
            taken = others
    return tuple(sorted(taken))
