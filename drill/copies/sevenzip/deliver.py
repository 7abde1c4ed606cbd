"""Members of a 7z archive listed and delivered.

Flows in: a raw stream of the archive's bytes, a password, what is wanted. Flows out: Entries; begin, data and end
calls. Must not know: where the stream comes from. A damaged block costs what comes after the damage in it; other
blocks go on.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from io import RawIOBase

from drill.copies.beside import PIECE, Beside, Piece, Send, Turns
from drill.copies.raw import Steady, Waiting, explain, fail, send
from drill.copies.sevenzip.ahead import Ahead, AheadRun, Wanted, can_go_ahead
from drill.copies.sevenzip.layout import Block, Member, open_layout
from drill.copies.sevenzip.password import refuse_wrong_password
from drill.copies.sevenzip.unpack import Run, why
from drill.model import Entry, Problem, Receiver, Trouble


def list_members(raw: RawIOBase, password: str | None) -> list[Entry]:
    """List the regular files in archive order. Errors: Unreadable, also for a missing or a wrong password."""
    source = Steady(raw)
    layout = open_layout(source, password)
    refuse_wrong_password(source, layout, password)
    return [member.entry for member in layout.members if member.plain]


def deliver_members(raw: RawIOBase, password: str | None, waiting: Waiting, receiver: Receiver) -> None:
    """Deliver what is waiting and found, decoding only the blocks that hold it. Errors: Unreadable."""
    source = Steady(raw)
    layout = open_layout(source, password)
    for member in layout.without_bytes():
        entry = waiting.take(member.index, member.path)
        if entry is not None:
            send(entry, receiver, iter(()), why=explain)
    wanted: list[Wanted] = []
    for block in sorted(layout.blocks, key=lambda block: block.start):
        last = max((n for n, m in enumerate(block.members) if m.plain and m.index in waiting), default=-1)
        if last >= 0:
            wanted.append((block, block.members[: last + 1]))
    if not can_go_ahead(wanted):
        turns = Turns(PIECE)
        with Beside() as beside:
            for block, members in wanted:
                begin = partial(Run, source, block, turns)
                _deliver_block(begin, block, members, waiting=waiting, receiver=receiver, send=beside.send)
        return
    with Ahead(raw, wanted, waiting.indices()) as ahead:
        for (block, members), run in zip(wanted, ahead.runs(), strict=True):
            _deliver_block(run.begun, block, members, waiting=waiting, receiver=receiver, send=send)


def _deliver_block(
    begin: Callable[[], Run | AheadRun],
    block: Block,
    members: Sequence[Member],
    *,
    waiting: Waiting,
    receiver: Receiver,
    send: Send,
) -> None:
    try:
        run = begin()
    except Exception as error:
        _fail_rest(members, why(error, 0, block=block), waiting=waiting, receiver=receiver)
        return
    for number, member in enumerate(members):
        entry = waiting.take(member.index, member.path) if member.plain else None
        if entry is None:
            run.skip(member)
        else:
            pieces = run.bytes_of(member)
            send(entry, receiver, pieces, why=partial(_why, block=block, run=run))
            _take_rest(pieces)
        if run.failure is not None:
            first = why(run.failure, 0, block=block)
            what = "a bad sector" if first.trouble is Trouble.IO else "the damage"
            rest = Problem(first.trouble, f"comes after {what} in the same block of the archive")
            _fail_rest(members[number + 1 :], rest, waiting=waiting, receiver=receiver)
            return


def _why(error: Exception, at: int, *, block: Block, run: Run | AheadRun) -> Problem:
    return why(error, at, block=block, given=run.given)


def _take_rest(pieces: Iterator[Piece]) -> None:
    try:
        for _ in pieces:  # where more is wanted to be left out than came
            pass
    except Exception:
        return  # kept as the run's failure, where it is one


def _fail_rest(members: Sequence[Member], problem: Problem, *, waiting: Waiting, receiver: Receiver) -> None:
    for member in members:
        entry = waiting.take(member.index, member.path) if member.plain else None
        if entry is not None:
            fail([entry], receiver, problem)
