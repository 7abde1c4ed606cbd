"""Seek: which files on the other copies are to be read next, so that as little as can be is read.

Flows in: what is known of the other copies' bytes, how many of them are enough. Flows out: files to read. Must not
know: how they are read, verdicts. First the copies whose list or names lead to a file, the quickest first; then, of a
copy where nothing leads to it, the files of its size; and only as many copies as the targets ask for.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet

from drill.coverage import ListIndex, ListingIndex
from drill.evidence import Promises
from drill.globs import fold
from drill.model import Entry, Promised
from drill.retire.contents import Contents
from drill.shelf import State

Enough = Callable[[int, AbstractSet[str]], bool]


class Source:
    """One other copy: where on it a promised file may be. `same` are files on it that are those of one that goes."""

    def __init__(
        self, contents: Contents, promises: Promises, cost_s: Callable[[int], float], *, same: Sequence[Entry] = ()
    ) -> None:
        found = contents.found
        self.contents, self._promises, self.cost_s = contents, promises, cost_s
        is_here = found.state is State.HERE
        self._list: ListIndex | None = None
        if found.copy.listed is not None and found.state is not State.REFUSES:
            self._list = ListIndex(found.copy.listed, found.entries if is_here else None)
        is_link = found.copy.url is not None and found.copy.archive is None
        self._names = ListingIndex(found.entries) if is_here and not is_link else None
        self._by_size: dict[int, list[Entry]] = defaultdict(list)
        for entry in found.entries if self._names is not None else ():
            if entry.size is not None:
                self._by_size[entry.size].append(entry)
        self._same = ListingIndex(same) if same else None
        self._rows: dict[int, tuple[Entry, ...]] = {}
        self._said: dict[int, bool] = {}

    def is_said_to_hold(self, number: int) -> bool:
        """Say whether its list, else a name, or any reading, leads to a promised file on it."""
        if number not in self._said:
            file = self._promises.files[number]
            index = self._list or self._names
            self._said[number] = bool(index is not None and index.claims(file))
        return self._said[number] or number in self.contents.remembered or bool(self.contents.holding.get(number))

    def same(self, number: int) -> str | None:
        """Return the path of a file named like a promised one that is, on the disk, the file that goes."""
        claims = [] if self._same is None else self._same.claims(self._promises.files[number])
        return next((claim.entry.path for claim in claims if claim.entry is not None), None)

    def likely(self, number: int) -> list[Entry]:
        """Return the files that may be a promised one by reading, list or name, best first, and were not read yet."""
        if not self.contents.can_be_read:
            return []
        file = self._promises.files[number]
        return [entry for entry in self._led_to(number) if self._is_open(entry, file)]

    def tried(self, number: int) -> list[Entry]:
        """Return the files that might have been a promised one and are not, or could not be read."""
        file = self._promises.files[number]
        return [entry for entry in self._led_to(number) if self.contents.is_another(entry, file)]

    def wrong(self, number: int, size: int | None) -> list[Entry]:
        """Return the files that should be a promised one and are not, or could not be read, where none on it is.

        A camera uses its names again: one that is another promised file is not wrong, and a name alone says nothing.
        The list has to say it, or the size or the folder be the same.
        """
        if number in self.contents.proofs:
            return []
        file = self._promises.files[number]
        claims = () if self._list is None else self._list.claims(file)
        listed = {claim.entry.path for claim in claims if claim.entry is not None}

        def is_meant(entry: Entry) -> bool:
            if entry.path in listed or (size is not None and entry.size == size):
                return True
            return _folder(entry.path) == _folder(file.path)

        return [e for e in self.tried(number) if is_meant(e) and not self.contents.numbers(e)]

    def _led_to(self, number: int) -> tuple[Entry, ...]:
        """Return the files that readings, the list or names lead to."""
        if number not in self._rows:
            file = self._promises.files[number]
            indexes = [index for index in (self._list, self._names) if index is not None]
            claims = [claim.entry for index in indexes for claim in index.claims(file)]
            rows = [*self.contents.holding.get(number, ()), *(entry for entry in claims if entry is not None)]
            self._rows[number] = tuple({(entry.path, entry.index): entry for entry in rows}.values())
        return self._rows[number]

    def of_size(self, number: int, size: int | None) -> list[Entry]:
        """Return all files of a promised one's size that nothing is known of."""
        if not self.contents.can_be_read or not size:
            return []
        file = self._promises.files[number]
        return [entry for entry in self._by_size.get(size, ()) if self._is_open(entry, file)]

    def _is_open(self, entry: Entry, file: Promised) -> bool:
        if self.contents.was_read(entry) or self.contents.is_another(entry, file):
            return False
        return None in (file.size, entry.size) or file.size == entry.size


def _folder(path: str) -> str:
    """Return the name of the folder that a file lies in, as names are compared."""
    return fold(path).rpartition("/")[0].rpartition("/")[2]


def next_reads(
    stakes: Iterable[int], sources: Mapping[str, Source], enough: Enough, sizes: Mapping[int, int]
) -> list[tuple[str, Entry]]:
    """Return, for each promised file that not enough copies are proven to hold, what to read next, by copy."""
    chosen: dict[tuple[str, str, int], Entry] = {}
    for number in stakes:
        for id_, entries in _of_one(number, sources, enough, sizes.get(number)).items():
            chosen |= {(id_, entry.path, entry.index): entry for entry in entries}
    return [(key[0], entry) for key, entry in chosen.items()]


def _of_one(number: int, sources: Mapping[str, Source], enough: Enough, size: int | None) -> dict[str, Sequence[Entry]]:
    proven = {id_ for id_, source in sources.items() if number in source.contents.proofs}
    if enough(number, proven):
        return {}
    offers: dict[str, Sequence[Entry]] = {}
    by_cost = sorted(
        (id_ for id_ in sources if id_ not in proven), key=lambda id_: (sources[id_].cost_s(size or 1), id_)
    )
    for id_ in by_cost:
        fitting = (entry for entry in sources[id_].likely(number) if None in (size, entry.size) or entry.size == size)
        first = next(fitting, None)
        if first is not None:
            offers[id_] = [first]
    for id_ in by_cost:
        if id_ not in offers and (entries := sources[id_].of_size(number, size)):
            offers[id_] = entries
    picked = _fewest(number, list(offers), proven, enough)
    return {id_: offers[id_] for id_ in picked}


def _fewest(number: int, offered: list[str], proven: AbstractSet[str], enough: Enough) -> list[str]:
    """Pick copies until they would be enough; where all would not be, one, and only if there is no proof at all."""
    picked: list[str] = []
    left = list(offered)
    while left and not enough(number, {*proven, *picked}):
        best = next((id_ for id_ in left if enough(number, {*proven, *picked, id_})), left[0])
        picked.append(best)
        left.remove(best)
    if enough(number, {*proven, *picked}):
        return picked
    return [] if proven else offered[:1]
