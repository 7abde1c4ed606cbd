"""A studio that can be attested: one client's shoots on three media, drilled and audited; and another client's.

Flows in: what each shoot promises, digest kinds. Flows out: a folder with a studio file, and a ledger with a past.
Every name that a client must not see has PRIVATE in it.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import xxhash

from drill import audit, clock
from drill.cli.run import recorded
from drill.ledger import Ledger
from drill.model import Studio
from drill.record import Run
from drill.rehearse import Options
from drill.sampling import Spot
from drill.scenario import load_scenarios, shipped_names
from drill.studio import load_studio

PRIVATE = "zzprivate"
CLIENT = "Reed & Sons"
OURS = "reed-portraits"
MEDIA = {"a": "hard-disk", "b": "ssd", "c": "computer"}
WITHOUT_A = f"""title = "{PRIVATE} drive a is gone"
story = "It fell."
[[hazards]]
effect = "gone"
hits = {{ medium = "{PRIVATE}-a" }}
"""
LONG_AGO_S = 1_700_000_000  # a reading of what was written just now is not remembered
Files = Mapping[str, bytes]
_DIGESTS: Mapping[str, Callable[[bytes], str]] = {
    "sha256": lambda data: sha256(data).hexdigest(),
    "xxh128": xxhash.xxh128_hexdigest,
    "xxh32": xxhash.xxh32_hexdigest,
}


def pictures(shoot: str, count: int = 2) -> dict[str, bytes]:
    """Return files of a shoot: as many delivered as original ones."""
    raw = {f"raw/{number:04d}.dng": f"{shoot} raw {number}".encode() * 99 for number in range(count)}
    return raw | {f"deliver/{number:04d}.jpg": f"{shoot} jpg {number}".encode() * 50 for number in range(count)}


@dataclass(frozen=True, slots=True)
class World:
    """A studio on disk."""

    folder: Path

    @property
    def file(self) -> Path:
        """Return the studio file."""
        return self.folder / "studio.toml"

    @property
    def studio(self) -> Studio:
        """Return the studio as it is written now."""
        return load_studio(self.file)

    def at(self, medium: str) -> Path:
        """Return where a medium's copy lies."""
        return self.folder / f"{PRIVATE}-media" / medium

    @property
    def scenario(self) -> Path:
        """Return a scenario of the photographer's own, in which medium a is gone."""
        return self.folder / f"{PRIVATE}-own.toml"

    def drill(self, *scenarios: str | Path, shoots: Sequence[str] = (), spot: Spot | None = None) -> Run:
        """Drill, by default all shipped scenarios and one's own, and note it."""
        names = [str(name) for name in scenarios or [*shipped_names(), self.scenario]]
        studio = self.studio
        with Ledger.open(studio.ledger) as ledger:
            options = Options(seed=7, now=clock.now(), shoots=tuple(shoots), spot=spot)
            return recorded(studio, load_scenarios(names), options, ledger)

    def audit(self, *, shoots: Sequence[str] = (), copies: Sequence[str] = ()) -> None:
        """Read copies through, by default all, and note it."""
        studio = self.studio
        with Ledger.open(studio.ledger) as ledger:
            only = {"shoots": tuple(shoots), "copies": tuple(copies)}
            audit.audit(studio, ledger, audit.Options(now=clock.now(), new_seed=1, **only))


def laid(
    folder: Path,
    shoots: Mapping[str, Files] | None = None,
    *,
    kind: str = "sha256",
    client: str = CLIENT,
    targets: str = "",
    name: str = "Kiln Light",
) -> World:
    """Lay out a studio: the client's shoots, and one of somebody else; every medium holds everything."""
    world = World(folder)
    shoots = {OURS: pictures(OURS)} if shoots is None else shoots
    other = f"{PRIVATE}-shoot"
    every: dict[str, Files] = {**shoots, other: pictures(other)}
    folder.mkdir(exist_ok=True)
    for medium in MEDIA:
        for shoot, files in every.items():
            for path, data in files.items():
                target = world.at(medium) / shoot / path
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(data)
                os.utime(target, (LONG_AGO_S, LONG_AGO_S))
    for shoot, files in every.items():
        promise(world, shoot, files, kind=kind)
    world.scenario.write_text(WITHOUT_A, encoding="utf-8")
    clients = dict.fromkeys(shoots, client) | {other: f"{PRIVATE} & Co"}
    world.file.write_text(_text(clients, kind=kind, targets=targets, name=name), encoding="utf-8")
    return world


def promise(world: World, shoot: str, files: Files, *, kind: str = "sha256") -> None:
    """Write what is promised of a shoot."""
    lines = "".join(f"{_DIGESTS[kind](data)}  {path}\n" for path, data in files.items())
    (world.folder / f"{shoot}.{kind}").write_text(lines, encoding="utf-8")


def _text(clients: Mapping[str, str], *, kind: str, targets: str, name: str) -> str:
    text = f"[studio]\nname = {_quoted(name)}\n[targets]\n{targets}\n"
    text += '[classes]\noriginals = ["raw/**"]\ndeliverables = ["deliver/**"]\n'
    for shoot, client in clients.items():
        text += f'[[shoots]]\nid = "{shoot}"\ndate = 2026-09-12\nclient = {_quoted(client)}\n'
        text += f'manifest = "{shoot}.{kind}"\n'
    text += f'[[places]]\nid = "{PRIVATE}-b"\noffsite = true\n'
    for medium, sort in MEDIA.items():
        place = f"{PRIVATE}-{'den' if medium == 'c' else medium}"
        text += f'[[media]]\nid = "{PRIVATE}-{medium}"\nkind = "{sort}"\nplace = "{place}"\n'
        text += f'[[copies]]\non = "{PRIVATE}-{medium}"\nat = "{PRIVATE}-media/{medium}"\n'
    return text


def _quoted(text: str) -> str:
    escaped = "".join(f"\\U{ord(char):08x}" if not char.isprintable() or char in '"\\' else char for char in text)
    return f'"{escaped}"'
