"""Studios with a scheme, and spans of a shoot's life, made by hand. All names are invented.

Flows in: media, steps. Flows out: model and timeline values.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from drill.model import Copy, Costs, Medium, Place, Rhythm, Risks, Scheme, Step, Studio
from drill.timeline import Held, Span

START = datetime(2027, 3, 1, 9, tzinfo=UTC)
HOUR_S = 3600.0
DAY_S = 24 * HOUR_S


def medium(id_: str, kind: str = "hard-disk", place: str = "house", **more: object) -> Medium:
    given: dict[str, object] = {"attached": False, "offsite": False, "carried": False} | more
    return Medium(id=id_, kind=kind, place=place, **given)  # type: ignore[arg-type]


CARD = medium("card", "card", "bag", carried=True)
TABLET = medium("tablet", "tablet", "bag", carried=True, attached=True)
DRIVE = medium("drive", "ssd", "coat", carried=True)
ARCHIVE = medium("archive")
CLOUD = medium("cloud", "cloud", "far", offsite=True, account="login")


def scheme_of(*steps: Step, home: str | None = "house", made_on: tuple[str, ...] = ("card",)) -> Scheme:
    return Scheme(
        made_on, steps, 9 * HOUR_S, 18 * HOUR_S, "UTC", 3 * DAY_S, home, 60 * 10**9, 1500, 30 * DAY_S, Risks(), Costs()
    )


def studio_of(*media: Medium, scheme: Scheme | None = None, copies: tuple[Copy, ...] = ()) -> Studio:
    places = {m.place: Place(m.place, carried=m.carried, offsite=m.offsite) for m in media}
    return Studio(
        file=Path("studio.toml"),
        name="Reed Kiln",
        scratch=None,
        ledger=Path("ledger.sqlite"),
        reports=Path("reports"),
        weights={},
        places=places,
        media={m.id: m for m in media},
        buses={},
        shoots=(),
        copies=copies,
        scheme=scheme or scheme_of(),
    )


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def held(id_: str, *through: str, since: float = 0.0, verified: float | None = None) -> Held:
    return Held(id_, at(since), through, None if verified is None else at(verified))


def span(*copies: Held, begins: float = 0.0, ends: float = 1.0, away: bool = True) -> Span:
    return Span(at(begins), at(ends), away, copies)


def monthly(id_: str, source: str, target: str, *, at_s: float = 12 * HOUR_S, do: str = "copy") -> Step:
    return Step(id_, do, source or None, target, rhythm=Rhythm("month", (1,), at_s))
