"""Intact: where the right bytes of what is damaged are, as far as reading or lists tell.

Flows in: damaged files, proofs, the copies' lists. Flows out: for each file the places, best first. Must not know: how
anything is read. A place found damaged or missing in the same audit is none.

A list of another digest kind than the promise leads to none by its digests. Then the one promised file of that name and
folder counts, if there is only one whose digests cannot be held against the list's; such places are marked.
"""

from array import array
from bisect import bisect_left
from collections.abc import Callable, Container, Iterable, Mapping, Sequence

from drill import clock
from drill.audit.judge import Judged, having
from drill.audit.past import Proofs
from drill.audit.promises import Content, Promises
from drill.auditrecord import DAMAGE, Intact
from drill.columns import columns_of, digests_of
from drill.coverage import WEAK, same_content
from drill.lookup import Index
from drill.model import Copy, Digest, Listed

MOST_PLACES = 3

Damaged = Mapping[str, Sequence[Judged]]  # by copy


class Marks:
    """Texts, of which only eight bytes are kept each. Another text may be taken for one of them, once in a very long
    time: then one place fewer is named, and none too many."""

    def __init__(self, texts: Iterable[str]) -> None:
        self._rows = array("q", sorted(map(hash, texts)))

    def __len__(self) -> int:
        return len(self._rows)

    def __contains__(self, text: object) -> bool:
        mark = hash(text)
        at = bisect_left(self._rows, mark)
        return at < len(self._rows) and self._rows[at] == mark


class Asked(Container[Digest]):
    """The digests that are asked about; one that only looks like them may be among them."""

    def __init__(self, digests: Iterable[Digest]) -> None:
        self._marks = Marks(digest.hex for digest in digests)

    def __len__(self) -> int:
        return len(self._marks)

    def __contains__(self, digest: object) -> bool:
        return isinstance(digest, Digest) and digest.hex in self._marks


def _saying(listed: Sequence[Listed], asked: Asked) -> Index[Digest]:
    """Return the names of a list by those of their digests that are asked about."""
    rows = enumerate(digests_of(listed))
    keys = ((digest.hex, number) for number, digests in rows for digest in digests if digest in asked)
    return Index(keys, len(listed), columns_of(listed).has, lambda digest: digest.hex)


class Finder:
    """Finds where the right bytes are; made once all files of an audit are judged. `proofs` gives those of digests."""

    def __init__(
        self,
        judged: Damaged,
        promises: Promises,
        copies: Iterable[Copy],
        proofs: Callable[[Container[Digest]], Proofs],
    ) -> None:
        self._promises = promises
        damaged = {id_: having(found, DAMAGE) for id_, found in judged.items()}
        self._bad = Marks(f"{id_}\0{one.path}" for id_, found in damaged.items() for one in found)
        copies = list(copies)
        self._roots = {copy.id: copy.at.name for copy in copies if copy.at is not None and copy.form == "folder"}
        each = ((id_, one) for id_, found in damaged.items() for one in found)
        asked = Asked(digest for id_, one in each for digest in self._digests(id_, one)[0])
        self._proofs = proofs(asked) if len(asked) else Proofs(asked)
        some = [copy for copy in copies if copy.listed] if len(asked) else []
        self._said = [(copy.id, columns_of(copy.listed or ()), _saying(copy.listed or (), asked)) for copy in some]

    def places(self, copy: str, one: Judged) -> tuple[Intact, ...]:
        """Return where the right bytes of a damaged file are: one place a copy, what was read before what is said."""
        digests, by_name = self._digests(copy, one)
        found: dict[str, Intact] = {}
        for proof in self._proofs.of(digests):
            if f"{proof.copy}\0{proof.path}" not in self._bad:
                found.setdefault(proof.copy, Intact(proof.copy, proof.path, clock.rfc3339(proof.at), by_name))
        for digest in digests:
            for id_, columns, index in self._said:
                for number in index.of(digest) if id_ != copy and id_ not in found else ():
                    path = columns.path(number)
                    if f"{id_}\0{path}" not in self._bad:
                        found[id_] = Intact(id_, path, None, by_name)
                        break
        return tuple(found.values())[:MOST_PLACES]

    def _digests(self, copy: str, one: Judged) -> tuple[list[Digest], bool]:
        """Return every digest of the right bytes, those too that a promise has of them in other kinds; and whether
        nothing but its name led to that promise."""
        known = [digest for digest in one.right if digest.kind not in WEAK]
        numbers = list(self._promises.holding(known, path=one.path, size=None))
        by_name = not numbers and (number := self._named(copy, one)) is not None
        if by_name and number is not None:
            numbers = [number]
        for each in numbers:
            known += [digest for digest in self._promises.files[each].digests if digest.kind not in WEAK]
        return list(dict.fromkeys(known)), by_name

    def _named(self, copy: str, one: Judged) -> int | None:
        """Return the one promised file of that name and folder whose digests are of other kinds than the list's."""
        root = self._roots.get(copy, "")
        found: dict[Content, int] = {}
        for number in self._promises.named_like(one.path):
            file = self._promises.files[number]
            differs = same_content(file, one.right, path=one.path, size=None) is False
            if not differs and self._promises.same_folder(number, one.path, root=root):
                found.setdefault(self._promises.content(number), number)
        return next(iter(found.values())) if len(found) == 1 else None
