"""Drill a studio from a test: the same rehearsal as `drill run`, without reports and without the ledger.

Flows in: a StudioFolder or the path of any studio file, mishaps, scenarios. Flows out: the record of the run. The
copies are only read, whoever's they are. Must not know: terminals, what a test makes of the run.
"""

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from drill import clock
from drill.errors import Unfinished
from drill.guard import guard_outputs
from drill.model import Scenario, Studio
from drill.record import Run
from drill.rehearse import Options, rehearse
from drill.scenario import check_selectors, load_scenarios
from drill.studio import load_studio
from drill.testing.effects import Mishap, going_on, scenario_of
from drill.testing.folder import StudioFolder
from drill.testing.idle import check_mishaps

SEED = 1


def drilled(
    studio: StudioFolder | Path | str,
    *mishaps: Mishap,
    scenarios: str | Path | Sequence[str | Path] = (),
    shoots: str | Sequence[str] = (),
    seed: int = SEED,
    now: datetime | None = None,
) -> Run:
    """Drill a studio under `mishaps` and those whose `with` blocks are running; without any, as it is.

    `scenarios` (shipped names, or paths of files) are drilled one by one, each with the mishaps on top; without them,
    all mishaps are one scenario, "mishaps" ("as-it-is" where there are none). `shoots` are ids; default: all. The same
    seed and `now` (default: the clock) repeat a drill. Errors: Mistakes, also for a mishap that changes nothing in
    this studio; Unfinished, as a run that was cut short proves nothing.
    """
    loaded = studio.load() if isinstance(studio, StudioFolder) else load_studio(Path(studio))
    outputs = {"[studio] scratch": loaded.scratch or Path(tempfile.gettempdir())}
    guard_outputs(loaded, outputs)
    together = (*going_on(), *mishaps)
    check_mishaps(together, loaded)
    chosen = _scenarios([scenarios] if isinstance(scenarios, str | Path) else scenarios, together, loaded)
    ids = (shoots,) if isinstance(shoots, str) else tuple(shoots)
    run = rehearse(loaded, chosen, Options(seed=seed, now=now or clock.now(), shoots=ids))
    if run.unfinished == "interrupted":
        raise KeyboardInterrupt
    if not run.complete:
        raise Unfinished(run.unfinished or "the drill was cut short")
    return run


def _scenarios(names: Sequence[str | Path], mishaps: Sequence[Mishap], studio: Studio) -> tuple[Scenario, ...]:
    if not names:
        return (scenario_of(mishaps),)
    found = load_scenarios([str(name) for name in names])
    check_selectors(found, studio)
    more = tuple(mishap.hazard for mishap in mishaps)
    return tuple(replace(scenario, hazards=(*scenario.hazards, *more)) for scenario in found)
