"""Columns: long lists held so that millions of names fit in memory, and looked up by what they say.

Flows in: names with digests, in order. Flows out: the same as sequences that make a value when one is asked for.
Must not know: files, what a name means. Names are one row of bytes, digests another; equal rows are
shared. All functions here take any other sequence too.
"""

from array import array
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate, chain, islice
from struct import iter_unpack
from typing import Protocol, TypeVar, overload

from drill.model import Digest, Listed, Promised

_BLOCK = 4096  # names that are unpacked at once
_NEW = tuple.__new__  # what a named tuple's own does, a call less

T = TypeVar("T")
K = TypeVar("K")
Form = tuple[tuple[str, int], ...]  # the kinds of a name's digests, and the bytes of each


class Said(Protocol):
    """What says a name and its digests."""

    @property
    def path(self) -> str: ...

    @property
    def digests(self) -> tuple[Digest, ...]: ...


class Columns(Protocol):
    """What every list can be asked, one by one or as a whole."""

    def path(self, number: int) -> str: ...
    def digests(self, number: int) -> tuple[Digest, ...]: ...
    def has(self, number: int, digest: Digest) -> bool: ...
    def paths(self) -> Iterable[str]: ...
    def all_digests(self) -> Iterable[tuple[Digest, ...]]: ...
    def all_hexes(self) -> Iterable[Sequence[str]]: ...
    def kinds(self) -> set[tuple[str, ...]]: ...


class Lazy(Sequence[T]):
    """A sequence whose values are made when they are asked for; equal to every sequence of equal values."""

    __slots__ = ()

    def at(self, number: int) -> T:
        """Make one value, by a number from 0."""
        raise NotImplementedError

    @overload
    def __getitem__(self, index: int) -> T: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[T]: ...
    def __getitem__(self, index: int | slice) -> T | Sequence[T]:
        if isinstance(index, slice):
            return tuple([self.at(number) for number in range(*index.indices(len(self)))])
        number = index + len(self) if index < 0 else index
        if not 0 <= number < len(self):
            raise IndexError(index)
        return self.at(number)

    def __iter__(self) -> Iterator[T]:
        return map(self.at, range(len(self)))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Lazy | tuple | list):
            return NotImplemented
        return self is other or (len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True)))

    def __hash__(self) -> int:
        return hash(tuple(self))

    def __repr__(self) -> str:
        return f"<{type(self).__name__} of {len(self)}>"


class Rows(Lazy[Listed]):
    """What lists say, in order: names, digests, and sizes where any is known.

    `form_of` numbers the form of each name's digests, empty where there is only one form.
    """

    __slots__ = ("_digests", "_ends", "_form_of", "_forms", "_names", "_sizes", "_starts", "_stride")

    def __init__(
        self,
        paths: Iterable[str],
        digests: Iterable[tuple[Form, bytes]],
        sizes: Iterable[int | None] | None = None,
    ) -> None:
        self._names, self._ends = _joined(paths)
        self._sizes = None if sizes is None else tuple(sizes)
        self._digests = bytearray()
        numbers: dict[Form, int] = {}
        form_of, starts = array("I"), array("q")
        for form, raw in digests:
            form_of.append(numbers.setdefault(form, len(numbers)))
            starts.append(len(self._digests))
            self._digests += raw
        self._forms = tuple(numbers)
        self._form_of, self._starts = (form_of, starts) if len(numbers) > 1 else (array("I"), array("q"))
        self._stride = sum(length for _, length in self._forms[0]) if len(numbers) == 1 else 0

    def share(self, other: "Rows") -> None:
        """Let go of what another one has alike."""
        if self._names == other._names and self._ends == other._ends:
            self._names, self._ends = other._names, other._ends
        if self._digests == other._digests:
            self._digests = other._digests

    def __len__(self) -> int:
        return len(self._ends)

    def at(self, number: int) -> Listed:
        return Listed(self.path(number), self.digests(number), None if self._sizes is None else self._sizes[number])

    def size(self, number: int) -> int | None:
        """Return one name's size."""
        return None if self._sizes is None else self._sizes[number]

    def path(self, number: int) -> str:
        """Return one name."""
        start = self._ends[number - 1] if number else 0
        return self._names[start : self._ends[number]].decode("utf-8", "surrogatepass")

    def paths(self) -> Iterator[str]:
        """Yield all names; quicker than one by one."""
        start = 0
        for at in range(0, len(self), _BLOCK):
            ends = self._ends[at : at + _BLOCK]
            block = self._names[start : ends[-1]]
            if block.isascii():
                text, first = block.decode("ascii"), 0
                for end in ends:
                    yield text[first : end - start]
                    first = end - start
            else:
                yield from map(self.path, range(at, at + len(ends)))
            start = ends[-1]

    def digests(self, number: int) -> tuple[Digest, ...]:
        """Return one name's digests."""
        if self._stride:
            form, at = self._forms[0], number * self._stride
        else:
            form, at = self._forms[self._form_of[number]], self._starts[number]
        found = []
        for kind, length in form:
            found.append(_NEW(Digest, (kind, self._digests[at : at + length].hex())))
            at += length
        return tuple(found)

    def has(self, number: int, digest: Digest) -> bool:
        """Say whether a name has a digest."""
        if len(self._forms) == 1 and len(self._forms[0]) == 1:
            at, stride = number * self._stride, self._stride
            return self._forms[0][0][0] == digest.kind and self._digests[at : at + stride].hex() == digest.hex
        return digest in self.digests(number)

    def all_digests(self) -> Iterator[tuple[Digest, ...]]:
        """Yield each name's digests; quicker than one by one."""
        if not self._stride:
            yield from map(self.digests, range(len(self)))
            return
        kinds = [kind for kind, _ in self._forms[0]]
        for row in self._unpacked():
            yield tuple([_NEW(Digest, (kind, raw.hex())) for kind, raw in zip(kinds, row, strict=True)])

    def all_hexes(self) -> Iterator[list[str]]:
        """Yield the text of each name's digests."""
        if self._stride:
            return ([raw.hex() for raw in row] for row in self._unpacked())
        return ([digest.hex for digest in digests] for digests in self.all_digests())

    def kinds(self) -> set[tuple[str, ...]]:
        """Return the kinds of a name's digests, each such row of them once; nothing is looked through for it."""
        return {tuple([kind for kind, _ in form]) for form in self._forms}

    def _unpacked(self) -> Iterator[tuple[bytes, ...]]:
        return iter_unpack("".join(f"{length}s" for _, length in self._forms[0]), self._digests)

    def all_sizes(self) -> Iterable[int | None]:
        """Return each name's size."""
        return self._sizes if self._sizes is not None else (None for _ in range(len(self)))


def _joined(paths: Iterable[str]) -> tuple[bytes, "array[int]"]:
    names, ends = bytearray(), array("q")
    paths = iter(paths)
    while block := [path.encode("utf-8", "surrogatepass") for path in islice(paths, _BLOCK)]:
        ends.extend(islice(accumulate(map(len, block), initial=len(names)), 1, None))
        names += b"".join(block)
    return bytes(names), ends


class PromisedRows(Lazy[Promised]):
    """What a shoot promises: the rows of its list, and the class of each file."""

    __slots__ = ("_class_of", "_classes", "rows")

    def __init__(self, rows: Rows, kind_of: Callable[[str], str]) -> None:
        self.rows = rows
        numbers: dict[str, int] = {}
        self._class_of = array("H", [numbers.setdefault(kind_of(path), len(numbers)) for path in rows.paths()])
        self._classes = tuple(numbers)

    def __len__(self) -> int:
        return len(self.rows)

    def at(self, number: int) -> Promised:
        rows = self.rows
        return Promised(rows.path(number), rows.digests(number), rows.size(number), self.kind(number))

    def kind(self, number: int) -> str:
        """Return the class of one file."""
        return self._classes[self._class_of[number]]

    def kinds(self) -> Iterator[str]:
        """Yield the class of each file."""
        return map(self._classes.__getitem__, self._class_of)


class Joined(Lazy[T]):
    """Several sequences, one after the other."""

    __slots__ = ("_ends", "parts")

    def __init__(self, parts: Iterable[Sequence[T]]) -> None:
        self.parts = tuple(parts)
        self._ends = list(accumulate(map(len, self.parts)))

    def __len__(self) -> int:
        return self._ends[-1] if self._ends else 0

    def at(self, number: int) -> T:
        part, at = self.place(number)
        return self.parts[part][at]

    def place(self, number: int) -> tuple[int, int]:
        """Return which of the sequences a number lies in, and its number there."""
        part = bisect_right(self._ends, number)
        return part, number - (self._ends[part - 1] if part else 0)

    def __iter__(self) -> Iterator[T]:
        return chain.from_iterable(self.parts)


class _Plain:
    """The columns of a sequence of values."""

    def __init__(self, items: Sequence[Said]) -> None:
        self._items = items

    def path(self, number: int) -> str:
        return self._items[number].path

    def digests(self, number: int) -> tuple[Digest, ...]:
        return self._items[number].digests

    def has(self, number: int, digest: Digest) -> bool:
        return digest in self._items[number].digests

    def paths(self) -> Iterable[str]:
        return (item.path for item in self._items)

    def all_digests(self) -> Iterable[tuple[Digest, ...]]:
        return (item.digests for item in self._items)

    def all_hexes(self) -> Iterable[Sequence[str]]:
        return ([digest.hex for digest in item.digests] for item in self._items)

    def kinds(self) -> set[tuple[str, ...]]:
        return {tuple([digest.kind for digest in item.digests]) for item in self._items}


class _Several:
    """The columns of several sequences, one after the other."""

    def __init__(self, items: Joined[Said]) -> None:
        self._place, self._parts = items.place, [columns_of(part) for part in items.parts]

    def path(self, number: int) -> str:
        part, at = self._place(number)
        return self._parts[part].path(at)

    def digests(self, number: int) -> tuple[Digest, ...]:
        part, at = self._place(number)
        return self._parts[part].digests(at)

    def has(self, number: int, digest: Digest) -> bool:
        part, at = self._place(number)
        return self._parts[part].has(at, digest)

    def paths(self) -> Iterable[str]:
        return chain.from_iterable(part.paths() for part in self._parts)

    def all_digests(self) -> Iterable[tuple[Digest, ...]]:
        return chain.from_iterable(part.all_digests() for part in self._parts)

    def all_hexes(self) -> Iterable[Sequence[str]]:
        return chain.from_iterable(part.all_hexes() for part in self._parts)

    def kinds(self) -> set[tuple[str, ...]]:
        return set().union(*[part.kinds() for part in self._parts])


def columns_of(items: Sequence[Said]) -> Columns:
    """Return what can be asked of a list; for who asks of many names."""
    if isinstance(items, PromisedRows):
        return items.rows
    if isinstance(items, Joined):
        return columns_of(items.parts[0]) if len(items.parts) == 1 else _Several(items)
    return items if isinstance(items, Rows) else _Plain(items)


def paths_of(items: Sequence[Said]) -> Iterable[str]:
    """Return each one's name."""
    return columns_of(items).paths()


def digests_of(items: Sequence[Said]) -> Iterable[tuple[Digest, ...]]:
    """Return each one's digests."""
    return columns_of(items).all_digests()


def sizes_of(items: Sequence[Listed] | Sequence[Promised]) -> Iterable[int | None]:
    """Return each one's size."""
    if isinstance(items, Joined):
        return chain.from_iterable(map(sizes_of, items.parts))
    if isinstance(items, PromisedRows):
        items = items.rows
    return items.all_sizes() if isinstance(items, Rows) else [item.size for item in items]


def classes_of(promise: Sequence[Promised]) -> Iterator[str]:
    """Yield the class of each promised file."""
    return promise.kinds() if isinstance(promise, PromisedRows) else (file.kind for file in promise)


def promise_of(listed: Sequence[Listed], kind_of: Callable[[str], str]) -> Sequence[Promised]:
    """Make a promise of a list; `kind_of` gives the class of each path."""
    if isinstance(listed, Rows):
        return PromisedRows(listed, kind_of)
    return tuple(Promised(item.path, item.digests, item.size, kind_of(item.path)) for item in listed)
