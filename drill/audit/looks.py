"""Looks: files of which no digest is known are decoded, which is little, and stands below any proof.

Flows in: a copy as found, the files to look into. Flows out: what each look came to. Must not know: lists, promises.
Members of an archive are unpacked in one pass, each held in memory while it is looked into.
"""

from collections.abc import Callable, Sequence

from drill.model import Entry, Problem
from drill.shelf import OpenCopy
from drill.soundness import Check, Outcome, Soundness
from drill.units import say_size

MOST_IN_MEMORY = 512 * 1000**2

Looks = dict[tuple[str, int], Soundness]


def look_into(
    found: OpenCopy, entries: Sequence[Entry], *, check: Check, goes_on: Callable[[Entry], bool], into: Looks
) -> None:
    """Look into files of a copy, until `goes_on` says no; what was seen is in `into` at once."""
    assert found.view is not None and found.store is not None
    if found.is_archive:
        _look_into_members(found, entries, check=check, goes_on=goes_on, into=into)
        return
    store = found.store
    for entry in entries:
        if not goes_on(entry):
            return
        into[entry.path, entry.index] = check(entry.path, lambda entry=entry: store.open(entry))  # type: ignore[misc]


def _look_into_members(
    found: OpenCopy, entries: Sequence[Entry], *, check: Check, goes_on: Callable[[Entry], bool], into: Looks
) -> None:
    assert found.view is not None
    small: list[Entry] = []
    for entry in entries:
        if entry.size is not None and entry.size <= MOST_IN_MEMORY:
            small.append(entry)
        else:
            words = f"is larger than the {say_size(MOST_IN_MEMORY)} that are unpacked for a look"
            into[entry.path, entry.index] = Soundness(Outcome.CANNOT_CHECK, words)
    if small and goes_on(small[0]):
        found.view.deliver(small, _Member(check, goes_on, into))


class _Member:
    """A receiver: holds one member's bytes and has them looked into."""

    def __init__(self, check: Check, goes_on: Callable[[Entry], bool], into: Looks) -> None:
        self._check, self._goes_on, self._into = check, goes_on, into

    def begin(self, entry: Entry) -> None:
        self._bytes = bytearray()

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        self._bytes += chunk

    def end(self, entry: Entry, problem: Problem | None) -> None:
        if problem is not None:
            self._into[entry.path, entry.index] = Soundness(Outcome.UNREADABLE, problem.detail)
        elif self._goes_on(entry):
            self._into[entry.path, entry.index] = self._check(entry.path, bytes(self._bytes))
        self._bytes = bytearray()


def said_of(look: Soundness) -> tuple[str, str]:
    """Return the outcome of a file that was looked into, and why in words."""
    match look.outcome:
        case Outcome.OPENS:
            return "opens", look.detail
        case Outcome.CANNOT_CHECK:
            return "cannot_check", look.detail
        case Outcome.DAMAGED:
            return "unreadable", f"no digest is known for it, and it does not open: {look.detail}"
    return "unreadable", f"no digest is known for it, and it cannot be read: {look.detail}"
