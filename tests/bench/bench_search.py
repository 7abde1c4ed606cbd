"""The search: every story up to a depth, and steps a second by chance. `python tests/bench/bench_search.py`.

A step is a mishap with the moments before it, and, where the scene that comes of it is new, a whole drill of it.
Seconds are of this process's own work, and by the clock.
"""

import sys
import tempfile
import time
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drill.model import Studio
from drill.scenario import scheme_path, shipped_schemes
from drill.search.by_chance import by_chance
from drill.search.exhaustive import search
from drill.search.judge import judging
from drill.search.legs import course_of
from drill.search.mishaps import all_mishaps, keeps_a_copy
from drill.search.play import Ways
from drill.search.scenes import Scenes
from drill.studio import load_studio
from drill.timeline import horizon, life
from tests.shared.schemes import wide_studio

DAY = date(2026, 9, 12)
BUDGET_S = 20.0


def main() -> None:
    """Measure every shipped scheme and one with 12 media, to a depth of three; then by chance."""
    studios = {name: load_studio(scheme_path(name)) for name in shipped_schemes()} | {"12 media": wide_studio()}
    print(f"{'every story of up to 3':32}{'legs':>7}{'states':>9}{'seconds':>9}{'mishaps':>9}")
    for name, studio in studios.items():
        every(name, studio)
    print(f"\n{'by chance':32}{'stories':>9}{'steps':>9}{'steps/s':>9}{'by clock':>9}{'mishaps':>9}")
    for name in ("home-archive-monthly-upload", "checked-and-early"):
        some(name, studios[name])


def every(name: str, studio: Studio) -> None:
    """Measure the exhaustive search of a year."""
    assert studio.scheme
    began = time.process_time()
    course = course_of(life(studio, DAY, away=True, until=horizon(studio.scheme, DAY, 1)), studio, studio.scheme, ())
    found = search(course.legs, course.first, depth=3)
    took_s = time.process_time() - began
    levels = "-".join(str(level.mishaps) for level in found.levels)
    print(f"{name:32}{len(course.legs):7}{len(found.states):9}{took_s:9.2f}{levels:>9}")


def some(name: str, studio: Studio) -> None:
    """Measure the search by chance, none of whose mishaps comes in the first days."""
    assert studio.scheme
    course = course_of(life(studio, DAY, away=True, until=horizon(studio.scheme, DAY, 1)), studio, studio.scheme, ())
    scenes = Scenes(studio, course)
    with judging(studio, scenes, None) as judge, tempfile.TemporaryDirectory() as home:
        began, began_s = time.process_time(), time.perf_counter()
        tried = by_chance(
            Ways(course, scenes, 60),
            judge,
            all_mishaps(studio),
            seldom=keeps_a_copy(studio),
            most=20,
            seed_=1,
            budget_s=BUDGET_S,
            home=Path(home),
        )
        work_s, took_s = time.process_time() - began, time.perf_counter() - began_s
    rates = f"{tried.steps / work_s:9,.0f}{tried.steps / took_s:9,.0f}"
    print(f"{name:32}{tried.examples:9,}{tried.steps:9,}{rates}{len(tried.marks or ()):9}")


if __name__ == "__main__":
    main()
