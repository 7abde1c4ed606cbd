"""The conductor of `drill new`: media → copies → wares → slots → shoots → promises → a proposal.

Flows in: media and copies to look at, settings. Flows out: a Proposal. Holds no arithmetic of its own, prints nothing.
Every byte is read once (the ledger remembers it for the next look); only files of which there are different readings
are looked into a second time: how they begin (see `kin`), and which opens where neither a list nor a majority decides.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from drill import naming
from drill.copies import LinkSession
from drill.intake.absent import Absent, Homes, absent, stand_in, with_absent
from drill.intake.contents import with_deliveries
from drill.intake.dates import shoot_date
from drill.intake.folders import Names, shoot_folders
from drill.intake.ids import shoot_name
from drill.intake.kin import picture_slots
from drill.intake.known import leave_known
from drill.intake.opens import first_bytes, opening
from drill.intake.promise import Claims, Promise, contested, make_promise
from drill.intake.shoots import Group, assemble, place_others, seen_ones, taken_of
from drill.intake.wares import PICTURES, Candidates, Claimed, Ware, by_copy, candidates, is_hollow, wares
from drill.ledger import Ledger
from drill.model import Copy, Medium, Shoot
from drill.proposal import CopyNote, ListLine, MediumNote, Proposal, ShootNote
from drill.reading import Job, Readings, read_files
from drill.shelf import OpenCopy, State, open_copy

_MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class Look:
    """What to look at: media and their copies, what is promised already, and how to look."""

    media: Mapping[str, Medium]
    copies: Sequence[Copy]
    assumed: frozenset[str]  # media whose place nobody said
    gap_s: float
    digest: str
    now: datetime
    scratch: Path
    ledger: Ledger
    progress: Callable[[str], None]
    promised: Sequence[Shoot] = ()
    reserved: frozenset[str] = frozenset()  # ids under which lists lie that no shoot of the studio file names


@dataclass(slots=True)
class _Pile:
    """All that was found, before it is sorted."""

    opened: dict[str, OpenCopy] = field(default_factory=dict)
    chosen: dict[str, Candidates] = field(default_factory=dict)
    wares: list[Ware] = field(default_factory=list)
    hollow: list[Ware] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unread: dict[str, dict[str, str]] = field(default_factory=dict)
    readings: Readings = field(default_factory=Readings)

    @property
    def claimed(self) -> list[Claimed]:
        """What lists claim; a list made when a file was hollow already says nothing of the picture."""
        nothing = {digest for ware in self.hollow for digest in ware.seen.digests}
        claimed = (claim for chosen in self.chosen.values() for claim in chosen.claimed)
        return [claim for claim in claimed if nothing.isdisjoint(claim.digests)]


def look(at: Look) -> Proposal:
    """Read what is there and propose what to promise. Errors: Unfinished, KeyboardInterrupt; readings are kept."""
    pile = _Pile()
    session = LinkSession()
    try:
        _open(at, session, pile)
        _read(at, pile)
        at.progress("sorting")
        return _sorted(at, pile)
    finally:
        session.close()


def _open(at: Look, session: LinkSession, pile: _Pile) -> None:
    for copy in at.copies:
        at.progress(f"looking at {copy.id}")
        found = open_copy(copy, at.media[copy.on], session=session, downloads=at.scratch / ".downloads")
        pile.opened[copy.id] = found
        pile.chosen[copy.id] = candidates(found)
        pile.notes.extend(pile.chosen[copy.id].notes)
        pile.notes.extend([f"{copy.id}: {found.note}"] if found.note and not found.is_damaged else [])
        pile.notes.extend(
            f"{copy.id}: the folder {folder} could not be listed: nothing in it is promised"
            for folder in found.unlisted
        )


def _read(at: Look, pile: _Pile) -> None:
    kinds = {at.digest, *(d.kind for claim in pile.claimed for d in claim.digests)}
    kinds |= {digest.kind for shoot in at.promised for file in shoot.promise for digest in file.digests}
    kinds |= {digest.kind for copy in at.copies for item in copy.listed or () for digest in item.digests}
    jobs = [Job(pile.opened[id_], entry) for id_, chosen in pile.chosen.items() for entry in chosen.entries]
    pile.readings = read_files(jobs, kinds=sorted(kinds), ledger=at.ledger, now=at.now, progress=at.progress)
    for id_, chosen in pile.chosen.items():
        unread: dict[str, str] = {}
        hollow: list[Ware] = []
        for item in wares(pile.opened[id_], chosen, pile.readings, kinds=kinds):
            if not isinstance(item, Ware):
                unread[item[0].path] = item[1].detail
            elif item.is_picture and is_hollow(item.seen):
                hollow.append(item)
            else:
                pile.wares.append(item)
        if unread:
            pile.unread[id_] = unread
        if hollow:
            paths = [ware.entry.path for ware in hollow]
            pile.notes.append(f"{id_}: {_some(paths, 'file')} left out: empty, or never filled")
            pile.hollow.extend(hollow)


def _sorted(at: Look, pile: _Pile) -> Proposal:
    pile.wares = with_deliveries(pile.wares)
    folder_of = _folders(at, pile)
    pictures = [ware for ware in pile.wares if ware.is_picture]
    claimed = pile.claimed
    of_pictures = [claim for claim in claimed if naming.nature(claim.path) in PICTURES]
    slots, unmet = picture_slots(pictures, of_pictures, heads=lambda some: first_bytes(pile.opened, some))
    groups, unseen = seen_ones(assemble(slots, folder_of, gap_s=at.gap_s))
    others = [ware for ware in pile.wares if not ware.is_picture]
    strangers = [*place_others(others, groups, folder_of), *unseen]
    kept = {id(claim) for claim in of_pictures}
    claims = Claims(claim for claim in claimed if id(claim) not in kept)
    order = [copy.id for copy in at.copies]
    homes = Homes(groups)
    unmet = stand_in(unmet, groups, homes)
    notes = leave_known(groups, at.promised, at.copies)
    paths = {shoot.id: [file.path for file in shoot.promise] for shoot in at.promised}
    open_ones = opening(pile.opened, [ware for group in groups for slot in group.slots for ware in contested(slot)])
    promises = [
        make_promise(
            group,
            folder_of=folder_of,
            claims=claims,
            order=order,
            digest=at.digest,
            opens=open_ones,
            used=paths.get(group.known or "", ()),
        )
        for group in groups
    ]
    unmet += [c for c in claimed if id(c) not in kept and id(c) not in claims.met]
    missing = Absent() if at.promised else absent(unmet, groups, homes)
    shoots = _notes_of(at, groups, promises, missing, folder_of)
    lists = _lists(pile)
    return Proposal(
        media=tuple(_medium_note(m, at) for m in at.media.values()),
        copies=_copy_notes(pile),
        shoots=tuple(shoots),
        lists=lists,
        present={id_: frozenset(e.path for e in o.entries) for id_, o in pile.opened.items() if o.state is State.HERE},
        closed={id_: tuple(_folder_named(f) for f in o.unlisted) for id_, o in pile.opened.items() if o.unlisted},
        unread=pile.unread,
        left_out=tuple(_left_out(pile, strangers)),
        notes=(
            *pile.notes,
            *notes,
            *missing.notes,
            *(f"no list can hold the name {n}" for p in promises for n in p.unsafe),
        ),
        gap_s=at.gap_s,
        digest=at.digest,
        deliveries=tuple(sorted({f for w in pile.wares for f in w.folders if naming.is_delivery(f)})),
    )


def _folders(at: Look, pile: _Pile) -> dict[Ware, Names | None]:
    found: dict[Ware, Names | None] = {}
    for id_, some in by_copy(pile.wares).items():
        names = shoot_folders(some, bags=pile.chosen[id_].bags, gap_s=at.gap_s)
        found.update(zip(some, names, strict=True))
    return found


def _notes_of(
    at: Look,
    groups: Sequence[Group],
    promises: Sequence[Promise],
    missing: Absent,
    folder_of: Mapping[Ware, Names | None],
) -> list[ShootNote]:
    taken: set[str] = {shoot.id for shoot in at.promised} | at.reserved
    dated = [shoot_date(group) for group in groups]
    found = []
    for number in sorted(range(len(groups)), key=lambda n: (str(dated[n][0]), n)):
        promise, (day, origin) = promises[number], dated[number]
        lines, said = with_absent(promise.lines, missing.of_group.get(number, ()))
        if not lines:
            continue
        known = groups[number].known
        id_ = known or shoot_name(groups[number], promise.base, day, taken=taken)
        taken.add(id_)
        found.append(
            ShootNote(
                id=id_,
                date=day,
                date_from=origin,
                lines=lines,
                copies=promise.copies,
                base=promise.base,
                why=promise.why,
                disagreements=(*promise.disagreements, *said),
                notes=tuple(_remarks(groups[number], promise, folder_of)),
                known=known is not None,
            )
        )
    return found


def _remarks(group: Group, promise: Promise, folder_of: Mapping[Ware, Names | None]) -> Iterator[str]:
    """Say what is odd about the pictures of a shoot."""
    dated = any(taken_of(slot) is not None for slot in group.slots)
    loose = [slot for slot in group.slots if taken_of(slot) is None and all(folder_of[w] is None for w in slot.wares)]
    if dated and loose:
        names = [slot.wares[0].entry.path for slot in loose]
        yield f"{_some(names, 'loose file')} without a capture time went with it, for they lie or are named next to it"
    broken = [one.content.first for one in promise.chosen if one.content and one.content.first.seen.whole is False]
    if broken:
        names = [f"{ware.copy}: {ware.entry.path}" for ware in broken]
        yield f"{_some(names, 'picture')} cut short, or not what the ending says, on every copy: promised as found"


def _lists(pile: _Pile) -> dict[str, tuple[ListLine, ...]]:
    """Return what each copy was seen to hold. A name that an archive has twice, with other bytes, can be in no list."""
    found: dict[str, dict[str, ListLine]] = {id_: {} for id_, o in pile.opened.items() if o.state is State.HERE}
    twice: dict[str, set[str]] = defaultdict(set)
    for ware in (*pile.wares, *pile.hollow):
        line = ListLine(ware.entry.path, ware.seen.digests)
        if found[ware.copy].setdefault(line.path, line) != line:
            twice[ware.copy].add(line.path)
    for id_, paths in twice.items():
        found[id_] = {path: line for path, line in found[id_].items() if path not in paths}
        pile.notes.append(f"{id_}: {_some(sorted(paths), 'name')} there twice with other bytes: not in its list")
    return {id_: tuple(lines.values()) for id_, lines in found.items() if lines}


def _folder_named(unlisted: str) -> str:
    """Return the beginning of every path in a folder that could not be listed ("wedding (Permission denied)")."""
    folder = unlisted.rpartition(" (")[0]
    return "" if folder == "." else f"{folder}/"  # at the top itself, anything may be hidden


def _medium_note(medium: Medium, at: Look) -> MediumNote:
    where = next((str(c.at) for c in at.copies if c.on == medium.id and c.at is not None), None)
    return MediumNote(medium.id, medium.kind, medium.place, medium.id in at.assumed, where)


def _copy_notes(pile: _Pile) -> tuple[CopyNote, ...]:
    held = by_copy(pile.wares)
    notes = []
    for id_, found in pile.opened.items():
        copy, sizes = found.copy, [ware.seen.size for ware in held.get(id_, ())]
        named = copy.at is not None or copy.url is not None
        reason = found.reason if named else ""
        where = None if copy.at is None else str(copy.at)
        notes.append(
            CopyNote(id_, copy.on, where, copy.form, len(sizes), sum(sizes), reason, is_damaged=found.is_damaged)
        )
    return tuple(notes)


def _left_out(pile: _Pile, strangers: Sequence[Ware]) -> list[str]:
    said: list[str] = []
    for id_, chosen in pile.chosen.items():
        said.extend(f"{id_}: {what}: {count}" for what, count in sorted(chosen.left_out.items()))
    for id_, some in by_copy(strangers).items():
        said.append(f"{id_}: {_some([ware.entry.path for ware in some], 'file')} in no shoot")
    return said


def _some(names: Sequence[str], noun: str) -> str:
    shown = ", ".join(names[:_MOST_NAMED])
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return f"{len(names)} {noun}{'s' if len(names) != 1 else ''} ({shown}{more})"
