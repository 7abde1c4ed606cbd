"""The page of a drill: the verdict, shoots × scenarios, and what each cell stands for.

Flows in: the record. Flows out: HTML text. Must not know: views, faults, where the page is written.
"""

from drill.record import Run
from drill.report.pages.base import render
from drill.report.pages.grid import frames, order_of_shoots
from drill.report.pages.verdict import run_verdict
from drill.report.text import NOT_PROVED, what_to_do, worst_of_variants


def run_page(run: Run, *, command: str) -> str:
    """Return the page of a run; `command` drills it again, as it is typed."""
    lines = worst_of_variants(run.drills)
    shoots = order_of_shoots(lines)
    return render(
        "run.html",
        title=f"{run.studio}: restore drill",
        verdict=run_verdict(run),
        command=command,
        run=run,
        frames=frames(lines, shoots, run.titles),
        to_do=what_to_do(run, lines),
        not_proved=NOT_PROVED,
    )
