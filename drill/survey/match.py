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
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import chain, combinations

from drill.coverage import MANY, WEAK, name_key, same_content
from drill.globs import fold, last_part, shared_ending
from drill.inventory import Missing, OtherSize
from drill.model import Digest, Entry, Listed, Promised
from drill.places import at_least, by_endings, find_places

# Not said · said by a list · there · listed and missing · there, of another size · said of a copy that refuses.
NONE, SAID, THERE, GONE, OTHER, REFUSED = range(6)
LARGEST = 2**63 - 1
MOST_WORDS = 12  # words of a folder's name in which a shoot's id is sought


@dataclass(frozen=True, slots=True)
class Wanted:
    """All promised files of all shoots in one row, with the shoot of each."""

    files: Sequence[Promised]
    shoots: Sequence[str]
    by_path: dict[str, int] = field(default_factory=dict)  # -1 where several shoots promise that path
    repeated: bool = False  # some content is promised under several names
    again: frozenset[str] = frozenset()  # last parts of names that several promised files share, folded

    def rooted(self, number: int) -> str:
        """Return a promised path below its shoot's id, which may be the name of a folder on a copy."""
        return f"{self.shoots[number]}/{self.files[number].path}"

    @staticmethod
    def of(shoots: Iterable[tuple[str, Sequence[Promised]]]) -> "Wanted":
        """Lay the promises of shoots, as (id, promise), out in one row."""
        shoots = list(shoots)
        files = list(chain.from_iterable(promise for _, promise in shoots))
        ids = [id_ for id_, promise in shoots for _ in promise]
        by_path: dict[str, int] = {}
        for number, file in enumerate(files):
            by_path[file.path] = -1 if file.path in by_path else number
        names = Counter(name_key(file.path) for file in files)
        again = frozenset(name for name, count in names.items() if count > 1)
        return Wanted(files, ids, by_path, len({file.digests for file in files}) < len(files), again)


@dataclass(slots=True)
class Holding:
    """What one copy holds of all that is promised: `state` and `size` (-1: not known) by promised file.

    `depth` says, of files whose name several promised ones share, how many parts of their paths are alike.
    `wrong` has the promised files behind each path in `missing` and `other_size`.
    """

    state: bytearray
    size: "array[int]"
    depth: dict[int, int] = field(default_factory=dict)
    by_name: int = 0
    missing: list[Missing] = field(default_factory=list)
    other_size: list[OtherSize] = field(default_factory=list)
    extra: list[str] = field(default_factory=list)
    wrong: dict[str, list[int]] = field(default_factory=dict)

    def note_size(self, number: int, other: OtherSize) -> None:
        """Note that a promised file has another size here, so that this copy does not hold it."""
        self.state[number] = OTHER
        self.other_size.append(other)
        self.wrong.setdefault(other.path, []).append(number)


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
        for number, at in enumerate(places):
            item = listed[number]
            found = entries[at].size if at >= 0 else None
            if item.size is not None and found is not None and item.size != found:
                states[number] = OTHER
                holding.other_size.append(OtherSize(item.path, item.size, found))
        _note_missing(holding, listed, entries, places)
    chosen = _items(holding, wanted, listed, states)
    for number, at in enumerate(chosen):
        if at < 0:
            continue
        holding.state[number] = states[at]
        if states[at] in (GONE, OTHER):
            holding.wrong.setdefault(listed[at].path, []).append(number)
        elif places is not None and entries is not None:
            holding.size[number] = _known(entries[places[at]].size)


def _note_missing(holding: Holding, listed: Sequence[Listed], entries: Sequence[Entry], places: "array[int]") -> None:
    taken = set(places)
    free = [number for number in range(len(entries)) if number not in taken]
    holding.extra.extend(entries[number].path for number in free)
    lost = [number for number, at in enumerate(places) if at < 0]
    if lost:
        elsewhere = {name_key(entries[number].path): entries[number].path for number in reversed(free)}
        for number in lost:
            path = listed[number].path
            holding.missing.append(Missing(path, elsewhere.get(name_key(path))))


def _items(holding: Holding, wanted: Wanted, listed: Sequence[Listed], states: bytearray) -> "array[int]":
    """Return for each promised file the number of the listed name that stands for it, or -1."""
    by_digest = _digests(listed, states)
    chosen = array("q", [-1]) * len(wanted.files)
    for number, file in enumerate(wanted.files):
        for digest in file.digests:
            for at in by_digest.get(digest, ()):
                item = listed[at]
                if same_content(file, item.digests, path=item.path, size=item.size):
                    chosen[number] = at
                    break
            if chosen[number] >= 0:
                break
    _items_by_name(holding, wanted, listed, chosen)
    return chosen


def _digests(listed: Sequence[Listed], states: bytearray) -> dict[Digest, tuple[int, ...]]:
    """Return the listed names of each digest, what is there first; only a weak digest needs more than a few."""
    found: dict[Digest, tuple[int, ...]] = {}
    order: Iterable[int] = range(len(listed))
    if states.count(THERE) < len(states):
        order = sorted(order, key=lambda number: states[number] != THERE)
    for number in order:
        for digest in listed[number].digests:
            known = found.get(digest)
            if known is None:
                found[digest] = (number,)
            elif len(known) < (MANY if digest.kind in WEAK else 2):
                found[digest] = (*known, number)
    return found


def _items_by_name(holding: Holding, wanted: Wanted, listed: Sequence[Listed], chosen: "array[int]") -> None:
    """Match by name what shares no digest kind, group by group of kinds."""
    files: dict[frozenset[str], list[int]] = defaultdict(list)
    for number, at in enumerate(chosen):
        if at < 0:
            files[frozenset(digest.kind for digest in wanted.files[number].digests)].append(number)
    if not files:
        return
    items: dict[frozenset[str], list[int]] = defaultdict(list)
    taken = set(chosen)
    for number, item in enumerate(listed):
        if number not in taken:
            items[frozenset(digest.kind for digest in item.digests)].append(number)
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
        if wanted.again and name_key(wanted.files[number].path) in wanted.again:
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
        number = wanted.by_path.get(rows[at].path, -1)
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
    if wanted.repeated and len(found) < len(numbers):
        known = {files[number].digests: at for number, at in found.items()}
        for number in numbers:
            if number not in found and files[number].digests in known:
                found[number] = known[files[number].digests]
    return found
