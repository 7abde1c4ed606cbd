"""Shoots × scenarios at a glance: a few narrow tables, one cell for each pair, the worst first.

Flows in: the worst drill of each pair. Flows out: tables of cells. Must not know: HTML, views, faults.
Not one wide table: seven scenarios side by side are what a tablet and a sheet of A4 hold without cutting.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drill.record import Drill
from drill.report.text import badness

MOST_ACROSS = 7  # scenarios in one table
TONES = {"lost": "bad", "partial": "poor", "unproven": "fair", "late": "fair", "restored": "good"}
MEANINGS = {
    "restored": "all back, and every target met",
    "restored !": "all back, but the next loss is nearer than your target allows",
    "late": "all back, but not in time",
    "unproven": "some would be on a copy that could not be reached or was not read: no proof",
    "partial": "some lost",
    "lost": "nothing back",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """One shoot in one scenario: the number of its drill on the page, a word, a count where files are missing, a tone,
    and the share of files that came back, in percent rounded down."""

    number: int
    word: str
    note: str
    tone: str
    share: int
    short: bool


@dataclass(frozen=True, slots=True)
class Frame:
    """One table: scenarios by name and title, and for each shoot its number on the page, its name and its cells; None
    where a pair was not drilled."""

    scenarios: tuple[tuple[str, str], ...]
    rows: tuple[tuple[int, str, tuple[Cell | None, ...]], ...]


def frames(lines: Sequence[tuple[Drill, int]], shoots: Sequence[str], titles: Mapping[str, str]) -> list[Frame]:
    """Return the tables; `lines` are the worst drills and their number of variants, the worst first, and a drill's
    place in it is its number on the page, as a shoot's in `shoots` is the shoot's."""
    cells = {(drill.shoot, drill.scenario): _cell(number, drill) for number, (drill, _) in enumerate(lines)}
    names = list(dict.fromkeys(drill.scenario for drill, _ in lines))
    pieces = -(-len(names) // MOST_ACROSS)
    size = -(-len(names) // pieces) if pieces else 1
    found = []
    for begin in range(0, len(names), size):
        some = names[begin : begin + size]
        rows = [(n, shoot, tuple(cells.get((shoot, name)) for name in some)) for n, shoot in enumerate(shoots)]
        found.append(Frame(tuple((name, titles.get(name, name)) for name in some), tuple(rows)))
    return found


def tone(drill: Drill) -> str:
    """Return good, fair, poor or bad; what comes back and misses a target is fair."""
    return "fair" if drill.verdict == "restored" and drill.falls_short else TONES[drill.verdict]


def key(lines: Sequence[tuple[Drill, int]]) -> list[tuple[str, str, str]]:
    """Return word, tone and meaning of the words that cells have."""
    used = {_word(drill): tone(drill) for drill, _ in lines}
    return [(word, used[word], meaning) for word, meaning in MEANINGS.items() if word in used]


def _word(drill: Drill) -> str:
    return drill.verdict + (" !" if drill.verdict == "restored" and drill.falls_short else "")


def _cell(number: int, drill: Drill) -> Cell:
    files = drill.files
    note = "" if files.verified == files.promised else f"{files.verified}/{files.promised}"
    share = 100 * files.verified // files.promised if files.promised else 0
    return Cell(number, _word(drill), note, tone(drill), share, drill.falls_short)


def order_of_shoots(lines: Sequence[tuple[Drill, int]]) -> list[str]:
    """Return the shoots, the one with the worst drill first."""
    return list(dict.fromkeys(drill.shoot for drill, _ in sorted(lines, key=lambda line: badness(line[0]))))
