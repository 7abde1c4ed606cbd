"""Why an event takes a copy that it does not strike: what reading the copy needs is struck.

Flows in: an event, a span, a studio. Flows out: text. Must not know: how likely anything is, terminals.
"""

from drill.model import Medium, Studio
from drill.stages.ground import effective_place, with_needs
from drill.timeline import Span

_WHERE = {"place": ", which is there", "account": ", which is behind it", "medium": ""}


def taken_by_need(event: str, span: Span, studio: Studio) -> str:
    """Say which copies of a span an event takes only through what they need: "cloud too, as it needs phone, which is
    there"; nothing where there is none."""
    said = []
    for held in span.copies:
        medium, *others = with_needs(studio.media[held.medium], studio)
        struck = next((other for other in others if event in _own(other, span, studio)), None)
        if struck is not None and event not in _own(medium, span, studio):
            said.append(f"{medium.id} too, as it needs {struck.id}{_WHERE.get(event.partition(':')[0], '')}")
    return " and ".join(said)


def _own(medium: Medium, span: Span, studio: Studio) -> set[str]:
    """Return the failures that strike a medium itself."""
    places = {medium.place, effective_place(medium, studio, away=span.away)}
    found = {f"medium:{medium.id}", *(f"place:{place}" for place in places)}
    return found | ({f"account:{medium.account}"} if medium.account else set())
