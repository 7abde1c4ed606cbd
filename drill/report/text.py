"""The report as text: what comes back in each scenario, how close each shoot is to a loss, and what to do first.

Flows in: the record. Flows out: text. Must not know: views, faults, terminals (the width is given).
"""

from collections.abc import Callable, Iterable, Sequence

from drill import units
from drill.model import Scenario
from drill.record import VERDICTS, Drill, Run
from drill.report.words import paragraph, safe, table

ROOM_FOR_SCORES = 96  # columns; on a narrower terminal the scores are in the second table only

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
        parts += [_scenario_table(lines, width), _shoot_table(run.drills, run, width), _advice(run, lines, width)]
    parts += [_notes(run, width), paragraph(NOT_PROVED, width)]
    return "\n\n".join(part for part in parts if part) + "\n"


def scenarios_text(scenarios: Iterable[Scenario], *, width: int = 80) -> str:
    """Return the list of scenarios by name and title."""
    return table(["Name", "What happens"], [[s.name, s.title] for s in scenarios], width) + "\n"


def demo_text(notes: Sequence[str], *, width: int = 80) -> str:
    """Return what the demo's studio has planted, before its report."""
    head = paragraph(
        "Everything in this studio is invented. These gaps and damages were planted; see which drill finds them:", width
    )
    return head + "\n" + "\n".join(paragraph(safe(note), width, first="- ", rest="  ") for note in notes) + "\n"


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
    """Return, worst first, the worst drill of each shoot × scenario and how many variants it stands for."""
    groups: dict[tuple[str, str], list[Drill]] = {}
    for drill in drills:
        groups.setdefault((drill.shoot, drill.scenario), []).append(drill)
    worst = [(min(group, key=badness), len(group)) for group in groups.values()]
    return sorted(worst, key=lambda item: badness(item[0]))


def _head(run: Run, width: int) -> str:
    short = sum(1 for drill in run.drills if drill.falls_short)
    done = (
        f"{len(run.drills)} drills, {short} of them fall short"
        if short
        else f"{len(run.drills)} drills, none falls short"
    )
    text = f"{safe(run.studio)}: {done}. Now is {run.now}, the seed {run.seed}."
    if not run.complete:
        text = f"NOT FINISHED ({safe(run.unfinished or 'stopped')}). What was done until then: " + text
    if run.not_applicable:
        text += f" Not about this studio: {', '.join(run.not_applicable)}."
    return paragraph(text, width)


def _scenario_table(lines: Sequence[tuple[Drill, int]], width: int) -> str:
    wrong = any(drill.unchecked.silently_wrong for drill, _ in lines)
    columns: list[tuple[str, Callable[[Drill], str]]] = [
        ("Verdict", lambda drill: drill.verdict),
        ("Back", lambda drill: f"{drill.files.verified}/{drill.files.promised}"),
        ("On paper", lambda drill: str(drill.files.on_paper or "-")),
        ("Lost", lambda drill: str(drill.files.lost or "-")),
        ("Takes", _takes),
    ]
    if width >= ROOM_FOR_SCORES:
        columns.append(("Score", lambda drill: f"{drill.score:.1f}"))
    if wrong:
        columns.append(("By hand", _by_hand))
    rows = [[drill.shoot, _name(drill, variants), *(say(drill) for _, say in columns)] for drill, variants in lines]
    headers = ["Shoot", "Scenario", *(header for header, _ in columns)]
    title = "What comes back, the worst first"
    return f"{title}\n{table(headers, rows, width, right=(3, 4, 5))}"


def _name(drill: Drill, variants: int) -> str:
    if drill.variant is None:
        return drill.scenario
    return f"{drill.scenario} ({drill.variant}{f', worst of {variants}' if variants > 1 else ''})"


def _takes(drill: Drill) -> str:
    return units.say_span(drill.seconds.projected) if drill.files.verified or drill.files.on_paper else "-"


def _by_hand(drill: Drill) -> str:
    unchecked = drill.unchecked
    said = [f"{unchecked.silently_wrong} WRONG"] if unchecked.silently_wrong else []
    if unchecked.failed:
        said.append(f"{unchecked.failed} fail")
    return ", ".join(said) or "right"


def _shoot_table(drills: Sequence[Drill], run: Run, width: int) -> str:
    shoots: dict[str, list[Drill]] = {}
    for drill in drills:
        shoots.setdefault(drill.shoot, []).append(drill)
    worst = sorted((min(group, key=badness) for group in shoots.values()), key=badness)
    rows = []
    for drill in worst:
        total = len(shoots[drill.shoot])
        short = sum(1 for other in shoots[drill.shoot] if other.falls_short)
        rows.append(
            [
                drill.shoot,
                f"{short} of {total}",
                f"{min(other.score for other in shoots[drill.shoot]):.1f}",
                f"{run.titles.get(drill.scenario, drill.scenario)}: {drill.verdict}",
                _more(drill),
                _weakest(drill),
            ]
        )
    headers = [
        "Shoot",
        "Fall short",
        "Lowest score",
        "Worst scenario",
        "More failures it survives",
        "What would have to break then",
    ]
    return f"Shoot by shoot\n{table(headers, rows, width, right=(1, 2))}"


def _more(drill: Drill) -> str:
    further = drill.further_failures
    if further.survivable < 0:
        return "already lost"
    return f"{further.survivable}" if further.target is None else f"{further.survivable} (target {further.target})"


def _weakest(drill: Drill) -> str:
    further = drill.further_failures
    if further.survivable < 0:
        return "nothing more"
    if not further.weakest:
        return "-"
    said = " and ".join(event.replace(":", " ", 1) for event in further.weakest[0])
    more = len(further.weakest) - 1
    return said + (f" (or {more} other way{'s' if more > 1 else ''})" if more else "")


def _advice(run: Run, lines: Sequence[tuple[Drill, int]], width: int) -> str:
    short = [drill for drill, _ in lines if drill.falls_short]
    if not short:
        wrong = next((drill for drill, _ in lines if drill.unchecked.silently_wrong), None)
        return paragraph(_silent_words(wrong), width) if wrong else ""
    first: list[Drill] = []
    for drill in short:  # one for each shoot before a second one for any
        if drill.shoot not in {chosen.shoot for chosen in first}:
            first.append(drill)
    chosen = (first + [drill for drill in short if drill not in first])[:3]
    said = [
        paragraph(_to_do(drill, run), width, first=f"{number}. ", rest="   ")
        for number, drill in enumerate(sorted(chosen, key=badness), start=1)
    ]
    wrong = next((drill for drill, _ in lines if drill.unchecked.silently_wrong), None)
    if wrong is not None:
        said.append(paragraph(_silent_words(wrong), width))
    return "What to do first\n" + "\n".join(said)


def _to_do(drill: Drill, run: Run) -> str:
    title = run.titles.get(drill.scenario, drill.scenario)
    which = f" ({drill.variant})" if drill.variant else ""
    head = f"{drill.shoot}, if this happens: {title}{which}. "
    return safe(head + _remedy(drill))


def _remedy(drill: Drill) -> str:
    files = drill.files
    if files.lost:
        kinds = ", ".join(f"{count.lost} {kind}" for kind, count in drill.by_class.items() if count.lost)
        example = drill.lost_files[0]
        return (
            f"{_many(files.lost)} would be lost ({kinds}), such as {example.path}: {example.why}. Put these files on "
            "one more medium that this does not take: in another place, behind another login. Then drill again."
        )
    if files.on_paper:
        example = drill.on_paper_files[0]
        return (
            f"{_many(files.on_paper)} would only be back if a copy that cannot be reached now is good, such as "
            f"{example.path}: {example.why}. Plug it in or get a new link, and drill again: a list is no proof."
        )
    if drill.verdict == "late":
        target = units.say_span(drill.seconds.target or 0)
        return (
            f"Everything comes back, but the restore takes {units.say_span(drill.seconds.projected)} and the target is "
            f"{target}. A copy on a faster medium, or one in hand sooner, shortens it; or the target is too tight."
        )
    further = drill.further_failures
    return (
        f"Everything comes back, but after it {further.survivable} further failures are survivable and the target is "
        f"{further.target}: {_weakest(drill)} would take the rest. One more copy that does not share that is missing."
    )


def _silent_words(drill: Drill | None) -> str:
    if drill is None:
        return ""
    return safe(
        f"A restore by hand would have looked fine and been wrong: in {drill.scenario}, {drill.shoot} would have come "
        f"back with {_many(drill.unchecked.silently_wrong)} of other content and no error message. Only a check "
        "against the promised digests shows it."
    )


def _many(count: int) -> str:
    return "1 file" if count == 1 else f"{count} files"


def _notes(run: Run, width: int) -> str:
    if not run.notes:
        return ""
    return "To know\n" + "\n".join(paragraph(safe(note), width, first="- ", rest="  ") for note in run.notes)
