"""Holdings: for a whole run, which copy is said to hold which promised file, and what reading has taught about it.

Flows in: opened copies, promises, reads without a fault. Flows out: claims for each promised file, notes for people.
Must not know: scenarios, verdicts.
"""

from collections.abc import Mapping, Sequence

from drill.coverage import Claim, ListIndex, ListingIndex, Locator, kinds_of, name_key, strays
from drill.model import Digest, Entry, Promised
from drill.shelf import OpenCopy, State

Claims = dict[str, list[Claim]]  # by copy id; only copies with a claim


class Holdings:
    """The indexes of all copies, and what each promised digest is named."""

    def __init__(self, copies: Mapping[str, OpenCopy], promises: Sequence[Promised]) -> None:
        self._copies, self._promises = copies, promises
        self.version = 0  # grows when something learned may change a claim
        self.promised: dict[Digest, set[str]] = {}  # each promised digest, with the names that lead to it
        for file in promises:
            for digest in file.digests:
                self.promised.setdefault(digest, set()).add(name_key(file.path))
        self._indexes: dict[str, ListIndex | ListingIndex] = {}
        for id_, found in copies.items():
            listed = found.copy.listed
            if found.state is State.HERE and listed is None:
                self._indexes[id_] = ListingIndex(found.entries)
            elif listed is not None and found.state is not State.REFUSES:
                self._indexes[id_] = ListIndex(listed, found.entries if found.state is State.HERE else None)

    def claims(self, file: Promised) -> Claims:
        """Return the claims on one promised file by copy, each best first."""
        found = {id_: index.claims(file) for id_, index in self._indexes.items()}
        return {id_: claims for id_, claims in found.items() if claims}

    def learn(self, found: OpenCopy, entry: Entry, digests: tuple[Digest, ...]) -> None:
        """Remember what a file on a copy without a list really is."""
        index = self._indexes.get(found.copy.id)
        if isinstance(index, ListingIndex):
            index.learn(entry, digests)
            own = {name_key(entry.path)}
            if any(self.promised.get(digest, own) - own for digest in digests):
                self.version += 1  # it is promised under a name that does not lead to it

    def unlearned(self, id_: str) -> list[Entry]:
        """Return the files of a copy without a list whose content is not known yet."""
        index = self._indexes.get(id_)
        if not isinstance(index, ListingIndex):
            return []
        return list(index.unlearned.values())

    def strays(self) -> dict[str, list[Entry]]:
        """Return, for each copy without a list, the files of unknown content that no promised name matches."""
        found = {}
        for id_, index in self._indexes.items():
            if isinstance(index, ListingIndex):
                left = strays(self._copies[id_].entries, self._promises)
                found[id_] = [entry for entry in left if (entry.path, entry.index) in index.unlearned]
        return {id_: entries for id_, entries in found.items() if entries}

    def notes(self) -> list[str]:
        """Say in plain words which copies could not be had, and what could not be matched."""
        said = []
        matched = self._matched()
        for id_, found in self._copies.items():
            if found.state is State.AWAY:
                said.append(f"{id_} cannot be reached now: {found.reason}; {_on_paper(found)}")
            elif found.state is State.REFUSES:
                said.append(f"{id_} gives nothing: {found.reason}")
            else:
                said += [f"{id_} is damaged: {found.reason}"] if found.reason else []
                said += [f"{id_}: {found.note}"] if found.note else []
                told = "could not be listed, so what is in it counts as missing"
                said.extend(f"{id_}: {folder} {told}" for folder in found.unlisted)
                said.extend(self._unmatched(found, matched[id_]))
        return said

    def _matched(self) -> dict[str, set[str]]:
        """Return the paths on each copy that some promised file claims."""
        matched: dict[str, set[str]] = {id_: set() for id_ in self._copies}
        for file in self._promises:
            for id_, claims in self.claims(file).items():
                matched[id_].update(claim.path for claim in claims)
        return matched

    def _unmatched(self, found: OpenCopy, matched: set[str]) -> list[str]:
        said = []
        id_, listed = found.copy.id, found.copy.listed
        ours = kinds_of(self._promises)
        theirs = {digest.kind for item in listed or () for digest in item.digests}
        if listed is not None and ours and not ours & theirs:
            kinds = f"{', '.join(sorted(theirs))}, the promises {', '.join(sorted(ours))}"
            said.append(f"{id_}: its list has {kinds}: no digest in common, so it is matched by name")
        if listed is None:
            left, why = [entry.path for entry in found.entries if entry.path not in matched], "by name or content"
        else:
            find = Locator(found.entries).find
            left = [i.path for i in listed if not matched.intersection([i.path, *(e.path for e in find(i.path))])]
            why = "by its list"
        if left:
            files = "1 file matches" if len(left) == 1 else f"{len(left)} files match"
            said.append(f"{id_}: {files} no promise {why}, such as {left[0]}")
        return said


def _on_paper(found: OpenCopy) -> str:
    """Return in words what counts of a copy that cannot be reached."""
    if found.remembered:
        return "it has no list, and what was read on it before stays on paper"
    if found.copy.listed:
        return "what its list names stays on paper"
    if found.named:
        files = "1 file" if found.named == 1 else f"{found.named} files"
        return f"its kept headers name {files} in it, but it has no list and was never read, so nothing counts"
    return "without a list it holds nothing"
