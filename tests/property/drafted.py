"""Small random backup schemes as studio files, so that the reader of the file is part of what is compared.

A draft holds the tables of a studio file as plain values: up to four media in three places (a bag that is carried, a
house, somewhere else), with needs, mirrors, accounts and buses, and up to six steps. Rates are a thousand times too
high, so that a few weeks hold as much as a life and a comparison has something to find.
"""

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from drill.model import Studio
from drill.studio import load_studio

Table = dict[str, Any]
RISKS = ("theft", "fire", "lockout", "deletion", "attack", "rot")
PLACES: tuple[Table, ...] = ({"id": "bag", "carried": True}, {"id": "house"}, {"id": "barn", "offsite": True})
BUSES: tuple[Table, ...] = ({"id": "hub", "carries": "30 MB/s"},)
ZONES = ("UTC", "Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu")
NAMES = ("kiln", "reed", "heron", "marsh")
# Days around which clocks change in some of the zones, months and years end, and one that is there every fourth year.
DAYS = (
    date(2026, 3, 27),
    date(2026, 10, 23),
    date(2026, 10, 30),
    date(2027, 12, 30),
    date(2028, 2, 29),
    date(2026, 7, 4),
)


@dataclass
class Draft:
    """The tables of a studio file that is being thought up."""

    media: list[Table] = field(default_factory=list)
    steps: list[Table] = field(default_factory=list)
    scheme: Table = field(default_factory=dict)
    risks: Table = field(default_factory=lambda: dict.fromkeys(RISKS, 0.0))

    def text(self) -> str:
        """Return the studio file."""
        tables = [("[scheme]", self.scheme), ("[risks]", self.risks)]
        for name, rows in (("places", PLACES), ("buses", BUSES), ("media", self.media), ("steps", self.steps)):
            tables.extend((f"[[{name}]]", row) for row in rows)
        return 'shoots = []\n[studio]\nname = "Reed"\n' + "".join(_written(head, table) for head, table in tables)

    def load(self) -> Studio:
        """Return the studio as the program reads it."""
        with tempfile.TemporaryDirectory(prefix="drill-scheme-") as folder:
            file = Path(folder) / "studio.toml"
            file.write_text(self.text(), encoding="utf-8")
            return load_studio(file)


def _written(head: str, table: Mapping[str, Any]) -> str:
    return f"{head}\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in table.items())


@st.composite
def media_tables(draw: st.DrawFn, earlier: list[str], name: str) -> Table:
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


SPANS = st.sampled_from(["0 h", "36 min", "2 h", "1 day", "30 h", "3 days", "9 days"])


@st.composite
def step_tables(draw: st.DrawFn, media: list[str], earlier: list[str], name: str) -> Table:
    do = draw(st.sampled_from(["copy", "copy", "copy", "move", "verify", "erase"]))
    pair = draw(st.lists(st.sampled_from(media), min_size=2, max_size=2, unique=True))
    table: Table = {"id": name, "do": do}
    if do != "verify":
        table["from"] = pair[0]
    if do != "erase":
        table["to"] = pair[1]
    if draw(st.booleans()):
        table["after"] = draw(SPANS)
    if earlier and draw(st.booleans()):
        table["follows"] = draw(st.sampled_from(earlier))
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
def scheme_tables(draw: st.DrawFn, media: list[str]) -> Table:
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
def drafts(draw: st.DrawFn, most_media: int = 4, most_steps: int = 6) -> Draft:
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
