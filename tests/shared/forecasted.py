"""A forecast made by hand: three stages of a shoot away, on a card, a tablet and a drive at home."""

from collections import Counter

from drill.forecastrecord import (
    Band,
    Chance,
    CopyThen,
    Day,
    Exposure,
    First,
    Forecast,
    Level,
    LifeThen,
    Rate,
    Stage,
    Stretch,
    Target,
    Weight,
    Weights,
)

DAY, YEAR_S = 86400.0, 365 * 86400.0
CARD = CopyThen("card", "card", "bag", offsite=False, verified=False)
TABLET = CopyThen("tablet", "tablet", "bag", offsite=False, verified=False, through=("card",))
ARCHIVE = CopyThen("archive", "hard-disk", "house", offsite=False, verified=True, through=("card", "tablet"))
CLOUD = CopyThen("cloud", "cloud", "provider", offsite=True, verified=False, through=("card", "tablet", "archive"))


def stage(begins_s: float, ends_s: float, *copies: CopyThen, ways: tuple[tuple[str, ...], ...], away: bool) -> Stage:
    """Return a stage whose counts follow from its copies."""
    return Stage(
        begins_s,
        ends_s,
        "2026-03-31T08:00:00Z",
        "2026-03-31T08:00:00Z",
        away,
        copies,
        distinct=len(copies),
        kinds=len({copy.kind for copy in copies}),
        places=len({copy.place for copy in copies}),
        offsite=sum(copy.offsite for copy in copies),
        verified=sum(copy.verified for copy in copies),
        survivable=min((len(way) for way in ways), default=0) - 1,
        cut_sets=ways,
        ways=tuple(" and ".join(way) for way in ways),
        numbers=tuple(sorted(Counter(map(len, ways)).items())),
    )


def stages() -> tuple[Stage, ...]:
    """Return the stages of the shoot away."""
    return (
        stage(0, 10 * 3600, CARD, ways=(("medium:card",), ("place:bag",), ("rot:card",)), away=True),
        stage(10 * 3600, 4 * DAY, CARD, TABLET, ways=(("place:bag",), ("bad-source:card",)), away=True),
        stage(
            4 * DAY, 31 * DAY, TABLET, ARCHIVE, ways=(("place:house",), ("medium:archive", "medium:tablet")), away=False
        ),
        stage(31 * DAY, YEAR_S, ARCHIVE, CLOUD, ways=(("account:login", "place:house"),), away=False),
    )


def life() -> LifeThen:
    """Return the first year of the shoot away."""
    held = (Stretch(0, YEAR_S, "held", ("archive",)),)
    stolen = (Stretch(0, 4 * DAY, "lost"), Stretch(4 * DAY, YEAR_S, "held", ("archive",)))
    fire = (
        Stretch(0, 4 * DAY, "not about it"),
        Stretch(4 * DAY, 31 * DAY, "lost"),
        Stretch(31 * DAY, YEAR_S, "held", ("cloud",)),
    )
    return LifeThen(
        day="2026-03-31",
        away=True,
        begins="2026-03-31T08:00:00Z",
        ends="2026-03-31T17:00:00Z",
        home_at="2026-04-03T17:00:00Z",
        stages=stages(),
        worst=0,
        worst_words="the card alone, from the first picture until the tablet has a copy",
        settled=3,
        firsts=(
            First("two copies", 10 * 3600.0, "2026-03-31T18:00:00Z", 10 * 3600.0),
            First("two places", 4 * DAY, "2026-04-04T08:00:00Z", 40 * DAY),
            First("a copy off-site", 31 * DAY, "2026-05-01T08:00:00Z", 31 * DAY),
            First("three copies", None, None, None),
        ),
        targets=(Target("further_failures", "1", met=True, why="1 survivable once all is done", day="2026-03-31"),),
        exposures=(
            Exposure("one_copy", "on one copy only", 10 * 3600.0, 10 * 3600.0, 0.0),
            Exposure("nothing_offsite", "with nothing off-site", 31 * DAY, 31 * DAY, 0.0),
            Exposure("nothing_verified", "with no copy checked", 4 * DAY, 4 * DAY, 0.0),
        ),
        bands=(
            Band("lost-tablet", "tablet", "The tablet is lost", held),
            Band("stolen-bag", "bag", "The bag is stolen", stolen),
            Band("house-fire", "house", "The house burns down", fire),
        ),
    )


def forecast() -> Forecast:
    """Return the whole forecast."""
    return Forecast(
        studio="Heron Field",
        started="2026-11-26T05:00:00Z",
        now="2026-11-26T05:00:00Z",
        day="2026-03-31",
        verdict="For 4 days after a shoot away one everyday failure is enough to lose it: a theft of the bag.",
        lives=(life(),),
        days=(Day("nothing_offsite", "with nothing off-site", True, "2026-12-31", 31 * DAY, "2026-02-27", 2 * DAY),),
        chances=(
            Chance("this shoot", "2026-03-31", True, 1, 0.0004, 0.0012, 0.0036, "about 1 in 830 shoots"),
            Chance("this shoot", "2026-03-31", True, 10, 0.004, 0.012, 0.034, "about 1 in 83 shoots"),
        ),
        weights=(
            Weights(
                "settled",
                True,
                (Weight("place:house", "fire at house", 0.003, 0.1, 0.9, 0.95, 12.0, None),),
            ),
        ),
        levels=(
            Level(
                "three copies, two kinds, one off-site", "", False, None, "there are never three copies", "US-CERT 2012"
            ),
        ),
        rates=(Rate("place:house", "fire or flood at house", 0.001, 0.003, 0.009, "assumed, no source"),),
        assumptions=("Every step is done as often as the studio file says.",),
        unknown=("Whether a flood takes both places.",),
    )
