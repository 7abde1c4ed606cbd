"""Events and sets of events in a photographer's words.

Flows in: event names, a studio. Flows out: text. Must not know: how likely anything is, terminals.
"""

from collections.abc import Iterable

from drill.model import Studio
from drill.phrases import in_a_row


def event_words(event: str, studio: Studio) -> str:
    """Say an event: "fire at house", "bytes gone bad on card before they were copied on"."""
    kind, _, id_ = event.partition(":")
    if kind == "place":
        place = studio.places.get(id_)
        return f"loss or theft of {id_}" if place is not None and place.carried else f"fire or burglary at {id_}"
    return {
        "medium": f"{id_} broken or lost",
        "account": f"no way into account {id_}",
        "deleted": f"deletion by mistake on {id_}",
        "attack": "malicious encryption of all that is attached",
        "rot": f"bytes gone bad unnoticed on {id_}",
        "bad-source": f"bytes gone bad on {id_} before they were copied on",
    }.get(kind, event)


def cut_words(events: Iterable[str], studio: Studio) -> str:
    """Say a set of events that together lose a shoot."""
    return in_a_row([event_words(event, studio) for event in events]) or "it is on no copy any more"
