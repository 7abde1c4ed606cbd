"""What a spot check shows, in words: how much was restored, and what that says of the rest.

Flows in: the record. Flows out: text. Must not know: how files were chosen, views, faults. Nothing here says that all
is well: a sample leaves a number of files that may be bad, and a budget says nothing of what it left out.
"""

from collections.abc import Sequence

from drill.record import Drill, Run
from drill.report.words import paragraph, safe, table

SPOT_HEADERS = ("Shoot", "Tried", "Not back", "At most, of all", "In scenarios")


def is_only_left_out(drill: Drill) -> bool:
    """Say whether nothing of a shoot is lost or on paper but what a spot check left out."""
    return drill.sample is not None and not drill.files.lost and drill.files.on_paper == drill.sample.left_out


def spot_text(run: Run, width: int) -> str:
    """Return what a spot check shows, shoot by shoot; nothing where everything was tried."""
    rows = spot_rows(run)
    if not rows:
        return ""
    title = "Spot check: what the files that were tried show of the rest"
    body = table(SPOT_HEADERS, rows, width, right=(1, 2, 3), firm=(0,))
    return f"{title}\n{body}\n{paragraph(spot_meaning(run), width)}"


def spot_rows(run: Run) -> list[list[str]]:
    """Return a row for each different outcome of each shoot, as `SPOT_HEADERS` names it; none without a spot check."""
    shoots: dict[str, list[Drill]] = {}
    for drill in run.drills:
        shoots.setdefault(drill.shoot, []).append(drill)
    return [row for group in shoots.values() for row in _rows(group)]


def _rows(group: Sequence[Drill]) -> list[list[str]]:
    """Return a row for each different outcome of one shoot, the worst first."""
    outcomes: dict[tuple[int, int, int], list[Drill]] = {}
    for drill in group:
        if drill.sample is not None:
            most = -1 if drill.sample.not_back_at_most is None else drill.sample.not_back_at_most
            outcomes.setdefault((drill.sample.not_back, most, drill.sample.chosen), []).append(drill)
    rows = []
    for (not_back, most, chosen), drills in sorted(outcomes.items(), key=lambda item: item[0], reverse=True):
        promised = drills[0].files.promised
        bound = "not known" if most < 0 else f"{most} of {promised}"
        names = list(dict.fromkeys(drill.scenario for drill in drills))
        said = ", ".join(names) if len(names) <= 2 else f"{len(names)} scenarios, such as {names[0]}"
        rows.append([safe(drills[0].shoot), f"{chosen} of {promised}", str(not_back or "-"), bound, safe(said)])
    return rows


def spot_meaning(run: Run) -> str:
    """Say what the rows mean, and what they do not; the run has a spot check."""
    sample = next(drill.sample for drill in run.drills if drill.sample is not None)
    if sample.confidence is None:
        return (
            "The files were chosen by what their reading buys (the never verified first, then the oldest proof), not "
            "by chance: of the others this shows nothing. What was left out is on paper."
        )
    return (
        f"The files were drawn by chance. At {sample.confidence * 100:g} % confidence, for each shoot and scenario by "
        "itself, no more than that many of all its files would not come back. That is a bound, not a count, and it "
        "never means that all is well: what was left out is on paper until it is read."
    )
