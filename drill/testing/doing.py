"""What goes wrong, done to the real bytes of a studio to try things on, and undone at the end of the block.

No file is ever written over. The copy's folder is set aside by one rename, what is left of it after the mishap is laid
in its place as new files, and at the end these are removed and the folder is renamed back: the very same files, with
their times. Who is hit and where follows from the drill's own `aim` and `draw`; what then becomes of the bytes is done
here anew, so that a drill of real damage is an outside check of the drill under the same overlay.

Flows in: a StudioFolder and mishaps. Flows out: changed copies, for a while. Refused: folders that were not made here,
copies that lead elsewhere, and what cannot be done to a healthy disk (bad sectors, slowness). Must not know: drills.
"""

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import replace
from itertools import count
from types import TracebackType

from drill.copies import LinkSession
from drill.errors import Mistake, Mistakes
from drill.faults import Blow, Fate, aim
from drill.faults.draw import Damage, add_damage, matching
from drill.model import Entry, Hazard, Studio
from drill.testing import made
from drill.testing.asked import a
from drill.testing.drilling import SEED
from drill.testing.effects import Mishap, handed, scenario_of
from drill.testing.folder import CopyFolder, StudioFolder
from drill.testing.idle import Listings, check_mishaps
from drill.testing.unused import Use

_ON_BYTES = frozenset({"altered", "truncated", "encrypted"})
_OTHERS = bytes((byte + 0x5B) % 256 for byte in range(256))  # in turn 256 others, so that twice is not back
_numbers = count(1)


def really(studio: StudioFolder, *mishaps: Mishap, seed: int = SEED) -> AbstractContextManager[None]:
    """Do mishaps to the studio's own copies; everything is as it was when the block ends.

    A medium that is lost is then not there, and what it is said to hold counts as on paper, as a program cannot tell
    a lost drive from one that is not plugged in. Without `with` it warns (UnusedWarning), and the next drill is
    refused. Errors: Mistakes, and all is as it was.
    """
    advice = "it takes a studio_folder alone, never real copies: drill these under `with` the mishap, no `really`"
    a(StudioFolder, studio, function="really", word="studio", advice=advice)
    handed(mishaps, function="really")
    return _Really(_done(studio, mishaps, seed), ", ".join(mishap.words for mishap in mishaps))


class _Really(AbstractContextManager[None]):
    """The block in which it is done."""

    def __init__(self, done: AbstractContextManager[None], words: str) -> None:
        self._done, self._words, self._use = done, f"really ({words})", Use()

    def __enter__(self) -> None:
        self._use.happened = True
        self._done.__enter__()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool | None:
        return self._done.__exit__(kind, error, trace)

    def __del__(self) -> None:
        self._use.tell_unused(self._words)


@contextmanager
def _done(studio: StudioFolder, mishaps: Sequence[Mishap], seed: int) -> Iterator[None]:
    made.check_made(studio.folder)
    if not mishaps:
        raise _nothing_done(studio)
    loaded = studio.load()
    check_mishaps(mishaps, loaded)
    scenario = scenario_of(mishaps)
    fates = {id_: fate for id_, fate in aim(scenario, loaded, None).items() if fate.removed or fate.blows}
    _check_can_be_done(studio, loaded, mishaps, fates)
    with LinkSession() as session, ExitStack() as undo:
        found = Listings(loaded, session)
        entries = _entries_of(studio, found)
        changes = {id_: _damage(fate.blows, id_, entries, f"{seed}\x1f{scenario.name}") for id_, fate in fates.items()}
        hidden = {id_: _hidden(fate.blows, id_, entries) for id_, fate in fates.items()}
        done = 0
        for id_, fate in fates.items():
            copy, ended = studio.copy(id_), any(blow.hazard.effect == "expired" for blow in fate.blows)
            if ended:
                undo.enter_context(_past_end(studio, id_))
            undo.enter_context(_set_aside(studio, copy, leave=fate.removed is None))
            done += ended or fate.removed is not None or _spoil(studio, copy, changes[id_], hidden[id_])
        if not done:
            raise _nothing_done(studio)
        yield


def _nothing_done(studio: StudioFolder) -> Mistakes:
    what, advice = "nothing would be done to any copy", "a test in this block would test nothing: say what goes wrong"
    return Mistakes([Mistake(str(studio.file), "really", what, advice)])


def _check_can_be_done(studio: StudioFolder, loaded: Studio, mishaps: Sequence[Mishap], fates: dict[str, Fate]) -> None:
    mistakes = []

    def wrong(at: str, what: str) -> None:
        mistakes.append(Mistake(str(studio.file), at, what, "drill it as an overlay: `with` the mishap, no `really`"))

    for mishap in mishaps:
        hazard = mishap.hazard
        if hazard.effect in ("unreadable", "slow"):
            wrong(mishap.words, "cannot be done to a healthy disk")
        if hazard.effect == "expired" and (hazard.page or hazard.status != 410):
            wrong(mishap.words, "the links of this computer end with 410 and no page")
    for id_, fate in fates.items():
        copy = studio.copy(id_)
        made.check_inside(studio.folder, copy.root)
        at = next(other.at for other in loaded.copies if other.id == id_)
        if at is not None:
            made.check_inside(studio.folder, at)
        if copy.archive is not None and any(_is_on_members(blow.hazard) for blow in fate.blows):
            wrong(id_, "files cannot be taken out of an archive, or changed in it")
    if mistakes:
        raise Mistakes(mistakes)


def _is_on_members(hazard: Hazard) -> bool:
    return hazard.effect in ("deleted", "stale") or (hazard.effect == "encrypted" and hazard.files is not None)


def _entries_of(studio: StudioFolder, found: Listings) -> Callable[[str, Hazard], Sequence[Entry]]:
    def entries(id_: str, hazard: Hazard) -> Sequence[Entry]:
        """Return a copy's files as a hazard sees them; behind a link, where no size is told, with their sizes."""
        copy, listed = studio.copy(id_), found.of(id_, hazard) or ()
        if copy.form != "link":
            return listed
        return [replace(e, size=p.stat().st_size) for e in listed if (p := copy.root / e.path).is_file()]

    return entries


def _damage(
    blows: Sequence[Blow], id_: str, entries: Callable[[str, Hazard], Sequence[Entry]], seed: str
) -> dict[str, Damage]:
    damage: dict[str, Damage] = {}
    for blow in blows:
        if blow.hazard.effect in _ON_BYTES:
            here, there = entries(id_, blow.hazard), entries(blow.origin, blow.hazard)
            add_damage(damage, blow, entries=here, origin_entries=there, seed=seed)
    return damage


def _hidden(blows: Sequence[Blow], id_: str, entries: Callable[[str, Hazard], Sequence[Entry]]) -> set[str]:
    gone: set[str] = set()
    for blow in blows:
        here = entries(id_, blow.hazard)
        if blow.hazard.effect == "deleted":
            gone |= {entry.path for entry in matching(blow.hazard, here)}
        elif blow.hazard.effect == "stale":
            gone |= {entry.path for entry in here if _is_newer(entry, blow.hazard)}
    return gone


def _is_newer(entry: Entry, hazard: Hazard) -> bool:
    return entry.modified is not None and hazard.before is not None and entry.modified >= hazard.before


@contextmanager
def _past_end(studio: StudioFolder, id_: str) -> Iterator[None]:
    new = id_ not in studio.past_end
    studio.past_end.add(id_)
    try:
        yield
    finally:
        if new:
            studio.past_end.discard(id_)


@contextmanager
def _set_aside(studio: StudioFolder, copy: CopyFolder, *, leave: bool) -> Iterator[None]:
    """Rename a copy's folder away and lay new files of the same bytes and times in its place, none unless `leave`."""
    made.check_inside(studio.folder, copy.root)
    if not os.path.lexists(copy.root):  # an outer block has taken it
        yield
        return
    aside = studio.folder / "aside" / str(next(_numbers))
    aside.parent.mkdir(exist_ok=True)
    copy.root.rename(aside)
    outermost = studio.whole.setdefault(copy.id, aside) == aside
    try:
        if leave:
            shutil.copytree(aside, copy.root, symlinks=True)
        yield
    finally:
        made.check_inside(studio.folder, copy.root)
        if os.path.lexists(copy.root):
            shutil.rmtree(copy.root)
        aside.rename(copy.root)
        if outermost:
            del studio.whole[copy.id]


def _spoil(studio: StudioFolder, copy: CopyFolder, changes: dict[str, Damage], hidden: set[str]) -> bool:
    """Change and take away files of a copy; say whether any is another now, or gone."""
    done = False
    for path, damage in changes.items():
        target = copy.root / path
        made.check_inside(studio.folder, target, part=copy.root)
        about, before = target.stat(), studio.whole[copy.id] / path
        whole = before.read_bytes() if before.is_file() else b""
        data = target.read_bytes()
        left = _spoilt(data, damage, whole=whole)
        done = done or left != data
        target.write_bytes(left)
        os.utime(target, ns=(about.st_atime_ns, about.st_mtime_ns))  # rot leaves the time as it was
    for path in hidden:
        made.check_inside(studio.folder, copy.root / path, part=copy.root)
        (copy.root / path).unlink()
    return done or bool(hidden)


def _spoilt(data: bytes, damage: Damage, *, whole: bytes) -> bytes:
    """Return what is left of a file's bytes: every one replaced, single ones changed, the end cut off.

    The same damage twice never gives the `whole` file back, whether done in two blocks or once as an overlay.
    """
    left = bytearray(data.translate(_OTHERS) if damage.veil is not None else data)
    for offset, change in damage.changed.items():
        if offset < len(left):
            right = {data[offset], *whole[offset : offset + 1]}
            right |= {byte ^ change for byte in right}  # an overlay on top would make these right
            left[offset] = next(byte for byte in range(256) if byte not in right)
    keep = [int(each * len(data)) if isinstance(each, float) else each for each in damage.keep]
    return bytes(left[: min(keep, default=len(left))])
