"""The odds of a forecast as text: a range in words, which event matters most, the rates that were reckoned with.

Flows in: the record of a forecast. Flows out: text. Must not know: engines, terminals.
Importance: Birnbaum, criticality, Fussell-Vesely, risk achievement and risk reduction worth, as in the Fault Tree
Handbook with Aerospace Applications (NASA, 2002) and its kin; Fussell-Vesely here is the chance that some minimal cut
set with the event happens, over the chance that any does.
"""

from collections.abc import Sequence
from math import floor, log10

from drill.forecastrecord import Chance, Forecast, Rate, Weights
from drill.report.sections import NOTHING, Paragraph, Section, Table, filled, items, paragraphs

MOST_EVENTS = 6
RANGE = (
    "Low and high: all rates divided and multiplied by the same factor. A range, not a promise: rates of theft, fire "
    "and mistakes are guesses, and a rare thing that does happen takes the whole shoot."
)
IMPORTANCE = (
    "Reckoned as if that stage lasted a year. Part in it: of the chance of a loss, how much has to do with the event "
    "(Fussell-Vesely: the union of the minimal cut sets that hold it). Critical: how much comes of it being the last "
    "straw (criticality). If sure, if never: how many times likelier, or less likely, a loss would be (risk "
    "achievement and risk reduction worth)."
)


def parts_in_it(found: Forecast) -> Section:
    """Return in a sentence for each stage what a loss would mostly have to do with."""
    lines = []
    for one in found.weights:
        named = [f"{event.words} ({event.fussell_vesely:.0%})" for event in one.events[:3] if event.fussell_vesely > 0]
        if named:
            lines.append(f"{one.stage}, a shoot made {'away' if one.away else 'at home'}: {', '.join(named)}.")
    return items("What a loss would mostly have to do with (--measures tells more)", lines)


def event_measures(found: Forecast) -> list[Section]:
    """Return how much each event matters, in the measures of fault trees."""
    told = filled(_weights(one) for one in found.weights)
    return [*told, paragraphs(IMPORTANCE)] if told else []


def say_share(chance: float) -> str:
    """Write a chance as a percentage with two significant figures; never as none where there is some."""
    if chance <= 0:
        return "0"
    if chance < 1e-9:
        return "< 0.0000001 %"
    if chance < 1 and chance > 0.994:  # two figures would make it sure
        return "> 99 %"
    share = float(f"{chance * 100:.2g}")
    return f"{share:.{max(0, 1 - floor(log10(share)))}f} %" if share < 1 else f"{share:g} %"


def chances(found: Forecast) -> list[Section]:
    """Return how likely a shoot is lost."""
    rows = [_chance(one) for one in found.chances]
    if not rows:
        return []
    headers = ["A shoot", "Within", "Low", "Middle", "High", "In the middle that is"]
    title = "How likely one shoot is lost altogether"
    return [Section(title, (Table(headers, rows, right=(2, 3, 4)), Paragraph(RANGE))), _all_shoots(found)]


def _all_shoots(found: Forecast) -> Section:
    """Return between which bounds the chances lie that anything, and that everything, of a year's shoots is lost.

    Whatever the shoots have in common: some are lost at least as likely as the one least in danger, and at most as
    likely as all their chances add up to; all are lost at most as likely as the one most in danger.
    """
    first = [one for one in found.chances if one.years == 1]
    number = found.shoots_a_year
    if number < 2 or not first:
        return NOTHING
    least, most = min(one.middle for one in first), max(one.middle for one in first)
    added = min(1.0, number * most)
    whence = "as many as your last year had" if found.shoots_counted else "assumed"
    title = f"All shoots of a year, {number} ({whence}), each in its first year, at middle rates"
    rows = [
        ["something is lost", f"between {say_share(least)} and {say_share(added)}"],
        ["everything is lost", f"at most {say_share(most)}"],
    ]
    said = (
        "Bounds, by the days above, and not a middle: one fire can take many shoots at once, and how many stand "
        "together on the day was not reckoned. The first figure is if they fall all together, the second if each falls "
        "alone."
    )
    return Section(title, (Table(["That", "Chance"], rows), Paragraph(said)))


def _chance(one: Chance) -> list[str]:
    shoot = f"{'away' if one.away else 'home'} on {one.day} ({one.which})"
    within = f"{one.years} year{'s' if one.years > 1 else ''}"
    return [shoot, within, say_share(one.low), say_share(one.middle), say_share(one.high), one.words]


def _weights(weights: Weights) -> Section:
    rows = [
        [
            one.words,
            say_share(one.chance),
            f"{one.fussell_vesely:.0%}",
            f"{one.criticality:.0%}",
            f"{one.birnbaum:.2g}",
            "no end" if one.raw is None else f"{one.raw:.3g}",
            "no end" if one.rrw is None else f"{one.rrw:.3g}",
        ]
        for one in weights.events[:MOST_EVENTS]
    ]
    if not rows:
        return NOTHING
    headers = ["Event", "A year", "Part in it", "Critical", "Birnbaum", "If sure", "If never"]
    title = f"Which events matter most {weights.stage}, for a shoot made {'away' if weights.away else 'at home'}"
    return Section(title, (Table(headers, rows, right=(1, 2, 3, 4, 5, 6)),))


def rates(found: Forecast) -> Section:
    """Return how often each event is reckoned with."""
    alike: dict[tuple[object, ...], list[Rate]] = {}
    for rate in found.rates:
        kind = rate.event.partition(":")[0]
        alike.setdefault((kind, rate.low, rate.middle, rate.high, rate.source), []).append(rate)
    rows = [
        [_all_of(group), f"{one.low:.2g}", f"{one.middle:.2g}", f"{one.high:.2g}", one.source]
        for group in alike.values()
        for one in group[:1]
    ]
    if not rows:
        return NOTHING
    title = "How often each event is reckoned with, a year"
    body = Table(["Event", "Low", "Middle", "High", "From"], rows, right=(1, 2, 3))
    return Section(title, (body, Paragraph("Your own: fails_per_year of a medium, and [risks].")))


def _all_of(group: Sequence[Rate]) -> str:
    """Write events that differ in their media alone as one: "card, tablet broken or lost"."""
    id_ = group[0].event.partition(":")[2]
    said = group[0].words
    others = ", ".join(rate.event.partition(":")[2] for rate in group[1:])
    if not others:
        return said
    if said.startswith(f"{id_} "):
        return f"{id_}, {others}{said.removeprefix(id_)}"
    return f"{said}, {others}" if said.endswith(f" {id_}") else "; ".join(rate.words for rate in group)
