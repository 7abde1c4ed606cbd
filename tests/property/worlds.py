"""Small random studios over real temporary files, drilled in this process; the laws are stated over them.

A world: up to five promised files with different bytes, up to four copies on media in three places, each holding some
of the files under names of its own, some of them rotten. Hazards of every kind hit copies by id.
"""

import hashlib
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from hypothesis import strategies as st

from drill.model import Hazard, Scenario, Selector
from drill.record import Run, to_json
from drill.rehearse import Options, rehearse
from drill.sampling import Spot
from drill.studio import load_studio

PLACES = ("bag", "home", "away")
NOW = datetime(2026, 10, 1, tzinfo=UTC)


@dataclass(frozen=True)
class CopyPlan:
    """One copy: its place, which promised files it holds, which of these are rotten, whether its names are its own."""

    id: str
    place: str
    holds: frozenset[int]
    rotten: frozenset[int] = frozenset()
    renamed: bool = False
    listed: bool = False


@dataclass(frozen=True)
class World:
    """A promise of `files` files, and copies."""

    files: int
    copies: tuple[CopyPlan, ...]


def content(number: int) -> bytes:
    return f"picture {number} ".encode() * (300 + 50 * number)


def name(copy: CopyPlan, number: int) -> str:
    return f"DCIM/100REED_/R{number + 7:04d}.DNG" if copy.renamed else f"raw/A{number:04d}.dng"


def build(world: World, folder: Path) -> Path:
    """Write the world's files and its studio file."""
    lines = [f"{hashlib.sha256(content(n)).hexdigest()}  raw/A{n:04d}.dng\n" for n in range(world.files)]
    (folder / "reed.sha256").write_text("".join(lines))
    text = '[studio]\nname = "Reed"\nscratch = "scratch"\n'
    text += '[[shoots]]\nid = "reed"\ndate = 2026-09-12\nmanifest = "reed.sha256"\n'
    for copy in world.copies:
        text += f'[[media]]\nid = "{copy.id}"\nkind = "ssd"\nplace = "{copy.place}"\nrecognised_by = "here.txt"\n'
        text += f'[[copies]]\non = "{copy.id}"\nat = "media/{copy.id}"\n'
        root = folder / "media" / copy.id
        root.mkdir(parents=True)
        (root / "here.txt").write_text("this drive is plugged in")
        listed = []
        for number in sorted(copy.holds):
            path = root / name(copy, number)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content(number)[::-1] if number in copy.rotten else content(number))
            listed.append(f"{hashlib.md5(content(number), usedforsecurity=False).hexdigest()}  {name(copy, number)}\n")
        if copy.listed and listed and not copy.renamed:
            (folder / f"{copy.id}.md5").write_text("".join(listed))
            text += f'manifest = "{copy.id}.md5"\n'
    path = folder / "studio.toml"
    path.write_text(text)
    return path


@contextmanager
def laid_out(world: World) -> Iterator[Path]:
    """Lay a world out in a temporary folder; yield its studio file."""
    folder = Path(tempfile.mkdtemp(prefix="drill-world-"))
    try:
        yield build(world, folder)
    finally:
        shutil.rmtree(folder)


def run(studio_file: Path, hazards: Sequence[Hazard], seed: int = 1, spot: Spot | None = None) -> Run:
    """Drill a laid-out world under hazards; without any, one that slows everything stands for no fault."""
    none = Hazard("slow", Selector(), factor=1.0)
    scenario = Scenario("law", "A law", "A story.", tuple(hazards) or (none,))
    return rehearse(load_studio(studio_file), [scenario], Options(seed=seed, now=NOW, spot=spot))


def verified(record: Run) -> set[str]:
    """Return the promised paths that came back."""
    assert record.complete, record.unfinished
    (drill,) = record.drills
    gone = {note.path for note in (*drill.lost_files, *drill.on_paper_files)}
    assert drill.files.promised == drill.files.verified + drill.files.on_paper + drill.files.lost
    assert drill.bytes.promised == drill.bytes.verified + drill.bytes.on_paper + drill.bytes.lost
    assert len(gone) == drill.files.promised - drill.files.verified
    return {f"raw/A{n:04d}.dng" for n in range(drill.files.promised)} - gone


def comparable(record: Run) -> object:
    """Return the record without what depends on the clock."""
    value = to_json(record)
    del value["started"]
    for drill in value["drills"]:
        del drill["seconds"]["measured"]
    return value


def sound(world: World) -> World:
    """Return the world without rot."""
    return replace(world, copies=tuple(replace(copy, rotten=frozenset()) for copy in world.copies))


@st.composite
def worlds(draw: st.DrawFn) -> World:
    files = draw(st.integers(1, 5))
    numbers = st.frozensets(st.integers(0, files - 1))
    copies = []
    for number in range(draw(st.integers(1, 4))):
        holds = draw(numbers)
        rotten = draw(numbers) & holds
        plan = CopyPlan(
            f"m{number}", draw(st.sampled_from(PLACES)), holds, rotten, draw(st.booleans()), draw(st.booleans())
        )
        copies.append(plan)
    return World(files, tuple(copies))


@st.composite
def hazards(draw: st.DrawFn, media: Sequence[str] = ("m0", "m1", "m2", "m3")) -> Hazard:
    hits = Selector(medium=(draw(st.sampled_from(media)),))
    effect = draw(st.sampled_from(["gone", "refused", "unreadable", "altered", "truncated", "deleted", "encrypted"]))
    settings: dict[str, object] = {}
    if effect == "unreadable":
        settings = draw(st.sampled_from([{"sectors": (0,)}, {"sectors": "worst"}, {"count": 2}]))
    elif effect == "altered":
        settings = draw(st.sampled_from([{"offsets": (3,)}, {"count": 3}]))
    elif effect == "truncated":
        settings = {"keep": draw(st.sampled_from([0.5, 10, 0]))}
    elif effect in ("deleted", "encrypted"):
        settings = {"files": draw(st.sampled_from([None, ("*A0000*",), ("*.DNG",)]))}
    return Hazard(effect, hits, **settings)  # type: ignore[arg-type]


def fitting(world: World, chosen: Sequence[Hazard]) -> list[Hazard]:
    """Return the hazards that are about media of this world."""
    ids = {copy.id for copy in world.copies}
    return [hazard for hazard in chosen if set(hazard.hits.medium or ()) <= ids]
