"""Rules: what published advice asks of the media that one file is on.

Flows in: media. Flows out: what is missing, levels. Must not know: files, copies, people.
Facts:
- Ruggiero & Heckathorn, "Data Backup Options", US-CERT 2012: 3 copies of any important file, 1 primary and 2 backups; 2
  different media types; 1 copy off-site, outside home or business facility.
- NDSA Levels of Digital Preservation 2.0 (2019), Storage: level 1 two complete copies in separate locations; level 2
  three complete copies, one at least in a separate geographic location. Levels 3 and 4 ask for places "with a different
  disaster threat", which a studio file does not say: no level above 2 is claimed.
- Common practice, no source: three copies before leaving the field; card and tablet alone are not enough.
"""

from collections.abc import Collection, Mapping

from drill.model import Medium


def lacks_3_2_1(media: Collection[Medium]) -> tuple[str, ...]:
    """Return what the three-two-one rule misses of "copies", "kinds", "offsite" for a file on these media."""
    return tuple(
        name
        for name, met in (
            ("copies", len(media) >= 3),
            ("kinds", len({medium.kind for medium in media}) >= 2),
            ("offsite", any(medium.offsite for medium in media)),
        )
        if not met
    )


def storage_level(media: Collection[Medium]) -> int:
    """Return the NDSA Storage level, 0 to 2, that complete copies on these media reach."""
    apart = len({medium.place for medium in media}) >= 2
    if len(media) < 2 or not apart:
        return 0
    # "Geographic" is more than another room: off-site, with one that is not, or two off-site places.
    far = any(medium.offsite for medium in media)
    return 2 if len(media) >= 3 and far else 1


def lacks_practice(media: Collection[Medium]) -> bool:
    """Say whether a file on these media has fewer than the three copies that common practice asks for."""
    return len(media) < 3


def card_and_tablet_only(media: Collection[Medium]) -> bool:
    """Say whether a file is on cards, tablets and phones alone."""
    return bool(media) and {medium.kind for medium in media} <= {"card", "tablet", "phone"}


def independent(media: Collection[Medium], known: Mapping[str, Medium]) -> int:
    """Return how many of these media a deletion or encryption on one of them does not reach through mirrors."""
    return len({_followed(medium, known) for medium in media})


def _followed(medium: Medium, known: Mapping[str, Medium]) -> str:
    """Return the medium at the end of a chain of mirrors that keep no versions; of a ring, its first by name."""
    chain = [medium.id]
    while medium.mirrors is not None and medium.keeps_versions_s is None:
        if medium.mirrors in chain:
            return min(chain[chain.index(medium.mirrors) :])
        medium = known[medium.mirrors]
        chain.append(medium.id)
    return chain[-1]
