"""Which kind of file one is, by its keys: so that the wrong one is told in a line, not in one for each of its keys.

Flows in: the values of a TOML file, the kind that is asked for. Flows out: nothing, or the mistake and what to type.
Must not know: what the keys mean.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from drill.errors import Mistake, Mistakes

STUDIO, SCENARIO, EXPECTATIONS = "studio file", "scenario", "file of expectations"
# What no other kind of file has, each with what it is written as: a table, a list of tables, a text.
_KEYS: Mapping[str, tuple[tuple[str, type], ...]] = {
    STUDIO: (("studio", dict), ("media", list), ("copies", list)),
    SCENARIO: (("hazards", list),),
    EXPECTATIONS: (("studio", str), ("expect", list), ("accepted", list)),
}
_ADVICE: Mapping[tuple[str, str], str] = {
    (STUDIO, SCENARIO): "name your studio file first: drill run YOUR-studio.toml --scenario {path}",
    (STUDIO, EXPECTATIONS): "name your studio file; what is expected of it pytest tells: pytest {path}",
    (SCENARIO, STUDIO): "a scenario has a title, a story and [[hazards]]; a shipped one goes by its name alone",
    (
        SCENARIO,
        EXPECTATIONS,
    ): "a scenario has a title, a story and [[hazards]]; expectations go to pytest: pytest {path}",
    (EXPECTATIONS, STUDIO): "a name that ends in .drill.toml is for expectations: call it something else",
    (EXPECTATIONS, SCENARIO): "a name that ends in .drill.toml is for expectations: call it something else",
}


def check_kind(values: Mapping[str, Any], path: Path, wanted: str) -> None:
    """Refuse a file that by its keys is plainly of another kind than is wanted. Errors: Mistakes."""
    kinds = [kind for kind, keys in _KEYS.items() if any(isinstance(values.get(key), type_) for key, type_ in keys)]
    if len(kinds) == 1 and kinds[0] != wanted:
        advice = _ADVICE[wanted, kinds[0]].format(path=path)
        raise Mistakes([Mistake(str(path), "", f"is a {kinds[0]}, not a {wanted}", advice)])
