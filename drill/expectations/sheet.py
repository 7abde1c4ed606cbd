"""Sheet: a file of expectations, read strictly; every mistake in it, its studio and its scenarios is raised at once.

Flows in: a `*.drill.toml` file, or a studio file by itself. Flows out: what is due. Must not know: copies' contents,
records, who asks. Keys and meanings: README, "Drills as tests".
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from drill.errors import Mistake, Mistakes
from drill.expectations.demands import Accepted, Expected, read_accepted, read_expected
from drill.expectations.match import Matching, Sheet
from drill.filekind import EXPECTATIONS, check_kind
from drill.model import Shoot, Studio
from drill.rehearse import fitting
from drill.scenario import check_selectors, load_scenarios
from drill.studio import load_studio
from drill.tables import Table, load_toml

T = TypeVar("T")


def studio_sheet(path: Path) -> Sheet:
    """Read a studio file by itself: every shipped scenario, every shoot, as a run is judged. Errors: Mistakes."""
    studio, scenarios = load_studio(path), load_scenarios(())
    applying = fitting(studio, scenarios)
    matching = Matching(path, studio, applying, scenarios, studio.shoots)
    return _matched(matching, (Expected(),), ())


def read_sheet(path: Path) -> Sheet:
    """Read a file of expectations, with the studio and the scenarios it names. Errors: Mistakes, all."""
    mistakes: list[Mistake] = []
    values = load_toml(path)
    check_kind(values, path, EXPECTATIONS)
    top = Table(values, where=str(path), at="", mistakes=mistakes)
    base = path.absolute().parent
    named, seed = top.text("studio", required=True), top.whole("seed")
    texts, ids = top.texts("scenarios") or (), top.texts("shoots") or ()
    expected = [read_expected(table) for table in top.tables("expect")] or [Expected()]
    accepted = [one for one in map(read_accepted, top.tables("accepted")) if one is not None]
    top.finish()
    studio = None if named is None else _tried(lambda: load_studio(base / named), mistakes)
    scenarios = _tried(lambda: load_scenarios([_beside(base, text) for text in texts]), mistakes, path)
    if studio is None or scenarios is None:
        raise Mistakes(mistakes)
    shoots = _shoots(studio, ids, top)
    _tried(lambda: check_selectors(scenarios, studio), mistakes)
    applying = _tried(lambda: fitting(studio, scenarios), mistakes, path)
    if applying is None:
        raise Mistakes(mistakes)
    matching = Matching(path, studio, applying, scenarios, shoots)
    if mistakes:  # names are looked at all the same, so that one round mends everything
        raise Mistakes([*mistakes, *matching.mistakes_in(expected), *matching.mistakes_accepted(accepted, None)])
    return _matched(matching, expected, accepted, seed=seed)


def _matched(
    matching: Matching, expected: Sequence[Expected], accepted: Sequence[Accepted], *, seed: int | None = None
) -> Sheet:
    mistakes = [*matching.mistakes_in(expected), *matching.mistakes_accepted(accepted, expected)]
    if mistakes:
        raise Mistakes(mistakes)
    return matching.sheet(expected, accepted, seed=seed)


def _shoots(studio: Studio, ids: Sequence[str], top: Table) -> list[Shoot]:
    known = [shoot.id for shoot in studio.shoots]
    for id_ in ids:
        if id_ not in known:
            top.wrong("shoots", f"{id_!r}: no shoot has this id", "shoots: " + (", ".join(known) or "none yet"))
    return [shoot for shoot in studio.shoots if not ids or shoot.id in ids]


def _beside(base: Path, text: str) -> str:
    """Return a scenario as it is named: a shipped one by its bare name, a file by its path from this file's folder."""
    is_file = "/" in text or "\\" in text or text.lower().endswith(".toml")
    return str(base / text) if is_file else text


def _tried(make: Callable[[], T], mistakes: list[Mistake], path: Path | None = None) -> T | None:
    """Return what is made, or note its mistakes; what an option of the command would be is a key in file `path`."""
    try:
        return make()
    except Mistakes as error:
        mistakes += [one if path is None else _as_key(one, path) for one in error.mistakes]
        return None


def _as_key(mistake: Mistake, path: Path) -> Mistake:
    if mistake.where == "--scenario":
        return Mistake(str(path), "scenarios", f"{mistake.at!r}: {mistake.what}", mistake.advice)
    if mistake.at == "--scenario":
        return Mistake(str(path), "scenarios", mistake.what, mistake.advice)
    return mistake
