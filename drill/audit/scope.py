"""Scope: what an audit asks of one copy, before anything is read.

Flows in: a copy as found, the promises, what the ledger knows of its files. Flows out: a Scope. Must not know: how
files are read or chosen, verdicts. A copy with a list is held against it, name by name; of a copy without one every
file may be what is promised, unless it was read before and is not.
"""

from array import array
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from drill.audit.promises import Promises
from drill.columns import Lazy, columns_of, paths_of
from drill.coverage import WEAK, ListIndex, name_key, other_bytes
from drill.model import Digest, Entry, Listed, Shoot
from drill.places import Inside, at_least, by_endings, find_places, is_absolute
from drill.shelf import OpenCopy

Known = Callable[[Entry], tuple[Digest, ...]]


@dataclass(frozen=True, slots=True)
class Said:
    """One name of a copy's list and the file it means there: None where nothing does.

    `sure` is false where nothing but the last part of an absolute name speaks for that file.
    """

    item: Listed
    entry: Entry | None
    sure: bool = True


class Names(Lazy[Said]):
    """What a list names, and the file that each name means, by its number in the copy's listing (-1: none).

    `numbers` are those of the list that count; `unsure` the names that are matched by nothing but their last part.
    """

    __slots__ = ("_columns", "_entries", "_listed", "_numbers", "_places", "_unsure")

    def __init__(
        self,
        listed: Sequence[Listed],
        entries: Sequence[Entry],
        places: "array[int]",
        numbers: Sequence[int],
        unsure: Container[int],
    ) -> None:
        self._listed, self._entries, self._places, self._unsure = listed, entries, places, unsure
        self._columns, self._numbers = columns_of(listed), numbers

    def __len__(self) -> int:
        return len(self._numbers)

    def at(self, number: int) -> Said:
        at = self._numbers[number]
        return Said(self._listed[at], self._entry(at), sure=at not in self._unsure)

    def entries(self) -> Iterator[Entry | None]:
        """Yield the file that each name means."""
        return map(self._entry, self._numbers)

    def path(self, number: int) -> str:
        """Return one of the names."""
        return self._columns.path(self._numbers[number])

    def _entry(self, at: int) -> Entry | None:
        place = self._places[at]
        return self._entries[place] if place >= 0 else None


@dataclass(frozen=True, slots=True)
class Scope:
    """What is asked of one copy: `said` by its list, or the `candidates` of a copy without one; and what is extra.

    `usual` are the digest kinds to make of its files, `other` those of the few that need others. What is `inside` is
    named by the studio file itself, and never extra.
    """

    found: OpenCopy
    said: Sequence[Said] = ()
    candidates: Sequence[Entry] = ()
    extra: Sequence[Entry] = ()
    usual: tuple[str, ...] = ()
    other: Mapping[tuple[str, int], tuple[str, ...]] = field(default_factory=dict)
    inside: Inside = field(default_factory=Inside)

    @property
    def to_read(self) -> list[Entry]:
        """Return the files that have to be read to tell."""
        named = self.said.entries() if isinstance(self.said, Names) else (said.entry for said in self.said)
        return [entry for entry in named if entry is not None] or list(self.candidates)

    def kinds_of(self, path: str, index: int) -> tuple[str, ...]:
        """Return the digest kinds to make of a file."""
        return self.other.get((path, index), self.usual)


def folder_name(found: OpenCopy) -> str:
    """Return the name of a copy's own folder, a hint; empty for an archive or a link."""
    at = found.copy.at
    return at.name if at is not None and not found.is_archive else ""


def listed_scope(found: OpenCopy, listed: Sequence[Listed], promises: Promises, asked: Sequence[Shoot] | None) -> Scope:
    """Hold a copy against its list; with `asked` only what its list says is of these shoots."""
    entries = found.entries
    none = array("q", [-1]) * len(listed)
    places = find_places(listed, entries, folder_name(found), moved=False) if entries else none
    guessed = _by_last_part(listed, entries, places)
    for number, at in guessed.items():
        places[number] = at
    wanted = None if asked is None else names_of(listed, asked)
    numbers: Sequence[int] = range(len(listed))
    if wanted is not None:
        numbers = array("q", (number for number, path in enumerate(paths_of(listed)) if path in wanted))
    usual = tuple(sorted({digest.kind for item in listed[:1] for digest in item.digests}))
    other: dict[tuple[str, int], tuple[str, ...]] = {}
    all_usual = columns_of(listed).kinds() == {usual} and set(usual) >= set(promises.kinds)
    for number in () if all_usual else numbers:
        if places[number] >= 0 and (kinds := _kinds(listed[number], promises)) != usual:
            entry = entries[places[number]]
            other[entry.path, entry.index] = kinds
    taken = set(places)
    said = Names(listed, entries, places, numbers, guessed)
    extra = () if asked is not None else [entry for number, entry in enumerate(entries) if number not in taken]
    return Scope(found, said=said, extra=extra, usual=usual, other=other)


def names_of(listed: Sequence[Listed], shoots: Sequence[Shoot]) -> set[str]:
    """Return the names of a list that stand for what these shoots promise, by digest, else by name."""
    index = ListIndex(listed, None)
    names = {claim.path for shoot in shoots for file in shoot.promise for claim in index.claims(file)}
    return names | {path for path, _ in other_bytes(listed, shoots)}


def _by_last_part(listed: Sequence[Listed], entries: Sequence[Entry], places: "array[int]") -> dict[int, int]:
    """Pair absolute names that no folder speaks for by their last parts, the longest common ending first."""
    names = enumerate(paths_of(listed)) if entries else ()
    lost = [number for number, path in names if places[number] < 0 and is_absolute(path)]
    if not lost:
        return {}
    taken = set(places)
    free = [at for at in range(len(entries)) if at not in taken]

    def agree(number: int, at: int) -> bool:
        ours, theirs = listed[number].size, entries[at].size
        return ours is None or theirs is None or ours == theirs

    ours, theirs = (lost, lambda n: listed[n].path), (free, lambda n: entries[n].path)
    return by_endings(ours, theirs, least=at_least(1), agree=agree)


def _kinds(item: Listed, promises: Promises) -> tuple[str, ...]:
    """Return the digest kinds to make of a listed file: its list's own, and where these prove nothing about a promised
    file of that name, that promise's."""
    kinds = {digest.kind for digest in item.digests}
    if kinds >= set(promises.kinds):
        return tuple(sorted(kinds))
    for number in promises.named_like(item.path):
        theirs = {digest.kind for digest in promises.files[number].digests}
        if not (kinds & theirs) - WEAK:
            kinds |= theirs
    return tuple(sorted(kinds))


def unlisted_scope(
    found: OpenCopy, promises: Promises, known: Known, *, whole: bool, unpromised: tuple[str, ...] = ("xxh128",)
) -> Scope:
    """Take every file of a copy without a list that may be what is promised; `known` has the digests of earlier
    readings. Without `whole` only the shoots asked for count, and nothing is called extra. Where nothing at all is
    promised files are digested in the `unpromised` kinds, to be held against each other."""
    kinds = promises.kinds or unpromised
    candidates: list[Entry] = []
    extra: list[Entry] = []
    for entry in found.entries:
        named = promises.named_like(entry.path)
        if named and not whole and not any(promises.asked[number] for number in named):
            continue
        (candidates if named or _may_be_promised(entry, promises, known(entry), kinds) else extra).append(entry)
    return Scope(found, candidates=candidates, extra=extra if whole else (), usual=kinds)


def _may_be_promised(entry: Entry, promises: Promises, digests: Iterable[Digest], kinds: Iterable[str]) -> bool:
    """Say whether the bytes of a file are unknown in some kind, or known to be promised ones."""
    digests = tuple(digests)
    if not digests or not set(kinds) <= {digest.kind for digest in digests}:
        return True
    return next(promises.holding(digests, path=entry.path, size=entry.size), None) is not None


def setting_apart(scope: Scope, inside: Inside, promises: Promises) -> Scope:
    """Leave out what the studio file itself names inside a copy: lists and other copies' archives are not read, unless
    a promise names them; another copy's folder may hold the promised bytes, and is."""
    candidates = [e for e in scope.candidates if e.path not in inside.files or promises.named_like(e.path)]
    extra = [entry for entry in scope.extra if not inside.has(entry.path)]
    return replace(scope, candidates=candidates, extra=extra, inside=inside)


def same_name_elsewhere(extra: Iterable[Entry]) -> dict[str, str]:
    """Return the first path of each last part of a name among the files that no list names."""
    found: dict[str, str] = {}
    for entry in extra:
        found.setdefault(name_key(entry.path), entry.path)
    return found
