"""A made-up record of a working life: 200 shoots in 15 scenarios with variants, every drill another story."""

from drill.model import ProofAge, ProofAges
from drill.record import (
    ByteCount,
    Count,
    Drill,
    FileNote,
    FurtherFailures,
    LostWork,
    Mend,
    Run,
    Seconds,
    Unchecked,
)

COPIES = ("archive-a", "field-ssd", "computer", "cloud-reed", "attic-disk")
PLACES = ("home", "bag", "sister")


def many_drills(*, shoots: int = 200, scenarios: int = 15, variants: int = 3, always_short: bool = True) -> Run:
    """Return a run in which no two drills tell the same."""
    drills = tuple(
        _drill(shoot, scenario, variant, short=always_short or (shoot + scenario) % 7 == 0)
        for shoot in range(shoots)
        for scenario in range(scenarios)
        for variant in range(variants)
    )
    return Run(
        studio="Saltmarsh Light",
        started="2026-11-24T20:00:00Z",
        now="2026-11-24T20:00:00Z",
        seed=7,
        complete=True,
        not_applicable=("expired-cloud-link",),
        drills=drills,
        titles={f"scenario-{n:02}": f"Something of kind {n} happens to the copies" for n in range(scenarios)},
        findings=tuple(f"field-ssd: 2026/shoot-{n:03}/raw/R{n:04}.DNG: cannot be read" for n in range(shoots)),
        mends=tuple(Mend(copy, 9, 3, "archive-a", 5, 7, is_archive=False) for copy in COPIES[1:]),
        notes=tuple(f"{copy}: its rate is assumed" for copy in COPIES),
        ages=tuple(_ages(shoot) for shoot in range(shoots)),
    )


def _drill(shoot: int, scenario: int, variant: int, *, short: bool) -> Drill:
    number = shoot * 1000 + scenario * 10 + variant
    lost = 1 + number % 17 if short else 0
    back = 120 - lost
    names = [FileNote(f"raw/2026-09-{scenario + 1:02}/R{number + n:06}.DNG", _why(number, n)) for n in range(lost)]
    size = 24_000_000
    return Drill(
        scenario=f"scenario-{scenario:02}",
        variant=COPIES[variant],
        shoot=f"shoot-{shoot:03}-heron-ridge",
        verdict="partial" if lost else "restored",
        score=round(100 * back / 120, 1),
        files=Count(120, back, 0, lost),
        bytes=ByteCount(120 * size, back * size, 0, lost * size, 0),
        by_class={
            "originals": Count(60, 60 - lost, 0, lost),
            "edits": Count(50, 50, 0, 0),
            "deliverables": Count(10, 10, 0, 0),
        },
        sources={"archive-a": back - 2, COPIES[1 + variant]: 2},
        stitched=number % 3,
        unchecked=Unchecked(back - 1, number % 5, lost),
        lost_files=names,
        on_paper_files=(),
        seconds=Seconds(41.2, 7520.0 + number, 172800.0),
        lost_work=LostWork("2026-09-12" if lost else None, 86400.0, met=not lost),
        further_failures=FurtherFailures(
            -1 if lost else number % 3, 1, () if lost else (("medium:archive-a", f"place:{PLACES[number % 3]}"),)
        ),
    )


def _why(number: int, n: int) -> str:
    return f"bad sector {number + n} in {COPIES[n % 5]}; gone with {PLACES[number % 3]}; not on {', '.join(COPIES)}"


def _ages(shoot: int) -> ProofAges:
    copies = tuple(
        ProofAge(copy, 120, 100, 20, f"2026-0{1 + n}-14T10:00:00Z", (f"raw/R{shoot:04}.DNG",))
        for n, copy in enumerate(COPIES)
    )
    return ProofAges(f"shoot-{shoot:03}-heron-ridge", 8_640_000.0, copies)
