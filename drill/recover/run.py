"""The whole recovery: what is lost is left out, and shoot by shoot everything promised is brought back that can be had.

Flows in: a studio, a folder, what is lost, shoots in order. Flows out: the record, complete or as far as it got; files
in the folder. A second run goes on from what stands there. Must not know: terminals. Plan, restore and judge are the
drill's own: what a drill verifies when the same is gone, comes back.
"""

import shutil
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from drill import clock, units
from drill.copies import LinkSession
from drill.coverage import kinds_of
from drill.errors import NoRoom, Unfinished
from drill.globs import fold
from drill.measured import with_measured_rates
from drill.model import Shoot, Studio
from drill.recover.check import copies_of, disk_notes
from drill.recover.home import Home
from drill.recover.lists import write_lists
from drill.recover.lock import working
from drill.recover.lost import as_scenario, lost_copies, rounds
from drill.recover.names import flush_names
from drill.recover.site import Options, Site, Told
from drill.recover.standing import use_left
from drill.recover.waiting import Waiting, Wanted
from drill.recoverrecord import Elsewhere, Missing, Recovery, ShootBack
from drill.shelf import room_for_downloads


def recover(studio: Studio, into: Path, shoots: Sequence[Shoot], options: Options) -> Recovery:
    """Bring the shoots back into a folder. What stops it is in the record; copies are only read.

    Errors: Mistakes and Unfinished, before anything is brought back.
    """
    started, begun_s = clock.now(), clock.ticks_s()
    studio, _ = with_measured_rates(studio, options.ledger)
    home = Home(into.absolute(), copies_of(studio))
    waiting = Waiting(home, shoots)
    told = {shoot.id: Told() for shoot in shoots}
    notes: list[str] = []
    with working(home):
        run = None
        if options.ledger is not None:
            run = options.ledger.begin_run("recovery", now=options.now, shoots=[*told])
        unfinished = _stopped_by(
            lambda: _bring_all(studio, shoots, options, waiting=waiting, told=told, notes=notes), home
        )
        about_lists = _stopped_by(lambda: _write_lists(home, waiting, told), home)
        unfinished = unfinished or about_lists
        if options.ledger is not None and run is not None:
            ledger, done = options.ledger, unfinished is None
            unfinished = _stopped_by(lambda: ledger.end_run(run, complete=done), home) or unfinished
    return Recovery(
        studio=studio.name,
        started=clock.rfc3339(started),
        now=clock.rfc3339(options.now),
        into=str(into),
        lost=options.lost,
        shoots=tuple(_shoot_back(shoot, waiting.files[shoot.id], told[shoot.id], home) for shoot in shoots),
        bytes_restored=sum(wanted.size for wanted in waiting.all() if wanted.put and not wanted.put.was_there),
        seconds=round(clock.ticks_s() - begun_s, 3),
        notes=tuple(notes),
        unfinished=unfinished,
    )


def _stopped_by(work: Callable[[], None], home: Home) -> str | None:
    """Do a piece of work; return in words what stopped it, so that what was done is still told."""
    try:
        work()
    except KeyboardInterrupt:
        return "interrupted; the same command goes on from there"
    except NoRoom as error:
        text = f"the disk of {home.into} {error.what}; make room and run the same again: it goes on from there"
        return text + (", or bring a shoot to another disk (--shoot)" if error.is_full else "")
    except Unfinished as error:
        return str(error)
    return None


def _bring_all(
    studio: Studio,
    shoots: Sequence[Shoot],
    options: Options,
    *,
    waiting: Waiting,
    told: Mapping[str, Told],
    notes: list[str],
) -> None:
    scenario, lost = as_scenario(options.lost), lost_copies(studio, options.lost)
    present = [copy for copy in studio.copies if copy.id not in lost]
    with room_for_downloads(present, studio.scratch) as downloads, LinkSession() as session:
        site = Site(studio, waiting, options, session)
        try:
            site.open(scenario, lost, downloads)
            notes.extend([*site.notes(lost), *disk_notes(studio, waiting.home.into, options.lost)])
            options.progress("looking at what an earlier run left")
            with waiting.home.disk():
                use_left(waiting, sorted(kinds_of(wanted.file for wanted in waiting.all())), when=site.when)
            # What has to be searched for or salvaged may take hours, and waits until all that is easy to have is back.
            for search in (False, True):
                for shoot, files in rounds(studio, shoots, options.first):
                    site.bring(shoot, files, told[shoot.id], search=search)
        finally:
            notes.extend(site.headers.warnings)
            site.close()
    short = {id_: about.needs for id_, about in told.items() if about.needs is not None}
    if short:
        raise NoRoom(_say_short(short, waiting.home), is_full=True)


def _say_short(short: Mapping[str, int], home: Home) -> str:
    """Say for which shoots there is no room, and how much is."""
    with home.disk():
        free = shutil.disk_usage(home.into).free
    sizes = {id_: units.say_size(needed) if needed else "nobody knows how much" for id_, needed in short.items()}
    each = (f"{id_} ({size})" for id_, size in sizes.items())
    return f"has {units.say_size(free)} free, and no room for what is left of {', '.join(each)}"


def _write_lists(home: Home, waiting: Waiting, told: Mapping[str, Told]) -> None:
    """Write the lists of every shoot of which all that stands in the folder was read. Errors: Unfinished."""
    for id_, about in told.items():
        if about.is_read:
            about.lists = write_lists(home, id_, waiting.files[id_])
    flush_names(home.made)


def _shoot_back(shoot: Shoot, files: Sequence[Wanted], told: Told, home: Home) -> ShootBack:
    back = [(wanted, wanted.put) for wanted in files if wanted.put is not None]
    return ShootBack(
        shoot=shoot.id,
        client=shoot.client,
        promised=len(files),
        found=sum(put.was_there for _, put in back),
        restored=sum(not put.was_there for _, put in back),
        bytes=sum(wanted.size for wanted, _ in back),
        sources=dict(Counter(id_ for wanted, _ in back for id_ in wanted.sources)),
        stitched=sum(len(wanted.sources) > 1 for wanted, _ in back),
        missing=tuple(told.missing.get(w.number) or _not_tried(w) for w in files if w.put is None),
        elsewhere=tuple(
            Elsewhere(wanted.file.path, put.path.relative_to(home.into).as_posix(), put.why)
            for wanted, put in back
            if put.why is not None
        ),
        in_parts=tuple(told.in_parts[w.number] for w in files if w.put is None and w.number in told.in_parts),
        lists=told.lists,
        not_as_promised=tuple(path.relative_to(home.into).as_posix() for path in _not_as_promised(files, told)),
    )


def _not_as_promised(files: Sequence[Wanted], told: Told) -> list[Path]:
    """Return what stands under promised names with other bytes, but for what is another promised file: two names that
    differ in case alone are one on some disks."""
    back = {fold(str(wanted.put.path)) for wanted in files if wanted.put is not None}
    return [path for path in told.wrong if fold(str(path)) not in back]


def _not_tried(wanted: Wanted) -> Missing:
    return Missing(wanted.file.path, wanted.file.kind, "not_tried", "the run ended before")
