"""What a cell of the overview opens: one shoot in one scenario, and the shoot it belongs to.

Flows in: drills. Flows out: values for the page. Must not know: HTML, views, faults.
A page of hundreds of shoots says less of each drill, so that it stays one file that a tablet opens at once; `Detail` is
how much. Nothing is left out without its count, and the record (JSON) has it all.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from drill import units
from drill.phrases import count_files
from drill.record import Drill, FileNote
from drill.report.pages.grid import tone
from drill.report.pages.verdict import in_scenario
from drill.report.text import closest, weakest
from drill.report.words import safe


@dataclass(frozen=True, slots=True)
class Detail:
    """How much is told of each drill: copies it came from, reasons, files named under each, letters of a reason, sets
    of further failures; `tables` as tables and lists or as one row, `whole` also of drills in which all came back, of
    the `most` worst at most."""

    copies: int
    reasons: int
    names: int
    letters: int
    sets: int
    tables: bool = False
    whole: bool = True
    most: int = 1_000_000

    def tells(self, number: int, *, short: bool) -> bool:
        """Say whether a drill is told, which is the `number`th of the worst and falls short or not."""
        return number < self.most and (self.whole or short)


DETAILS = (  # the fullest first
    Detail(copies=20, reasons=6, names=8, letters=500, sets=6, tables=True),
    Detail(copies=4, reasons=2, names=2, letters=160, sets=1),
    Detail(copies=3, reasons=1, names=1, letters=60, sets=1),
    Detail(copies=2, reasons=1, names=1, letters=20, sets=1, whole=False),
    *(Detail(copies=2, reasons=1, names=1, letters=20, sets=1, whole=False, most=most) for most in (1500, 500, 0)),
)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why some files did not come back: how many, and the first of them."""

    why: str
    count: int
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Story:
    """One drill as the page tells it: the worst of its variants, `turns` what came of all of them. `lost` and
    `on_paper` are the commonest reasons, the others count `lost_more` and `on_paper_more` files."""

    number: int
    title: str
    drill: Drill
    tone: str
    turns: str
    sources: str
    takes: str
    lost: tuple[Reason, ...]
    lost_more: int
    on_paper: tuple[Reason, ...]
    on_paper_more: int
    further: str
    weakest: tuple[str, ...]
    more_sets: int


@dataclass(frozen=True, slots=True)
class ShootPart:
    """One shoot: its drills of the overview, in how many of all its drills it falls short, what it is nearest to."""

    number: int
    shoot: str
    short: int
    drills: int
    promised: str
    nearest: str
    stories: tuple[Story, ...]


Groups = Mapping[str, Sequence[Drill]]  # by shoot


def by_shoot(drills: Iterable[Drill], shoots: Iterable[str]) -> Groups:
    """Return the drills of each shoot, the shoots in this order."""
    groups: dict[str, list[Drill]] = {shoot: [] for shoot in shoots}
    for drill in drills:
        groups[drill.shoot].append(drill)
    return groups


def shoot_parts(
    groups: Groups, lines: Sequence[tuple[Drill, int]], titles: Mapping[str, str], detail: Detail
) -> list[ShootPart]:
    """Return the shoots in the order of their drills; `lines` are the worst drills, numbered by their place."""
    stories: dict[str, list[Story]] = {shoot: [] for shoot in groups}
    for number, (drill, _) in enumerate(lines):
        if detail.tells(number, short=drill.falls_short):
            alike = [one for one in groups[drill.shoot] if one.scenario == drill.scenario]
            stories[drill.shoot].append(_story(number, drill, alike, titles, detail))
    return [_part(number, shoot, group, stories[shoot], titles) for number, (shoot, group) in enumerate(groups.items())]


def _part(
    number: int, shoot: str, group: Sequence[Drill], stories: Sequence[Story], titles: Mapping[str, str]
) -> ShootPart:
    short = sum(drill.falls_short for drill in group)
    return ShootPart(number, shoot, short, len(group), _promised(group[0]), _nearest(group, titles), tuple(stories))


def _nearest(group: Sequence[Drill], titles: Mapping[str, str]) -> str:
    """Say after which scenario that loses nothing the next loss is nearest."""
    drill = closest(group)
    if drill is None:
        return "Files are lost in every scenario."
    then = f": losing {weakest(drill)} would take files" if drill.further_failures.weakest else ""
    return f"Where none is lost, nearest to it after {in_scenario(drill, titles)}: it survives {_further(drill)}{then}."


def _story(number: int, drill: Drill, alike: Sequence[Drill], titles: Mapping[str, str], detail: Detail) -> Story:
    lost, lost_more = _reasons(drill.lost_files, detail)
    on_paper, on_paper_more = _reasons(drill.on_paper_files, detail)
    sets = [" and ".join(event.replace(":", " ", 1) for event in events) for events in drill.further_failures.weakest]
    return Story(
        number=number,
        title=titles.get(drill.scenario, drill.scenario),
        drill=drill,
        tone=tone(drill),
        turns=_turns(alike),
        sources=_sources(drill.sources, detail.copies),
        takes=say_time(drill),
        lost=lost,
        lost_more=lost_more,
        on_paper=on_paper,
        on_paper_more=on_paper_more,
        further=_further(drill),
        weakest=tuple(sets[: detail.sets]),
        more_sets=max(0, len(sets) - detail.sets),
    )


def _reasons(notes: Iterable[FileNote], detail: Detail) -> tuple[tuple[Reason, ...], int]:
    """Gather files by why they did not come back, the commonest first; return how many files the rest are, too."""
    groups: dict[str, list[str]] = {}
    for note in notes:
        groups.setdefault(note.why, []).append(note.path)
    ordered = sorted(groups.items(), key=lambda item: -len(item[1]))
    named = str if detail.tables else _last_part
    kept = [
        Reason(_clipped(why, detail.letters), len(paths), tuple(map(named, paths[: detail.names])))
        for why, paths in ordered[: detail.reasons]
    ]
    return tuple(kept), sum(len(paths) for _, paths in ordered[detail.reasons :])


def _clipped(text: str, most: int) -> str:
    text = safe(text)
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _last_part(path: str) -> str:
    return path.rpartition("/")[2]


def _sources(sources: Mapping[str, int], most: int) -> str:
    """Write how many files came from which copies, the most first."""
    ordered = sorted(sources.items(), key=lambda item: -item[1])
    said = ", ".join(f"{copy} {count:,}" for copy, count in ordered[:most])
    return said + (f" and {len(ordered) - most} more" if len(ordered) > most else "")


def _turns(alike: Sequence[Drill]) -> str:
    """Say what came of a scenario's variants; nothing where it has but one."""
    if len(alike) < 2:
        return ""
    verdicts = Counter(drill.verdict for drill in alike)
    said = ", ".join(f"{count} {verdict}" for verdict, count in verdicts.most_common())
    return f"The worst of {len(alike)} ({said})."


def _further(drill: Drill) -> str:
    further = drill.further_failures
    if further.survivable < 0:
        return ""
    target = "" if further.target is None else f" (target {further.target})"
    return f"{further.survivable or 'no'} further failure{'s' if further.survivable > 1 else ''}{target}"


def say_time(drill: Drill) -> str:
    """Write how long the real restore would take; nothing where nothing came back."""
    seconds = drill.seconds
    return units.say_beside(seconds.projected, seconds.target) if drill.files.verified else ""


def _promised(drill: Drill) -> str:
    classes = ", ".join(f"{count.promised:,} {kind}" for kind, count in drill.by_class.items())
    return f"{count_files(drill.files.promised)} ({classes})"
