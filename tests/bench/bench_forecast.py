"""The forecast: seconds of whole forecasts and of advice, of single odds, what was left out, the shares of a year.

Fifteen scenarios: those shipped and two more. Target: a year's forecast of twelve media in under 3 s, without advice.

`python tests/bench/bench_forecast.py [STUDIO-FILE …]`: processor seconds, for the shipped schemes, twelve media, and
studio files named beside (the demo's, say).
"""

import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drill.forecast.advised import with_advice
from drill.forecast.run import Options, forecast
from drill.model import Studio
from drill.odds import odds, rates, shares
from drill.scenario import load_scenarios, scheme_path, shipped_schemes
from drill.studio import load_studio
from drill.timeline import horizon, life
from tests.shared.schemes import usual_studio, wide_studio

DAY = date(2026, 9, 11)
MORE = {
    name: f'title = "{name}"\nstory = "For the bench."\n[[hazards]]\nhits = {{ kind = {kinds} }}\neffect = "gone"\n'
    for name, kinds in (("wet-cellar", '["hard-disk"]'), ("bad-batch", '["card", "ssd"]'))
}
NOW = datetime(2026, 9, 10, 12, tzinfo=UTC)


def main() -> None:
    """Measure whole forecasts; a usual scheme over one and ten years, one with 12 media over a year; the shares."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in MORE.items():
            (Path(folder) / f"{name}.toml").write_text(text, encoding="utf-8")
        shipped = [scenario.file for scenario in load_scenarios([])]
        scenarios = load_scenarios([*shipped, *(str(Path(folder) / f"{name}.toml") for name in MORE)])
    print(f"{f'{len(scenarios)} scenarios':32}{'forecast':>9}{'advice':>9}")
    for name, studio in studios():
        began = time.process_time()
        found = forecast(studio, scenarios, Options(started=NOW, now=NOW, day=DAY))
        forecast_at = time.process_time()
        with_advice(found, studio)
        print(f"{name:32}{forecast_at - began:9.2f}{time.process_time() - forecast_at:9.2f}")
    print(f"\n{'':24}{'stops':>7}{'seconds':>9}{'lost':>12}{'left out':>12}")
    for name, studio, years in (
        ("6 media, 1 year", usual_studio(), 1),
        ("6 media, 10 years", usual_studio(), 10),
        ("12 media, 1 year", wide_studio(), 1),
    ):
        assert studio.scheme
        end = horizon(studio.scheme, DAY, years)
        began = time.process_time()
        lived = life(studio, DAY, away=True, until=end)
        answer = odds(lived, studio, rates(studio), [end])
        took_s = time.process_time() - began
        print(f"{name:24}{len(lived.instants):7}{took_s:9.2f}{answer.lost[0]:12.3e}{answer.left_out:12.1e}")
    studio = usual_studio()
    assert studio.scheme
    end = horizon(studio.scheme, DAY, 1)
    began = time.process_time()
    shares(life(studio, DAY, away=True, until=end), studio, rates(studio), end)
    print(f"{'shares, 6 media, 1 year':24}{'':7}{time.process_time() - began:9.2f}")


def studios() -> Iterator[tuple[str, Studio]]:
    """Return the studios that are forecast whole, each with a name."""
    yield from ((name, load_studio(scheme_path(name))) for name in shipped_schemes())
    yield "12 media, 11 steps", wide_studio()
    yield from ((name, load_studio(Path(name))) for name in sys.argv[1:])


if __name__ == "__main__":
    main()
