"""Backup schemes as drafts of studio files, so that the reader of the file is part of whatever is tested with them.

A draft holds the tables of a studio file as plain values: media in three places (a bag that is carried, a house,
somewhere else), and the steps of a scheme. `strategies.schemes` draws them.

Flows in: tables. Flows out: the text of a studio file, or the Studio that is read from it. Must not know: the calendar.
"""

import tempfile
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from drill.model import Studio
from drill.studio import load_studio
from drill.testing.writing import table

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
        return 'shoots = []\n[studio]\nname = "Reed"\n' + "".join(table(head, row) for head, row in tables)

    def load(self) -> Studio:
        """Return the studio as the program reads it."""
        with tempfile.TemporaryDirectory(prefix="drill-scheme-") as folder:
            file = Path(folder) / "studio.toml"
            file.write_text(self.text(), encoding="utf-8")
            return load_studio(file)
