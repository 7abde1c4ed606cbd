"""A studio with a scheme, put together from values: for what needs no file."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from drill.model import Bus, Costs, Medium, Place, Risks, Scheme, Step, Studio
from drill.timeline import Life

HOUR = 3600.0
DAY = 24 * HOUR


def medium(id_: str, kind: str = "hard-disk", **more: object) -> Medium:
    values: dict[str, object] = {"place": "house", "attached": False, "offsite": False, "carried": False}
    return Medium(id=id_, kind=kind, **(values | more))  # type: ignore[arg-type]


MEDIA = (medium("card", "card"), medium("tablet", "tablet"), medium("kiln"), medium("cloud", "cloud"))


def studio(
    *steps: Step, media: tuple[Medium, ...] = MEDIA, zone: str | None = "Europe/Lisbon", **more: object
) -> Studio:
    scheme = Scheme(
        made_on=("card",),
        steps=steps,
        begins_s=9 * HOUR,
        ends_s=18 * HOUR,
        zone=zone,
        away_for_s=3 * DAY,
        home="house",
        size=60_000_000_000,
        files=1000,
        replaced_within_s=30 * DAY,
        risks=Risks(),
        costs=Costs(),
    )
    here = Path("studio.toml")
    return Studio(
        file=here,
        name="Reed",
        scratch=None,
        ledger=here,
        reports=here,
        weights={},
        places={"house": Place("house")},
        media={m.id: m for m in media},
        buses={"hub": Bus("hub", 50e6)},
        shoots=(),
        copies=(),
        scheme=replace(scheme, **more),  # type: ignore[arg-type]
    )


def copy(id_: str, source: str, target: str, **more: object) -> Step:
    return Step(id=id_, do="copy", source=source, target=target, takes_s=0.0, **more)  # type: ignore[arg-type]


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def dues(life_: Life, id_: str) -> list[str]:
    return [f"{i.due:%Y-%m-%d %H:%M}" for i in life_.instants if i.step.id == id_]
