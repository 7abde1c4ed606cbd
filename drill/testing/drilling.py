"""Drill a studio from a test: the same rehearsal as `drill run`, without reports and without the ledger.

Flows in: a StudioFolder or the path of any studio file, mishaps, scenarios. Flows out: the record of the run. The
copies are only read, whoever's they are. Must not know: terminals, what a test makes of the run.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from drill import clock
from drill.errors import Unfinished
from drill.guard import guard_outputs, scratch_of
from drill.model import Scenario, Studio
from drill.record import Run
from drill.rehearse import Options, rehearse
from drill.scenario import check_selectors, load_scenarios
from drill.studio import load_studio
from drill.testing.asked import a, texts
from drill.testing.effects import Mishap, going_on, handed, scenario_of
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
    __tracebackhide__ = True
    handed(mishaps, function="drilled")
    if now is not None:
        a(datetime, now, function="drilled", word="now", advice="give a datetime")
    names = texts(scenarios, function="drilled", word="scenarios")
    loaded = loaded_studio(studio, function="drilled")
    guard_outputs(loaded, scratch_of(loaded))
    together = (*going_on(), *mishaps)
    check_mishaps(together, loaded)
    ids = texts(shoots, function="drilled", word="shoots")
    run = rehearse(loaded, _scenarios(names, together, loaded), Options(seed, now or clock.now(), ids))
    if run.unfinished == "interrupted":
        raise KeyboardInterrupt
    if not run.complete:
        raise Unfinished(run.unfinished or "the drill was cut short")
    return run


def loaded_studio(studio: StudioFolder | Path | str, *, function: str) -> Studio:
    """Read a studio that a function was given. Errors: Mistakes."""
    if isinstance(studio, StudioFolder):
        return studio.load()
    advice = "give a studio_folder, or the path of a studio file"
    path = studio if isinstance(studio, Path) else a(str, studio, function=function, word="studio", advice=advice)
    return load_studio(Path(path))


def _scenarios(names: Sequence[str], mishaps: Sequence[Mishap], studio: Studio) -> tuple[Scenario, ...]:
    if not names:
        return (scenario_of(mishaps),)
    found = load_scenarios(names)
    check_selectors(found, studio)
    more = tuple(mishap.hazard for mishap in mishaps)
    return tuple(replace(scenario, hazards=(*scenario.hazards, *more)) for scenario in found)
