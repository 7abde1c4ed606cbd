"""Search: the combinations of what differs are tried, the likeliest first, until the promised digests agree.

Flows in: versions, promised digests, the promised size where it is known. Flows out: a Stitched or None. Must not know:
copies. Bounded by the number of combinations and by the bytes that are digested, never by time, so that the same
versions give the same answer. What two combinations begin with alike is digested once.

Versions are compared from coarse to fine: by 4096 bytes, 512, 16, single bytes; where it matters first in runs, then
cell by cell. Only what is undecided, as many copies saying one thing as another, is looked at more finely. A few
combinations are tried at each level; then all of them, beginning with the level where least is undecided.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations as combinations_of
from itertools import islice

from drill.digests import Digester
from drill.model import Digest
from drill.stitching.likely import Choice, combinations, ranked
from drill.stitching.lockstep import Stretch, between_holes, compare, families
from drill.stitching.versions import Bytes, Cut, Stitched, Version

MOST_COMBINATIONS = 4096
_COARSE = 4096
_LEVELS = ((_COARSE, False), (4096, True), (512, False), (512, True), (16, True), (1, False), (1, True))
_MOST_PLACES = 4096  # that differ, at most, in versions of one file
_MOST_STRETCHES = 8 * _MOST_PLACES
_MOST_SELECTIONS = 16  # of the versions that belong together: all of four
_ZEROS_AT_THE_END = 1 << 20  # that no version has
_MOST_REFINED = 64  # places that are looked at more finely
_HOPELESS = 1 << 20  # so many combinations as likely as the likeliest are not worth trying any further
_FEW = 64  # tries before a finer look
_HARDLY_ANY = 8  # where so much is undecided, or nobody has some of the bytes
_LEAST_ALIKE, _ALIKE = 64 * 1024, 0.25


@dataclass(frozen=True, slots=True)
class Bounds:
    """How much is tried for one selection of versions of a file: combinations, and bytes digested, as a multiple of the
    file's size and within limits."""

    combinations: int = MOST_COMBINATIONS
    times_size: int = 256
    least_bytes: int = 1 << 30
    most_bytes: int = 1 << 36

    def bytes_for(self, size: int) -> int:
        """Return how many bytes may be digested for a file of that size."""
        return max(min(max(self.times_size * size, self.least_bytes), self.most_bytes), size)


def stitch(
    versions: Sequence[Version], digests: Sequence[Digest], *, size: int | None, bounds: Bounds | None = None
) -> Stitched | None:
    """Put together the file that all the digests promise, or return None. Errors: NoRoom, where scratch fails.

    Without a promised size, the sizes that the versions have or declare are tried. The order of versions changes
    nothing but which of equal bytes are named, and one more, however damaged, takes nothing away.
    """
    longest = max((version.size for version in versions), default=0)
    if not longest or not digests:
        return None
    most = longest + _ZEROS_AT_THE_END
    with Bytes(versions) as content:
        for each in [size] if size is not None else _sizes(versions):
            found = _of_size(_Search(versions, content, digests, each, bounds or Bounds())) if each <= most else None
            if found is not None:
                return found
    return None


@dataclass(frozen=True, slots=True)
class _Search:
    """What is searched: versions, their bytes, the promised digests, the file's size."""

    versions: Sequence[Version]
    content: Bytes
    digests: Sequence[Digest]
    size: int
    bounds: Bounds

    def tries(self) -> "_Tries":
        return _Tries(self.digests, self.bounds.combinations, self.bounds.bytes_for(self.size))


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


def _of_size(search: _Search) -> Stitched | None:
    for number, version in enumerate(search.versions):  # what only has something added at its end
        if version.size > search.size > 0 and not any(start < search.size for start, _ in version.holes):
            choices = [Choice(Stretch(0, search.size, ((number,),)), (number,), (0,))]
            if _try(choices, search.content, search.tries(), 1) is not None:
                return _stitched(choices, (0,), search)
    coarse = islice(compare(search.content, search.versions, [(0, search.size)], cell=_COARSE), _MOST_STRETCHES)
    for family in families(coarse, len(search.versions), least=_LEAST_ALIKE, share=_ALIKE):
        whole = len(family)
        for selection in islice(_selections(family), _MOST_SELECTIONS):
            if len(selection) < whole and _lacks_some(search, family):
                break  # what all of them lack, some of them do not have
            found = _of_selection(search, selection)
            if found is not None:
                return found
    return None


def _lacks_some(search: _Search, family: Sequence[int]) -> bool:
    """Say whether there are bytes that no version of a family has."""
    kept = [search.versions[number] for number in family]
    return any(not present for _, _, present in between_holes(kept, 0, search.size))


def _selections(family: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Yield the versions of a family together, then with some left out: one may be wrong in more places than can be
    tried, where the others are enough."""
    for count in range(len(family), 1, -1):
        yield from combinations_of(family, count)
    if len(family) == 1:
        yield tuple(family)


def _of_selection(search: _Search, selection: Sequence[int]) -> Stitched | None:
    """Try versions that belong together, from coarse to fine."""
    versions, content, size = search.versions, search.content, search.size
    kept = [v if n in selection else Version(v.source, v.path, 0) for n, v in enumerate(versions)]  # numbers stay
    if len(selection) == 1 and versions[selection[0]].size == size:
        return None  # it was judged as it is
    sizes = [version.size for version in kept]
    first = list(islice(compare(content, kept, [(0, size)], cell=_COARSE), _MOST_STRETCHES))
    if not first or first[-1].end != size or sum(stretch.differs for stretch in first) > _MOST_PLACES:
        return None
    tries = search.tries()
    levels = [[ranked(stretch, content, sizes) for stretch in first]]
    for cell, apart in _LEVELS[1:]:
        finer = _refined(levels[-1], kept, content, cell=cell, apart=apart)
        levels += [finer] if finer != levels[-1] else []
    turns = [(choices, _FEW if _is_open(choices) else _HARDLY_ANY) for choices in levels]
    turns += [(choices, _undecided(choices) + _FEW) for choices in sorted(levels, key=_undecided) if _is_open(choices)]
    for choices, most in turns:
        taken = _try(choices, content, tries, most)
        if taken is not None:
            return _stitched(choices, taken, search)
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


def _stitched(choices: Sequence[Choice], taken: Sequence[int], search: _Search) -> Stitched:
    """Say which copies' bytes are right where, and name as few of them as give everything."""
    versions = search.versions
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
    return Stitched(search.size, tuple(cuts), sources, held)


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
