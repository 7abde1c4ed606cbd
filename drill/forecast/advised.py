"""What is added to a forecast when it is asked for: advice on the scheme, another scheme beside it.

Flows in: a forecast, studios with a scheme. Flows out: the forecast with more in it. Must not know: terminals, files.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from drill.advice import advise, compare
from drill.forecast.run import Options, forecast
from drill.forecast.saying import helps_most
from drill.forecastrecord import Forecast
from drill.model import Scenario, Studio


def with_advice(found: Forecast, studio: Studio) -> Forecast:
    """Add advice, for the shoot likeliest lost in its first year of those that the odds were told for, away or at home;
    of a studio without a scheme nothing."""
    if studio.scheme is None or not found.chances:
        return found
    worst = max((chance for chance in found.chances if chance.years == 1), key=lambda chance: chance.middle)
    advice = advise(studio, date.fromisoformat(worst.day), away=worst.away)
    return replace(found, advice=advice, verdict=f"{found.verdict} {helps_most(advice)}")


def with_comparison(
    found: Forecast, studio: Studio, other: Studio, scenarios: Sequence[Scenario], options: Options
) -> Forecast:
    """Add what another studio's scheme makes better or worse, of the same day and scenarios. Errors: Mistakes."""
    beside = forecast(other, scenarios, options)
    comparison = compare(found, beside)
    if found.studio == other.name:  # two drafts of one scheme: only the files tell them apart
        one, two = (f"{each.name} ({each.file.name})" for each in (studio, other))
        comparison = replace(comparison, one=one, other=two)
    return replace(found, comparison=comparison)
