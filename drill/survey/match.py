"""Match: which file on a copy is which promised file, counted strictly: one file stands for one content.

Flows in: promised files, a copy's list and its listing. Flows out: a Holding: for each promised file whether it is
there, only said, or missing, and its size there; names that are missing, of another size, or extra. Must not know:
media, rules.

Which file a listed name means, `places` says. Where list and promise share a digest kind, the digest decides. Else
names do (see `coverage`), and because cameras use names again, a file is given to the promise it shares the longest
ending with, the shoot's own name taken as a folder; of equal endings the shoot comes first that a folder's name speaks
of ("2026-09-16 glassworks"). A drill may try every candidate, for it reads them;
who only counts must not count one file twice.
"""

import re
from array import array
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import combinations

from drill.columns import Columns, Joined, Lazy, columns_of, digests_of, sizes_of
from drill.coverage import MANY, WEAK, name_key, same_content
from drill.globs import fold, last_part, shared_ending
from drill.inventory import Missing, OtherSize
from drill.lookup import Index, digest_index, path_index
from drill.model import Digest, Entry, Listed, Promised
from drill.places import at_least, by_endings, find_places

# Not said · said by a list · there · listed and missing · there, of another size · said of a copy that refuses.
NONE, SAID, THERE, GONE, OTHER, REFUSED = range(6)
LARGEST = 2**63 - 1
MOST_WORDS = 12  # words of a folder's name in which a shoot's id is sought


class Wanted:
    """All promised files of all shoots in one row, with the shoot of each."""

    def __init__(self, shoots: Iterable[tuple[str, Sequence[Promised]]]) -> None:
        """Lay the promises of shoots, as (id, promise), out in one row."""
        shoots = list(shoots)
        self.files = Joined(promise for _, promise in shoots)
        self.shoots = [id_ for id_, promise in shoots for _ in range(len(promise))]
        self.columns = columns_of(self.files)

    def rooted(self, number: int) -> str:
        """Return a promised path below its shoot's id, which may be the name of a folder on a copy."""
        return f"{self.shoots[number]}/{self.columns.path(number)}"

    def only(self, path: str) -> int:
        """Return the promised file of a whole path; -1 where none or several shoots promise that path."""
        numbers = self._by_path.of(path)
        return numbers[0] if len(numbers) == 1 else -1

    def is_again(self, number: int) -> bool:
        """Say whether other promised files have the last part of this one's name."""
        return len(self._by_name.of(name_key(self.columns.path(number)))) > 1

    @cached_property
    def has_repeated(self) -> bool:
        """Say whether some content is promised more than once."""
        texts = ("".join(texts) for texts in self.columns.all_hexes())
        keys = ((text, number) for number, text in enumerate(texts))
        alike: Index[tuple[Digest, ...]] = Index(
            keys,
            len(self.files),
            lambda number, digests: self.columns.digests(number) == digests,
            lambda digests: "".join(digest.hex for digest in digests),
        )
        return any(len(alike.of(self.columns.digests(group[0]))) > 1 for group in alike.shared())

    @cached_property
    def _by_path(self) -> Index[str]:
        return path_index(self.files)

    @cached_property
    def _by_name(self) -> Index[str]:
        return path_index(self.files, name_key)


class Lost(Lazy[Missing]):
    """The names of a list that are not there; each with a file of that name that no list names, if there is one."""

    __slots__ = ("_elsewhere", "_numbers", "_path")

    def __init__(self, listed: Sequence[Listed], numbers: "array[int]", elsewhere: dict[str, str]) -> None:
        self._path, self._numbers, self._elsewhere = columns_of(listed).path, numbers, elsewhere

    def __len__(self) -> int:
        return len(self._numbers)

    def at(self, number: int) -> Missing:
        path = self._path(self._numbers[number])
        return Missing(path, self._elsewhere.get(name_key(path)))


@dataclass(slots=True)
class Holding:
    """What one copy holds of all that is promised: `state` and `size` (-1: not known) by promised file.

    `depth` says, of files whose name several promised ones share, how many parts of their paths are alike.
    `wrong` has the promised files behind the listed names of `missing` and `other_size`: their numbers, in pairs.
    """

    state: bytearray
    size: "array[int]"
    depth: dict[int, int] = field(default_factory=dict)
    by_name: int = 0
    missing: Sequence[Missing] = ()
    other_size: list[OtherSize] = field(default_factory=list)
    extra: list[str] = field(default_factory=list)
    listed: Sequence[Listed] = ()
    wrong: "array[int]" = field(default_factory=lambda: array("q"))
    other: dict[str, list[int]] = field(default_factory=dict)

    def note_size(self, number: int, other: OtherSize) -> None:
        """Note that a promised file has another size here, so that this copy does not hold it."""
        self.state[number] = OTHER
        self.other_size.append(other)
        self.other.setdefault(other.path, []).append(number)

    def promised_behind(self) -> dict[str, list[int]]:
        """Return the promised files behind each path that is wrong here."""
        found = defaultdict(list, {path: list(numbers) for path, numbers in self.other.items()})
        path = columns_of(self.listed).path
        for at, number in zip(self.wrong[::2], self.wrong[1::2], strict=True):
            found[path(at)].append(number)
        return found


def hold(wanted: Wanted, *, listed: Sequence[Listed] | None, entries: Sequence[Entry] | None, root: str) -> Holding:
    """Match one copy. `entries` is None where nobody looked; `root` is the name of its folder, a hint only."""
    holding = Holding(bytearray(len(wanted.files)), array("q", [-1]) * len(wanted.files))
    if listed is not None:
        _by_list(holding, wanted, listed, entries, root)
    elif entries is not None:
        _by_listing(holding, wanted, entries, root)
    return holding


# --- a copy with a list ------------------------------------------------------------------------------------------


def _by_list(
    holding: Holding, wanted: Wanted, listed: Sequence[Listed], entries: Sequence[Entry] | None, root: str
) -> None:
    places = None if entries is None else find_places(listed, entries, root)
    states = (
        bytearray([SAID]) * len(listed) if places is None else bytearray(GONE if at < 0 else THERE for at in places)
    )
    if places is not None and entries is not None:
        for number, (at, expected) in enumerate(zip(places, sizes_of(listed), strict=True)):
            found = entries[at].size if at >= 0 else None
            if expected is not None and found is not None and expected != found:
                states[number] = OTHER
                holding.other_size.append(OtherSize(listed[number].path, expected, found))
        _note_missing(holding, listed, entries, places)
    chosen = _items(holding, wanted, listed, states)
    holding.listed = listed
    for number, at in enumerate(chosen):
        if at < 0:
            continue
        holding.state[number] = states[at]
        if states[at] in (GONE, OTHER):
            holding.wrong.extend((at, number))
        elif places is not None and entries is not None:
            holding.size[number] = _known(entries[places[at]].size)


def _note_missing(holding: Holding, listed: Sequence[Listed], entries: Sequence[Entry], places: "array[int]") -> None:
    taken = set(places)
    free = [number for number in range(len(entries)) if number not in taken]
    holding.extra.extend(entries[number].path for number in free)
    lost = array("q", (number for number, at in enumerate(places) if at < 0))
    if lost:
        elsewhere = {name_key(entries[number].path): entries[number].path for number in reversed(free)}
        holding.missing = Lost(listed, lost, elsewhere)


def _items(holding: Holding, wanted: Wanted, listed: Sequence[Listed], states: bytearray) -> "array[int]":
    """Return for each promised file the number of the listed name that stands for it, or -1."""
    by_digest = digest_index(listed)
    chosen = array("q", [-1]) * len(wanted.files)
    crowds: dict[Digest, list[int]] = {}
    theirs = columns_of(listed)
    for number, digests in enumerate(wanted.columns.all_digests()):
        for digest in digests:
            found = by_digest.of(digest)
            if len(found) > 1:
                found = crowds[digest] if digest in crowds else _few(found, digest, listed, states)
                crowds[digest] = list(found)
            chosen[number] = _standing_for(wanted, number, (listed, theirs), found)
            if chosen[number] >= 0:
                break
    _items_by_name(holding, wanted, listed, chosen)
    return chosen


def _few(found: Sequence[int], digest: Digest, listed: Sequence[Listed], states: bytearray) -> list[int]:
    """Return the listed names of a digest, what is there first; only a weak digest needs more than a few."""
    first = sorted(found, key=lambda number: states[number] != THERE)
    return first[: MANY if digest.kind in WEAK else 2]


def _standing_for(wanted: Wanted, number: int, rows: tuple[Sequence[Listed], Columns], found: Sequence[int]) -> int:
    """Return the first of these listed names that is a promised file, or -1."""
    listed, theirs = rows
    for at in found:
        digests = theirs.digests(at)
        if digests == wanted.columns.digests(number) and digests[0].kind not in WEAK:  # nearly always, and found faster
            return at
        item = listed[at]
        if same_content(wanted.files[number], digests, path=item.path, size=item.size):
            return at
    return -1


def _items_by_name(holding: Holding, wanted: Wanted, listed: Sequence[Listed], chosen: "array[int]") -> None:
    """Match by name what shares no digest kind, group by group of kinds."""
    files: dict[frozenset[str], list[int]] = defaultdict(list)
    for number, at in enumerate(chosen):
        if at < 0:
            files[frozenset(digest.kind for digest in wanted.columns.digests(number))].append(number)
    if not files:
        return
    items: dict[frozenset[str], list[int]] = defaultdict(list)
    taken = set(chosen)
    for number, digests in enumerate(digests_of(listed)):
        if number not in taken:
            items[frozenset(digest.kind for digest in digests)].append(number)
    for ours, numbers in files.items():
        theirs = [number for kinds, found in items.items() if not kinds & ours for number in found]
        matched = _match_names(wanted, numbers, (theirs, listed), root="")
        holding.by_name += len(matched)
        for number, at in matched.items():
            chosen[number] = at


# --- a copy without a list ---------------------------------------------------------------------------------------


def _by_listing(holding: Holding, wanted: Wanted, entries: Sequence[Entry], root: str) -> None:
    matched = _match_names(wanted, range(len(wanted.files)), (range(len(entries)), entries), root=root)
    holding.by_name = len(matched)
    for number, at in matched.items():
        holding.state[number] = THERE
        holding.size[number] = _known(entries[at].size)
        if wanted.is_again(number):
            holding.depth[number] = shared_ending(wanted.rooted(number), f"{root}/{entries[at].path}")
    taken = set(matched.values())
    _find_other_sizes(holding, wanted, entries, root, taken)
    if len(taken) < len(entries):
        holding.extra.extend(entry.path for number, entry in enumerate(entries) if number not in taken)


def _find_other_sizes(holding: Holding, wanted: Wanted, entries: Sequence[Entry], root: str, taken: set[int]) -> None:
    """Take a file of the same name and folder and of another size for the promised file that is not there otherwise."""
    files = wanted.files
    left = [number for number, state in enumerate(holding.state) if not state and files[number].size is not None]
    free = [at for at in range(len(entries)) if at not in taken] if left else []
    found = by_endings(
        (left, wanted.rooted),
        (free, lambda n: f"{root}/{entries[n].path}"),
        least=at_least(2),
        agree=_always,
        kin=_spoken_of(wanted, entries, root),
    )
    for number, at in found.items():
        expected, size = files[number].size, entries[at].size
        if expected is not None and size is not None:
            holding.note_size(number, OtherSize(entries[at].path, expected, size))
            taken.add(at)


# --- names -------------------------------------------------------------------------------------------------------


def _known(size: int | None) -> int:
    """Return a size as a Holding has it; one that no file can have, as a damaged archive may say, is unknown."""
    return size if size is not None and 0 <= size <= LARGEST else -1


def _always(number: int, at: int) -> bool:
    return True


def _spoken_of(
    wanted: Wanted, rows: Sequence[Entry] | Sequence[Listed], root: str
) -> Callable[[int, int], bool] | None:
    """Return whether a folder of a path speaks of a promised file's shoot; None where there is one shoot only."""
    shoots: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for id_ in dict.fromkeys(wanted.shoots):
        shoots[_words(id_)].add(id_)
    if len(shoots) < 2:
        return None

    @lru_cache(maxsize=4096)
    def spoken_of(folders: str) -> frozenset[str]:
        """Return the shoots with the longest id, word by word, that one of the folders' names has in it."""
        best: tuple[str, ...] = ()
        for words in map(_words, folders.replace("\\", "/").split("/")):
            for start, end in combinations(range(min(len(words), MOST_WORDS) + 1), 2):
                if end - start > len(best) and words[start:end] in shoots:
                    best = words[start:end]
        return frozenset(shoots[best]) if best else frozenset()

    def is_spoken_of(number: int, at: int) -> bool:
        path = rows[at].path
        return wanted.shoots[number] in spoken_of(f"{root}/{path.removesuffix(last_part(path))}")

    return is_spoken_of


def _words(name: str) -> tuple[str, ...]:
    return tuple(word for word in re.split(r"[-_. ]+", fold(name)) if word)


def _match_names(
    wanted: Wanted,
    numbers: Sequence[int],
    things: tuple[Sequence[int], Sequence[Entry] | Sequence[Listed]],
    *,
    root: str,
) -> dict[int, int]:
    """Give each promised file the thing whose name fits best, by number; one thing to one content."""
    files, (offered, rows) = wanted.files, things

    def agree(number: int, at: int) -> bool:
        ours, theirs = files[number].size, rows[at].size
        return ours is None or theirs is None or ours == theirs

    found: dict[int, int] = {}
    asked = set(numbers) if len(numbers) < len(files) else None
    free = []
    for at in offered:  # the whole path, where only one shoot promises it, is the longest ending there is
        number = wanted.only(rows[at].path)
        if number >= 0 and (asked is None or number in asked) and number not in found and agree(number, at):
            found[number] = at
        else:
            free.append(at)
    if len(found) < len(numbers) and free:
        left = [number for number in numbers if number not in found]
        found |= by_endings(
            (left, wanted.rooted),
            (free, lambda n: f"{root}/{rows[n].path}"),
            least=at_least(1),
            agree=agree,
            kin=_spoken_of(wanted, rows, root),
        )
    if wanted.has_repeated and len(found) < len(numbers):
        known = {files[number].digests: at for number, at in found.items()}
        for number in numbers:
            if number not in found and files[number].digests in known:
                found[number] = known[files[number].digests]
    return found
