"""A copy under its fate: the same kind of View as a real one, with the damage beneath it.

Flows in: an opened copy, its fate, the seed. Flows out: a Faulted value: the view, and which files the fault touches
(what it does not touch may be read once and shared by every drill). Must not know: restore, verdicts.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from io import RawIOBase

from drill.copies import archive_view, plain_view
from drill.errors import CannotRead
from drill.faults.aim import Blow, Fate
from drill.faults.draw import Damage, add_damage, key_of, matching
from drill.faults.overlay import Overlay, cut_size, veiled
from drill.model import Entry, Hazard, Problem, Receiver, Store, Trouble, View
from drill.shelf import OpenCopy, modified
from drill.streams import InMemory

PAGE = b"<!DOCTYPE html>\n<html><head><title>Link expired</title></head><body>This link has expired.</body></html>\n"
Worst = Callable[[OpenCopy, Hazard], tuple[str, int] | None]  # finds the worst sector (path, sector) of a copy
_BYTE_EFFECTS = frozenset({"unreadable", "altered", "truncated"})


@dataclass(frozen=True, slots=True)
class Faulted:
    """A copy under its fate. `touches` is true for files whose read may differ from the fault-free one.

    `store` has the streams beneath the view, damaged alike, for a salvage; `replaced` is true for members of an archive
    that are themselves replaced, whatever its own bytes are; `on_members` says that some of its members were taken
    away or replaced: what then has another name or none may be one of these.
    """

    view: View
    store: Store
    touches: Callable[[Entry], bool]
    hides: Callable[[Entry], bool]
    replaced: Callable[[Entry], bool]
    on_members: bool
    has_bad_sectors: bool


def lay_over(
    found: OpenCopy,
    fate: Fate,
    *,
    seed: str,
    others: Mapping[str, OpenCopy],
    worst: Worst,
) -> Faulted:
    """Return `found` under the blows of its fate; `worst` finds the worst sector (path, sector) of a copy."""
    assert found.view is not None and found.store is not None
    damage = _damage(found, fate.blows, seed=seed, others=others, worst=worst)
    hidden, covered = _member_faults(found, fate.blows, seed)
    dead_link = _dead_link(fate.blows)
    store = found.store
    if dead_link is not None:
        store = _expired_store(store, dead_link)
        view = _rebuilt(found, store)
    elif damage:
        store = _damaged_store(store, damage, _raw_entries(found))
        view = _rebuilt(found, store)
        view = view if found.is_archive else _listed_as(view, damage)
    else:
        view = found.view
    if hidden or covered:
        view = _sifted(view, hidden, covered)
    whole = dead_link is not None or (bool(damage) and found.is_archive)
    members = hidden | covered.keys()

    def touches(entry: Entry) -> bool:
        return whole or entry.path in members or entry.path in damage

    return Faulted(
        view=view,
        store=store,
        touches=touches,
        hides=lambda entry: entry.path in hidden,
        replaced=lambda entry: entry.path in covered,
        on_members=found.is_archive and any(_is_on_members(blow.hazard) for blow in fate.blows),
        has_bad_sectors=any(item.bad or item.scaled_bad for item in damage.values()),
    )


def _is_on_members(hazard: Hazard) -> bool:
    return hazard.effect in ("deleted", "stale") or (hazard.effect == "encrypted" and hazard.files is not None)


def hides(copy_entries: Sequence[Entry], found: OpenCopy, blows: Sequence[Blow]) -> set[str]:
    """Return the paths among `copy_entries` that deleted and stale blows take away."""
    gone: set[str] = set()
    for blow in blows:
        if blow.hazard.effect == "deleted":
            gone |= {entry.path for entry in matching(blow.hazard, copy_entries)}
        elif blow.hazard.effect == "stale":
            gone |= {entry.path for entry in copy_entries if _is_newer(found, entry, blow.hazard)}
    return gone


def _is_newer(found: OpenCopy, entry: Entry, hazard: Hazard) -> bool:
    when = modified(found.copy, entry)
    return when is not None and hazard.before is not None and when >= hazard.before


def _damage(
    found: OpenCopy,
    blows: Sequence[Blow],
    *,
    seed: str,
    others: Mapping[str, OpenCopy],
    worst: Worst,
) -> dict[str, Damage]:
    assert found.store is not None
    damage: dict[str, Damage] = {}
    for blow in blows:
        whole_archive = blow.hazard.effect == "encrypted" and (blow.hazard.files is None or not found.is_archive)
        if blow.hazard.effect not in _BYTE_EFFECTS and not whole_archive:
            continue
        origin = others.get(blow.origin, found)
        wanted = blow.hazard.sectors == "worst"
        add_damage(
            damage,
            blow,
            entries=_raw_entries(found),
            origin_entries=_raw_entries(origin),
            seed=seed,
            worst=worst(found, blow.hazard) if wanted else None,
        )
    return damage


def _raw_entries(found: OpenCopy) -> Sequence[Entry]:
    """Return the files that byte effects see: an archive is one file."""
    if found.store is None:
        return ()
    return found.store.files() if found.is_archive else found.entries


def _member_faults(found: OpenCopy, blows: Sequence[Blow], seed: str) -> tuple[set[str], dict[str, str]]:
    """Return the paths that are hidden, and the archive members that come out replaced (path → key)."""
    hidden = hides(found.entries, found, blows)
    covered: dict[str, str] = {}
    for blow in blows:
        if blow.hazard.effect == "encrypted" and blow.hazard.files is not None and found.is_archive:
            covered |= {entry.path: key_of(blow, seed) for entry in matching(blow.hazard, found.entries)}
    return hidden, covered


def _dead_link(blows: Sequence[Blow]) -> Hazard | None:
    return next((blow.hazard for blow in blows if blow.hazard.effect == "expired"), None)


def _rebuilt(found: OpenCopy, store: Store) -> View:
    if found.copy.archive is None:
        return plain_view(store)
    return archive_view(store, found.copy.archive, found.copy.password)


def _damaged_store(store: Store, damage: Mapping[str, Damage], entries: Sequence[Entry]) -> Store:
    sizes = {entry.path: entry.size for entry in entries}  # as they really are, whatever a listing under damage says

    def open_damaged(entry: Entry) -> RawIOBase:
        raw = store.open(entry)
        return Overlay(raw, damage[entry.path], sizes[entry.path]) if entry.path in damage else raw

    return Store(files=lambda: [_as_found(entry, damage) for entry in entries], open=open_damaged)


def _as_found(entry: Entry, damage: Mapping[str, Damage]) -> Entry:
    """Return what a damaged listing shows: a file that ends early is listed with the size it now has."""
    keep = damage[entry.path].keep if entry.path in damage else []
    if not keep or entry.size is None:
        return entry
    return replace(entry, size=cut_size(keep, entry.size))


def _listed_as(view: View, damage: Mapping[str, Damage]) -> View:
    """Ask for files as the damaged listing has them: a file cut short reads to its end without an error."""

    def deliver(wanted: Sequence[Entry], receiver: Receiver) -> None:
        view.deliver([_as_found(entry, damage) for entry in wanted], receiver)

    return View(entries=view.entries, deliver=deliver)


def _expired_store(store: Store, hazard: Hazard) -> Store:
    def open_expired(entry: Entry) -> RawIOBase:
        if hazard.page:
            return InMemory(PAGE)
        raise CannotRead(f"the link has expired: the server answers {hazard.status}")

    return Store(files=store.files, open=open_expired)


def _sifted(view: View, hidden: set[str], covered: Mapping[str, str]) -> View:
    def entries() -> Sequence[Entry]:
        return [entry for entry in view.entries() if entry.path not in hidden]

    def deliver(wanted: Sequence[Entry], receiver: Receiver) -> None:
        for entry in wanted:
            if entry.path in hidden:
                receiver.begin(entry)
                receiver.end(entry, Problem(Trouble.MISSING, "is not there"))
        left = [entry for entry in wanted if entry.path not in hidden]
        if left:
            view.deliver(left, _Covering(receiver, covered) if covered else receiver)

    return View(entries=entries, deliver=deliver)


class _Covering:
    """A receiver that passes on replaced bytes for the members that are covered."""

    def __init__(self, receiver: Receiver, covered: Mapping[str, str]) -> None:
        self._receiver, self._covered = receiver, covered
        self._key: str | None = None
        self._at = 0

    def begin(self, entry: Entry) -> None:
        self._key, self._at = self._covered.get(entry.path), 0
        self._receiver.begin(entry)

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        if self._key is None:
            self._receiver.data(chunk)
            return
        self._receiver.data(veiled(chunk, key=self._key, at=self._at))
        self._at += len(chunk)

    def end(self, entry: Entry, problem: Problem | None) -> None:
        self._receiver.end(entry, problem)
