"""Timeline: a scheme laid over the calendar, for a shoot made on one day. Exact moments, no time step.

Flows in: a Studio with a scheme, a day, whether the shoot is away. Flows out: its life (what is done, and when), and
what is held where from moment to moment as long as nothing fails. Must not know: what may go wrong, terminals.
"""

from drill.timeline.doing import Held, at_first, do
from drill.timeline.forgetting import forgotten_once
from drill.timeline.held import Span, spans
from drill.timeline.lives import Instant, Life, horizon, life
from drill.timeline.moments import local_moment, within_calendar, years_after
from drill.timeline.takes import is_size_known, takes_s, usual

__all__ = [
    "Held",
    "Instant",
    "Life",
    "Span",
    "at_first",
    "do",
    "forgotten_once",
    "horizon",
    "is_size_known",
    "life",
    "local_moment",
    "spans",
    "takes_s",
    "usual",
    "within_calendar",
    "years_after",
]
