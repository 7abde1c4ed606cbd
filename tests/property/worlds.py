"""What the laws share: worlds of `drill.testing` laid out and drilled in this process, under hazards by themselves.

`drilled` of that room refuses what changes nothing; a law also holds there, so its drills are made here.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from hypothesis import strategies as st

from drill import testing
from drill.model import Hazard, Scenario
from drill.record import Run, to_json
from drill.rehearse import Options, rehearse
from drill.sampling import Spot
from drill.studio import load_studio
from drill.testing.effects import AS_IT_IS
from drill.testing.world import World, path_of

NOW = datetime(2026, 10, 1, tzinfo=UTC)


@contextmanager
def laid_out(world: World, under: Path | None = None) -> Iterator[Path]:
    """Lay a world out; yield its studio file."""
    with testing.laid_out(world, under) as studio:
        yield studio.file


def run(studio_file: Path, hazards: Sequence[Hazard], seed: int = 1, spot: Spot | None = None) -> Run:
    """Drill a laid-out world under hazards; without any, one that slows everything stands for no fault."""
    scenario = Scenario("law", "A law", "A story.", tuple(hazards) or AS_IT_IS.hazards)
    return rehearse(load_studio(studio_file), [scenario], Options(seed=seed, now=NOW, spot=spot))


def verified(record: Run) -> set[str]:
    """Return the promised paths that came back."""
    assert record.complete, record.unfinished
    (drill,) = record.drills
    gone = {note.path for note in (*drill.lost_files, *drill.on_paper_files)}
    assert drill.files.promised == drill.files.verified + drill.files.on_paper + drill.files.lost
    assert drill.bytes.promised == drill.bytes.verified + drill.bytes.on_paper + drill.bytes.lost
    assert len(gone) == drill.files.promised - drill.files.verified
    return {path_of(n) for n in range(drill.files.promised)} - gone


def comparable(record: Run) -> object:
    """Return the record without what depends on the clock."""
    value = to_json(record)
    del value["started"]
    for drill in value["drills"]:
        del drill["seconds"]["measured"]
    return value


def hazards() -> st.SearchStrategy[Hazard]:
    """Draw what `damage` draws, as a scenario has it."""
    return testing.damage().map(lambda mishap: mishap.hazard)


def fitting(world: World, chosen: Sequence[Hazard]) -> list[Hazard]:
    """Return the hazards that are about media of this world."""
    ids = {copy.id for copy in world.copies}
    return [hazard for hazard in chosen if set(hazard.hits.medium or ()) <= ids]
