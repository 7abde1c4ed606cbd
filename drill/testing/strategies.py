"""Strategies for Hypothesis: small worlds, what goes wrong in them, and backup schemes.

    @given(data=st.data(), world=worlds())
    def test_more_copies_lose_less(data, world):
        mishap = data.draw(damage(world))

Flows in: Hypothesis, an extra of this project. Flows out: World, Mishap and Draft values, all small, as Hypothesis
shrinks what it draws. The rates of drawn schemes are a thousand times too high, so that a few weeks hold as much as a
life and a comparison has something to find. Must not know: what is tested with them.
"""

from collections.abc import Callable, Sequence
from typing import Any

from drill.globs import matcher
from drill.testing.draft import NAMES, RISKS, ZONES, Draft, Table
from drill.testing.effects import Mishap, deleted, encrypted, lost, refused, rotten, truncated, unreadable
from drill.testing.world import MEDIA, PLACES, CopyPlan, World, path_on

try:
    from hypothesis import strategies as st
except ImportError as error:
    what = "drill.testing.strategies draws with Hypothesis, which is not installed here"
    raise ImportError(f"{what}: python -m pip install 'restore-drill[testing]'", name="hypothesis") from error

_SPANS = st.sampled_from(["0 h", "36 min", "2 h", "1 day", "30 h", "3 days", "9 days"])
_GLOBS = (None, ("*A0000*",), ("*.DNG",))
_EFFECTS: tuple[Callable[..., Mishap], ...] = (lost, refused, unreadable, rotten, truncated, deleted, encrypted)


@st.composite
def worlds(draw: st.DrawFn) -> World:
    """Draw a world: 1 to 5 files, 1 to 4 copies (m0 …) that hold any of them, some rotten, renamed or listed."""
    files = draw(st.integers(1, 5))
    numbers = st.frozensets(st.integers(0, files - 1))
    copies = []
    for number in range(draw(st.integers(1, 4))):
        holds = draw(numbers)
        rotten_ones = draw(numbers) & holds
        place = draw(st.sampled_from(PLACES))
        copies.append(CopyPlan(MEDIA[number], place, holds, rotten_ones, draw(st.booleans()), draw(st.booleans())))
    return World(files, tuple(copies))


@st.composite
def damage(draw: st.DrawFn, world: World | None = None) -> Mishap:
    """Draw one thing that goes wrong with one medium: any effect that needs no link, time or rate.

    Of a `world` it always changes something there; without one, the medium may be missing or hold no such file.
    """
    medium = draw(st.sampled_from(MEDIA if world is None else [copy.id for copy in world.copies]))
    held = [] if world is None else [path_on(copy, n) for copy in world.copies if copy.id == medium for n in copy.holds]
    globs = [files for files in _GLOBS if files is None or world is None or any(map(matcher(files), held))]
    effect = draw(st.sampled_from(_EFFECTS))
    settings: dict[str, Any] = {}
    if effect is unreadable:
        settings = draw(st.sampled_from([{"sectors": (0,)}, {"sectors": "worst"}, {"count": 2}]))
    elif effect is rotten:
        settings = draw(st.sampled_from([{"offsets": (3,)}, {"count": 3}]))
    elif effect is truncated:
        settings = {"keep": draw(st.sampled_from(["50%", 10, 0]))}
    elif effect in (deleted, encrypted):
        settings = {"files": draw(st.sampled_from(globs))}
    mishap: Mishap = effect(medium, **settings)
    return mishap


@st.composite
def media_tables(draw: st.DrawFn, earlier: Sequence[str], name: str) -> Table:
    """Draw one medium, which may need or mirror earlier ones."""
    table: Table = {
        "id": name,
        "kind": draw(st.sampled_from(["card", "tablet", "ssd", "hard-disk", "computer", "cloud"])),
        "place": draw(st.sampled_from(["bag", "bag", "house", "barn"])),
        "attached": draw(st.booleans()),
        "fails_per_year": draw(st.sampled_from([0, 0.5, 2, 9])),
    }
    if draw(st.integers(0, 2)) == 0:
        table["account"] = draw(st.sampled_from(["login", "other-login"]))
    if draw(st.integers(0, 2)) == 0:
        table["bus"] = "hub"
    if earlier and draw(st.integers(0, 2)) == 0:
        table["needs"] = draw(st.lists(st.sampled_from(earlier), min_size=1, max_size=2, unique=True))
    if earlier and draw(st.integers(0, 1)) == 0:
        table["mirrors"] = draw(st.sampled_from(earlier))
        if draw(st.integers(0, 2)) == 0:
            table["keeps_versions"] = "30 days"
    return table


def come_again_once(steps: list[Table]) -> None:
    """Take `again` out of steps that follow one that comes again: the program wants it in one of them only."""
    again: set[str] = set()
    for step in steps:
        if step.get("follows") in again:
            step.pop("again", None)
        if "again" in step or "every" in step or step.get("follows") in again:
            again.add(step["id"])


@st.composite
def step_tables(draw: st.DrawFn, media: Sequence[str], earlier: Sequence[str], name: str) -> Table:
    """Draw one step between these media, which may follow an earlier one."""
    do = draw(st.sampled_from(["copy", "copy", "copy", "move", "verify", "erase", "edit"]))
    pair = draw(st.lists(st.sampled_from(media), min_size=2, max_size=2, unique=True))
    table: Table = {"id": name, "do": do}
    if do not in ("verify", "edit"):
        table["from"] = pair[0]
    if do != "erase":
        table["to"] = pair[1]
    if draw(st.booleans()):
        table["after"] = draw(_SPANS)
    if len(earlier) > 0 and draw(st.booleans()):
        table["follows"] = draw(st.sampled_from(earlier))
    if do == "edit":
        return table | draw(st.sampled_from([{}, {"only_when": "home"}, {"only_when": "away"}, {"takes": "50 h"}]))
    if draw(st.integers(0, 2)) == 0:
        table |= draw(rhythms())
    elif draw(st.integers(0, 3)) == 0:
        table["again"] = draw(st.sampled_from(["12 h", "1 day", "50 h"]))
    if draw(st.integers(0, 2)) == 0:
        table["only_when"] = draw(st.sampled_from(["away", "home", "home"]))
    if draw(st.integers(0, 2)) == 0:
        own = {"copy": "to", "move": "to", "erase": "from"}.get(do)  # the program refuses to wait for that one
        others = [id_ for id_ in media if own is None or id_ != table[own]]
        table["only_once_on"] = draw(st.lists(st.sampled_from(others), min_size=1, max_size=2, unique=True))
    if draw(st.integers(0, 3)):
        table["takes"] = draw(st.sampled_from(["0 min", "45 min", "1 day"]))
    table["done"] = draw(st.sampled_from([1, 1, 0.9, 0.5, 0.05]))
    return table


@st.composite
def rhythms(draw: st.DrawFn) -> Table:
    """Draw how often and when a step comes again."""
    every = draw(st.sampled_from(["day", "week", "month", "quarter", "year"]))
    table: Table = {"every": every}
    month_days = st.sampled_from([1, 2, 15, 29, 30, 31])
    on = {
        "day": st.nothing(),
        "week": st.sampled_from(["monday", "saturday", "sunday"]),
        "month": month_days,
        "quarter": month_days,
        "year": st.sampled_from(["01-01", "03-31", "02-29", "11-02"]),
    }[every]
    if every != "day" and draw(st.booleans()):
        table["on"] = draw(st.one_of(on, st.lists(on, min_size=1, max_size=2, unique=True) if every != "year" else on))
    if draw(st.booleans()):
        table["at"] = draw(st.sampled_from(["00:00", "01:30", "02:15", "20:00", "23:59"]))
    return table


@st.composite
def scheme_tables(draw: st.DrawFn, media: Sequence[str]) -> Table:
    """Draw the table of a scheme that begins on some of these media."""
    table: Table = {"made_on": draw(st.lists(st.sampled_from(media), min_size=1, max_size=2, unique=True))}
    table["zone"] = draw(st.sampled_from(ZONES))
    if draw(st.booleans()):
        table |= draw(st.sampled_from([{"begins": "01:30", "ends": "02:30"}, {"begins": "00:00", "ends": "23:30"}]))
    if draw(st.booleans()):
        table["away_for"] = draw(st.sampled_from(["0 h", "6 h", "2 days", "15 days"]))
    if draw(st.booleans()):
        table["home"] = draw(st.sampled_from(["house", "barn"]))
    if draw(st.booleans()):
        table |= {"size": draw(st.sampled_from(["1 GB", "60 GB"])), "files": draw(st.sampled_from([1, 4321]))}
    if draw(st.booleans()):
        table["replaced_within"] = draw(st.sampled_from(["2 days", "10 days", "90 days"]))
    return table


@st.composite
def schemes(draw: st.DrawFn, most_media: int = 4, most_steps: int = 6) -> Draft:
    """Draw a whole scheme: 2 to `most_media` media (at most 4), 1 to `most_steps` steps, rhythms, risks."""
    draft = Draft()
    media: list[str] = []
    for name in NAMES[: draw(st.integers(2, most_media))]:
        draft.media.append(draw(media_tables(list(media), name)))
        media.append(name)
    order = draw(st.permutations(draft.media))  # what mirrors or needs may stand before what it does
    draft.media = list(order)
    for number in range(draw(st.integers(1, most_steps))):
        earlier = [step["id"] for step in draft.steps]
        draft.steps.append(draw(step_tables(media, earlier, f"step-{number}")))
    come_again_once(draft.steps)
    draft.steps = list(draw(st.permutations(draft.steps)))
    draft.scheme = draw(scheme_tables(media))
    draft.risks = {risk: draw(st.sampled_from([0, 0, 0.7, 3])) for risk in RISKS}
    return draft
