"""The report as text: what comes back in each scenario, how close each shoot is to a loss, and what to do first.

Flows in: the record. Flows out: text. Must not know: views, faults, terminals (the width is given).
"""

from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import replace

from drill import units
from drill.model import Scenario
from drill.record import VERDICTS, Drill, FileNote, Run
from drill.report.ages_text import ages_text
from drill.report.mend_text import mend_advice, wrong_today
from drill.report.saved_text import saved_text
from drill.report.spot_text import is_only_left_out, spot_text
from drill.report.words import listed, paragraph, safe, table

MOST_ADVICE = 3
ROOM_FOR_SCORES = 96  # columns; on a narrower terminal the scores are in the second table only
ROOM_FOR_SOURCES = 112  # columns; on a narrower terminal the sources are in the record and the report file only

NOT_PROVED = (
    "What this does not prove: it shows what could be restored at this moment from the copies that could be reached, "
    "in the scenarios named. It says nothing about a copy that was not read, about tomorrow, or about a "
    "disaster nobody thought of. What you owe a client is in your contract and in local law."
)


def run_text(run: Run, *, width: int = 80) -> str:
    """Return the whole report of a run."""
    parts = [_head(run, width)]
    if run.drills:
        lines = worst_of_variants(run.drills)
        parts += [spot_text(run, width), _scenario_table(lines, width), _shoot_table(run.drills, width)]
        parts += [saved_text(run.drills, width)]
        parts += [listed("Wrong on the copies today, without any scenario", run.findings, width)]
        parts += [_advice(run, lines, width)]
    parts += [ages_text(run.ages, now=run.now, width=width)]
    parts += [listed("To know", run.notes, width), paragraph(NOT_PROVED, width)]
    return "\n\n".join(part for part in parts if part) + "\n"


def scenarios_text(scenarios: Iterable[Scenario], *, width: int = 80) -> str:
    """Return the list of scenarios by name and title."""
    return table(["Name", "What happens"], [[s.name, s.title] for s in scenarios], width) + "\n"


def badness(drill: Drill) -> tuple[int, float, int, str, str]:
    """Return a key that sorts the worst drill first."""
    return (
        VERDICTS.index(drill.verdict) + (0 if drill.falls_short else len(VERDICTS)),
        drill.score,
        drill.further_failures.survivable,
        drill.shoot,
        drill.scenario,
    )


def worst_of_variants(drills: Sequence[Drill]) -> list[tuple[Drill, int]]:
    """Return, worst first, the worst drill of each shoot × scenario and how many variants it stands for.

    Its restore by hand is the worst of all its variants: what deceives most may be another than what loses most.
    """
    groups: dict[tuple[str, str], list[Drill]] = {}
    for drill in drills:
        groups.setdefault((drill.shoot, drill.scenario), []).append(drill)
    worst = [(_as_worst(group), len(group)) for group in groups.values()]
    return sorted(worst, key=lambda item: badness(item[0]))


def _as_worst(variants: Sequence[Drill]) -> Drill:
    by_hand = max(variants, key=lambda drill: (drill.unchecked.silently_wrong, drill.unchecked.failed)).unchecked
    return replace(min(variants, key=badness), unchecked=by_hand)


def _head(run: Run, width: int) -> str:
    short = sum(1 for drill in run.drills if drill.falls_short)
    many = f"{len(run.drills)} drills (each shoot in each scenario)"
    done = {0: "no drill came to its end", 1: "1 drill"}.get(len(run.drills), many)
    if run.drills:
        done += f", {short} fall{'s' if short == 1 else ''} short" if short else ", none falls short"
    today = wrong_today([one.copy for one in run.mends])
    text = f"{safe(run.studio)}: {done}. {safe(today)}{' ' if today else ''}Now is {run.now}, the seed {run.seed}."
    if not run.complete:
        text = f"NOT FINISHED ({safe(run.unfinished or 'stopped')}). What was done until then: " + text
    if run.not_applicable:
        text += f" Not about this studio: {safe(', '.join(run.not_applicable))}."
    return paragraph(text, width)


def _scenario_table(lines: Sequence[tuple[Drill, int]], width: int) -> str:
    wrong = any(drill.unchecked.silently_wrong for drill, _ in lines)
    columns: list[tuple[str, Callable[[Drill], str]]] = [
        ("Verdict", lambda drill: drill.verdict + (" !" if _misses_only_a_target(drill) else "")),
        ("Back", lambda drill: f"{drill.files.verified}/{drill.files.promised}"),
        ("On paper", lambda drill: str(drill.files.on_paper or "-")),
        ("Lost", lambda drill: str(drill.files.lost or "-")),
        ("Takes", _takes),
    ]
    if width >= ROOM_FOR_SCORES:
        columns.append(("Score", lambda drill: f"{drill.score:.1f}"))
    if width >= ROOM_FOR_SOURCES:
        columns.append(("Comes from", lambda drill: ", ".join(f"{id_} {n}" for id_, n in drill.sources.items()) or "-"))
    if wrong:
        columns.append(("By hand", _by_hand))
    rows = [[drill.shoot, _name(drill, variants), *(say(drill) for _, say in columns)] for drill, variants in lines]
    headers = ["Shoot", "Scenario", *(header for header, _ in columns)]
    title = "What comes back, the worst first"
    return f"{title}\n{table(headers, rows, width, right=(3, 4, 5), firm=(0,))}\n{_legend(lines, width)}"


def _misses_only_a_target(drill: Drill) -> bool:
    return drill.falls_short and drill.verdict == "restored"


def _legend(lines: Sequence[tuple[Drill, int]], width: int) -> str:
    """Explain what the table uses, and nothing else."""
    said = ["Takes: the projected time of a real restore, where something came back."]
    if any(drill.files.on_paper for drill, _ in lines):
        said.append("On paper: a copy that cannot be reached now is said to hold it, which is no proof.")
    if any(drill.verdict == "late" for drill, _ in lines):
        said.append("Late: everything comes back, and takes longer than the target.")
    if width >= ROOM_FOR_SCORES:
        said.append("Score: 100 where every file came back and was verified.")
    if any(_misses_only_a_target(drill) for drill, _ in lines):
        said.append(
            "! Everything comes back, and fewer further failures are survivable afterwards than the target asks."
        )
    if any(variants > 1 for _, variants in lines):
        said.append("Worst of 3: tried on three in turn, this is the worst (in each by-hand cell too).")
    if any(drill.unchecked.silently_wrong for drill, _ in lines):
        said.append(
            "By hand: what a person gets who takes the first copy that opens and believes it. WRONG: other content "
            "without any error message. Fail: not back."
        )
    return paragraph(" ".join(said), width)


def _name(drill: Drill, variants: int) -> str:
    if drill.variant is None:
        return drill.scenario
    return f"{drill.scenario} ({drill.variant}{f', worst of {variants}' if variants > 1 else ''})"


def _takes(drill: Drill) -> str:
    return units.say_span(drill.seconds.projected) if drill.files.verified else "-"


def _by_hand(drill: Drill) -> str:
    unchecked = drill.unchecked
    said = [f"{unchecked.silently_wrong} WRONG"] if unchecked.silently_wrong else []
    if unchecked.failed:
        said.append(f"{unchecked.failed} fail")
    return ", ".join(said) or "right"


def _shoot_table(drills: Sequence[Drill], width: int) -> str:
    shoots: dict[str, list[Drill]] = {}
    for drill in drills:
        shoots.setdefault(drill.shoot, []).append(drill)
    rows = []
    for group in sorted(shoots.values(), key=lambda group: min(map(badness, group))):
        worst = min(group, key=badness)
        nearest = closest(group)
        rows.append(
            [
                worst.shoot,
                f"{sum(1 for drill in group if drill.falls_short)} of {len(group)}",
                f"{min(drill.score for drill in group):.1f}",
                f"{worst.verdict} in {_name(worst, 1)}",
                "files are lost in every scenario" if nearest is None else _further(nearest),
                "-" if nearest is None else weakest(nearest),
            ]
        )
    headers = [
        "Shoot",
        "Fall short",
        "Lowest score",
        "Worst",
        "Nearest to a loss where none is lost",
        "What would take files then",
    ]
    said = (
        "Fall short: in how many of its drills. Nearest to a loss: of the scenarios in which nothing is lost, the one "
        "after which the fewest further failures (of a medium, a place, an account) are survivable, and how many."
    )
    return f"Shoot by shoot\n{table(headers, rows, width, right=(1, 2), firm=(0,))}\n{paragraph(said, width)}"


def closest(group: Sequence[Drill]) -> Drill | None:
    """Return the drill that loses nothing and survives the fewest further failures."""
    whole = [drill for drill in group if drill.further_failures.survivable >= 0]
    return min(whole, key=lambda drill: (drill.further_failures.survivable, badness(drill)), default=None)


def _further(drill: Drill) -> str:
    further = drill.further_failures
    target = "" if further.target is None else f" (target {further.target})"
    return f"{_name(drill, 1)}: survives {further.survivable} more{target}"


def weakest(drill: Drill) -> str:
    """Say which further failures would take files after a drill: the first of the smallest sets."""
    further = drill.further_failures
    if not further.weakest:
        return "-"
    said = " and ".join(event.replace(":", " ", 1) for event in further.weakest[0])
    more = len(further.weakest) - 1
    return said + (f" (or {more} other way{'s' if more > 1 else ''})" if more else "")


def _advice(run: Run, lines: Sequence[tuple[Drill, int]], width: int) -> str:
    said = what_to_do(run, lines)
    calm = paragraph(all_well(run), width)
    parts = [calm] if calm else []
    parts += [paragraph(text, width, first=f"{n}. ", rest="   ") for n, text in enumerate(said, start=1)]
    wrong = silently_wrong(lines)
    if wrong:
        parts.append(paragraph(wrong, width))
    return "What to do first\n" + "\n".join(parts) if said or wrong else ""


def all_well(run: Run) -> str:
    """Say that nothing falls short and no copy is wrong today; nothing where that is not so."""
    well = run.complete and not (run.mends or run.findings or any(drill.falls_short for drill in run.drills))
    return "Nothing falls short." if well else ""


def what_to_do(run: Run, lines: Sequence[tuple[Drill, int]]) -> list[str]:
    """Return what to do first, the most urgent first; `lines` is `worst_of_variants` of the run."""
    short = [drill for drill, _ in lines if drill.falls_short and not is_only_left_out(drill)]
    everywhere = lost_everywhere(run.drills)
    paper = only_said_to_be_back(run.drills)
    said = [_lost_already(shoot, notes, len(paper.get(shoot, ()))) for shoot, notes in everywhere.items()][:MOST_ADVICE]
    said += [safe(mend_advice(one)) for one in run.mends[:MOST_ADVICE]]
    most = max(MOST_ADVICE, len(said) + 1)
    first = list({drill.shoot: drill for drill in reversed(short)}.values())  # the worst of each shoot …
    first.sort(key=badness)
    rest = [drill for drill in short if drill not in first]  # … before a second one of any
    for drill in (*first, *rest):
        known = {note.path for note in everywhere.get(drill.shoot, ())}
        if len(said) < most and (not drill.lost_files or any(n.path not in known for n in drill.lost_files)):
            said.append(to_do(drill, run.titles.get(drill.scenario, drill.scenario), known))
    return said


def lost_everywhere(drills: Sequence[Drill]) -> dict[str, list[FileNote]]:
    """Return, by shoot, the files that are lost in every one of several drills: no disaster is needed to lose them."""
    shoots: dict[str, list[Drill]] = {}
    for drill in drills:
        shoots.setdefault(drill.shoot, []).append(drill)
    found = {}
    for shoot, group in shoots.items():
        common = set.intersection(*({note.path for note in drill.lost_files} for drill in group))
        if common and len(group) > 1:
            found[shoot] = [note for note in group[0].lost_files if note.path in common]
    return found


def only_said_to_be_back(drills: Sequence[Drill]) -> dict[str, set[str]]:
    """Return, by shoot, the files that came back in none of several drills and are on paper in one at least.

    None of a spot check: what that left out was not tried.
    """
    missing: dict[str, list[set[str]]] = {}
    paper: dict[str, set[str]] = {}
    for drill in drills:
        on_paper = {note.path for note in drill.on_paper_files} if drill.sample is None else set()
        missing.setdefault(drill.shoot, []).append(on_paper | {note.path for note in drill.lost_files})
        paper.setdefault(drill.shoot, set()).update(on_paper)
    return {shoot: set.intersection(*sets) & paper[shoot] for shoot, sets in missing.items() if len(sets) > 1}


def _lost_already(shoot: str, notes: Sequence[FileNote], paper: int) -> str:
    said = f", {paper} of them said to be on copies that could not be read" if paper else ""
    return safe(
        f"{shoot}: {_many(len(notes) + paper)} came back in no scenario{said}, such as {notes[0].path} "
        f"({notes[0].why}). No copy that could be read has what was promised: look for these now, on old cards, "
        "with the client, with whoever was sent them, or correct the promise if it is wrong."
    )


def to_do(drill: Drill, title: str, known: Container[str] = ()) -> str:
    """Say what a drill that falls short found, and what would help; `title` is its scenario's, files that are `known`
    to be lost in every scenario are another story."""
    which = f" ({drill.variant})" if drill.variant else ""
    head = f"{drill.shoot}, if this happens: {title}{which}. "
    return safe(head + _remedy(drill, known))


def _remedy(drill: Drill, known: Container[str]) -> str:
    """Say what would help; files that are `known` to be lost in every scenario are another story."""
    files = drill.files
    if files.lost:
        kinds = ", ".join(_of_class(count.lost, kind) for kind, count in drill.by_class.items() if count.lost)
        always = sum(note.path in known for note in drill.lost_files)
        kinds += f"; {always} of these in every scenario" if always else ""
        example = next((note for note in drill.lost_files if note.path not in known), drill.lost_files[0])
        return (
            f"{_many(files.lost)} would be lost ({kinds}), such as {example.path}: {example.why}. Put these files on "
            "one more medium that this does not take: in another place, behind another login. Then drill again."
            + _lost_work(drill)
        )
    if files.on_paper:
        example = drill.on_paper_files[0]
        return (
            f"{_many(files.on_paper)} would only be back if a copy that cannot be reached now is good, such as "
            f"{example.path}: {example.why}. Plug it in or get a new link, and drill again: a list is no proof."
        )
    if drill.verdict == "late":
        target = units.say_span(drill.seconds.target or 0)
        takes = units.say_beside(drill.seconds.projected, drill.seconds.target)
        return (
            f"Everything comes back, but the restore takes {takes} and the target is {target}. A copy on a faster "
            "medium, or one in hand sooner, shortens it; or the target is too tight."
        )
    further = drill.further_failures
    return (
        f"Everything comes back, but after it {_further_failures(further.survivable)} survivable and the target is "
        f"{further.target}: {weakest(drill)} would then take files. Make one more copy that does not share that."
    )


def _lost_work(drill: Drill) -> str:
    work = drill.lost_work
    if work.met or work.target_seconds is None:
        return ""
    allowed = units.say_span(work.target_seconds)
    return f" The lost work reaches back to {work.oldest_lost}; the target allows {allowed}."


def silently_wrong(lines: Sequence[tuple[Drill, int]]) -> str:
    """Say what a restore by hand would have hidden in the worst drill; nothing where it hides nothing."""
    drill = next((drill for drill, _ in lines if drill.unchecked.silently_wrong), None)
    if drill is None:
        return ""
    return safe(
        f"A restore by hand would have looked fine and been wrong: in {drill.scenario}, {drill.shoot} would have come "
        f"back with {_many(drill.unchecked.silently_wrong)} of other content and no error message. Only a check "
        "against the promised digests shows it."
    )


def _of_class(count: int, kind: str) -> str:
    """Count files of a class; people name their own classes, so only the usual names have a form for one."""
    one = {"originals": "original", "edits": "edit", "deliverables": "deliverable"}
    return f"{count} {one.get(kind, kind) if count == 1 else kind}"


def _further_failures(count: int) -> str:
    return "1 further failure is" if count == 1 else f"{count} further failures are"


def _many(count: int) -> str:
    return "1 file" if count == 1 else f"{count} files"
