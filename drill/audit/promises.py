"""Promises: all that the studio promises, looked up by what bytes show and by the last part of a name.

Flows in: shoots, and which of them are asked for. Flows out: numbers of promised files. Must not know: copies' lists,
how anything is read. Files of one content are one here: who holds the bytes holds all names that are promised for them.
"""

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property

from drill.columns import Joined
from drill.coverage import WEAK, kinds_of, name_key, same_content
from drill.globs import fold
from drill.lookup import Index, digest_index, path_index
from drill.model import Digest, Promised, Shoot

Content = tuple[object, ...]  # what tells promised contents apart


class Promises:
    """Every promised file by number; `asked` says which are of the shoots asked for (all where none is named)."""

    def __init__(self, shoots: Sequence[Shoot], asked: Iterable[Shoot]) -> None:
        ids = {shoot.id for shoot in asked}
        self.files: Sequence[Promised] = Joined(shoot.promise for shoot in shoots)
        self.shoots = [shoot.id for shoot in shoots for _ in range(len(shoot.promise))]
        self.asked = bytearray(id_ in ids for id_ in self.shoots)
        self.kinds = tuple(sorted(kinds_of(self.files)))
        self._crowds: dict[Digest, list[int]] = {}

    @cached_property
    def _by_name(self) -> Index[str]:
        return path_index(self.files, name_key)

    @cached_property
    def _by_digest(self) -> Index[Digest]:
        return digest_index(self.files)

    def _contents(self, digest: Digest) -> Sequence[int]:
        """Return one number for each content that has a digest, one of the shoots asked for where there is one."""
        numbers = self._by_digest.of(digest)
        if len(numbers) < 2:
            return numbers
        if digest not in self._crowds:
            chosen: dict[Content, int] = {}
            for number in numbers:
                content = self.content(number)
                if self.asked[number] and not self.asked[chosen.setdefault(content, number)]:
                    chosen[content] = number
                chosen.setdefault(content, number)
            self._crowds[digest] = list(chosen.values())
        return self._crowds[digest]

    def content(self, number: int) -> Content:
        """Return what tells this promised file's content from others: its digests, of weak ones alone its name too."""
        file = self.files[number]
        if all(digest.kind in WEAK for digest in file.digests):
            return (file.digests, name_key(file.path), file.size)
        return file.digests

    def holding(self, digests: Iterable[Digest], *, path: str, size: int | None) -> Iterator[int]:
        """Yield one number for each promised content that these bytes are."""
        digests = tuple(digests)
        found: set[int] = set()
        for digest in digests:
            for number in self._contents(digest):
                if number not in found and same_content(self.files[number], digests, path=path, size=size):
                    found.add(number)
                    yield number

    def named_like(self, path: str) -> Sequence[int]:
        """Return the promised files whose last part of the name is this path's."""
        return self._by_name.of(name_key(path))

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
