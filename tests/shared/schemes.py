"""Studios with a scheme as values, for the rooms that look ahead: short to write, nothing read from a file."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from drill.model import Costs, Medium, Place, Rhythm, Risks, Scheme, Step, Studio

HOUR_S = 3600.0
DAY_S = 24 * HOUR_S
YEAR_S = 365.25 * DAY_S
MONTHLY = Rhythm("month", (1,), 12 * HOUR_S)
QUARTERLY = Rhythm("quarter", (2,), 12 * HOUR_S)
NEVER_S = 1000 * YEAR_S  # replaced within: never, as far as a test goes


def medium(id_: str, kind: str = "hard-disk", **more: object) -> Medium:
    """Return a medium in the house, unattached."""
    values: dict[str, object] = {"place": "house", "attached": False, "offsite": False, "carried": False}
    return Medium(id=id_, kind=kind, **(values | more))  # type: ignore[arg-type]


def step(id_: str, do: str, source: str | None = None, target: str | None = None, **more: object) -> Step:
    """Return a step that takes no time."""
    return Step(id=id_, do=do, source=source, target=target, **({"takes_s": 0.0} | more))  # type: ignore[arg-type]


def studio(media: Sequence[Medium], steps: Sequence[Step], made_on: Sequence[str], **more: object) -> Studio:
    """Return a studio with a scheme; `more` are values of the scheme."""
    scheme = Scheme(
        made_on=tuple(made_on),
        steps=tuple(steps),
        begins_s=9 * HOUR_S,
        ends_s=18 * HOUR_S,
        zone="Europe/Lisbon",
        away_for_s=3 * DAY_S,
        home="house",
        size=60_000_000_000,
        files=1500,
        replaced_within_s=30 * DAY_S,
        risks=Risks(),
        costs=Costs(),
    )
    here = Path("studio.toml")
    places: Mapping[str, Place] = {m.place: Place(m.place, carried=m.carried, offsite=m.offsite) for m in media}
    return Studio(
        file=here,
        name="Saltmarsh Light",
        scratch=None,
        ledger=here,
        reports=here,
        weights={},
        places=places,
        media={m.id: m for m in media},
        buses={},
        shoots=(),
        copies=(),
        scheme=replace(scheme, **more),  # type: ignore[arg-type]
    )


def usual_studio() -> Studio:
    """Return a working photographer's: card and tablet in the bag, a computer and two drives at home, a cloud
    account."""
    media = [
        medium("card", "card", place="bag", carried=True),
        medium("tablet", "tablet", place="bag", carried=True, attached=True),
        medium("computer", "computer", attached=True),
        medium("kiln"),
        medium("heron", place="studio"),
        medium("cloud", "cloud", place="cloud", offsite=True, account="login"),
    ]
    steps = [
        step("field", "copy", "card", "tablet", after_s=HOUR_S, again_s=DAY_S, done=0.95),
        step("import", "copy", "card", "computer", only_when="home", again_s=DAY_S, done=0.9),
        step("archive", "copy", "computer", "kiln", rhythm=MONTHLY, done=0.95),
        step("second", "copy", "kiln", "heron", rhythm=MONTHLY, done=0.9),
        step("upload", "copy", "kiln", "cloud", rhythm=MONTHLY, done=0.95),
        step("format", "erase", "card", rhythm=MONTHLY, only_once_on=("kiln",), done=0.9),
        step("clear", "erase", "tablet", rhythm=MONTHLY, only_once_on=("kiln", "cloud"), done=0.9),
        step("check", "verify", None, "kiln", rhythm=QUARTERLY, done=0.8),
    ]
    return studio(media, steps, ["card"])


def wide_studio() -> Studio:
    """Return one with 12 media that come to hold a shoot, and 11 steps."""
    media = [
        medium("card", "card", place="bag", carried=True),
        medium("card-2", "card", place="bag", carried=True),
        medium("tablet", "tablet", place="bag", carried=True, attached=True),
        medium("reed", "ssd", place="pocket", carried=True),
        medium("computer", "computer", attached=True),
        medium("shelf", "network-storage", attached=True),
        medium("kiln"),
        medium("kiln-2", needs=("kiln",)),
        medium("heron", place="studio"),
        medium("disc", "optical", place="studio"),
        medium("cloud", "cloud", place="cloud", offsite=True, account="login"),
        medium("cloud-2", "cloud", place="cloud-2", offsite=True, account="other", mirrors="shelf"),
    ]
    steps = [
        step("field", "copy", "card", "tablet", after_s=HOUR_S, again_s=DAY_S, done=0.95),
        step("third", "copy", "card-2", "reed", after_s=2 * HOUR_S, done=0.9),
        step("import", "copy", "card", "computer", only_when="home", again_s=DAY_S, done=0.9),
        step("shelve", "copy", "computer", "shelf", follows="import", after_s=HOUR_S),
        step("archive", "copy", "computer", "kiln", rhythm=MONTHLY, done=0.95),
        step("archive-2", "copy", "computer", "kiln-2", rhythm=MONTHLY, done=0.95),
        step("second", "copy", "kiln", "heron", rhythm=MONTHLY, done=0.9),
        step("burn", "copy", "kiln", "disc", rhythm=QUARTERLY),
        step("upload", "copy", "kiln", "cloud", rhythm=MONTHLY, done=0.95),
        step("format", "erase", "card", rhythm=MONTHLY, only_once_on=("kiln",), done=0.9),
        step("check", "verify", None, "kiln", rhythm=QUARTERLY, done=0.8),
    ]
    return studio(media, steps, ["card", "card-2"])
