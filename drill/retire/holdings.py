"""Holdings: what is on a medium that is to go, file by file, and which promised files are at stake.

Flows in: the copies on it, what is known of their bytes, promises. Flows out: files that are still to be read, numbers
of promised files, files that no promise knows. Must not know: what other copies hold, targets.

A list says what was there when it was made, and a camera uses its names again: so neither a list nor a name tells what
is on a medium that is here, only a reading does. Of a cloud that cannot be listed its list is all there is.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from drill import naming
from drill.coverage import WEAK, ListingIndex, same_content
from drill.evidence import Promises
from drill.model import Entry, Listed
from drill.naming import Nature
from drill.retire.contents import Contents
from drill.retirerecord import Contents as Counts
from drill.retirerecord import Named
from drill.shelf import State

_BAG = "bagit.txt"
_BAG_FILES = frozenset({_BAG, "bag-info.txt", "fetch.txt"})  # RFC 8493; its lists are lists


@dataclass(frozen=True, slots=True)
class OnIt:
    """What is on the medium, once all has been read that could be."""

    counts: Counts
    extra: tuple[Named, ...]
    unreadable: tuple[Named, ...]
    unread: tuple[Named, ...]  # nobody has tried yet


class Holding:
    """One copy on the medium; `by_list` where its list must do, since nobody can list what is there.

    `again` has everything read anew, whatever is known of it.
    """

    def __init__(
        self, contents: Contents, promises: Promises, kinds: Iterable[str], *, ours: Iterable[Path], again: bool
    ) -> None:
        found = contents.found
        self.contents, self._promises, self._kinds, self._again = contents, promises, frozenset(kinds), again
        self.by_list = found.copy.listed is not None and (found.copy.url is not None or found.state is not State.HERE)
        self._listed = {item.path: item for item in found.copy.listed or ()} if self.by_list else {}
        self.entries: Sequence[Entry] = found.entries
        if self.by_list:
            self.entries = [Entry(item.path, item.size) for item in found.copy.listed or ()]
        self._bags = {_folder(e.path) for e in self.entries if e.path.rpartition("/")[2].lower() == _BAG}
        self._ours = _relative(ours, found.copy.at)
        self._own = {(entry.path, entry.index) for entry in self.entries if self._is_own(entry)}
        self._kinds_promised = {frozenset(digest.kind for digest in file.digests) for file in promises.files}
        self._said = self._said_by_list(found.copy.listed or ())
        names = ListingIndex([entry for entry in self.entries if not self.is_own(entry)])
        claims = ((number, names.claims(file)) for number, file in enumerate(promises.files))
        self._named = {number: [claim.entry for claim in found] for number, found in claims if found}

    def _said_by_list(self, listed: Sequence[Listed]) -> set[int]:
        """Return the promised files that the list names: by digest; else by name, of paths that are not there."""
        there = {entry.path for entry in self.entries} if not self.by_list else set()
        said: set[int] = set()
        for item in listed:
            said.update(self._promises.holding(item.digests, path=item.path, size=item.size))
            for number in self._promises.named_like(item.path) if item.path not in there else ():
                file = self._promises.files[number]
                if same_content(file, item.digests, path=item.path, size=item.size) is None:
                    said.add(number)
        return said

    @property
    def is_hidden(self) -> bool:
        """Say whether what is on the copy cannot be told: it is not here, and no list does instead."""
        found = self.contents.found
        if found.state is State.HERE or (self.by_list and found.copy.url is not None):
            return False
        return not (self.by_list and found.state is State.AWAY and found.medium.kind == "cloud")

    def is_own(self, entry: Entry) -> bool:
        """Say whether a file is a system's, a camera's, a list, or this studio's own: nothing that anybody promises."""
        return (entry.path, entry.index) in self._own

    def _is_own(self, entry: Entry) -> bool:
        path = entry.path
        if PurePosixPath(path) in self._ours:
            return True
        if self._promises.named_like(path):
            return False  # somebody promised such a file after all
        if naming.made_anew(path, entry.size) or naming.camera_note(path) or naming.nature(path) is Nature.LIST:
            return True
        return _folder(path) in self._bags and path.rpartition("/")[2].lower() in _BAG_FILES

    def numbers(self, entry: Entry) -> list[int]:
        """Return the promised files whose content a file has, by a reading, or by its list where that must do."""
        known = [] if self._again and not self.contents.was_read(entry) else self.contents.numbers(entry)
        item = self._listed.get(entry.path)
        if known or item is None:
            return known
        return list(self._promises.holding(item.digests, path=item.path, size=item.size))

    def is_told(self, entry: Entry) -> bool:
        """Say whether it is known what a file is: promised or not."""
        if self.numbers(entry):
            return True
        shown = self.contents.shown.get((entry.path, entry.index))
        if shown is not None and (shown.now or not self._again):
            return shown.tells(self._kinds)
        item = self._listed.get(entry.path)
        return item is not None and self._list_tells(item)

    def _list_tells(self, item: Listed) -> bool:
        kinds = {digest.kind for digest in item.digests} - WEAK
        return all(kinds & theirs for theirs in self._kinds_promised)

    def to_read(self) -> list[Entry]:
        """Return the files that have to be read to know what they are, and were not yet."""
        if not self.contents.can_be_read:
            return []
        return [e for e in self.entries if not self.is_own(e) and not self.is_told(e) and not self.contents.was_read(e)]

    def at_stake(self) -> set[int]:
        """Return the promised files that are on the copy, or said to be, as far as is known now.

        A file of a promised name that is another promised file speaks for that one alone.
        """
        found = {number for entry in self.entries if not self.is_own(entry) for number in self.numbers(entry)}
        for number, entries in self._named.items():
            if any(entry is not None and not self.numbers(entry) for entry in entries):
                found.add(number)
        return found | self._said

    def sum_up(self) -> OnIt:
        """Say what is on the copy."""
        id_ = self.contents.id
        promised = own = 0
        extra: list[Named] = []
        unreadable: list[Named] = []
        unread: list[Named] = []
        for entry in self.entries:
            if self.is_own(entry):
                own += 1
            elif self.numbers(entry):
                promised += 1
            elif self.is_told(entry):
                extra.append(Named(id_, entry.path, self._likeness(entry)))
            elif (problem := self.contents.problems.get((entry.path, entry.index))) is not None:
                unreadable.append(Named(id_, entry.path, problem.detail))
            else:
                unread.append(Named(id_, entry.path, "not read yet"))
        size = sum(entry.size or 0 for entry in self.entries)
        counts = Counts(len(self.entries), size, promised, own, len(extra), len(unreadable) + len(unread))
        return OnIt(counts, tuple(extra), tuple(unreadable), tuple(unread))

    def _likeness(self, entry: Entry) -> str:
        """Say which promised file a file of unknown content is named like."""
        number = next(iter(self._promises.named_like(entry.path)), None)
        if number is None:
            return ""
        return f"named like {self._promises.shoots[number]}: {self._promises.files[number].path}, with other bytes"


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _relative(ours: Iterable[Path], at: Path | None) -> frozenset[PurePosixPath]:
    """Return, as paths in a copy, those of the studio's own files that lie in it."""
    if at is None:
        return frozenset()
    return frozenset(PurePosixPath(p.relative_to(at).as_posix()) for p in ours if p.is_relative_to(at))


def summed(parts: Sequence[OnIt]) -> OnIt:
    """Add up what is on several copies."""
    counts = [part.counts for part in parts]
    return OnIt(
        Counts(
            files=sum(c.files for c in counts),
            bytes=sum(c.bytes for c in counts),
            promised=sum(c.promised for c in counts),
            own=sum(c.own for c in counts),
            extra=sum(c.extra for c in counts),
            unreadable=sum(c.unreadable for c in counts),
        ),
        tuple(named for part in parts for named in part.extra),
        tuple(named for part in parts for named in part.unreadable),
        tuple(named for part in parts for named in part.unread),
    )
