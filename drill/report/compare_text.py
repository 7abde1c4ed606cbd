"""Two schemes side by side, as text: a sentence, what gets better, what gets worse, what stays the same.

Flows in: the record of a comparison. Flows out: text. Must not know: engines, schemes, terminals (the width is given).
"""

import re
from collections import Counter
from collections.abc import Sequence

from drill.advicerecord import Compared, Comparison
from drill.report.forecast_odds_text import say_share
from drill.report.forecast_words import say_moment, span_words
from drill.report.sections import NOTHING, Section, Table, laid_out, paragraphs

_TITLES = (("worse", "What gets worse"), ("better", "What gets better"), ("not both", "What only one of them tells"))
NOT_PROVED = (
    "A comparison is of two plans, of a shoot on the same day, each by its own studio file: its rates, its size of a "
    "shoot, its hours and its days away. Each is right only as far as its steps are really done. "
    "Better on most measures is not better for you: see what gets worse first."
)


def compare_text(comparison: Comparison, *, width: int = 80) -> str:
    """Return the whole comparison."""
    sections = [paragraphs(answer(comparison)), *compared(comparison), paragraphs(NOT_PROVED)]
    return laid_out(sections, width=width)


def compared(comparison: Comparison) -> list[Section]:
    """Return what the other scheme changes, below the sentence that says it."""
    changes = [_table(title, comparison.of(change), comparison) for change, title in _TITLES]
    return [*changes, _same(comparison)]


def answer(comparison: Comparison) -> str:
    """Return in a sentence what the other scheme changes."""
    better, worse = len(comparison.of("better")), len(comparison.of("worse"))
    all_ = len(comparison.rows) - len(comparison.of("not both"))
    head = f"{comparison.other} beside {comparison.one}:"
    if not better and not worse:
        return f"{head} the same on all {all_} measures."
    stay = all_ - better - worse
    return f"{head} of {all_} measures {better or 'none'} get better, {worse or 'none'} worse, {stay} stay."


def _table(title: str, rows: Sequence[Compared], comparison: Comparison) -> Section:
    if not rows:
        return NOTHING
    cells = [[_about(group), _whats(group), *_cells(group[0])] for group in _told_once(rows)]
    headers = ["About", "What", comparison.one, comparison.other]
    return Section(title, (Table(headers, cells, right=(2, 3)),))


def _told_once(rows: Sequence[Compared]) -> list[list[Compared]]:
    """Return rows put together that say one thing: spans of the same two lengths, and any that are the same away and
    at home."""
    groups: dict[tuple[object, ...], list[Compared]] = {}
    for row in rows:
        apart = () if row.unit in ("seconds", "moment") and row.group != "scenarios" else (row.group, _split(row)[0])
        groups.setdefault((row.unit in ("seconds", "moment"), *_cells(row), *apart), []).append(row)
    return list(groups.values())


def _about(group: Sequence[Compared]) -> str:
    return ", ".join(dict.fromkeys(row.group for row in group))


def _whats(group: Sequence[Compared]) -> str:
    """Write what some rows tell, each thing once, with where it is so."""
    places: dict[str, list[str]] = {}
    for row in group:
        what, where = _split(row)
        places.setdefault(what, []).extend([where] if where and where not in places.get(what, ()) else [])
    alike: dict[str, list[str]] = {}
    for what, wheres in places.items():
        alike.setdefault(f" ({' and '.join(wheres)})" if wheres else "", []).append(what)
    return "; ".join(f"{', '.join(whats)}{ending}" for ending, whats in alike.items())


def _split(row: Compared) -> tuple[str, str]:
    """Return what a row tells, and of a shoot made where."""
    found = re.fullmatch(r"(.*?)(?:, | \()(away|at home)\)?", row.what)
    return (found[1], found[2]) if found else (row.what, "")


def _cells(row: Compared) -> list[str]:
    return [_say(row, row.one), _say(row, row.other)]


def _same(comparison: Comparison) -> Section:
    rows = comparison.of("same")
    if not rows:
        return NOTHING
    groups = Counter(row.group for row in rows)
    said = ", ".join(f"{group} ({number})" for group, number in groups.items())
    return paragraphs(f"What stays the same: {said}. The JSON names them all.")


def _say(row: Compared, value: float | None) -> str:
    if value is None:
        return "never" if row.unit == "moment" else "cannot be told" if row.unit == "met" else "-"
    if row.unit == "chance":
        return say_share(value)
    if row.unit == "met":
        return "met" if value else "not met"
    if row.unit == "failures":
        return "lost already" if value < 0 else f"{value:.0f}"
    if row.unit == "moment":
        return "at once" if value <= 0 else say_moment(value)
    return span_words(value) if value else "-"
