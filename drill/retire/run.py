"""The whole rehearsal of letting a medium go: open, read what is not proven yet, judge.

Flows in: a studio, a medium, the ledger, options. Flows out: the record, complete or as far as it got. Copies are only
read, and nothing is ever deleted; the one thing written besides the ledger is an archive behind a link, in a folder of
the run's own, removed at the end. Must not know: terminals.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from drill import clock
from drill.copies import LinkSession
from drill.errors import Mistake, Mistakes, Unfinished
from drill.ledger import Ledger
from drill.measured import with_measured_rates
from drill.model import Medium, Studio
from drill.retire.desk import Desk
from drill.retire.facts import cautions, damaged, matter, mendable, notes, thin
from drill.retire.going import going
from drill.retire.holdings import summed
from drill.retire.judge import judge
from drill.retirerecord import Retirement
from drill.shelf import room_for_downloads

UNTARGETED_S = 86400.0
"""How old a proof may be where no target says so: our own choice, so that a run that was cut short can go on."""


@dataclass(frozen=True, slots=True)
class Options:
    """How to ask: the moment that counts as now, and whether everything is read, whatever earlier readings showed."""

    now: datetime
    read: bool = False
    progress: Callable[[str], None] = lambda text: None


def retire(studio: Studio, medium: str, ledger: Ledger, options: Options) -> Retirement:
    """Say whether a medium may be let go. Errors: Mistakes for an unknown id; what stops it later is in the record."""
    whole = medium_named(studio, medium)
    started, begun_s = clock.now(), clock.ticks_s()
    studio, said = with_measured_rates(studio, ledger)
    gone = going(studio, medium)
    run = ledger.begin_run("retire", now=options.now)
    desk = Desk(
        studio,
        gone,
        ledger,
        now=options.now,
        again=options.read,
        untargeted_s=UNTARGETED_S,
        progress=options.progress,
    )
    unfinished: str | None = None
    with LinkSession() as session:
        try:
            with room_for_downloads(studio.copies, studio.scratch) as folder:
                desk.open(session, folder)
                desk.read()
        except KeyboardInterrupt:
            unfinished = "interrupted" + _kept(ledger)
        except Unfinished as error:
            unfinished = str(error)
    options.progress("judging")
    on_it = summed([holding.sum_up() for holding in desk.holdings.values()])
    reasons, shoots = judge(matter(desk, on_it))
    if unfinished is None and reasons and desk.vanished():
        unfinished = f"{desk.vanished()}: plug it in again{_kept(ledger)}"
    try:
        ledger.end_run(run, complete=unfinished is None)
    except Unfinished as error:  # what was found is still told
        unfinished = unfinished or str(error)
    return Retirement(
        studio=studio.name,
        medium=medium,
        kind=whole.kind,
        started=clock.rfc3339(started),
        now=clock.rfc3339(options.now),
        may_go=None if unfinished is not None else not reasons,
        reasons=tuple(reasons),
        shoots=tuple(shoots),
        contents=on_it.counts,
        with_it=gone.media[1:],
        not_counted=tuple(gone.not_counted.items()),
        bytes_read=desk.bytes_read,
        files_read=desk.files_read,
        seconds=round(clock.ticks_s() - begun_s, 3),
        would_help=desk.would_help(),
        but=tuple(thin(desk)),
        damaged=tuple(damaged(desk)),
        mendable=tuple(mendable(desk)),
        cautions=tuple(cautions(desk)),
        notes=(*notes(desk), *said),
        unfinished=unfinished,
    )


def medium_named(studio: Studio, medium: str) -> Medium:
    """Return the medium of that id. Errors: Mistakes that list the ids."""
    if medium in studio.media:
        return studio.media[medium]
    on = next((copy.on for copy in studio.copies if copy.id == medium), None)
    advice = f"that copy is on {on}; " if on is not None else ""
    advice += "media: " + (", ".join(studio.media) or "none yet")
    raise Mistakes([Mistake(str(studio.file), f"MEDIUM {medium}", "no medium has this id", advice)])


def _kept(ledger: Ledger) -> str:
    return "; what was read is kept in the ledger, and the same command goes on from there" if ledger.path else ""
