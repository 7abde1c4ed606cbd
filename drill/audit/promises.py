"""Promises: all that the studio promises, looked up by what bytes show and by the last part of a name.

Flows in: shoots, and which of them are asked for. Flows out: numbers of promised files. Must not know: copies' lists,
how anything is read. Files of one content are one here: who holds the bytes holds all names that are promised for them.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property

from drill.coverage import WEAK, kinds_of, name_key, same_content
from drill.globs import fold
from drill.model import Digest, Shoot

Content = tuple[object, ...]  # what tells promised contents apart


class Promises:
    """Every promised file by number; `asked` says which are of the shoots asked for (all where none is named)."""

    def __init__(self, shoots: Sequence[Shoot], asked: Iterable[Shoot]) -> None:
        ids = {shoot.id for shoot in asked}
        self.files = [file for shoot in shoots for file in shoot.promise]
        self.shoots = [shoot.id for shoot in shoots for _ in shoot.promise]
        self.asked = bytearray(id_ in ids for id_ in self.shoots)
        self.kinds = tuple(sorted(kinds_of(self.files)))

    @cached_property
    def _by_name(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = defaultdict(list)
        for number, file in enumerate(self.files):
            found[name_key(file.path)].append(number)
        return found

    @cached_property
    def _by_digest(self) -> tuple[dict[Digest, int], dict[Digest, list[int]]]:
        """Return one number for each content that has a digest, one of the shoots asked for where there is one.

        That of a digest's first content, and of the few that have more (weak ones) the others': no list for each.
        """
        first: dict[Digest, int] = {}
        others: dict[Digest, list[int]] = defaultdict(list)
        for number, file in enumerate(self.files):
            for digest in file.digests:
                known = first.setdefault(digest, number)
                if known == number:
                    continue
                same = [n for n in (known, *others.get(digest, ())) if self.content(n) == self.content(number)]
                if not same:
                    others[digest].append(number)
                elif self.asked[number] and not self.asked[same[0]]:
                    if same[0] == known:
                        first[digest] = number
                    else:
                        others[digest][others[digest].index(same[0])] = number
        return first, others

    def content(self, number: int) -> Content:
        """Return what tells this promised file's content from others: its digests, of weak ones alone its name too."""
        file = self.files[number]
        if all(digest.kind in WEAK for digest in file.digests):
            return (file.digests, name_key(file.path), file.size)
        return file.digests

    def holding(self, digests: Iterable[Digest], *, path: str, size: int | None) -> Iterator[int]:
        """Yield one number for each promised content that these bytes are."""
        digests = tuple(digests)
        first, others = self._by_digest
        found: set[int] = set()
        for digest in digests:
            for number in (first[digest], *others.get(digest, ())) if digest in first else ():
                if number not in found and same_content(self.files[number], digests, path=path, size=size):
                    found.add(number)
                    yield number

    def named_like(self, path: str) -> Sequence[int]:
        """Return the promised files whose last part of the name is this path's."""
        return self._by_name.get(name_key(path), ())

    def rooted(self, number: int) -> str:
        """Return a promised path below its shoot's id."""
        return f"{self.shoots[number]}/{self.files[number].path}"

    def same_folder(self, number: int, path: str, *, root: str) -> bool:
        """Say whether a file on a copy lies in a folder named as the promised file's; `root` is the copy's own name.

        At the top the shoot's id and the copy's own folder are such names, and one top is like the other.
        """
        theirs = {_folder(path), _folder(f"{root}/{path}")}
        return bool(theirs & {_folder(self.files[number].path), _folder(self.rooted(number))})


def _folder(path: str) -> str:
    above = fold(path).replace("\\", "/").rpartition("/")[0]
    return above.rpartition("/")[2]
