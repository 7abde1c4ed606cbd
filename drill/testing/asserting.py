"""Assertions on runs, which say in plain words what did not come back and why.

Flows in: the record of a run, or a studio that is drilled as it is. Flows out: nothing, or an AssertionError. What a
run did not drill, or did not finish, is never taken for good: asserting it fails. Must not know: views, faults.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path

from drill import units
from drill.globs import matcher
from drill.record import Drill, FileNote, Run
from drill.report.words import safe
from drill.stages import cut_words
from drill.studio import load_studio
from drill.testing.drilling import drilled
from drill.testing.folder import StudioFolder

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
    """Assert that every promised file was restored and verified, in every drill of the run that the words choose.

    `classes` asks only for these classes of files; `within`, such as "48 h", asks that the restore is projected to take
    no longer. Errors: AssertionError, also where the words choose no drill or no file; ValueError for a span.
    """
    kinds = [classes] if isinstance(classes, str) else classes
    wrong = [
        text
        for drill in _chosen(run, shoot, scenario, variant)
        for text in (*_not_back(drill, kinds), *_too_slow(drill, within))
    ]
    _fail(wrong)


def assert_lost(
    run: Run,
    files: str | Sequence[str] = "**",
    *,
    shoot: str | None = None,
    scenario: str | None = None,
    variant: str | None = None,
) -> None:
    """Assert that files that match `files` are lost, one at least, in every drill of the run that the words choose."""
    patterns = [files] if isinstance(files, str) else files
    if not patterns:
        raise AssertionError("no files are named, so nothing would be asserted")
    wrong = [
        f"{_name(drill)}: {pattern} is not lost; lost: {_told(drill.lost_files)}"
        for drill in _chosen(run, shoot, scenario, variant)
        for pattern in patterns
        if not any(matcher([pattern])(note.path) for note in drill.lost_files)
    ]
    _fail(wrong)


def assert_survives(
    studio: StudioFolder | Path | str, *, further_failures: int = 1, shoots: str | Sequence[str] = ()
) -> None:
    """Assert that every file stays on a copy whichever so many media, places and accounts fail; drills as `drilled`.

    Mishaps whose `with` blocks are running count as having happened. Errors: AssertionError, and those of `drilled`.
    """
    loaded = studio.load() if isinstance(studio, StudioFolder) else load_studio(Path(studio))
    wrong = []
    for drill in _chosen(drilled(studio, shoots=shoots), None, None, None):
        found = drill.further_failures
        if found.survivable < 0:
            wrong += [f"{_name(drill)}: something is lost already: {_told(drill.lost_files)}"]
        elif found.survivable < further_failures:
            worst = cut_words(found.weakest[0], loaded)
            many = "failure" if found.survivable == 1 else "failures"
            wrong += [f"{_name(drill)} survives {found.survivable} further {many}, not {further_failures}: {worst}"]
    _fail(wrong)


def _chosen(run: Run, shoot: str | None, scenario: str | None, variant: str | None) -> list[Drill]:
    """Return the drills that the words choose, one at least. Errors: AssertionError."""
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
        there = "; ".join(_name(drill) for drill in run.drills) or "none"
        raise AssertionError(f"this run has no drill of {words}; it has: {there}")
    return found


def _not_back(drill: Drill, classes: Sequence[str]) -> Iterable[str]:
    unknown = [name for name in classes if name not in drill.by_class]
    if unknown:
        yield f"{_name(drill)}: nothing promised is of the class {', '.join(unknown)}; {', '.join(drill.by_class)} are"
    counts = [drill.by_class[name] for name in classes if name in drill.by_class] if classes else [drill.files]
    missing = sum(count.promised - count.verified for count in counts)
    if missing or (not classes and drill.sample is not None):
        of = sum(count.promised for count in counts)
        why = f"lost: {_told(drill.lost_files)}; on paper: {_told(drill.on_paper_files)}"
        yield f"{_name(drill)}: {of - missing} of {of} files came back; {why}"


def _too_slow(drill: Drill, within: str | None) -> Iterable[str]:
    if within is not None and drill.seconds.projected > units.parse_span(within):
        yield f"{_name(drill)}: the restore would take {units.say_span(drill.seconds.projected)}, not {within}"


def _name(drill: Drill) -> str:
    return f"{drill.shoot} under {drill.scenario}" + (f" [{drill.variant}]" if drill.variant else "")


def _told(notes: Sequence[FileNote]) -> str:
    said = "; ".join(f"{note.path!r} ({note.why})" for note in notes[:_MOST_TOLD])
    return (said or "none") + (f"; and {len(notes) - _MOST_TOLD} more" if len(notes) > _MOST_TOLD else "")


def _fail(wrong: Sequence[str]) -> None:
    if wrong:
        raise AssertionError("\n".join(map(safe, wrong)))
