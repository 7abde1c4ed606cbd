"""Benchmark: a year of a large studio through its stages: 12 media, 10 steps, 15 scenarios, on one core.

Run: python tests/bench/bench_stages.py [--rounds 3]

Prints the processor's seconds of each part, the best of some rounds: the calendar alone, the worst day of a year (730
lives), and for one life away and one at home its cut sets, measures, levels, and every scenario at every moment. The
target is 2 s for all together.
"""

import argparse
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

from drill.bands import scenario_bands
from drill.model import Costs, Hazard, Medium, Place, Rhythm, Risks, Scenario, Scheme, Selector, Step, Studio, Targets
from drill.scenario import load_scenarios
from drill.stages import cut_sets, days_of, ground, levels, measure, worst_day
from drill.timeline import life, spans

DAY = date(2027, 3, 2)
HOUR_S = 3600.0


def medium(id_: str, kind: str, place: str, **more: object) -> Medium:
    given: dict[str, object] = {"attached": False, "offsite": False, "carried": False} | more
    return Medium(id=id_, kind=kind, place=place, **given)  # type: ignore[arg-type]


MEDIA = (
    medium("card", "card", "bag", carried=True),
    medium("spare", "card", "bag", carried=True),
    medium("tablet", "tablet", "bag", carried=True, attached=True),
    medium("phone", "phone", "pocket", carried=True, attached=True),
    medium("field", "ssd", "coat", carried=True),
    medium("computer", "computer", "house", attached=True),
    medium("archive", "hard-disk", "house", needs=("computer",)),
    medium("mirror", "hard-disk", "house", mirrors="archive"),
    medium("store", "network-storage", "kiln", attached=True),
    medium("vault", "hard-disk", "sister", offsite=True),
    medium("cloud", "cloud", "far", offsite=True, account="login", needs=("phone",)),
    medium("other-cloud", "cloud", "elsewhere", offsite=True, account="second", keeps_versions_s=30 * 86400.0),
)


def every(id_: str, rhythm: str, do: str, source: str | None, target: str) -> Step:
    on = (1,) if rhythm in ("month", "quarter") else (0,)
    return Step(id_, do, source, target, rhythm=Rhythm(rhythm, on, 20 * HOUR_S))


STEPS = (
    Step("import", "copy", "card", "tablet", after_s=HOUR_S),
    Step("third", "copy", "tablet", "field", follows="import", only_when="away", done=0.9),
    Step("home", "copy", "card", "computer", only_when="home", after_s=2 * HOUR_S),
    Step("keep", "copy", "computer", "archive", follows="home", after_s=HOUR_S),
    every("net", "day", "copy", "computer", "store"),
    every("upload", "week", "copy", "archive", "cloud"),
    every("second", "month", "copy", "archive", "other-cloud"),
    every("sister", "quarter", "copy", "archive", "vault"),
    every("check", "week", "verify", None, "archive"),
    Step("wipe", "erase", "card", after_s=40 * 86400.0, only_once_on=("archive", "cloud")),
)


def studio() -> Studio:
    places = {each.place: Place(each.place, carried=each.carried, offsite=each.offsite) for each in MEDIA}
    scheme = Scheme(
        ("card", "spare"), STEPS, 9 * HOUR_S, 18 * HOUR_S, "Europe/Lisbon", 3 * 86400.0, "house", 60 * 10**9, 1500,
        30 * 86400.0, Risks(), Costs(),
    )  # fmt: skip
    media = {each.id: each for each in MEDIA}
    paths = (Path("studio.toml"), "Reed Kiln", None, Path("ledger.sqlite"), Path("reports"))
    return Studio(*paths, {}, places, media, {}, (), (), scheme=scheme)


def scenarios() -> tuple[Scenario, ...]:
    shipped = load_scenarios([])
    phone = Hazard("gone", Selector(kind=("phone",)))
    cloud = Hazard("altered", Selector(kind=("cloud",)), each="copy", count=1)
    return (*shipped, *(Scenario(f"more-{n}", "t", "s", (hazard,)) for n, hazard in enumerate((phone, cloud))))[:15]


def best_s(what: Callable[[], object], rounds: int) -> float:
    found = []
    for _ in range(rounds):
        began = time.process_time()
        what()
        found.append(time.process_time() - began)
    return min(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    rounds: int = parser.parse_args().rounds
    here, what = studio(), scenarios()
    year = list(days_of(here, DAY))
    lives = [spans(life(here, DAY, away=away), here) for away in (True, False)]

    def all_cut_sets() -> list[object]:
        known = ground(here)
        return [cut_sets(span, known) for each in lives for span in each]

    parts: dict[str, Callable[[], object]] = {
        "the calendar": lambda: list(days_of(here, DAY)),
        "the worst day": lambda: worst_day(year, here),
        "cut sets": all_cut_sets,
        "measures": lambda: [measure(each, here, Targets(further_failures=1)) for each in lives],
        "levels": lambda: [levels(each, here) for each in lives],
        "scenarios": lambda: [scenario_bands(each, here, what) for each in lives],
    }
    print(f"{len(MEDIA)} media, {len(STEPS)} steps, {len(what)} scenarios; {len(year)} lives of a year")
    print(f"{sum(len(stages) for _, stages in year)} spans in them, {sum(map(len, lives))} in two lives of ten years")
    took = {name: best_s(part, rounds) for name, part in parts.items()}
    for name, seconds in took.items():
        print(f"{seconds:8.3f} s  {name}")
    print(f"{sum(took.values()):8.3f} s  all together")


if __name__ == "__main__":
    main()
