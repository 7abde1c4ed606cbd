"""Coverage: which of a copy's files are said to be which promised file. Identity is content, names only a hint.

Flows in: a promise, a copy's list or listing, digests learned by reading. Flows out: for each promised file the
candidates on each copy, best first. Must not know: faults' effects on bytes, restore, verdicts.

Where lists share a digest kind, the digest decides. Else the last part of the name does (NFC, case-folded), and the
size where both are known. xxh32 alone is no identity: name or size must agree too.
"""

from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Protocol, TypeVar

from drill.columns import Joined, columns_of
from drill.globs import fold, last_part, shared_ending
from drill.lookup import digest_index
from drill.model import Digest, Entry, Listed, Promised, Shoot

WEAK = frozenset({"xxh32"})
MANY = 16  # items of one name or content up to which all are candidates of each other


class _HasPath(Protocol):
    @property
    def path(self) -> str: ...


P = TypeVar("P", bound=_HasPath)
Shortlists = dict[int, dict[str, list[P]]]  # by the identity of a list that lives as long as its index


@dataclass(frozen=True, slots=True)
class Claim:
    """One file on a copy that may be a promised file.

    `entry` is None where a list names a file that the copy's listing does not show. `by_hand` is true when a list or
    a name says so, false when only reading its bytes did.
    """

    path: str
    entry: Entry | None
    by_hand: bool = True


def name_key(path: str) -> str:
    """Return the last part of a path as it is compared across copies."""
    return fold(last_part(path))


def kinds_of(promise: Iterable[Promised]) -> frozenset[str]:
    """Return every digest kind that a promise uses."""
    files = promise if isinstance(promise, Sequence) else tuple(promise)
    return frozenset(chain.from_iterable(columns_of(files).kinds()))


def same_content(file: Promised, digests: Iterable[Digest], *, path: str, size: int | None) -> bool | None:
    """Say whether digests name the promised content; None where they share no kind with the promise."""
    ours = dict(file.digests)
    shared = [(ours[kind], text, kind) for kind, text in digests if kind in ours]
    if not shared:
        return None
    if any(mine != theirs for mine, theirs, _ in shared):
        return False
    if all(kind in WEAK for _, _, kind in shared):
        return name_key(file.path) == name_key(path) or (size is not None and size == file.size)
    return True


class ListIndex:
    """A copy's list, looked up by digest and by name; entries come from the copy's listing when it is here."""

    def __init__(self, listed: Sequence[Listed], entries: Sequence[Entry] | None) -> None:
        self._by_digest: dict[Digest, list[Listed]] = defaultdict(list)
        self._by_name: dict[str, list[Listed]] = defaultdict(list)
        self._locator = None if entries is None else Locator(entries)
        self._short: Shortlists[Listed] = {}
        for item in listed:
            self._by_name[name_key(item.path)].append(item)
            for digest in item.digests:
                self._by_digest[digest].append(item)

    def claims(self, file: Promised) -> list[Claim]:
        """Return the claims for one promised file, best first."""
        found: dict[str, Listed] = {}
        for digest in file.digests:
            for item in shortlist(file.path, self._by_digest.get(digest, ()), self._short):
                if same_content(file, item.digests, path=item.path, size=item.size):
                    found[item.path] = item
        for item in self._by_name.get(name_key(file.path), ()):
            unlike = same_content(file, item.digests, path=item.path, size=item.size) is not None
            if not unlike and _sizes_agree(file.size, item.size):
                found[item.path] = item
        claims: list[Claim] = []
        for path in sorted(found, key=lambda path: _rank(file.path, path)):
            if self._locator is None:
                claims.append(Claim(path, None))
            else:
                places = self._locator.find(path)
                claims.extend(Claim(entry.path, entry) for entry in places)
                claims.extend([Claim(path, None)] if not places else [])
        return claims


class Locator:
    """Finds a listed name among the files that are really there."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        self._exact: dict[str, list[Entry]] = defaultdict(list)
        self._folded: dict[str, list[Entry]] = defaultdict(list)
        self._by_name: dict[str, list[Entry]] = defaultdict(list)
        for entry in entries:
            self._exact[entry.path].append(entry)
            self._folded[fold(entry.path)].append(entry)
            self._by_name[name_key(entry.path)].append(entry)

    def find(self, path: str) -> list[Entry]:
        """Return the files that a listed name may mean: itself, else the same name in another form or case, else the
        files of that last part, longest common ending first (absolute names, moved folders)."""
        exact = self._exact.get(path) or self._folded.get(fold(path))
        if exact:
            return list(exact)
        return sorted(self._by_name.get(name_key(path), ()), key=lambda e: (*_rank(path, e.path), e.index))


class ListingIndex:
    """A copy without a list, looked up by name and by the digests that were learned by reading."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        self._by_name: dict[str, list[Entry]] = defaultdict(list)
        self._by_digest: dict[Digest, list[Entry]] = defaultdict(list)
        self._learned: dict[tuple[str, int], tuple[Digest, ...]] = {}
        self._short: Shortlists[Entry] = {}
        self._short_alike: Shortlists[Entry] = {}
        self.unlearned = {(entry.path, entry.index): entry for entry in entries}
        for entry in entries:
            self._by_name[name_key(entry.path)].append(entry)

    def learn(self, entry: Entry, digests: tuple[Digest, ...]) -> None:
        """Remember the digests of a file that was read without a fault."""
        if self.unlearned.pop((entry.path, entry.index), None) is None:
            return
        self._learned[entry.path, entry.index] = digests
        for digest in digests:
            self._by_digest[digest].append(entry)
        self._short_alike.clear()

    def claims(self, file: Promised) -> list[Claim]:
        """Return the claims for one promised file: by name first, then by content."""
        same_name = shortlist(file.path, self._by_name.get(name_key(file.path), ()), self._short)
        named = [e for e in same_name if _sizes_agree(file.size, e.size)]
        named.sort(key=lambda e: (*_rank(file.path, e.path), e.index))
        by_name = {(entry.path, entry.index) for entry in named}
        alike: dict[tuple[str, int], Entry] = {}
        for digest in file.digests:
            for entry in shortlist(file.path, self._by_digest.get(digest, ()), self._short_alike):
                known = self._learned[entry.path, entry.index]
                if same_content(file, known, path=entry.path, size=entry.size):
                    alike.setdefault((entry.path, entry.index), entry)
        others = [entry for key, entry in sorted(alike.items()) if key not in by_name]
        others.sort(key=lambda e: (*_rank(file.path, e.path), e.index))
        return [Claim(e.path, e) for e in named] + [Claim(e.path, e, by_hand=False) for e in others]


def shortlist(path: str, items: Sequence[P], known: Shortlists[P]) -> Sequence[P]:
    """Return the few of many items of one name or one content that are likeliest to be `path`: those of the same folder
    and name, those of the same name, and the first ones. Many equal sidecars would else be ranked against each other.
    """
    if len(items) <= MANY:
        return items
    lists = known.get(id(items))
    if lists is None:
        lists = known[id(items)] = defaultdict(list)
        for item in items:
            for key in _keys(item.path):
                lists[key].append(item)
    chosen = [item for key in _keys(path) for item in lists.get(key, ())[:MANY]]
    return list({id(item): item for item in (*chosen, *items[:MANY])}.values())


def _keys(path: str) -> tuple[str, str]:
    parts = fold(path).replace("\\", "/").split("/")
    return "/".join(parts[-2:]), parts[-1]


def other_bytes(listed: Sequence[Listed], shoots: Iterable[Shoot]) -> Iterator[tuple[str, Promised]]:
    """Yield names of a copy's list that stand for a promised file and have other bytes, with that file.

    Such a name is the promised file's, in a folder in which the list has other files of that shoot; the copy holds the
    promised bytes nowhere, by its list. Damaged before the list was made, or edited on another copy since.
    """
    if not listed:
        return
    shoots = list(shoots)
    files = Joined(shoot.promise for shoot in shoots)
    ids = [shoot.id for shoot in shoots for _ in range(len(shoot.promise))]
    ours, theirs = columns_of(files), columns_of(listed)
    if any(columns_of(shoot.promise) is theirs for shoot in shoots):
        return  # the list is itself a promise: it lacks nothing of it
    home, kinds = digest_index(files), kinds_of(files)
    held = bytearray(len(files))
    unmatched = array("q")
    for at, digests in enumerate(theirs.all_digests()):
        found = [number for digest in digests for number in home.of(digest)]
        for number in found:
            held[number] = True
        if not found and any(digest.kind in kinds for digest in digests):
            unmatched.append(at)
    if not unmatched:
        return
    open_names = {name_key(theirs.path(at)) for at in unmatched}
    lacking = (number for number in range(len(files)) if not held[number])
    keys = ((number, name_key(ours.path(number))) for number in lacking)
    names = {(ids[number], key): number for number, key in keys if key in open_names}
    near: dict[str, set[str]] = {_folder_of(theirs.path(at)): set() for at in unmatched}
    for path, digests in zip(theirs.paths(), theirs.all_digests(), strict=True):
        beside = near.get(_folder_of(path))
        if beside is not None:
            beside.update(ids[number] for digest in digests for number in home.of(digest))
    for at in unmatched:
        path = theirs.path(at)
        for id_ in near[_folder_of(path)]:
            promised = names.get((id_, name_key(path)))
            if promised is not None:
                yield path, files[promised]


def _folder_of(path: str) -> str:
    return fold(path).replace("\\", "/").rpartition("/")[0]


def strays(entries: Sequence[Entry], promises: Iterable[Promised]) -> list[Entry]:
    """Return the files that no promised file matches by name, and by size where both are known."""
    sizes: dict[str, set[int | None]] = defaultdict(set)
    for file in promises:
        sizes[name_key(file.path)].add(file.size)
    found = []
    for entry in entries:
        wanted = sizes.get(name_key(entry.path), set())
        if not any(_sizes_agree(size, entry.size) for size in wanted):
            found.append(entry)
    return found


def listed_size(claims: Mapping[str, Sequence[Claim]]) -> int | None:
    """Return a promised file's size by the copies' fault-free listings, None where they disagree or say nothing."""
    sizes = {c.entry.size for found in claims.values() for c in found if c.entry and c.entry.size is not None}
    return sizes.pop() if len(sizes) == 1 else None


def _sizes_agree(one: int | None, other: int | None) -> bool:
    return one is None or other is None or one == other


def _rank(promised: str, path: str) -> tuple[int, bytes]:
    return -shared_ending(promised, path), _bytes_of(path)


def _bytes_of(path: str) -> bytes:
    try:
        return path.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:  # a name that Windows allows and UTF-8 does not
        return path.encode("utf-8", "surrogatepass")
