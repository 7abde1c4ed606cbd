"""Evidence: which promised files earlier readings of a copy still prove, and which they refute.

Flows in: all that is promised; a copy's list and listing; its last readings from the ledger. Flows out: for each
promised file when it was last proved there, or since when it is known to be wrong. Must not know: how anything is read
or kept, scenarios, verdicts.

A reading proves what it showed as long as the file is unchanged by path, size and modified time. One that ran into a
problem, or showed other bytes than a list or a promise has for that file, refutes it, and does so until the file is
read again: a refuted file that changed since is not healed by that. Of a copy that cannot be listed now, the readings
stand as of their day. Behind a link nothing tells whether a file changed: there a proof says what the server sent then,
and ends with a later reading, or where the server refuses the file.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from drill import clock
from drill.columns import Joined
from drill.coverage import WEAK, name_key, same_content
from drill.globs import fold
from drill.ledger import Evidence, Ledger, Root, unchanged
from drill.lookup import digest_index, path_index
from drill.model import Copy, Digest, Entry, Listed, Promised, ProofAge, Shoot, Trouble
from drill.reading import link_root

_CLOCKS_DIFFER = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Refuted:
    """A file on a copy that stands for a promised one and is known to be wrong: its path, since when, and why."""

    path: str
    at: datetime
    why: str


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of one copy, by the number of the promised file: proofs, refutations, sizes that were read.

    `read` has the path and index of every file whose bytes are known, whatever they are.
    """

    proven: Mapping[int, datetime] = field(default_factory=dict)
    refuted: Mapping[int, Refuted] = field(default_factory=dict)
    sizes: Mapping[int, int] = field(default_factory=dict)
    read: frozenset[tuple[str, int]] = frozenset()


class Promises:
    """All promised files in one row, looked up by content and by the last part of their names."""

    def __init__(self, shoots: Iterable[Shoot]) -> None:
        shoots = list(shoots)
        self.shoots = [shoot.id for shoot in shoots for _ in range(len(shoot.promise))]
        self.files: Sequence[Promised] = Joined(shoot.promise for shoot in shoots)
        self._by_digest = digest_index(self.files)
        self._by_name = path_index(self.files, name_key)

    def holding(self, digests: Iterable[Digest], *, path: str, size: int | None) -> Iterator[int]:
        """Yield the promised files whose content these digests name."""
        digests = tuple(digests)
        for number in dict.fromkeys(n for each in digests for n in self._by_digest.of(each)):
            if same_content(self.files[number], digests, path=path, size=size):
                yield number

    def named_like(self, path: str) -> Sequence[int]:
        """Return the promised files whose last part of the name is this path's."""
        return self._by_name.of(name_key(path))


def still_known(ledger: Ledger, root: Root | None, entries: Iterable[Entry]) -> Iterator[tuple[Entry, Evidence]]:
    """Yield the files of a copy whose last reading came to its end, and that are unchanged since, with that reading.

    Without a root (a link) there are none.
    """
    readings = {} if root is None else ledger.evidence(root)
    for entry in entries if readings else ():
        known = readings.get((entry.path, entry.index))
        if root is not None and known is not None and known.problem is None and unchanged(known, root, entry):
            yield entry, known


def remembered(copy: Copy, ledger: Ledger, promises: Promises) -> tuple[Listed, ...]:
    """Return promised files that a copy without a list was seen to hold when it was last read: they stand in for a list
    as long as nobody can look at it."""
    held = (
        (one.path, one.digests, one.size)
        for one in ledger.each_evidence_of_copy(copy.id, copy.on)
        if one.problem is None and next(promises.holding(one.digests, path=one.path, size=one.size), None) is not None
    )
    return tuple(Listed(*each) for each in dict.fromkeys(held))


def standing_of(
    copy: Copy,
    ledger: Ledger,
    promises: Promises,
    *,
    root: Root | None,
    entries: Sequence[Entry] | None,
    now: datetime,
    begun: datetime | None = None,
) -> Standing:
    """Return what the ledger proves and refutes of a copy: as it is listed now, else as of the day it was read.

    `begun` is when this run began, by the clock: what it reads itself counts as read `now`.
    """
    root = root or link_root(copy)
    if entries is None and copy.url is None:
        readings = ledger.each_evidence_of_copy(copy.id, copy.on)
    elif root is None:
        return Standing()
    else:
        readings = ledger.each_present(root) if entries is None else ledger.each_evidence(root)
    if begun is not None:
        readings = (one._replace(read_at=now) if one.read_at >= begun else one for one in readings)
    return standing(readings, promises, root=root, entries=entries, listed=copy.listed, now=now)


def standing(
    readings: Iterable[Evidence],
    promises: Promises,
    *,
    root: Root | None,
    entries: Sequence[Entry] | None,
    listed: Sequence[Listed] | None,
    now: datetime,
) -> Standing:
    """Hold a copy's last readings against what is promised. `entries` is None where the copy cannot be listed now.

    A reading that is dated more than a day later than `now` proves nothing: a clock was wrong, and it would never age.
    """
    here = None if entries is None else {(entry.path, entry.index): entry for entry in entries}
    said: dict[str, Listed] = {}
    proven: dict[int, datetime] = {}
    sizes: dict[int, int] = {}
    wrong: list[tuple[Evidence, str]] = []
    read: set[tuple[str, int]] = set()
    near: dict[str, set[str]] = defaultdict(set)  # by folder, the shoots of which files were read there
    for known in readings:
        if listed and not said:
            said = {item.path: item for item in listed}
        key = known.path, known.index
        entry = None if here is None else here.get(key)
        if here is not None and entry is None:
            continue  # it is not there any more, which the listing says
        if _is_refused_link(known):
            continue
        why = _refutes(known, said.get(known.path))
        matched = [] if known.problem else list(promises.holding(known.digests, path=known.path, size=known.size))
        for number in matched:
            sizes.setdefault(number, known.size or 0)
            near[_folders(known.path)].add(promises.shoots[number])
        same = entry is None or _is_same(known, root, entry)
        fresh = same and known.read_at - now <= _CLOCKS_DIFFER
        if fresh and known.problem is None:
            read.add(key)
        if why is not None:
            wrong.append((known, why))
        elif not matched:
            wrong.append((known, "other bytes than promised under that name"))
        elif fresh:
            for number in matched:
                if any(digest.kind not in WEAK for digest in promises.files[number].digests):
                    proven[number] = max(proven.get(number, known.read_at), known.read_at)
    return Standing(proven, _refuted(wrong, promises, said, proven, near), sizes, frozenset(read))


def _is_same(known: Evidence, root: Root | None, entry: Entry) -> bool:
    """Say whether a file is unchanged since it was read; behind a link, as far as anything tells."""
    if root is None or not root.is_link:
        return root is not None and unchanged(known, root, entry)
    told = (entry.size, known.size), (entry.modified, known.modified)
    return all(None in pair or pair[0] == pair[1] for pair in told)


def _is_refused_link(known: Evidence) -> bool:
    """Say whether a server would not give a file: that ends its proof, and says nothing against its bytes."""
    return known.root.is_link and known.problem is not None and known.problem.trouble is Trouble.REFUSED


def _refutes(known: Evidence, item: Listed | None) -> str | None:
    """Return why a reading speaks against its file, by a problem or by the copy's own list."""
    if known.problem is not None:
        return f"could not be read ({known.problem.detail})"
    if item is None:
        return None
    theirs = dict(item.digests)
    shared = [(theirs[digest.kind], digest.hex) for digest in known.digests if digest.kind in theirs]
    return "other bytes than its list says" if any(one != other for one, other in shared) else None


def _refuted(
    wrong: Sequence[tuple[Evidence, str]],
    promises: Promises,
    said: Mapping[str, Listed],
    proven: Collection[int],
    near: Mapping[str, Collection[str]],
) -> dict[int, Refuted]:
    """Say for which promised files the wrong ones stand: by what was read there before, by the copy's list, else by
    name and size or folder.

    A promised file that is proven elsewhere on the copy is not refuted there. Where shoots share a name, it is of the
    one whose other files lie in that folder, or that the folders are named after.
    """
    found: dict[int, Refuted] = {}
    for known, why in wrong:
        item = said.get(known.path)
        numbers: list[int] = []
        if has_changed(known):
            numbers = list(promises.holding(known.before, path=known.path, size=None))
        if not numbers and item is not None:
            numbers = list(promises.holding(item.digests, path=item.path, size=item.size))
        if not numbers:
            numbers = [n for n in promises.named_like(known.path) if _stands_for(known, promises.files[n])]
            numbers = list(_of_shoot(numbers, known.path, promises, near))
        for number in numbers:
            if number not in proven:
                found.setdefault(number, Refuted(known.path, known.read_at, why))
    return found


def has_changed(known: Evidence) -> bool:
    """Say whether a file is known to hold other bytes than it was first seen to, or cannot be read any more."""
    first = dict(known.before)
    return bool(known.before) and (
        known.problem is not None or any(first.get(kind, text) != text for kind, text in known.digests)
    )


def _stands_for(known: Evidence, file: Promised) -> bool:
    """Say whether a wrong file of a promised name is meant to be it: a camera uses its names again.

    Digests of other kinds than the promise's tell nothing.
    """
    told = same_content(file, known.digests, path=known.path, size=known.size)
    if known.problem is None and told is not False:
        return False
    if file.size is not None and file.size == known.size:
        return True
    return _folder(known.path) == _folder(file.path)


def _of_shoot(
    numbers: Sequence[int], path: str, promises: Promises, near: Mapping[str, Collection[str]]
) -> Sequence[int]:
    folders = _folders(path)
    beside = [n for n in numbers if promises.shoots[n] in near.get(folders, ())]
    named = [n for n in numbers if fold(promises.shoots[n]) in folders]
    return beside or named or numbers


def _folders(path: str) -> str:
    return fold(path).replace("\\", "/").rpartition("/")[0]


def _folder(path: str) -> str:
    return _folders(path).rpartition("/")[2]


def proof_age(copy: str, held: Iterable[int], known: Standing) -> ProofAge:
    """Return how old the proof is of the promised files, by number, that a copy is said to hold."""
    proofs: list[datetime] = []
    refuted: list[str] = []
    count = 0
    for number in held:
        count += 1
        if number in known.proven:
            proofs.append(known.proven[number])
        if number in known.refuted:
            refuted.append(known.refuted[number].path)
    oldest = clock.rfc3339(min(proofs)) if proofs else None
    never = count - len(proofs) - len(refuted)
    return ProofAge(copy, count, len(proofs), never, oldest, tuple(dict.fromkeys(refuted)))
