"""The advice as text: what would help most, each in a few plain sentences; what was tried and hardly helps.

Flows in: the record of the advice. Flows out: text. Must not know: engines, schemes, terminals (the width is given).
"""

from collections.abc import Sequence

from drill.advicerecord import Advice, Tried
from drill.report.forecast_odds_text import say_share
from drill.report.forecast_words import span_words
from drill.report.sections import NOTHING, Items, Paragraph, Section, Table, filled, items, paragraphs

MOST_TOLD = 3
MOST_VARIANTS = 4
MOST_IN_TABLE = 12
_BARELY_S = 3600.0
LATER = (
    "That is the first year alone: what is checked, unplugged, kept in one more place or under another account pays "
    "over the years in which nobody looks."
)


def advised(advice: Advice) -> list[Section]:
    """Return the whole advice."""
    shoot = f"a shoot made {'away' if advice.away else 'at home'} on {advice.day}"
    if not advice.helps and not advice.hardly:
        return []
    if not advice.helps:
        head = f"No single change that was tried helps {shoot} by much."
        return [Section("What would help", (Paragraph(head),)), *_hardly(advice)]
    ideas = _ideas(advice)
    return filled(
        [
            Section("What would help most", (Paragraph(_head(advice, shoot)),)),
            *(_idea(group, advice, number) for number, group in enumerate(ideas[:MOST_TOLD], 1)),
            _others([one for group in ideas[MOST_TOLD:] for one in group], advice),
            *_hardly(advice),
        ]
    )


def _ideas(advice: Advice) -> list[list[Tried]]:
    """Return what helps, variants of one idea together: first what removes most, the rest in the advice's order."""
    ideas: dict[str, list[Tried]] = {}
    for one in sorted(advice.helps, key=lambda one: one is not advice.most):
        ideas.setdefault(one.kind, []).append(one)
    return list(ideas.values())


def _idea(group: Sequence[Tried], advice: Advice, number: int) -> Section:
    """Return the first of some variants in full, what the others come to in a line each."""
    others = [f"Or: {one.what} Removes {_share(one)}; {_brief(one, advice)}." for one in group[1:MOST_VARIANTS]]
    left = len(group) - MOST_VARIANTS
    others += [f"And {left} more of this kind; --json has them all."] if left > 0 else []
    first = Items([_told(group[0], advice)], number=number)
    return Section("", (first, Items(others, under=True)) if others else (first,))


def _brief(one: Tried, advice: Advice) -> str:
    money = "no price in [costs]" if one.money is None else f"{_money(one.money, advice)} a year" if one.money else ""
    minutes = f"{round(one.minutes):+} minutes a year" if round(one.minutes) else ""
    return ", ".join(part for part in (money, minutes) if part) or "no cost that the studio file tells"


def _head(advice: Advice, shoot: str) -> str:
    most = advice.most
    by = f"What removes most, {_share(most)} of the first year's risk: {most.what} " if most else ""
    return f"{by}Each change was tried alone, for {shoot}. {_order(advice)} Variants of one idea stand together."


def _share(one: Tried) -> str:
    """Write the share of the risk that a change removes; never as all of it."""
    return f"{min(99, int(one.removes * 100))} %"


def _order(advice: Advice) -> str:
    if not advice.priced:
        return (
            "After that the order is by the risk that each removes: the studio file has no [costs], and what they cost "
            "you is yours to weigh."
        )
    said = "After that comes what removes a tenth of the risk or more, the most for its cost first. "
    if advice.hour:
        shoots = f"{advice.shoots_a_year} shoots a year" + ("" if advice.counted else " (assumed)")
        said += f"An hour of yours counts {_money(advice.hour, advice)}, with {shoots}. "
    return said + "Prices are those of the studio file."


def _told(one: Tried, advice: Advice) -> str:
    said = f"{one.what} Removes {_share(one)}. A loss within a year: {one.words_before} before, {one.words_after} after"
    if one.ten_before is not None and one.ten_after is not None:
        said += f" (in ten years {say_share(one.ten_before)} before, {say_share(one.ten_after)} after)"
    said += f". {_cost(one, advice)}"
    for saved_s, what in ((one.one_copy_s, "on one copy alone"), (one.onsite_s, "with nothing off-site")):
        if abs(saved_s) >= _BARELY_S:
            more_or_less = "less" if saved_s > 0 else "more"
            said += f" It stands {span_words(abs(saved_s))} {more_or_less} {what} in its first year."
    return said


def _cost(one: Tried, advice: Advice) -> str:
    if one.money is None:
        price = "something that has no price in [costs]" if advice.priced else "a thing to buy or rent"
        return f"It takes {price}{_minutes(one, ', and ')}."
    if one.money:
        return f"It costs about {_money(one.money, advice)} a year{_minutes(one, ', and ')}."
    verb = "saves" if round(one.minutes) < 0 else "costs"
    return f"It {verb} {_minutes(one, '') or 'nothing that the studio file puts a price on'}."


def _minutes(one: Tried, before: str) -> str:
    minutes = round(one.minutes)
    if not minutes:
        return ""
    unit = "minute" if abs(minutes) == 1 else "minutes"
    return f"{before}{abs(minutes)} {unit} a year of your time"


def _money(money: float, advice: Advice) -> str:
    return f"{money:,.0f} {advice.currency}".strip()


def _others(others: Sequence[Tried], advice: Advice) -> Section:
    rows = [
        [
            one.what,
            _share(one),
            "no price" if one.money is None else _money(one.money, advice) if one.money else "-",
            f"{one.minutes:.0f}" if round(one.minutes) else "-",
        ]
        for one in others[:MOST_IN_TABLE]
    ]
    if not rows:
        return NOTHING
    headers = ["Also tried", "Risk removed", "Money a year", "Minutes a year"]
    return Section("", (Table(headers, rows, right=(1, 2, 3)),))


def _hardly(advice: Advice) -> list[Section]:
    worse = [one for one in advice.hardly if one.removes <= -0.02]
    rest = [one for one in advice.hardly if one.removes > -0.02]
    return [
        items("Would make it worse", [f"{one.what} (risk {one.removes * -1:+.0%})" for one in worse], level=2),
        items("Tried, and removes next to nothing of the first year's risk", [one.what for one in rest], level=2),
        paragraphs(LATER if rest else ""),
    ]
