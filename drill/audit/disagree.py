"""Disagree: copies of one file that differ, where neither a promise nor a list says which is right.

Flows in: what was found on each copy, judged; the opened copies. Flows out: Disagreement values. Must not know: how
bytes are compared, or judged. Nothing of it is damage or proof. Each different content is read once more, in step with
the others; members of archives are unpacked in one pass for as many files as fit in memory.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import RawIOBase

from drill.audit.judge import Judged
from drill.audit.promises import Promises
from drill.audit.reads import TimeUp
from drill.audit.results import Found
from drill.auditrecord import Between, Disagreement, Group
from drill.comparing import (
    Comparison,
    Family,
    Reading,
    Side,
    Source,
    are_unlike,
    compare,
    families,
    judge,
    say_block_majority,
    say_difference,
)
from drill.model import Entry, Medium, Problem, Seen, Trouble
from drill.naming import dropping
from drill.shelf import OpenCopy, State
from drill.soundness import Check, Outcome, Soundness
from drill.streams import InMemory
from drill.units import say_size

MOST_FAMILIES = 500  # compared in one audit; each costs a second reading
MOST_CONTENTS = 8  # of one file
MOST_IN_MEMORY = 512 * 1000**2  # of members of archives

_OPEN = ("extra", "opens", "cannot_check", "unreadable")  # outcomes of files that nothing says anything of
_FAILED = (Trouble.IO, Trouble.DAMAGED, Trouble.CHECK_VALUE)

Packed = dict[tuple[str, str, int], bytes | Problem]


# --- which files -------------------------------------------------------------------------------------------------


def in_doubt(
    found: Sequence[Found], judged: Mapping[str, Sequence[Judged]], promises: Promises, *, look: bool
) -> list[Family]:
    """Return the files that differ from copy to copy; with `look` also those that may, as they were never read."""
    here = [one for one in found if one.scope.found.state is State.HERE]
    if len(here) < 2:
        return []
    readings = [
        reading for one in here for reading in _readings(one, judged[one.scope.found.copy.id], promises, look=look)
    ]
    return [family for family in families(readings) if family.sure or look]


def _readings(one: Found, judged: Sequence[Judged], promises: Promises, *, look: bool) -> Iterator[Reading]:
    opened = one.scope.found
    top = opened.copy.at.name if opened.copy.at is not None and not opened.is_archive else ""
    for item in judged:
        entry = item.entry
        if entry is None or dropping(entry.path) is not None or not _is_open(item):
            continue
        result = one.results.get((entry.path, entry.index))
        if isinstance(result, Problem):
            if result.trouble in _FAILED:
                yield Reading(opened.copy.id, opened.medium.id, entry, entry.size, failed=True, top=top)
            continue
        digests = result.digests if result is not None else one.past.digests(entry)
        size = result.size if isinstance(result, Seen) else entry.size
        if item.outcome == "verified" and next(promises.holding(digests, path=entry.path, size=size), None) is not None:
            continue
        if digests or look:
            yield Reading(opened.copy.id, opened.medium.id, entry, size, digests, top=top)


def _is_open(item: Judged) -> bool:
    """Say whether no promise tells what a file has to be; that its own list does settles nothing against another."""
    return item.outcome == "verified" or (item.outcome in _OPEN and not item.right)


# --- comparing them ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Means:
    """What comparing needs: the copies as opened, the media, a look inside, what is told how far it is (it may
    raise TimeUp), and how many bytes may be read (None: any number)."""

    opened: Mapping[str, OpenCopy]
    media: Mapping[str, Medium]
    check: Check
    tell: Callable[[str], None]
    budget_bytes: int | None = None


@dataclass(frozen=True, slots=True)
class _Chosen:
    """A file to compare, with one reading of each of its contents."""

    family: Family
    readings: tuple[Reading, ...]


def compare_all(doubted: Sequence[Family], means: Means, into: list[Disagreement]) -> None:
    """Compare files; what was found is in `into` at once. The end of the time, or of the budget, is no error."""
    batch: list[_Chosen] = []
    waiting = spent = 0
    left = list(doubted)
    try:
        for number, family in enumerate(doubted):
            chosen = _choose(family, means, spent) if number < MOST_FAMILIES else "too many files differ"
            if isinstance(chosen, str):
                into.append(_not_compared(family, chosen))
                left.remove(family)
                continue
            spent += _cost_bytes(chosen, means)
            size = sum(reading.size or 0 for reading in _members(chosen, means))
            if batch and waiting + size > MOST_IN_MEMORY:
                _compare_batch(batch, means, into, left)
                batch, waiting = [], 0
            batch.append(chosen)
            waiting += size
        _compare_batch(batch, means, into, left)
    except TimeUp:
        into.extend(_not_compared(family, "the time was used up") for family in left)


def _compare_batch(batch: Sequence[_Chosen], means: Means, into: list[Disagreement], left: list[Family]) -> None:
    packed = _unpack(batch, means)
    for chosen in batch:
        found = _compare(chosen, packed, means)
        left.remove(chosen.family)
        if found is not None:
            into.append(found)


def _choose(family: Family, means: Means, spent: int) -> _Chosen | str:
    """Choose of each content the reading that is had most easily; else say why it cannot be compared, also where so
    many bytes are `spent` that the budget does not pay for it."""
    if len(family.contents) > MOST_CONTENTS:
        return f"there are {len(family.contents)} different ones, and at most {MOST_CONTENTS} are compared"
    chosen: list[Reading] = []
    for content in family.contents:
        best = min(content, key=lambda reading: _cost(means.opened[reading.copy]))
        if means.opened[best.copy].is_archive and not _fits(family, means):
            return f"in archives, more than {say_size(MOST_IN_MEMORY)} of it would have to be unpacked"
        chosen.append(best)
    found = _Chosen(family, tuple(chosen))
    if means.budget_bytes is not None and spent + _cost_bytes(found, means) > means.budget_bytes:
        return "what is left of the budget does not pay for it"
    return found


def _cost_bytes(chosen: _Chosen, means: Means) -> int:
    """Return how much is read to compare a file: what is in no archive once in step, and once more to decode it.

    A size that nobody knows (of a file that was never read to its end) counts as the largest of the others.
    """
    largest = max(reading.size or 0 for reading in chosen.readings)
    return sum(
        (largest if reading.size is None else reading.size) * (1 if means.opened[reading.copy].is_archive else 2)
        for reading in chosen.readings
    )


def _cost(found: OpenCopy) -> int:
    return 2 if found.is_archive else 1 if found.copy.url is not None else 0


def _fits(family: Family, means: Means) -> bool:
    sizes = [content[0].size for content in family.contents if means.opened[content[0].copy].is_archive]
    return None not in sizes and sum(size or 0 for size in sizes) <= MOST_IN_MEMORY


def _members(chosen: _Chosen, means: Means) -> list[Reading]:
    return [reading for reading in chosen.readings if means.opened[reading.copy].is_archive]


class _Keeper:
    """A receiver: keeps members' bytes, or the problem that they ran into."""

    def __init__(self, copy: str, into: Packed) -> None:
        self._copy, self._into = copy, into

    def begin(self, entry: Entry) -> None:
        self._bytes = bytearray()

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self._bytes += chunk

    def end(self, entry: Entry, problem: Problem | None) -> None:
        if problem is not None and problem.trouble is Trouble.CHECK_VALUE:
            problem = None  # every byte came
        self._into[self._copy, entry.path, entry.index] = bytes(self._bytes) if problem is None else problem
        self._bytes = bytearray()


def _unpack(batch: Sequence[_Chosen], means: Means) -> Packed:
    wanted: dict[str, list[Entry]] = {}
    for chosen in batch:
        for reading in _members(chosen, means):
            wanted.setdefault(reading.copy, []).append(reading.entry)
    packed: Packed = {}
    for copy, entries in wanted.items():
        means.tell(f"{copy}: unpacking what is compared")
        view = means.opened[copy].view
        assert view is not None
        view.deliver(entries, _Keeper(copy, packed))
    return packed


def _source(reading: Reading, packed: Packed, means: Means) -> Source:
    found = means.opened[reading.copy]

    def open_() -> RawIOBase:
        if not found.is_archive:
            assert found.store is not None
            return found.store.open(reading.entry)
        content = packed[reading.copy, reading.entry.path, reading.entry.index]
        if isinstance(content, Problem):
            raise OSError(content.detail)
        return InMemory(content)

    return open_


def _compare(chosen: _Chosen, packed: Packed, means: Means) -> Disagreement | None:
    """Compare one file; None where all its copies are alike after all."""
    family = chosen.family
    sources = [_source(reading, packed, means) for reading in chosen.readings]
    voters = [
        frozenset(_independent(reading.medium, means.media) for reading in content) for content in family.contents
    ]
    compared = compare(sources, voters=voters, tick=lambda at: means.tell(f"comparing {family.name}: {say_size(at)}"))
    if len(compared.groups) < 2:
        return None
    looks = [_look(family.name, compared, group, sources, means.check) for group in compared.groups]
    groups = tuple(
        _group(family, compared, members, look) for members, look in zip(compared.groups, looks, strict=True)
    )
    sides = [
        Side(group.files[0][0], frozenset().union(*(voters[n] for n in members)), look.outcome)
        for group, members, look in zip(groups, compared.groups, looks, strict=True)
    ]
    found = judge(compared, sides)
    return Disagreement(
        name=family.name,
        copies=_copies(family),
        groups=groups,
        between=_between(compared, sides),
        likely_right=found.likely_right,
        judgement=found.why,
        hint=say_block_majority(compared),
        is_one_file=found.likely_right is not None or not are_unlike(compared, range(len(groups))),
    )


def _look(name: str, compared: Comparison, group: Sequence[int], sources: Sequence[Source], check: Check) -> Soundness:
    if not compared.readings[group[0]].is_whole:
        return Soundness(Outcome.UNREADABLE, "it cannot be read to its end, or not everywhere")
    return check(name, sources[group[0]])


def _group(family: Family, compared: Comparison, members: Sequence[int], look: Soundness) -> Group:
    files = sorted((reading.copy, reading.entry.path) for n in members for reading in family.contents[n])
    found = compared.readings[members[0]]
    return Group(tuple(files), found.size, look.outcome.value, look.detail, found.unreadable, found.stopped_at)


def _between(compared: Comparison, sides: Sequence[Side]) -> tuple[Between, ...]:
    return tuple(
        Between(
            groups=(each.one, each.other),
            ranges=each.ranges,
            ranges_left_out=each.ranges_left_out,
            same_until=each.same_until,
            zeroed=each.zeroed,
            flipped=each.flipped,
            beginning=each.beginning,
            words=say_difference(each, one=sides[each.one].name, other=sides[each.other].name),
        )
        for each in compared.differences
    )


def _copies(family: Family) -> tuple[str, ...]:
    return tuple(dict.fromkeys(reading.copy for content in family.contents for reading in content))


def _not_compared(family: Family, why: str) -> Disagreement:
    return Disagreement(family.name, _copies(family), (), (), None, f"not compared: {why}")


def _independent(medium: str, media: Mapping[str, Medium]) -> str:
    """Return the medium whose contents a medium repeats: a mirror's, else its own."""
    passed: set[str] = set()
    while (above := media[medium].mirrors) is not None and medium not in passed:
        passed.add(medium)
        medium = above
    return medium
