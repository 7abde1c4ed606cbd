"""The one sentence of a drill: are the pictures safe, and if not, which, from what, and what to do.

Flows in: the record. Flows out: one sentence, plain text. Must not know: pages, views, faults.
It begins with "Yes" only where every file of every shoot came back in every scenario that was tried, every target that
is set is met, nothing was left out and no copy has wrong files today. Whatever falls short most is what it tells.
"""

from collections.abc import Iterable, Mapping, Sequence

from drill import units
from drill.phrases import count_files, in_a_row, many
from drill.record import Drill, FileNote, Run
from drill.report.spot_text import is_only_left_out
from drill.report.text import badness, lost_everywhere, only_said_to_be_back, weakest

MOST_NAMED = 3


def run_verdict(run: Run) -> str:
    """Return the sentence for a whole run."""
    if not run.drills:
        return "Not known: no drill came to its end, so this says nothing about your pictures."
    begun = "" if run.complete else "Not finished, and of what was tried until then: "
    said = next(filter(None, (say(run) for say in (_lost, _on_paper, _late, _too_close, _sampled, _wrong_today))), None)
    if said is None:
        said = _all_back(run) if run.complete else f"{_all_files(run)} came back. What was not tried is not known."
    return begun + said


def in_scenario(drill: Drill, titles: Mapping[str, str]) -> str:
    """Name what happens in a drill: “The tablet is lost” (tablet)."""
    return f"“{titles.get(drill.scenario, drill.scenario)}”" + (f" ({drill.variant})" if drill.variant else "")


def _lost(run: Run) -> str:
    drills = [drill for drill in run.drills if drill.files.lost]
    if not drills:
        return ""
    everywhere = lost_everywhere(run.drills)
    if everywhere:
        return _lost_already(run, everywhere, [drill for drill in drills if drill.shoot not in everywhere])
    worst = min(drills, key=badness)
    lost, promised = worst.files.lost, worst.files.promised
    share = f"all its {count_files(lost)}" if lost == promised else f"{lost:,} of its {count_files(promised)}"
    step = "put these on one more medium, in another place and behind another login"
    where = in_scenario(worst, run.titles)
    which = _which(run, drills)
    if len({drill.shoot for drill in drills}) == 1:
        return f"No: {which} would lose {share} in {where}: {step}."
    return f"No: {which} would lose files, at worst {worst.shoot}, {share}, in {where}: {step}."


def _lost_already(run: Run, everywhere: Mapping[str, Sequence[FileNote]], others: Sequence[Drill]) -> str:
    """Say what is lost without any disaster; `others` are drills that lose files of other shoots."""
    on_paper = only_said_to_be_back(run.drills)
    paper = sum(len(on_paper.get(shoot, ())) for shoot in everywhere)
    number = sum(map(len, everywhere.values())) + paper
    said = f"No: {count_files(number)} of {listed(list(everywhere))} came back in no scenario at all"
    said += f", {paper:,} of them said to be on copies that could not be read" if paper else ""
    said += f": look for {'it' if number == 1 else 'them'} now, on old cards and with whoever was sent the pictures"
    if others:
        worst = min(others, key=badness)
        shoots = len({drill.shoot for drill in others})
        would = f"{shoots} more shoots would lose files, at worst {worst.shoot}"
        would = f"{worst.shoot} would lose files" if shoots == 1 else would
        said += f"; {would} in {in_scenario(worst, run.titles)}: one more copy in another place would help"
    return f"{said}."


def _on_paper(run: Run) -> str:
    drills = [drill for drill in run.drills if drill.files.on_paper and not is_only_left_out(drill)]
    if not drills:
        return ""
    where = in_scenario(min(drills, key=badness), run.titles)
    return (
        f"Not proved: nothing was lost, but {_which(run, drills)} would need copies that could not be reached, at "
        f"worst in {where}: plug these in or get new links, and drill again."
    )


def _late(run: Run) -> str:
    drills = [drill for drill in run.drills if drill.verdict == "late"]
    if not drills:
        return ""
    worst = max(drills, key=lambda drill: drill.seconds.projected)
    takes = units.say_beside(worst.seconds.projected, worst.seconds.target)
    target = units.say_span(worst.seconds.target or 0)
    return (
        f"Not in time: everything came back, but {_which(run, drills)} would take longer than you allow, at worst "
        f"{worst.shoot}, {takes} where the target is {target}, in {in_scenario(worst, run.titles)}: keep a copy on a "
        "faster medium, or nearer at hand."
    )


def _too_close(run: Run) -> str:
    drills = [drill for drill in run.drills if drill.falls_short and drill.verdict == "restored"]
    if not drills:
        return ""
    worst = min(drills, key=badness)
    return (
        f"Only just: everything came back, but {_which(run, drills)} would then be closer to a loss than you allow, at "
        f"worst {worst.shoot} after {in_scenario(worst, run.titles)}, where losing {weakest(worst)} would take files: "
        "make one more copy that does not share that."
    )


def _wrong_today(run: Run) -> str:
    if not run.mends:
        return ""
    return (
        f"Not yet: {_all_files(run)} came back in every scenario that was tried, but {_wrong_copies(run)} damaged, "
        "missing or changed files today: see below what to copy anew."
    )


def _and_wrong(run: Run) -> str:
    return f", and {_wrong_copies(run)} damaged, missing or changed files today" if run.mends else ""


def _wrong_copies(run: Run) -> str:
    return f"{listed([mend.copy for mend in run.mends])} {'has' if len(run.mends) == 1 else 'have'}"


def _sampled(run: Run) -> str:
    drills = [drill for drill in run.drills if drill.sample is not None]
    if not drills:
        return ""
    left_out = {drill.shoot: drill.sample.left_out for drill in drills if drill.sample is not None}
    if not any(drill.sample.chosen for drill in drills if drill.sample is not None):
        return (
            "Nothing was tried: this spot check pays for no file, and left out "
            f"{count_files(sum(left_out.values()))}: give it more, or drill without it."
        )
    return (
        f"Not proved as a whole: what was tried came back, but this was a spot check that left out "
        f"{count_files(sum(left_out.values()))}{_and_wrong(run)}: drill without it to be sure of all."
    )


def _all_back(run: Run) -> str:
    in_time = ", in time" if any(drill.seconds.target is not None for drill in run.drills) else ""
    scenarios = len({drill.scenario for drill in run.drills})
    each = "the one scenario" if scenarios == 1 else f"each of the {scenarios} scenarios"
    return f"Yes: {_all_files(run)} came back{in_time}, every byte as promised, in {each} that {_was(scenarios)} tried."


def _was(count: int) -> str:
    return "was" if count == 1 else "were"


def _all_files(run: Run) -> str:
    promised = {drill.shoot: drill.files.promised for drill in run.drills}
    return f"all {count_files(sum(promised.values()))} of {many(len(promised), 'shoot')}"


def _which(run: Run, drills: Iterable[Drill]) -> str:
    """Name the shoots of these drills, the worst first, and how many of all they are."""
    shoots = list(dict.fromkeys(drill.shoot for drill in sorted(drills, key=badness)))
    every = len({drill.shoot for drill in run.drills})
    of_all = f" ({len(shoots)} of {many(every, 'shoot')})" if every > 1 else ""
    return f"{listed(shoots)}{of_all}"


def listed(names: Sequence[str]) -> str:
    """Name a few things, and count the rest."""
    if len(names) > MOST_NAMED + 1:
        return f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"
    return in_a_row(names)
