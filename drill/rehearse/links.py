"""Links are asked in every drill they take part in, whether their bytes are shared or not: one that has expired by now
must not count.

Flows in: the bench's stage and a shoot's claims. Flows out: what the servers answered. Must not know: verdicts.
"""

from collections.abc import Callable, Container, Mapping, Sequence
from functools import partial

from drill.copies import LinkSession, link_url, probe_link
from drill.errors import CannotReach, CannotRead
from drill.extents import Kept
from drill.model import Digest, Entry, Problem, Trouble
from drill.rehearse.bench import Bench, Case
from drill.rehearse.parts import Parts
from drill.rehearse.reads import Read, Reads
from drill.rehearse.stage import Stage
from drill.restore import Key
from drill.shelf import OpenCopy

MOST_SILENT = 3  # files without an answer after which a server counts as silent


def set_bench(
    stage: Stage,
    cases: Sequence[Case],
    *,
    copies: Mapping[str, OpenCopy],
    reads: Reads,
    session: LinkSession,
    promised: Container[Digest],
    parts: Parts | None = None,
    kept_of: Callable[[str], Sequence[Kept]] = lambda id_: (),
) -> Bench:
    """Ask every link that this stage leaves for one small answer, and lay out the bench accordingly.

    `parts` are what earlier drills have salvaged; `kept_of` gives the headers that are kept of an archive.
    """
    unreached: dict[str, str] = {}
    refused: dict[str, str] = {}
    seen: dict[str, dict[Key, Read]] = {}
    for id_, faulted in stage.usable.items():
        copy = copies[id_].copy
        if copy.url is None or any(blow.hazard.effect == "expired" for blow in stage.fates[id_].blows):
            continue
        try:
            if copy.archive is not None:
                probe_link(copy.url, session=session)
                continue
            claimed = [c.entry for case in cases for c in case.claims.get(id_, ()) if c.entry]
            told = partial(reads.on_read, copies[id_])
            seen[id_] = _ask_in_turn([e for e in claimed if not faulted.hides(e)], copy.url, session, told)
        except CannotReach as error:
            unreached[id_] = str(error)
        except CannotRead as error:
            refused[id_] = str(error)
    bench = Bench(
        stage,
        copies=copies,
        reads=reads,
        unreached=unreached,
        refused=refused,
        promised=promised,
        parts=parts or Parts(reads),
        kept_of=kept_of,
    )
    bench.seen |= {id_: found for id_, found in seen.items() if id_ in bench.usable}
    return bench


def _ask_in_turn(
    entries: Sequence[Entry], base: str, session: LinkSession, told: Callable[[Entry, Read], None]
) -> dict[Key, Read]:
    """Ask for one file after the other until the server gives one; return what went wrong with those before.

    `told` gets it too: it is no rehearsed fault. Errors: CannotReach, where the server is silent as a whole.
    """
    seen: dict[Key, Read] = {}
    silent = 0
    for entry in entries:
        try:
            probe_link(link_url(base, entry.path), session=session)
            break  # it answers; the others are asked when they are needed
        except CannotRead as error:
            problem = Problem(Trouble.REFUSED, str(error))
        except CannotReach as error:
            silent += 1
            if session.is_silent(base) or silent == MOST_SILENT:
                raise
            problem = Problem(Trouble.UNREACHABLE, str(error))
        seen[entry.path, entry.index] = Read(problem, 0, 0.0, None, None)
        told(entry, seen[entry.path, entry.index])
    return seen
