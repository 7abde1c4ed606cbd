"""The judge: what was read, or the problem it ran into, becomes one outcome for each file.

Flows in: scopes, results by file. Flows out: Judged values. Must not know: how anything is read or chosen, the ledger,
terminals. What was not read is never verified.

A copy with a list is held against that list; one without against the promises: a file that has the bytes of none, and
yet the name of a promised file that is not otherwise on that copy, and its size or its folder's name too, is that file,
altered.
"""

from array import array
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

from drill.audit.promises import Content, Promises
from drill.audit.scope import Known, Said, Scope, folder_name, same_name_elsewhere
from drill.audit.shown import Key
from drill.auditrecord import OUTCOMES
from drill.columns import Lazy
from drill.coverage import WEAK, name_key, same_content
from drill.model import Digest, Entry, Listed, Problem, Promised, Seen, Trouble
from drill.shelf import OpenCopy

Results = Mapping[Key, Seen | Problem]
_VERIFIED = OUTCOMES.index("verified")


@dataclass(frozen=True, slots=True)
class Judged:
    """One file's outcome: its path, why, and the digests of the bytes that ought to be there."""

    path: str
    outcome: str
    detail: str = ""
    entry: Entry | None = None
    right: tuple[Digest, ...] = ()


class Outcomes(Lazy[Judged]):
    """The outcomes of a list's names, held as one byte each, and as words where these are not the usual ones; then
    those of the `rest`, which no list names."""

    __slots__ = ("_asides", "_codes", "_reached", "_said", "_usual", "rest")

    def __init__(self, said: Sequence[Said], usual: Mapping[str, str], *, reached: bool = True) -> None:
        """Begin for a list's names; `usual` says why, by outcome."""
        self._said, self._usual, self._reached = said, usual, reached
        self._codes = bytearray()
        self._asides: dict[int, Judged] = {}
        self.rest: Sequence[Judged] = ()

    def add(self, one: Judged) -> None:
        """Take the outcome of the next name."""
        number = len(self._codes)
        self._codes.append(OUTCOMES.index(one.outcome))
        if one != self._as_usual(number):
            self._asides[number] = one

    def add_verified(self) -> None:
        """Take that the next name is verified, and nothing else: most are."""
        self._codes.append(_VERIFIED)

    def add_all(self, count: int, outcome: str) -> None:
        """Take the same outcome for so many names, for the usual reason."""
        self._codes.extend(bytes([OUTCOMES.index(outcome)]) * count)

    def __len__(self) -> int:
        return len(self._codes) + len(self.rest)

    def at(self, number: int) -> Judged:
        if number >= len(self._codes):
            return self.rest[number - len(self._codes)]
        return self._asides.get(number) or self._as_usual(number)

    def _as_usual(self, number: int) -> Judged:
        said, outcome = self._said[number], OUTCOMES[self._codes[number]]
        entry = said.entry if self._reached and outcome != "missing" else None
        path = said.item.path if entry is None else entry.path
        return Judged(path, outcome, self._usual.get(outcome, ""), entry, said.item.digests)

    def counts(self) -> Counter[str]:
        """Return how many files have each outcome."""
        counts = Counter(one.outcome for one in self.rest)
        counts.update({outcome: self._codes.count(code) for code, outcome in enumerate(OUTCOMES)})
        return counts

    def having(self, outcomes: Collection[str]) -> "Having":
        """Return those of some outcomes."""
        codes = bytes(outcome in outcomes for outcome in OUTCOMES)
        numbers = array("q", (number for number, code in enumerate(self._codes) if codes[code]))
        first = len(self._codes)
        numbers.extend(first + number for number, one in enumerate(self.rest) if one.outcome in outcomes)
        return Having(self, numbers)


class Having(Lazy[Judged]):
    """Some of many outcomes."""

    __slots__ = ("_all", "_numbers")

    def __init__(self, all_: Sequence[Judged], numbers: "array[int]") -> None:
        self._all, self._numbers = all_, numbers

    def __len__(self) -> int:
        return len(self._numbers)

    def at(self, number: int) -> Judged:
        return self._all[self._numbers[number]]


def having(judged: Sequence[Judged], outcomes: Collection[str]) -> Sequence[Judged]:
    """Return the files of some outcomes, in order."""
    if isinstance(judged, Outcomes):
        return judged.having(outcomes)
    return [one for one in judged if one.outcome in outcomes]


def counts_of(judged: Sequence[Judged]) -> Counter[str]:
    """Return how many files have each outcome."""
    return judged.counts() if isinstance(judged, Outcomes) else Counter(one.outcome for one in judged)


# --- a copy with a list ------------------------------------------------------------------------------------------


def judge_listed(scope: Scope, results: Results, *, reached: bool) -> Outcomes:
    """Judge every name of a copy's list."""
    elsewhere = same_name_elsewhere(scope.extra)
    owners = _Owners(scope)
    if reached:
        judged = Outcomes(scope.said, {"missing": "not there"})
        for said in scope.said:
            if said.entry is None:
                outcome, detail = _not_there(said.item, scope, elsewhere)
                judged.add(Judged(said.item.path, outcome, detail, None, said.item.digests))
            else:
                result = results.get((said.entry.path, said.entry.index))
                if isinstance(result, Seen) and _is(said.item, result, said.entry):
                    judged.add_verified()
                    continue
                judged.add(_listed(said, said.entry, result, scope.found, owners))
    else:
        judged = Outcomes(scope.said, {"not_read": "the copy cannot be reached now"}, reached=False)
        judged.add_all(len(scope.said), "not_read")
    judged.rest = [Judged(entry.path, "extra", "its list does not name it", entry) for entry in scope.extra]
    return judged


def _listed(said: Said, entry: Entry, result: Seen | Problem | None, found: OpenCopy, owners: "_Owners") -> Judged:
    right = said.item.digests
    if result is None:
        return Judged(entry.path, "not_read", "", entry, right)
    if isinstance(result, Problem):
        outcome, detail = judge_problem(result, found)
        return Judged(entry.path, outcome, detail, entry, right)
    if not said.sure:
        detail = f"not there; {entry.path} has its name and other bytes"
        return Judged(said.item.path, "missing", detail, None, right)
    owner = owners.of(result)
    detail = "other bytes than its list says (damaged, edited since, or another picture of that name)" + (
        f"; they are those of {owner}" if owner is not None else ""
    )
    return Judged(entry.path, "altered", detail, entry, right)


class _Owners:
    """To which name of a list bytes belong; made at the first file that is altered."""

    def __init__(self, scope: Scope) -> None:
        self._scope = scope
        self._names: dict[Digest, str] = {}

    def of(self, seen: Seen) -> str | None:
        """Return the first name that the list gives to these bytes; none for an empty file, which is any."""
        if not self._names:
            for said in reversed(self._scope.said):
                self._names |= dict.fromkeys((d for d in said.item.digests if d.kind not in WEAK), said.item.path)
        return next((self._names[digest] for digest in seen.digests if digest in self._names and seen.size), None)


def _is(item: Listed, seen: Seen, entry: Entry) -> bool:
    """Say whether a reading showed what a list says; of a weak digest alone name or size must agree too."""
    if item.size is not None and item.size != seen.size:
        return False
    if item.digests == seen.digests and item.digests[0].kind not in WEAK:  # nearly always, and found faster
        return True
    promised = Promised(item.path, item.digests, item.size, "")
    return same_content(promised, seen.digests, path=entry.path, size=seen.size) is True


def _not_there(item: Listed, scope: Scope, elsewhere: Mapping[str, str]) -> tuple[str, str]:
    for words in scope.found.unlisted:
        folder = words.rpartition(" (")[0]
        if folder == "." or item.path.startswith(f"{folder}/"):
            return "unreadable", f"its folder could not be listed: {words}"
    where = elsewhere.get(name_key(item.path))
    return "missing", "not there" + (f"; a file of that name is at {where} (not read)" if where else "")


def judge_problem(problem: Problem, found: OpenCopy) -> tuple[str, str]:
    """Return the outcome of a file that could not be read to its end, and why in words.

    Of a link, what its server refuses is not there (the contract: a copy that answers and refuses holds nothing).
    """
    match problem.trouble:
        case Trouble.UNREACHABLE:
            return "not_read", problem.detail
        case Trouble.UNSUPPORTED:
            return "cannot_check", problem.detail
        case Trouble.MISSING:
            return "missing", problem.detail
        case Trouble.REFUSED if found.copy.url is not None:
            return "missing", problem.detail
        case Trouble.DAMAGED | Trouble.CHECK_VALUE if found.is_archive:
            return "altered", f"damaged in the archive: {problem.detail}"
    return "unreadable", problem.detail


def judge_refusing(scope: Scope, problem: Problem) -> list[Judged]:
    """Judge a copy that was reached and gives nothing: it holds nothing, is damaged, or cannot be read here."""
    outcome, detail = judge_problem(problem, scope.found)
    if outcome == "altered":  # the whole archive, and not bytes of one file
        outcome = "unreadable"
    if scope.said:
        return [Judged(said.item.path, outcome, detail, None, said.item.digests) for said in scope.said]
    name = scope.found.copy.at.name if scope.found.copy.at is not None else ""
    if not name or outcome == "missing" or scope.found.copy.listed is not None:
        return []  # without a list nothing is missing
    return [Judged(name, outcome, detail)]


# --- a copy without a list ---------------------------------------------------------------------------------------


def judge_unlisted(
    scope: Scope,
    results: Results,
    promises: Promises,
    sizes: Mapping[Content, int],
    *,
    known: Known,
    was: Callable[[Entry], Sequence[tuple[Digest, ...]]] = lambda entry: (),
    whole: bool,
) -> list[Judged]:
    """Judge every file of a copy without a list; `sizes` are those of promised contents that some read verified.

    `known` has the digests of earlier readings, for files that were left out this time, and `was` those of what lay
    under a file's path when that was read before: promised bytes that are other ones now are no stranger's. Without
    `whole` what has nothing to do with the shoots asked for is left out.
    """
    here = _contents_here(scope, results, promises)
    held, open_names = _held(scope, results, promises, here, known)
    judged: list[Judged] = []
    for entry in scope.candidates:
        mine = [number for number in here.get((entry.path, entry.index), ()) if promises.asked[number]]
        if mine:
            judged.append(Judged(entry.path, "verified", "", entry, promises.files[mine[0]].digests))
        if (entry.path, entry.index) in here:
            continue
        stands_for = _stands_for(entry, scope, promises, held, sizes, was=was(entry))
        result = results.get((entry.path, entry.index))
        one = _unlisted(entry, result, promises, stands_for, scope.found, is_open=name_key(entry.path) in open_names)
        if whole or one.outcome != "extra":
            judged.append(one)
    return judged + [Judged(entry.path, "extra", "no promise names it", entry) for entry in scope.extra]


def _contents_here(scope: Scope, results: Results, promises: Promises) -> dict[Key, list[int]]:
    """Return for each file that was read whole and is promised the promised files that its bytes are."""
    here: dict[Key, list[int]] = {}
    for entry in scope.candidates:
        seen = results.get((entry.path, entry.index))
        if isinstance(seen, Seen):
            found = list(promises.holding(seen.digests, path=entry.path, size=seen.size))
            if found:
                here[entry.path, entry.index] = found
    return here


def _held(
    scope: Scope, results: Results, promises: Promises, here: Mapping[Key, Sequence[int]], known: Known
) -> tuple[set[Content], set[str]]:
    """Return the promised contents that are on this copy, and the names of files of which nothing is known."""
    held = {promises.content(number) for numbers in here.values() for number in numbers}
    open_names: set[str] = set()
    for entry in scope.candidates:
        if (entry.path, entry.index) not in results:
            digests = known(entry)
            held |= {promises.content(n) for n in promises.holding(digests, path=entry.path, size=entry.size)}
            if not digests:
                open_names.add(name_key(entry.path))
    return held, open_names


def _unlisted(
    entry: Entry,
    result: Seen | Problem | None,
    promises: Promises,
    stands_for: int | None,
    found: OpenCopy,
    *,
    is_open: bool,
) -> Judged:
    right = () if stands_for is None else promises.files[stands_for].digests
    name = "" if stands_for is None else promises.rooted(stands_for)
    if result is None:
        return Judged(entry.path, "not_read", "", entry, right)
    if isinstance(result, Seen):
        outcome, detail = _of_bytes(name, is_open=is_open)
        return Judged(entry.path, outcome, detail, entry, right if outcome == "altered" else ())
    outcome, detail = judge_problem(result, found)
    if outcome in ("not_read", "cannot_check"):
        return Judged(entry.path, outcome, detail, entry, right)
    if stands_for is None:
        return Judged(entry.path, "extra", f"could not be read: {detail}", entry)
    outcome = "unreadable" if outcome == "missing" else outcome
    return Judged(entry.path, outcome, f"{detail}; it should be {name}", entry, right)


def _of_bytes(name: str, *, is_open: bool) -> tuple[str, str]:
    """Return the outcome of bytes that no promise has; `name` is the promised file that they stand for, if any."""
    if not name:
        return "extra", "no promise has its bytes"
    if is_open:  # another file of that name, left out this time, may be the promised one
        return "extra", f"other bytes than {name}; another file of that name was not read"
    why = "damaged, edited since, or another picture of that name"
    return "altered", f"other bytes than promised ({why}): it should be {name}"


def _stands_for(
    entry: Entry,
    scope: Scope,
    promises: Promises,
    held: set[Content],
    sizes: Mapping[Content, int],
    *,
    was: Sequence[tuple[Digest, ...]],
) -> int | None:
    """Return the promised file that a file of other bytes stands for, None where it is just another file."""
    root = folder_name(scope.found)
    for number in chain.from_iterable(promises.holding(each, path=entry.path, size=None) for each in was):
        if promises.asked[number] and promises.content(number) not in held:
            return number
    for number in promises.named_like(entry.path):
        content = promises.content(number)
        if not promises.asked[number] or content in held:
            continue
        expected = promises.files[number].size
        size = sizes.get(content) if expected is None else expected
        same_size = size is not None and size == entry.size
        if same_size or promises.same_folder(number, entry.path, root=root):
            return number
    return None


def sizes_of(
    here: Iterable[tuple[Scope, Results]],
    promises: Promises,
    earlier: Iterable[tuple[str, int, tuple[Digest, ...]]] = (),
) -> dict[Content, int]:
    """Return the sizes of promised contents, as the reads of all copies showed them; as `earlier` ones did, else."""
    sizes: dict[Content, int] = {}
    for path, size, digests in earlier:
        for number in promises.holding(digests, path=path, size=size):
            sizes[promises.content(number)] = size
    for scope, results in here:
        for entry in scope.to_read:
            seen = results.get((entry.path, entry.index))
            if isinstance(seen, Seen):
                for number in promises.holding(seen.digests, path=entry.path, size=seen.size):
                    sizes[promises.content(number)] = seen.size
    return sizes
