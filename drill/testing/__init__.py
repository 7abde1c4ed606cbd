"""For people who script their own drills: small studios to try things on, what goes wrong as `with` blocks, assertions.

    from drill.testing import assert_comes_back, drilled, lost, studio_folder

    with studio_folder() as studio, lost("tablet"):
        assert_comes_back(drilled(studio), shoot="heron")

Flows in: a few words, or the path of a studio file (which is only read). Flows out: runs as `drill run` records them,
and AssertionErrors in plain words. `folder` lays studios out, `effects` says what goes wrong as a scenario would,
`doing` does it to the bytes of such a studio's own copies, `drilling` drills, `asserting` judges a run; `strategies`
draws worlds (`world`), schemes (`draft`) and damage for Hypothesis, `fixtures` are pytest's. Nothing but folders
that `made` made in this very process is ever written to. Must not know: terminals.

What a name stands for is loaded when it is first asked for, so that a test program pays for what it uses.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drill.testing.asserting import assert_comes_back, assert_lost, assert_survives
    from drill.testing.doing import really
    from drill.testing.draft import Draft
    from drill.testing.drilling import drilled
    from drill.testing.effects import (
        Mishap,
        deleted,
        encrypted,
        expired,
        lost,
        refused,
        rotten,
        slow,
        stale,
        truncated,
        unreadable,
    )
    from drill.testing.folder import CopyFolder, ShootFiles, StudioFolder, studio_folder
    from drill.testing.strategies import damage as damage
    from drill.testing.strategies import schemes as schemes
    from drill.testing.strategies import worlds as worlds
    from drill.testing.unused import UnusedWarning
    from drill.testing.world import CopyPlan, World, laid_out

__all__ = [  # what `*` gives: not the strategies, which need Hypothesis and are imported by name
    "CopyFolder",
    "CopyPlan",
    "Draft",
    "Mishap",
    "ShootFiles",
    "StudioFolder",
    "UnusedWarning",
    "World",
    "assert_comes_back",
    "assert_lost",
    "assert_survives",
    "deleted",
    "drilled",
    "encrypted",
    "expired",
    "laid_out",
    "lost",
    "really",
    "refused",
    "rotten",
    "slow",
    "stale",
    "studio_folder",
    "truncated",
    "unreadable",
]

_EFFECTS = "Mishap deleted encrypted expired lost refused rotten slow stale truncated unreadable"
_HOMES = {
    "asserting": "assert_comes_back assert_lost assert_survives",
    "drilling": "drilled",
    "folder": "CopyFolder ShootFiles StudioFolder studio_folder",
    "effects": _EFFECTS,
    "doing": "really",
    "draft": "Draft",
    "strategies": "damage schemes worlds",
    "unused": "UnusedWarning",
    "world": "CopyPlan World laid_out",
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names.split()}


def __getattr__(name: str) -> Any:
    """Load what a public name stands for. Errors: AttributeError; ImportError without Hypothesis where it is needed."""
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value
