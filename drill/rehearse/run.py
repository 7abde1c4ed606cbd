"""The whole run: every shoot under every scenario, one shoot at a time.

Flows in: a studio, scenarios, options. Flows out: the record, complete or as far as it got. Scratch is cleaned whatever
happens. Must not know: terminals.
"""

from collections.abc import Sequence

from drill import clock
from drill.errors import Unfinished
from drill.model import ProofAges, Scenario, Studio
from drill.record import Drill, Mend, Run
from drill.rehearse.exercises import Exercise, exercises, fitting
from drill.rehearse.findings import say_wanting
from drill.rehearse.rehearsal import Options, Rehearsal
from drill.studio import shoots_named


def rehearse(studio: Studio, scenarios: Sequence[Scenario], options: Options) -> Run:
    """Drill the studio. Errors: Mistakes, before anything is written; what stops it later is in the record."""
    started = clock.now()
    chosen = shoots_named(studio, options.shoots)
    applying = fitting(studio, scenarios)
    rehearsal = Rehearsal(studio, applying, options, chosen)
    done: list[tuple[Exercise, Drill]] = []
    unfinished: str | None = None
    findings: list[str] = []
    mends: tuple[Mend, ...] = ()
    ages: list[ProofAges] = []
    try:
        try:
            with rehearsal:
                for shoot in chosen:
                    _drill_shoot(rehearsal, exercises(studio, applying, [shoot]), done)
        finally:
            rehearsal.notes.extend(rehearsal.headers.warnings)
            wanting, mends = rehearsal.wrong_today()
            findings = say_wanting(wanting)
            ages = rehearsal.ages(chosen, anew=True)
    except KeyboardInterrupt:
        unfinished = "interrupted"
    except Unfinished as error:
        unfinished = str(error)
    return Run(
        studio=studio.name,
        started=clock.rfc3339(started),
        now=clock.rfc3339(options.now),
        seed=options.seed,
        complete=unfinished is None,
        not_applicable=tuple(s.name for s in scenarios if s not in applying),
        drills=_by_scenario(done, exercises(studio, applying, chosen[:1])),
        titles={scenario.name: scenario.title for scenario in scenarios},
        findings=tuple(findings),
        mends=mends,
        notes=tuple(rehearsal.notes),
        ages=tuple(ages),
        unfinished=unfinished,
    )


def _drill_shoot(rehearsal: Rehearsal, of_shoot: Sequence[Exercise], done: list[tuple[Exercise, Drill]]) -> None:
    """Drill all exercises of one shoot; their records are added even when a later one fails."""
    try:
        for exercise in of_shoot:
            rehearsal.play(exercise)
    finally:
        done.extend(rehearsal.leave())


def _by_scenario(done: Sequence[tuple[Exercise, Drill]], order: Sequence[Exercise]) -> tuple[Drill, ...]:
    """Return the records scenario by scenario, and within each in the order of the shoots."""
    turn = {exercise.key[1:]: number for number, exercise in enumerate(order)}
    return tuple(record for _, record in sorted(done, key=lambda item: turn[item[0].key[1:]]))
