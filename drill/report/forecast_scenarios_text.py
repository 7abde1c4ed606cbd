"""Every scenario at every moment of a shoot's first year, as a table.

Flows in: the record of a forecast. Flows out: text. Must not know: calendars, engines, terminals.
"""

from drill.forecastrecord import Forecast
from drill.report.forecast_words import Worst, say_band, where, worst_bands
from drill.report.sections import NOTHING, Paragraph, Section, Table

MOST_VARIANTS = 2  # that are named in a cell


def scenarios_over_time(found: Forecast) -> Section:
    """Return the table: a row for a scenario, at each moment by its worst variant."""
    columns = [worst_bands(life.bands) for life in found.lives]
    names = [n for n in dict.fromkeys(n for column in columns for n in column) if n not in found.not_applicable]
    names.sort(key=lambda name: -max(column[name].lost_s() for column in columns if name in column))
    rows = [[name, *(_cell(column[name]) if name in column else "-" for column in columns)] for name in names]
    if not rows:
        return NOTHING
    headers = ["If this happens", *(f"A shoot {where(life)} is" for life in found.lives)]
    said = "Counted from the first picture; where a scenario is tried on several in turn, the worst at each moment. "
    if any(worst.at_last for column in columns for worst in column.values()):
        said += "! Still so when everything that is planned has been done. "
    said += "A copy that is damaged in part counts as gone here: this says lost too often rather than too seldom."
    title = "Every scenario over the first year"
    if found.not_applicable:
        said += f" This studio has nothing that these could hit: {', '.join(found.not_applicable)}."
    return Section(title, (Table(headers, rows), Paragraph(said)))


def _cell(worst: Worst) -> str:
    which = ", ".join(worst.taking[:MOST_VARIANTS]) + (" …" if len(worst.taking) > MOST_VARIANTS else "")
    if worst.variants > 1:
        which = f"{which}: {len(worst.taking)} of {worst.variants}" if which else f"any of {worst.variants}"
    return say_band(worst.stretches) + (f" ({which})" if which else "") + (" !" if worst.at_last else "")
