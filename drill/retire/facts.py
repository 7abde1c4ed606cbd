"""Facts: what the judge is told of one question, and what is worth saying beside the answer.

Flows in: the desk, after all reading. Flows out: a Matter, texts. Must not know: how anything was read, verdicts.
"""

import os
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from drill import clock
from drill.guard import top_of
from drill.model import Entry
from drill.plan import order_copies
from drill.retire.beside import lies_beside
from drill.retire.contents import is_weak
from drill.retire.desk import Desk
from drill.retire.holdings import OnIt
from drill.retire.judge import Elsewhere, Matter, Stake
from drill.retire.seek import Source
from drill.retirerecord import Named
from drill.shelf import State
from drill.timing import Load, projected_s, transfer_s
from drill.units import say_span


def matter(desk: Desk, on_it: OnIt) -> Matter:
    """Return all that the judge is told."""
    stakes = sorted(desk.at_stake())
    sizes = desk.sizes(stakes)
    return Matter(
        stakes=[_stake(desk, number, sizes.get(number)) for number in stakes],
        targets=desk.targets,
        extra=on_it.extra,
        unreadable=on_it.unreadable,
        unread=on_it.unread,
        unknown=_unknown(desk),
        needed=_needed(desk),
        medium_of={copy.id: copy.on for copy in desk.studio.copies},
        events=desk.events,
        projected_s={shoot: _projected_s(desk, shoot, frozenset(stakes)) for shoot in _shoots(desk, stakes)},
        mendable=mendable(desk),
    )


def _shoots(desk: Desk, numbers: Sequence[int]) -> list[str]:
    return list(dict.fromkeys(desk.promises.shoots[number] for number in numbers))


# --- promised files ----------------------------------------------------------------------------------------------


def _stake(desk: Desk, number: int, size: int | None) -> Stake:
    file, weak = desk.promises.files[number], is_weak(desk.promises.files[number])
    proofs = {
        id_: Elsewhere(proof.at, proof.now)
        for id_, source in desk.sources.items()
        if (proof := source.contents.proofs.get(number)) is not None
    }
    return Stake(
        shoot=desk.promises.shoots[number],
        path=file.path,
        size=size,
        proofs=proofs,
        media_left=len(_media_left(desk, number)),
        why_not="" if proofs else "xxh32 alone proves nothing" if weak else _why_not(desk, number),
        weak=weak,
    )


def _media_left(desk: Desk, number: int) -> frozenset[str]:
    """Return the other media that are proven or said to hold a promised file."""
    sources = desk.sources.values()
    return frozenset(s.contents.found.medium.id for s in sources if _may_hold(s, number))


def _may_hold(source: Source, number: int) -> bool:
    """Say whether a copy is said to hold a promised file, and nothing that was read speaks against it."""
    state = source.contents.found.state
    if number in source.contents.proofs:
        return True
    if not source.is_said_to_hold(number) or state is State.REFUSES:
        return False
    return state is State.AWAY or bool(source.likely(number))


def _why_not(desk: Desk, number: int) -> str:
    said = [words for source in desk.sources.values() if (words := _says(source, number))]
    return "; ".join(said) if said else "on no other copy that counts"


def _says(source: Source, number: int) -> str:
    """Say in words what one other copy has of a promised file, and why that proves nothing."""
    contents, found = source.contents, source.contents.found
    same = source.same(number)
    if same is not None:
        return f"{same} on {contents.id} is the very file that goes, or one of another copy, under a second name"
    if not source.is_said_to_hold(number):
        return ""
    if found.state is State.AWAY:
        seen = contents.remembered.get(number)
        said = "is said to hold it" if seen is None else f"held it when last read ({clock.rfc3339(seen)})"
        return f"{contents.id} {said} and cannot be read now: {found.reason}"
    if found.state is State.REFUSES or contents.vanished is not None:
        return f"{contents.id} is said to hold it and {'gives nothing' if contents.vanished is None else 'vanished'}"
    tried = source.tried(number)
    if tried:
        return _came_to(source, tried[0])
    return f"{contents.id} is said to hold it, and it was not {'read' if source.likely(number) else 'found'} there"


def _came_to(source: Source, entry: Entry) -> str:
    problem = source.contents.problems.get((entry.path, entry.index))
    came = "has other bytes" if problem is None else f"could not be read ({problem.detail})"
    return f"{entry.path} on {source.contents.id} {came}"


def damaged(desk: Desk) -> list[Named]:
    """Return the files on other copies that were found wrong or could not be read, of what is at stake."""
    found: dict[tuple[str, str], Named] = {}
    stakes = sorted(desk.at_stake())
    sizes = desk.sizes(stakes)
    for number in stakes:
        file, shoot = desk.promises.files[number], desk.promises.shoots[number]
        for id_, source in desk.sources.items():
            for entry in source.wrong(number, sizes.get(number)):
                problem = source.contents.problems.get((entry.path, entry.index))
                came = "other bytes than promised" if problem is None else f"could not be read ({problem.detail})"
                found.setdefault((id_, entry.path), Named(id_, entry.path, f"{came}; {shoot}: {file.path}"))
    return list(found.values())


def mendable(desk: Desk) -> list[str]:
    """Return the shoots in too few places that would be in enough if what was found wrong elsewhere were mended."""
    stakes = sorted(desk.at_stake())
    sizes = desk.sizes(stakes)
    short = [number for number in stakes if not desk.is_enough(number, desk.proven(number))]

    def would_do(number: int) -> bool:
        mended = {id_ for id_, source in desk.sources.items() if source.wrong(number, sizes.get(number))}
        return desk.is_enough(number, desk.proven(number) | mended)

    never = {desk.promises.shoots[number] for number in short if not would_do(number)}
    return [shoot for shoot in _shoots(desk, short) if shoot not in never]


def _projected_s(desk: Desk, shoot: str, stakes: frozenset[int]) -> float:
    """Return how long restoring a whole shoot takes from what is left, as a drill projects it.

    What is at stake comes from copies that were verified, the rest from those that are said to hold it.
    """
    numbers = [number for number, id_ in enumerate(desk.promises.shoots) if id_ == shoot]
    sizes = desk.sizes(numbers)
    holders = [desk.proven(number) if number in stakes else _said(desk, number) for number in numbers]
    rows = [(held, sizes.get(number, 0)) for number, held in zip(numbers, holders, strict=True) if held]
    media = {copy.id: desk.studio.media[copy.on] for copy in desk.studio.copies}

    def cost_s(id_: str, files: int, size: int) -> float:
        return media[id_].in_hand_after_s + transfer_s(Load(media[id_], files, size), desk.studio.buses)

    order = order_copies([held for held, _ in rows], [size for _, size in rows], cost_s)
    files, total = Counter[str](), Counter[str]()
    for held, size in rows:
        best = next(id_ for id_ in order if id_ in held)
        files[best] += 1
        total[best] += size
    return projected_s([Load(media[id_], count, total[id_]) for id_, count in files.items()], desk.studio.buses)


def _said(desk: Desk, number: int) -> frozenset[str]:
    return frozenset(id_ for id_, source in desk.sources.items() if _may_hold(source, number))


# --- the medium --------------------------------------------------------------------------------------------------


def _unknown(desk: Desk) -> list[str]:
    """Say in words what cannot be told of what is on the medium."""
    if not desk.looked:
        return ["the copies were not all looked at"]
    held = {holding.contents.found.medium.id for holding in desk.holdings.values()}
    said = [f"the studio file names no copy on {medium}" for medium in desk.gone.media if medium not in held]
    for id_, holding in desk.holdings.items():
        found = holding.contents.found
        if holding.is_hidden:
            what = "cannot be reached" if found.state is State.AWAY else "gives nothing"
            said.append(f"{id_} {what} ({found.reason}), so what is on it now cannot be told")
        said += [f"{id_} is damaged: {found.reason}"] if found.is_damaged else []
        said += [f"{id_}: {folder} could not be listed" for folder in found.unlisted]
    return said + [f"outside its copies there is {name} on it, which nobody looked at" for name in _beside(desk)]


def _beside(desk: Desk) -> list[str]:
    here = _places(desk)
    tops = dict.fromkeys(top for at in here.values() if (top := top_of(at)) is not None)
    marks = [desk.studio.media[medium].recognised_by for medium in desk.gone.media]
    known = [*desk.kept_files(), *(top / mark for top in tops for mark in marks if mark)]
    return [name for top in tops for name in lies_beside(top, here.values(), besides=known)]


def _places(desk: Desk) -> dict[str, Path]:
    """Return where the copies on the medium lie, of those that are here."""
    founds = [holding.contents.found for holding in desk.holdings.values()]
    return {f.copy.id: f.copy.at for f in founds if f.state is State.HERE and f.copy.at is not None}


def _needed(desk: Desk) -> list[Named]:
    """Return what the studio itself needs and lies on the medium: its file, its lists, its ledger."""
    found: dict[Path, Named] = {}
    for id_, at in _places(desk).items():
        root = top_of(at) or Path(os.path.realpath(at))
        for path in desk.kept_files():
            real = Path(os.path.realpath(path))
            if real.exists() and real.is_relative_to(root):
                found.setdefault(real, Named(id_, real.relative_to(root).as_posix(), "the studio needs it"))
    return list(found.values())


# --- words -------------------------------------------------------------------------------------------------------


def cautions(desk: Desk) -> list[str]:
    """Say what a yes rests on that nobody can check from here."""
    said = [f"{id_} does not count as another copy: {why}" for id_, why in desk.gone.shared.items()]
    for id_, same in desk.same.items():
        if same:
            are = "1 file is the very file" if len(same) == 1 else f"{len(same):,} files are the very files"
            said.append(f"on {id_} {are} that would go, or of another copy, under a second name: no other copy")
    proving = {source.contents.found.medium.id for source in desk.sources.values() if source.contents.proofs}
    for id_ in sorted(desk.from_memory & proving):
        what = f"what was read from {id_} may have come from this computer's memory, and not from {id_} itself"
        said.append(f"{what}: unless it was unplugged since its files were copied, unplug it and ask again with --read")
    for id_, holding in desk.holdings.items():
        if holding.by_list and not holding.is_hidden:
            said.append(f"what is on {id_} is known by its list alone; what else is there cannot be seen from here")
    for id_, at in _places(desk).items():
        said += _same_disk(desk, id_, at)
        if top_of(at) is None:
            on = desk.holdings[id_].contents.found.medium.id
            said.append(f"what is on {on} outside {at} was not looked at")
    return list(dict.fromkeys(said))


def _same_disk(desk: Desk, id_: str, at: Path) -> list[str]:
    """Warn of other copies that this computer has on the same disk: what formats one takes both."""
    ours = _device(at)
    places = {id_: source.contents.found.copy.at for id_, source in desk.sources.items() if source.contents.proofs}
    same = [other for other, place in places.items() if place is not None and ours and _device(place) == ours]
    if not same:
        return []
    are = "is" if len(same) == 1 else "are"
    return [f"to this computer {', '.join(same)} {are} on the same disk as {id_}: make sure that they are apart"]


def _device(path: Path) -> int | None:
    try:
        return path.stat().st_dev
    except OSError:
        return None


def notes(desk: Desk) -> list[str]:
    """Say what is worth knowing of the run."""
    said = []
    shoots = _shoots(desk, sorted(desk.at_stake()))
    untargeted = [id_ for id_ in shoots if desk.targets[id_].verified_within_s is None]
    if untargeted and not desk.again:
        within = say_span(desk.untargeted_s)
        said.append(f"no verified_within is set for {', '.join(untargeted)}: only proofs of the last {within} counted")
    for id_, source in desk.sources.items():
        if source.contents.found.state is State.REFUSES:
            said.append(f"{id_} gives nothing: {source.contents.found.reason}")
        elif source.contents.found.is_damaged:
            said.append(f"{id_} is damaged: {source.contents.found.reason}")
    return said


# --- what is left ------------------------------------------------------------------------------------------------

_PRACTICE = 3  # copies: common practice in the field, no source


def thin(desk: Desk) -> list[str]:
    """Say what is left of which shoots too close together, also counting what is only said; the gravest first."""
    left: dict[str, set[frozenset[str]]] = {}
    for number in sorted(desk.at_stake()):
        left.setdefault(desk.promises.shoots[number], set()).add(_media_left(desk, number))
    media = desk.studio.media
    checks: list[tuple[str, Callable[[frozenset[str]], bool]]] = [
        ("in one place only", lambda on: len({media[id_].place for id_ in on}) == 1),
        ("only on what you carry", lambda on: all(media[id_].carried for id_ in on)),
        ("nowhere off-site", lambda on: not any(media[id_].offsite for id_ in on)),
        (f"on fewer than {_PRACTICE} media", lambda on: len(on) < _PRACTICE),
    ]
    said = []
    for words, is_so in checks:
        shoots = [id_ for id_, sets in left.items() if any(on and is_so(on) for on in sets)]
        if shoots:
            named = ", ".join(shoots[:3]) + (f" and {len(shoots) - 3:,} more shoots" if len(shoots) > 3 else "")
            said.append(f"files of {named} are then {words}")
    return said
