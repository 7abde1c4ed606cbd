"""The whole recovery: what is lost is left out, and shoot by shoot everything promised is brought back that can be had.

Flows in: a studio, a folder, what is lost, shoots in order. Flows out: the record, complete or as far as it got; files
in the folder. A second run goes on from what stands there. Must not know: terminals. Plan, restore and judge are the
drill's own: what a drill verifies when the same is gone, comes back.
"""

import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from drill import clock
from drill.copies import LinkSession
from drill.coverage import kinds_of
from drill.errors import NoRoom, Unfinished
from drill.faults import aim
from drill.measured import with_measured_rates
from drill.model import Shoot, Studio
from drill.recover.check import copies_of
from drill.recover.home import Home, flush_names
from drill.recover.lists import write_lists
from drill.recover.lost import as_scenario, rounds
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
    with _working(home):
        run = None if options.ledger is None else options.ledger.begin_run("recovery", now=options.now)
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
        return f"the disk of {home.into} {error.what}; make room and run the same again: it goes on from there"
    except Unfinished as error:
        return str(error)
    return None


@contextmanager
def _working(home: Home) -> Iterator[None]:
    """Make the folder and the one for files on their way, for one run at a time; remove the latter at the end.

    Errors: Unfinished.
    """
    try:
        home.working.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Unfinished(f"{home.into} cannot be written: {error.strerror}") from None
    # A database's lock is let go of by every system when its process ends, however it ends.
    lock = sqlite3.connect(home.working / "lock", timeout=0, isolation_level=None)
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error as error:
        lock.close()
        raise Unfinished(f"another recovery is writing into {home.into}, or it cannot be written ({error})") from None
    try:
        yield
    finally:
        lock.close()
        shutil.rmtree(home.working, ignore_errors=True)


def _bring_all(
    studio: Studio,
    shoots: Sequence[Shoot],
    options: Options,
    *,
    waiting: Waiting,
    told: Mapping[str, Told],
    notes: list[str],
) -> None:
    scenario = as_scenario(options.lost)
    lost = {id_ for id_, fate in aim(scenario, studio, None).items() if fate.removed is not None}
    options.progress("looking at what an earlier run left")
    with waiting.home.disk():
        use_left(waiting, sorted(kinds_of(wanted.file for wanted in waiting.all())))
    present = [copy for copy in studio.copies if copy.id not in lost]
    with room_for_downloads(present, studio.scratch) as downloads, LinkSession() as session:
        site = Site(studio, waiting, options, session)
        try:
            site.open(scenario, lost, downloads)
            notes.extend(site.notes(lost))
            # What has to be searched for or salvaged may take hours, and waits until all that is easy to have is back.
            for search in (False, True):
                for shoot, files in rounds(studio, shoots, options.first):
                    site.bring(shoot, files, told[shoot.id], search=search)
        finally:
            notes.extend(site.headers.warnings)
            site.close()


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
    )


def _not_tried(wanted: Wanted) -> Missing:
    return Missing(wanted.file.path, wanted.file.kind, "not_tried", "the run ended before")
