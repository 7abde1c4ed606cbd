"""Assertions on runs, which say in plain words what did not come back and why.

Flows in: the record of a run, or a studio that is drilled as it is. Flows out: nothing, or an AssertionError. What a
run did not drill, or did not finish, is never taken for good: asserting it fails. Their own frames are left out of
pytest's tracebacks, so that the test's line is seen. Must not know: views, faults.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path

from drill import units
from drill.globs import matcher
from drill.phrases import many
from drill.record import Drill, FileNote, Run
from drill.report.words import safe
from drill.stages import cut_words
from drill.testing.asked import a, slip, texts
from drill.testing.drilling import drilled, loaded_studio
from drill.testing.folder import StudioFolder
from drill.testing.unused import check_nothing_unused

_MOST_TOLD = 5


def assert_comes_back(
    run: Run,
    *,
    shoot: str | None = None,
    scenario: str | None = None,
    variant: str | None = None,
    classes: str | Sequence[str] = (),
    within: str | None = None,
) -> None:
    """Assert that every promised file was restored and verified, in time, in every drill of the run the words choose.

    In time is by the studio's target `restore_within`, where it has one; `within`, such as "48 h", takes its place.
    `classes` asks only for these classes of files, whenever they are back (unless `within` says). The time is the
    projected one. Errors: AssertionError, also where the words choose no drill or no file; Mistakes.
    """
    __tracebackhide__ = True
    kinds = texts(classes, function="assert_comes_back", word="classes")
    within_s = _span_s(within)
    _fail(
        text
        for drill in _chosen(run, "assert_comes_back", shoot, scenario, variant)
        for text in (
            *_not_back(drill, kinds, run),
            *_too_slow(drill, drill.seconds.target if within_s is None and not kinds else within_s, run),
        )
    )


def assert_lost(
    run: Run,
    files: str | Sequence[str] = "**",
    *,
    shoot: str | None = None,
    scenario: str | None = None,
    variant: str | None = None,
) -> None:
    """Assert that files that match `files` are lost, one at least, in every drill of the run that the words choose.

    Errors: AssertionError; Mistakes.
    """
    __tracebackhide__ = True
    patterns = texts(files, function="assert_lost", word="files")
    if not patterns:
        raise AssertionError("no files are named, so nothing would be asserted")
    _fail(
        f"{_name(drill, run)}: {pattern} is not lost; lost: {_told(drill.lost_files)}"
        for drill in _chosen(run, "assert_lost", shoot, scenario, variant)
        for pattern in patterns
        if not any(matcher([pattern])(note.path) for note in drill.lost_files)
    )


def assert_survives(
    studio: StudioFolder | Path | str, *, further_failures: int = 1, shoots: str | Sequence[str] = ()
) -> None:
    """Assert that every file stays on a copy whichever so many media, places and accounts fail; drills as `drilled`.

    Mishaps whose `with` blocks are running count as having happened. Errors: AssertionError, and those of `drilled`.
    """
    __tracebackhide__ = True
    loaded = loaded_studio(studio, function="assert_survives")
    a(int, further_failures, function="assert_survives", word="further_failures", advice="give a whole number")
    run = drilled(studio, shoots=shoots)
    wrong = []
    for drill in _chosen(run, "assert_survives", None, None, None):
        found = drill.further_failures
        if found.survivable < 0:
            wrong += [f"{_name(drill, run)}: something is lost already: {_told(drill.lost_files)}"]
        elif found.survivable < further_failures:
            worst = cut_words(found.weakest[0], loaded)
            left = many(found.survivable, "further failure")
            wrong += [f"{_name(drill, run)} survives {left}, not {further_failures}: {worst}"]
    _fail(wrong)


def _chosen(run: Run, function: str, shoot: str | None, scenario: str | None, variant: str | None) -> list[Drill]:
    """Return the drills that the words choose, one at least. Errors: AssertionError, Mistakes."""
    __tracebackhide__ = True
    a(Run, run, function=function, word="run", advice="give it what drilled(…) returns")
    check_nothing_unused()
    if not run.complete:
        raise AssertionError(f"the run was cut short ({run.unfinished}), so it shows nothing")
    if scenario in run.not_applicable:
        raise AssertionError(f"{scenario} hits nothing in this studio, so it was not drilled")
    found = [
        drill
        for drill in run.drills
        if shoot in (None, drill.shoot) and scenario in (None, drill.scenario) and variant in (None, drill.variant)
    ]
    if not found:
        asked = {"shoot": shoot, "scenario": scenario, "variant": variant}
        words = ", ".join(f"{name} {value}" for name, value in asked.items() if value) or "anything"
        there = "; ".join(_name(drill, run) for drill in run.drills) or "none"
        raise AssertionError(f"this run has no drill of {words}; it has: {there}")
    return found


def _not_back(drill: Drill, classes: Sequence[str], run: Run) -> Iterable[str]:
    unknown = [name for name in classes if name not in drill.by_class]
    if unknown:
        there = f"{', '.join(drill.by_class)} are"
        yield f"{_name(drill, run)}: nothing promised is of the class {', '.join(unknown)}; {there}"
    counts = [drill.by_class[name] for name in classes if name in drill.by_class] if classes else [drill.files]
    missing = sum(count.promised - count.verified for count in counts)
    if missing or (not classes and drill.sample is not None):
        of = sum(count.promised for count in counts)
        notes = {"lost": drill.lost_files, "only on paper": drill.on_paper_files}
        why = "; ".join(f"{how}: {_told(found)}" for how, found in notes.items() if found)
        yield f"{_name(drill, run)}: {of - missing} of {of} files came back; {why or 'the others were not tried'}"


def _span_s(within: str | None) -> float | None:
    """Return a span in seconds. Errors: Mistakes."""
    __tracebackhide__ = True
    if within is None:
        return None
    advice = 'give a span such as "48 h"'
    try:
        return units.parse_span(a(str, within, function="assert_comes_back", word="within", advice=advice))
    except ValueError as error:
        raise slip("assert_comes_back", "within", str(error), advice) from None


def _too_slow(drill: Drill, within_s: float | None, run: Run) -> Iterable[str]:
    takes_s = drill.seconds.projected
    if within_s is not None and takes_s > within_s:
        takes, wanted = units.say_span(takes_s), units.say_span(within_s)
        if takes == wanted:
            takes, wanted = f"{takes_s:.4g} s", f"{within_s:.4g} s"
        if takes == wanted:
            takes = f"a little more than {takes}"
        yield f"{_name(drill, run)}: late: the restore would take {takes}, and {wanted} are allowed"


def _name(drill: Drill, run: Run) -> str:
    """Return what was drilled: mishaps of a test by what they are, a scenario by its name."""
    happened = run.titles.get(drill.scenario, "") if drill.scenario == "mishaps" else drill.scenario
    return f"{drill.shoot} under {happened or drill.scenario}" + (f" [{drill.variant}]" if drill.variant else "")


def _told(notes: Sequence[FileNote]) -> str:
    said = "; ".join(f"{note.path!r} ({note.why})" for note in notes[:_MOST_TOLD])
    return (said or "none") + (f"; and {len(notes) - _MOST_TOLD} more" if len(notes) > _MOST_TOLD else "")


def _fail(wrong: Iterable[str]) -> None:
    __tracebackhide__ = True
    told = "\n".join(map(safe, wrong))
    if told:
        raise AssertionError(told)
