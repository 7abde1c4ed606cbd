"""Noting: the drills of a session in the ledger, one run for each file, so that history and proofs know of them.

Flows in: what the reports carried. Flows out: rows in the ledger, and words for what could not be noted. A run counts
as complete when of each shoot that was drilled all exercises of its file were. Must not know: pytest's items.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from drill import clock
from drill.errors import Mistakes, Unfinished
from drill.ledger import DrilledPromise, DrilledScenario, Ledger
from drill.pytest_plugin import Asked
from drill.record import drill_from_json
from drill.report.words import safe

_Key = tuple[str, str, str | None]


def note(heard: Sequence[tuple[float, dict[str, Any]]], asked: Asked) -> list[str]:
    """Note drills, each with the second since 1970 it began at; return in words what was in the way."""
    if asked.no_ledger:
        return []
    files: dict[str, dict[_Key, tuple[float, dict[str, Any]]]] = defaultdict(dict)
    for start_s, told in heard:
        record = told["record"]
        files[told["file"]][record["shoot"], record["scenario"], record["variant"]] = (start_s, told)
    trouble: list[str] = []
    for drills in files.values():
        try:
            _note_run(list(drills.values()), trouble)
        except (Mistakes, Unfinished) as error:
            trouble.append(f"these drills could not be noted in the ledger: {safe(str(error))}")
    return trouble


def _note_run(drills: Sequence[tuple[float, dict[str, Any]]], trouble: list[str]) -> None:
    """Note one file's drills. Errors: Mistakes, Unfinished."""
    told = drills[0][1]
    counts: dict[str, list[int]] = {}
    for _, one in drills:
        counts.setdefault(one["record"]["shoot"], [one["of"], 0])[1] += 1
    is_whole = set(counts) == set(told["shoots"])
    with Ledger.open(Path(told["ledger"]), warn=lambda text: trouble.append(safe(text))) as ledger:
        run = ledger.begin_run(
            "drill",
            now=clock.parse_time(told["now"]),
            seed=told["seed"],
            shoots=() if is_whole else tuple(counts),
            at=datetime.fromtimestamp(min(start_s for start_s, _ in drills), UTC),
        )
        held_to = {one["record"]["shoot"]: one["promise"] for _, one in drills}
        promises = [DrilledPromise(shoot, *promise) for shoot, promise in held_to.items()]
        shipped = {one["record"]["scenario"]: one["shipped"] for _, one in drills}
        scenarios = [DrilledScenario(*each) for each in shipped.items()]
        ledger.add_drills(run, [drill_from_json(one["record"]) for _, one in drills], promises, scenarios)
        ledger.end_run(run, complete=all(made == of for of, made in counts.values()))
