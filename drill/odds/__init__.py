"""Odds: how likely it is that a shoot is lost by some moment, under a scheme, exactly.

Flows in: the life of a shoot (`timeline`), its studio, rates per year. Flows out: probabilities. Must not know:
reports, advice. No time step and no chance: the distribution over what each medium is like goes from moment to moment.
"""

from drill.odds.blows import blows
from drill.odds.engine import LOST, Odds, distribution, odds, odds_at
from drill.odds.published import LEVELS, Rates, rates, without
from drill.odds.shares import shares
from drill.odds.words import in_words

__all__ = [
    "LEVELS",
    "LOST",
    "Odds",
    "Rates",
    "blows",
    "distribution",
    "in_words",
    "odds",
    "odds_at",
    "rates",
    "shares",
    "without",
]
