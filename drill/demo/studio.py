"""What the demo's invented studio photographed: six shoots, and every file that each of them promises.

Flows in: the present moment (shoot dates lie before it). Flows out: for each shoot its files, as bytes by promised
path. Must not know: which copies there are (placing), how the studio file reads (example). Names, clients and
cameras are invented. Facts: camera file names are four characters and 0001 to 9999, then 0001 again (DCF, JEITA
CP-3461).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from drill.demo.pictures import (
    DELIVERED_SIZE,
    JPEG_SIZE,
    TIFF_SIZE,
    Camera,
    Look,
    camera_fields,
    draw,
    jpeg,
    sidecar,
    tiff,
)

STUDIO_NAME = "Thornquay Pictures"

_ORREL = Camera(make="Orrel", model="Orrel O5", prefix="ORRL")
_QUILLON = Camera(make="Quillon", model="Quillon Q1", prefix="QLLN")

_TIFF_EVERY, _FIRST_TIFF = 8, 3  # every eighth original, the fourth first
_DELIVER_EVERY = 2
_DELIVERED = 16


@dataclass(frozen=True, slots=True)
class Made:
    """One file: its bytes, and when it was last modified."""

    data: bytes
    modified: datetime


@dataclass(frozen=True, slots=True)
class Session:
    """One day's pictures of a shoot: the folder they are promised in, the first camera number, how many."""

    folder: str
    first: int
    count: int


@dataclass(frozen=True, slots=True)
class Plan:
    """One shoot as it is going to be drawn; `deliver` is the name of its deliverables, with a place for the number."""

    id: str
    days_ago: int
    camera: Camera
    look: Look
    sessions: tuple[Session, ...]
    deliver: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """One shoot with all its files, by promised path."""

    id: str
    date: date
    files: Mapping[str, Made]

    def at(self, days: float) -> datetime:
        """Return the moment `days` after the shoot's first day began, in UTC."""
        return datetime.combine(self.date, time(), UTC) + timedelta(days=days)


PLANS = (
    Plan(
        id="fen-harvest",
        days_ago=150,
        camera=_ORREL,
        look=Look((92, 138, 190), (242, 214, 150), (128, 120, 58), "reeds"),
        sessions=(Session("originals", 1, 34),),
        deliver="deliver/Fen Harvest {:02}.jpg",  # spaces, as clients like them
    ),
    Plan(
        id="ropewalk-wedding",
        days_ago=118,
        camera=_QUILLON,
        look=Look((52, 44, 84), (232, 150, 128), (70, 52, 60), "lamps"),
        sessions=(Session("originals", 801, 34),),
        deliver="deliver/ropewalk-{:02}.jpg",
    ),
    Plan(
        id="lighthouse-stair",
        days_ago=96,
        camera=_ORREL,
        look=Look((120, 150, 160), (226, 226, 214), (92, 98, 104), "stairs"),
        sessions=(Session("originals", 4101, 34),),
        deliver="deliver/stair-{:02}.jpg",
    ),
    Plan(
        id="glassworks",
        days_ago=71,
        camera=_ORREL,
        look=Look((28, 30, 44), (250, 130, 60), (52, 36, 34), "windows"),
        sessions=(Session("originals", 9981, 34),),  # rolls over: 9999, then 0001, as in fen-harvest
        deliver="deliver/glass-{:02}.jpg",
    ),
    Plan(
        id="marsh-ponies",
        days_ago=33,
        camera=_QUILLON,
        look=Look((70, 110, 170), (240, 210, 180), (80, 104, 62), "ponies"),
        sessions=(Session("originals", 2210, 34),),
        deliver="deliver/ponies-{:02}.jpg",
    ),
    Plan(
        id="night-ferry",
        days_ago=6,
        camera=_ORREL,
        look=Look((14, 18, 40), (96, 84, 120), (24, 30, 44), "lamps"),
        # The camera's counter was set back between the days: 0113 to 0118 are there twice, with other pictures.
        sessions=(Session("day-1", 101, 18), Session("day-2", 113, 16)),
        deliver="deliver/Nachtfähre-{:02}.jpg",
    ),
)


def draw_shoots(now: datetime) -> dict[str, Drawn]:
    """Draw all six shoots, by id; their dates lie before `now`."""
    return {plan.id: _draw_shoot(plan, now) for plan in PLANS}


def _draw_shoot(plan: Plan, now: datetime) -> Drawn:
    day = (now.astimezone(UTC) - timedelta(days=plan.days_ago)).date()
    files: dict[str, Made] = {}
    delivered: dict[str, Made] = {}
    for place, shot in enumerate(_shots(plan, day)):
        files |= _original(plan, shot)
        if place % _DELIVER_EVERY == 0 and len(delivered) < _DELIVERED:
            name = plan.deliver.format(len(delivered) + 1)
            delivered[name] = _deliverable(plan, shot)
    return Drawn(plan.id, day, files | delivered)


@dataclass(frozen=True, slots=True)
class _Shot:
    folder: str
    stem: str
    taken: datetime
    is_tiff: bool

    @property
    def seed(self) -> str:
        return f"{self.folder}/{self.stem}"


def _shots(plan: Plan, day: date) -> Iterator[_Shot]:
    for days, session in enumerate(plan.sessions):
        start = datetime.combine(day + timedelta(days=days), time(8, 20), UTC)
        for place in range(session.count):
            number = (session.first - 1 + place) % 9999 + 1
            yield _Shot(
                folder=session.folder,
                stem=f"{plan.camera.prefix}{number:04}",
                taken=start + timedelta(seconds=place * 431),
                is_tiff=place % _TIFF_EVERY == _FIRST_TIFF,
            )


def _original(plan: Plan, shot: _Shot) -> dict[str, Made]:
    seed = f"{plan.id}/{shot.seed}"
    fields = camera_fields(plan.camera, taken=shot.taken, artist=STUDIO_NAME, seed=seed)
    if shot.is_tiff:
        data, name = tiff(draw(seed, plan.look, TIFF_SIZE), fields), f"{shot.stem}.TIF"
    else:
        data, name = jpeg(draw(seed, plan.look, JPEG_SIZE), fields), f"{shot.stem}.JPG"
    edited = shot.taken + timedelta(hours=30)
    edit = sidecar(f"{plan.id} {shot.stem}", edited=edited, rating=len(data) % 6)
    return {f"{shot.folder}/{name}": Made(data, shot.taken), f"{shot.folder}/{shot.stem}.xmp": Made(edit, edited)}


def _deliverable(plan: Plan, shot: _Shot) -> Made:
    seed = f"{plan.id}/{shot.seed}"
    fields = camera_fields(plan.camera, taken=shot.taken, artist=STUDIO_NAME, seed=seed)
    finished = draw(seed, plan.look, DELIVERED_SIZE)
    return Made(jpeg(finished, fields), shot.taken + timedelta(days=3))
