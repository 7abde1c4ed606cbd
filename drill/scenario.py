"""Scenario files: what goes wrong, as data. Read strictly; every mistake is collected and raised once.

Flows in: TOML files, by path or by a shipped name. Flows out: Scenario values, and where the shipped schemes are. Must
not know: copies, how a fault reads.
"""

import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from drill import clock, units
from drill.errors import Mistake, Mistakes
from drill.filekind import SCENARIO, check_kind
from drill.model import Hazard, Scenario, Selector, Studio
from drill.studio import KINDS
from drill.tables import Table, is_folder, load_toml, repeated

FORMS = ("folder", "archive", "link")
EACH = ("medium", "place", "account", "copy")
SETTINGS: dict[str, tuple[str, ...]] = {
    "gone": (),
    "unreadable": ("sectors", "count", "sector_size", "files"),
    "altered": ("offsets", "count", "files"),
    "truncated": ("keep", "files"),
    "deleted": ("files",),
    "expired": ("status", "page"),
    "refused": (),
    "encrypted": ("files",),
    "stale": ("before",),
    "slow": ("factor",),
}


def shipped_folder() -> Path:
    """Return the folder of the shipped scenarios: inside an installed package, beside it in a checkout."""
    package = Path(__file__).parent
    installed = package / "shipped_scenarios"
    return installed if installed.is_dir() else package.parent / "scenarios"


def shipped_names() -> list[str]:
    """Return the names of the shipped scenarios, sorted."""
    return sorted(path.stem for path in shipped_folder().glob("*.toml"))


def is_shipped(scenario: Scenario) -> bool:
    """Say whether a scenario is one of the shipped ones, and not another file of its name."""
    return Path(os.path.realpath(scenario.file)).parent == Path(os.path.realpath(shipped_folder()))


def shipped_schemes() -> list[str]:
    """Return the names of the shipped schemes, sorted: whole studio files that plan, and promise nothing."""
    return sorted(path.stem for path in (shipped_folder() / "schemes").glob("*.toml"))


def scheme_path(text: str) -> Path:
    """Return the studio file that a path or the bare name of a shipped scheme means. Errors: Mistakes."""
    if _is_path(text) or os.path.isfile(text):  # noqa: PTH113  # pathlib raises over some names
        return Path(text)
    names = shipped_schemes()
    if text not in names and os.path.isdir(text):  # noqa: PTH112
        raise Mistakes([is_folder(Path(text))])
    if text not in names:
        advice = f"give the path of a studio file, or the name of a scheme that is shipped: {', '.join(names)}"
        raise Mistakes([Mistake(text, "", "there is no such file, and no scheme of that name is shipped", advice)])
    return shipped_folder() / "schemes" / f"{text}.toml"


def load_scenarios(wanted: Sequence[str]) -> tuple[Scenario, ...]:
    """Read scenarios by shipped name or by path; none wanted means all shipped. Errors: Mistakes."""
    mistakes: list[Mistake] = []
    found: list[Scenario] = []
    for text in wanted or shipped_names():
        try:
            found.append(load_scenario(_path(text)))
        except Mistakes as error:
            mistakes.extend(error.mistakes)
    for name in repeated(scenario.name for scenario in found):
        mistakes.append(Mistake("--scenario", name, "is there twice in one run", "rename one, or leave one out"))
    if mistakes:
        raise Mistakes(mistakes)
    return tuple(found)


def _path(text: str) -> Path:
    if _is_path(text):
        return Path(text)
    names = shipped_names()
    if text not in names:
        what = "no scenario of that name is shipped"
        advice = f"shipped: {', '.join(names)}; a file of your own is named with its ending .toml"
        raise Mistakes([Mistake("--scenario", text, what, advice)])
    return shipped_folder() / f"{text}.toml"


def _is_path(text: str) -> bool:
    return "/" in text or "\\" in text or text.lower().endswith(".toml")


def load_scenario(path: Path) -> Scenario:
    """Read one scenario file. Errors: Mistakes."""
    mistakes: list[Mistake] = []
    values = load_toml(path)
    check_kind(values, path, SCENARIO)
    top = Table(values, where=str(path), at="", mistakes=mistakes)
    title, story = top.text("title", required=True) or "", top.text("story", required=True) or ""
    tables = top.tables("hazards")
    if not tables:
        top.wrong("hazards", "nothing goes wrong here", "add a [[hazards]] table with its effect")
    hazards = tuple(_hazard(table) for table in tables)
    if sum(1 for hazard in hazards if hazard.each) > 1:
        top.wrong("hazards", "more than one hazard has `each`", "at most one may have it")
    top.finish()
    if not path.stem.isprintable() or path.stem.startswith("."):
        what = f"{path.stem!r} is no name for a scenario"
        mistakes.append(Mistake(str(path), "", what, "use printable characters, and no dot at the front"))
    if mistakes:
        raise Mistakes(mistakes)
    return Scenario(path.stem, title.strip(), " ".join(story.split()), hazards, str(path))


def read_hazard(values: Mapping[str, Any], *, where: str) -> Hazard:
    """Read one hazard that is written as values, by the rules of a file; `where` names it. Errors: Mistakes."""
    mistakes: list[Mistake] = []
    hazard = _hazard(Table(dict(values), where=where, at="", mistakes=mistakes))
    if mistakes:
        raise Mistakes(mistakes)
    return hazard


def _hazard(table: Table) -> Hazard:
    effect = table.choice("effect", tuple(SETTINGS), required=True)
    hits = _selector(table.table("hits"))
    each = table.choice("each", EACH)
    sectors = _sectors(table)
    hazard = Hazard(
        effect=effect or "gone",
        hits=hits,
        each=each,
        sectors=sectors,
        sector_size=table.whole("sector_size", least=1) or 4096,
        offsets=table.wholes("offsets"),
        count=table.whole("count", least=1),
        keep=_keep(table),
        files=table.globs("files"),
        status=_status(table),
        page=table.flag("page") or False,
        before=_before(table),
        factor=_factor(table),
    )
    table.finish()
    if effect:
        _check_settings(table, hazard)
    return hazard


def _check_settings(table: Table, hazard: Hazard) -> None:
    allowed = SETTINGS[hazard.effect]
    for key in dict.fromkeys(key for keys in SETTINGS.values() for key in keys):
        if table.has(key) and key not in allowed:
            table.wrong(key, f"is no setting of {hazard.effect!r}", "its settings: " + (", ".join(allowed) or "none"))
    choose = {"unreadable": ("sectors", "count"), "altered": ("offsets", "count")}.get(hazard.effect, ())
    given = [key for key in choose if table.has(key)]
    if choose and len(given) != 1:
        table.wrong("effect", f"{hazard.effect!r} needs one of: {', '.join(choose)}", "write exactly one of them")
    for effect, key in (("truncated", "keep"), ("stale", "before"), ("slow", "factor")):
        if hazard.effect == effect and not table.has(key):
            table.wrong(key, f"is missing: {effect!r} needs it", f"add {key} = …")


def _selector(table: Table) -> Selector:
    def words(key: str, choices: Sequence[str]) -> tuple[str, ...] | None:
        given = table.texts(key)
        for word in given or ():
            if word not in choices:
                table.wrong(key, f"{word!r} is not one of them", "use: " + ", ".join(choices))
        return given

    selector = Selector(
        medium=table.texts("medium"),
        kind=words("kind", KINDS),
        place=table.texts("place"),
        account=table.texts("account"),
        copy=table.texts("copy"),
        form=words("form", FORMS),
        attached=table.flag("attached"),
        carried=table.flag("carried"),
        offsite=table.flag("offsite"),
    )
    table.finish()
    return selector


def _sectors(table: Table) -> tuple[int, ...] | str | None:
    if table.raw("sectors") == "worst":
        return "worst"
    if isinstance(table.raw("sectors"), str):
        table.wrong("sectors", 'must be a list of whole numbers from 0, or "worst"')
        return None
    return table.wholes("sectors")


def _keep(table: Table) -> float | int | None:
    value = table.raw("keep")
    if value is None:
        return None
    if type(value) is int and value >= 0:
        return value
    if isinstance(value, str):
        try:
            return units.parse_share(value) if "%" in value else units.parse_size(value)
        except ValueError:
            pass
    table.wrong("keep", f'must be written like "70%", or as a number of bytes, not {value!r}')
    return None


def _status(table: Table) -> int:
    status = table.whole("status", least=100)
    if status is not None and not 400 <= status <= 499:
        table.wrong("status", "an expired link answers with a status from 400 to 499", "leave it out for 410")
    return 410 if status is None else status


def _before(table: Table) -> datetime | None:
    before = table.time("before")
    return clock.moment(before) if before else None


def _factor(table: Table) -> float:
    factor = table.number("factor")
    if factor == 0:
        table.wrong(
            "factor", "must be more than 0: it is a share of the usual rate", 'a drive that is not there is "gone"'
        )
    return factor or 1.0


def check_selectors(scenarios: Iterable[Scenario], studio: Studio) -> None:
    """Refuse selectors that name an id which nobody in this studio has. Errors: Mistakes."""
    known = {
        "medium": set(studio.media),
        "place": set(studio.places),
        "account": {medium.account for medium in studio.media.values() if medium.account},
        "copy": {copy.id for copy in studio.copies},
    }
    mistakes = [
        Mistake(
            scenario.file,
            f"hazards[{number}].hits.{key}",
            f"no {key} of this studio has the id {id_!r}",
            f"ids: {', '.join(sorted(ids)) or 'none'}",
        )
        for scenario in scenarios
        for number, hazard in enumerate(scenario.hazards, start=1)
        for key, ids in known.items()
        for id_ in getattr(hazard.hits, key) or ()
        if id_ not in ids
    ]
    if mistakes:
        raise Mistakes(mistakes)
