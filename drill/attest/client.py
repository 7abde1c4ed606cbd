"""Whose shoots a letter is about: one client's, and nobody else's.

Flows in: a studio, a client's name or ids of shoots. Flows out: shoots. Must not know: what is known of them.
"""

from collections.abc import Sequence
from unicodedata import normalize

from drill.errors import Mistake, Mistakes
from drill.model import Shoot, Studio
from drill.proofrecord import DELIVERABLES
from drill.studio import shoots_named


def shoots_of(studio: Studio, client: str | None, ids: Sequence[str]) -> list[Shoot]:
    """Return the client's shoots, else those of these ids, in the studio's order.

    Errors: Mistakes, also for shoots of several clients, and where nothing of them is a deliverable.
    """
    chosen = shoots_named(studio, ids) if client is None else _of_client(studio, client)
    clients = {None if shoot.client is None else _plain(shoot.client) for shoot in chosen}
    if len(clients) > 1:
        each = ", ".join(f"{shoot.id} ({shoot.client or 'no client'})" for shoot in chosen)
        advice = "attest each client's shoots by themselves; a shoot's client is the key client of its [[shoots]]"
        raise Mistakes([Mistake(str(studio.file), "--shoot", f"a letter is to one client: {each}", advice)])
    if not any(file.kind == DELIVERABLES for shoot in chosen for file in shoot.promise):
        what = "no promised file of these shoots is a deliverable, so there is nothing that the client could check"
        advice = 'say which files are, for example deliverables = ["deliver/**"]'
        raise Mistakes([Mistake(str(studio.file), "[classes]", what, advice)])
    return chosen


def _of_client(studio: Studio, client: str) -> list[Shoot]:
    found = [shoot for shoot in studio.shoots if shoot.client is not None and _plain(shoot.client) == _plain(client)]
    if not found:
        known = sorted({shoot.client for shoot in studio.shoots if shoot.client is not None})
        advice = (
            f"clients: {', '.join(known)}" if known else 'no shoot has a client yet: add client = "…" to [[shoots]]'
        )
        raise Mistakes([Mistake(str(studio.file), f"--client {client}", "no shoot has this client", advice)])
    return found


def _plain(name: str) -> str:
    """Return a name as it is compared: accents put together in one way, no spaces at its ends."""
    return normalize("NFC", name).strip()
