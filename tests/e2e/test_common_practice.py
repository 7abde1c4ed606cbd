"""Facts of the trade as scenario expectations. Common practice, no source."""

from pathlib import Path

from described import Hazard, Medium, Place, Studio, Targets
from hand import FILES, Case, agree, copy, media, only, shoot
from runner import run_drills
from studios import build
from test_shipped_scenarios import shipped

BAG = (Medium(id="card", kind="card", place="bag"), Medium(id="tablet", kind="tablet", place="bag"))
POCKET = Medium(id="drive", kind="ssd", place="pocket")
PLACES = (Place(id="bag", carried=True), Place(id="pocket", carried=True))


def field(*kept: Medium) -> Studio:
    copies = tuple(copy(medium.id, *FILES) for medium in kept)
    wanted = Targets(further_failures=1)
    return Studio(media=kept, shoots=(shoot(*FILES, targets=wanted),), copies=copies, places=PLACES)


def test_card_and_tablet_alone_are_not_enough(tmp_path: Path) -> None:
    """Common practice, no source: both travel in one bag, and one theft takes them."""
    record = agree(tmp_path / "studio", Case(field(*BAG), (shipped("stolen-bag"),), {}))
    (drill,) = record["drills"]
    assert drill["verdict"] == "lost"


def test_a_third_copy_before_leaving_the_field_survives_the_bag(tmp_path: Path) -> None:
    """Common practice, no source: with a third copy carried apart, no single loss takes the shoot."""
    scenarios = tuple(shipped(name) for name in ("stolen-bag", "lost-tablet", "dead-card"))
    record = agree(tmp_path / "studio", Case(field(*BAG, POCKET), scenarios, {}))
    assert {drill["verdict"] for drill in record["drills"]} == {"restored"}
    after = {(drill["scenario"], drill["variant"]): drill["further_failures"] for drill in record["drills"]}
    assert after["stolen-bag", "bag"]["survivable"] == 0  # the drive alone is left: copy again before the next job
    assert after["dead-card", "card"]["survivable"] == 1


def test_copying_through_a_hub_takes_longer_than_from_the_device_itself(tmp_path: Path) -> None:
    """Common practice, no source: a card read through a hub is slower than the same card in a reader of its own."""
    assert projected_s(tmp_path / "hub", 'bus = "hub"\n') > projected_s(tmp_path / "direct", "")


def projected_s(folder: Path, bus: str) -> float:
    studio = Studio(media=media("card"), shoots=(shoot(*FILES),), copies=(copy("card", *FILES),))
    built = build(folder, studio, (only("as-it-is", Hazard(effect="slow", factor=1.0)),))
    text = built.file.read_text(encoding="utf-8")
    text = text.replace('id = "card"\n', f'id = "card"\nreads_at = "90 kB/s"\n{bus}', 1)
    built.file.write_text(text + '\n[[buses]]\nid = "hub"\ncarries = "40 kB/s"\n', encoding="utf-8")
    seconds: dict[str, float] = run_drills(built.file, *built.scenarios).record["drills"][0]["seconds"]
    return seconds["projected"]
