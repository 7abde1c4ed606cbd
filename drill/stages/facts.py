"""What a stage of a shoot's life has: its copies counted, the doubtful ones not.

Flows in: a span, its studio. Flows out: counts, how many further failures are survivable. Must not know: what comes
before or after. When in doubt a copy counts for less:

- A mirror without versions counts as one copy with what it mirrors: deletions and encryption reach it too.
- What is carried or at home is never off-site, and while nobody is away what is carried is at home, where the scheme
  says which place that is.
- Verified is a copy that was compared with its promise since it was made.
"""

from drill.model import Medium, Studio
from drill.stages.ground import Facts, Ground, chain, effective_place, ground, is_offsite
from drill.stages.tree import survivable
from drill.timeline import Span


def facts(span: Span, on: Studio | Ground) -> Facts:
    """Return what a span has; spans with equal copies are counted once when the same Ground is given for all."""
    here = ground(on)
    key = (span.away, tuple((held.medium, held.verified is None) for held in span.copies))
    if key not in here.facts:
        here.facts[key] = _facts(span, here)
    return here.facts[key]


def _facts(span: Span, here: Ground) -> Facts:
    studio = here.studio
    media = [studio.media[held.medium] for held in span.copies]
    made_on = studio.scheme.made_on if studio.scheme else ()
    off_card = [held for held in span.copies if held.medium not in made_on]
    places = {medium.id: effective_place(medium, studio, away=span.away) for medium in media}
    return Facts(
        copies=len({_original(medium, studio) for medium in media}),
        kinds=len({medium.kind for medium in media}),
        places=len(set(places.values())),
        locations=len({None if m.carried and places[m.id] == m.place else places[m.id] for m in media}),
        offsite=len({medium.place for medium in media if is_offsite(medium, studio)}),
        verified=sum(held.verified is not None for held in span.copies),
        off_card=len(off_card),
        unproven=sum(held.verified is None for held in off_card),
        survivable=survivable(span, here),
    )


def _original(medium: Medium, studio: Studio) -> str:
    """Return what a mirror without versions mirrors in the end; of media that mirror each other the first by name."""
    media = [each.id for each in chain(medium, studio)]
    last = studio.media[media[-1]]
    if last.mirrors in media and last.keeps_versions_s is None:
        return min(media[media.index(last.mirrors) :])
    return last.id
