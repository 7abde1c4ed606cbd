"""Trial: every change reckoned by the engine that reckons the scheme itself, and ranked.

Flows in: a studio with a scheme, the day and whereabouts of a shoot. Flows out: the record of the advice. Must not
know: how odds are reckoned, terminals.

Changes that remove a tenth of the risk of the shoot's first year or more come first, then those that remove less. Among
each the order is by the risk removed for what a change costs a year: money, and minutes where an hour has a price; what
costs less than one unit of money counts as one unit, and what has no price comes last. Without [costs] it is the risk
alone. What keeps shoots for good on a medium that is there fills it, and has no price, as how much that holds is not
known: it is told how much it is. Chances are reckoned as finely as ranking needs; of large schemes fewer changes are
tried, less finely, and none over ten years, so that it takes seconds.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from drill.advice.changes import Change, changes
from drill.advice.edits import scheme_of
from drill.advice.price import minutes_a_year, money_a_year, shoots_a_year
from drill.advicerecord import Advice, Tried
from drill.model import Costs, Studio
from drill.odds import in_words, odds, rates
from drill.timeline import Life, Span, horizon, life, spans, usual
from drill.units import YEAR_S, say_size

HELPS = 0.02  # a change that removes a smaller share of the first year's risk hardly helps
MUCH = 0.1  # one that removes so much helps much


@dataclass(frozen=True, slots=True)
class _Effort:
    """How many changes are tried, how finely (relative, at worst), and how many of the best over ten years too."""

    changes: int
    precision: float
    over_ten: int


_SMALL, _LARGE = _Effort(25, 0.05, 2), _Effort(15, 0.2, 0)
_SMALL_MEDIA, _SMALL_INSTANTS = 8, 400  # of a first year


def advise(studio: Studio, day: date, *, away: bool) -> Advice:
    """Try single changes for a shoot made on `day`. Errors: ValueError for a studio without a scheme."""
    scheme = scheme_of(studio)
    shoots, counted = shoots_a_year(studio)
    trial = _Trial(studio, day, away=away, shoots=shoots)
    tried = [trial.of(change) for change in changes(studio, trial.settled, trial.effort.changes)]
    priced = bool(scheme.costs.hour or scheme.costs.buy or scheme.costs.yearly)
    ranked = sorted(tried, key=lambda one: _rank(one[1], scheme.costs, priced=priced))
    helps = [(change, one) for change, one in ranked if one.removes >= HELPS]
    return Advice(
        day=day.isoformat(),
        away=away,
        currency=scheme.costs.currency,
        hour=scheme.costs.hour,
        priced=priced,
        shoots_a_year=shoots,
        counted=counted,
        helps=tuple(trial.over_ten(helps)),
        hardly=tuple(one for _, one in ranked if one.removes < HELPS),
    )


def _rank(one: Tried, costs: Costs, *, priced: bool) -> tuple[bool, bool, float]:
    gain = one.before - one.after
    if not priced:
        return False, False, -gain
    cost = (one.money or 0.0) + one.minutes / 60 * costs.hour
    return one.removes < MUCH, one.money is None, -gain / max(cost, 1.0) if gain > 0 else -gain


class _Trial:
    """The scheme as it is, and what is held against it."""

    def __init__(self, studio: Studio, day: date, *, away: bool, shoots: int) -> None:
        self._studio, self._day, self._away, self._shoots = studio, day, away, shoots
        self._year = horizon(scheme_of(studio), day, 1)
        lived = life(studio, day, away=away, until=self._year)
        self._spans = spans(lived, studio)
        media = {copy.medium for one in self._spans for copy in one.copies}
        is_small = len(media) <= _SMALL_MEDIA and len(lived.instants) <= _SMALL_INSTANTS
        self.effort = _SMALL if is_small else _LARGE
        self._before = self._chance(studio, lived)
        self.settled = self._spans[-1]

    def of(self, change: Change) -> tuple[Change, Tried]:
        """Try one change."""
        lived = life(change.studio, self._day, away=self._away, until=self._year)
        after, held = self._chance(change.studio, lived), spans(lived, change.studio)
        old, new = scheme_of(self._studio), scheme_of(change.studio)
        more = minutes_a_year(new.steps, self._shoots) - minutes_a_year(old.steps, self._shoots)
        room = self._room(change, held)
        return change, Tried(
            kind=change.kind,
            what=f"{change.what}{_room_words(change, room)}",
            before=self._before,
            after=after,
            words_before=in_words(self._before),
            words_after=in_words(after),
            ten_before=None,
            ten_after=None,
            one_copy_s=_alone_s(self._spans) - _alone_s(held),
            onsite_s=self._onsite_s(self._studio, self._spans) - self._onsite_s(change.studio, held),
            money=None if change.for_good and room else money_a_year(self._studio, change.studio, old.costs),
            minutes=more,
            room=room,
        )

    def _room(self, change: Change, held: Sequence[Span]) -> int:
        """Return the bytes that a year's shoots take up more, on a medium that keeps them longer."""
        if change.kept_on is None:
            return 0
        more_s = _on_s(change.kept_on, held) - _on_s(change.kept_on, self._spans)
        size, _ = usual(self._studio)
        return max(0, round(self._shoots * size * more_s / YEAR_S))

    def over_ten(self, ranked: Sequence[tuple[Change, Tried]]) -> list[Tried]:
        """Return the changes, the first few with their chances over ten years."""
        chosen, rest = ranked[: self.effort.over_ten], ranked[self.effort.over_ten :]
        before = self._in_ten(self._studio) if chosen else None
        tens = [replace(one, ten_before=before, ten_after=self._in_ten(change.studio)) for change, one in chosen]
        return tens + [one for _, one in rest]

    def _in_ten(self, studio: Studio) -> float:
        return self._chance(studio, life(studio, self._day, away=self._away))

    def _chance(self, studio: Studio, lived: Life) -> float:
        return odds(lived, studio, rates(studio), [lived.until], precision=self.effort.precision).lost[0]

    def _onsite_s(self, studio: Studio, held: Sequence[Span]) -> float:
        return sum(_length_s(one) for one in held if not any(studio.media[copy.medium].offsite for copy in one.copies))


def _room_words(change: Change, room: int) -> str:
    if not room:
        return ""
    lasts = "each year" if change.for_good else "at any time"
    return f" That keeps about {say_size(round(float(f'{room:.2g}')))} more on {change.kept_on} {lasts}."


def _on_s(medium: str, held: Sequence[Span]) -> float:
    return sum(_length_s(one) for one in held if any(copy.medium == medium for copy in one.copies))


def _alone_s(held: Sequence[Span]) -> float:
    return sum(_length_s(one) for one in held if len(one.copies) < 2)


def _length_s(one: Span) -> float:
    return (one.ends - one.begins).total_seconds()
