"""The odds of a scheme: seconds, stops, and what was left out. `python tests/bench/bench_forecast.py`."""

import sys
import time
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drill.odds import odds, rates, shares
from drill.timeline import horizon, life
from tests.shared.schemes import usual_studio, wide_studio

DAY = date(2026, 9, 11)


def main() -> None:
    """Measure a usual scheme over one and ten years, one with 12 media over a year, and the shares of a year."""
    print(f"{'':24}{'stops':>7}{'seconds':>9}{'lost':>12}{'left out':>12}")
    for name, studio, years in (
        ("6 media, 1 year", usual_studio(), 1),
        ("6 media, 10 years", usual_studio(), 10),
        ("12 media, 1 year", wide_studio(), 1),
    ):
        assert studio.scheme
        end = horizon(studio.scheme, DAY, years)
        began = time.process_time()
        found = life(studio, DAY, away=True, until=end)
        answer = odds(found, studio, rates(studio), [end])
        took_s = time.process_time() - began
        print(f"{name:24}{len(found.instants):7}{took_s:9.2f}{answer.lost[0]:12.3e}{answer.left_out:12.1e}")
    studio = usual_studio()
    assert studio.scheme
    end = horizon(studio.scheme, DAY, 1)
    began = time.process_time()
    shares(life(studio, DAY, away=True, until=end), studio, rates(studio), end)
    print(f"{'shares, 6 media, 1 year':24}{'':7}{time.process_time() - began:9.2f}")


if __name__ == "__main__":
    main()
