"""What goes wrong, how often, and what it does to the media: read from the studio's values."""

from drill.model import Studio

from .statuses import WORSE, Statuses, mirrors_of

YEAR_S = 365.25 * 86400


def events_of(studio: Studio) -> list[str]:
    """Return the names of all that can go wrong in a studio, even where it would hit nothing."""
    media = studio.media.values()
    found = [f"{what}:{medium.id}" for medium in media for what in ("medium", "rot")]
    found += [f"deleted:{medium.id}" for medium in media if medium.attached]
    found += [f"account:{account}" for account in dict.fromkeys(medium.account for medium in media) if account]
    found += [f"place:{place}" for place in studio.places]
    return [*found, "attack"]


def rates_of(studio: Studio) -> dict[str, float]:
    """Return how often each event comes in a year, for a studio whose every rate is given in its file."""
    return {event: _rate(studio, event) for event in events_of(studio)}


def _rate(studio: Studio, event: str) -> float:
    assert studio.scheme is not None
    risks, (what, _, name) = studio.scheme.risks, event.partition(":")
    if what == "medium":
        rate = studio.media[name].fails_per_year
    elif what == "place":
        rate = risks.theft if studio.places[name].carried else risks.fire
    else:
        rate = {"account": risks.lockout, "deleted": risks.deletion, "attack": risks.attack, "rot": risks.rot}[what]
    assert rate is not None, "a rate that is not in the studio file is not known here"
    return rate


def hit_by(studio: Studio, event: str, *, away: bool) -> tuple[set[str], str]:
    """Return the media an event reaches, whether or not they hold the shoot, and the status they fall to."""
    what, _, name = event.partition(":")
    media = studio.media.values()
    if what == "medium":
        return locked_out(studio, {name}), "F"
    if what == "place":
        assert studio.scheme is not None
        taken = {medium.id for medium in media if medium.place == name}
        if not away and studio.scheme.home == name:
            taken |= {medium.id for medium in media if studio.places[medium.place].carried}
        return locked_out(studio, taken), "F"
    if what == "account":
        return locked_out(studio, {medium.id for medium in media if medium.account == name}), "F"
    if what == "deleted":
        return kept_in_step(studio, {name}), "N"
    if what == "attack":
        return locked_out(studio, kept_in_step(studio, {medium.id for medium in media if medium.attached})), "F"
    assert what == "rot"
    return kept_in_step(studio, {name}), "R"


def after_blow(studio: Studio, event: str, statuses: Statuses, *, away: bool) -> Statuses:
    """Return the statuses after an event: nothing gets better by it."""
    media, to = hit_by(studio, event, away=away)
    return tuple(
        max(now, to, key=WORSE.index) if id_ in media else now for id_, now in zip(studio.media, statuses, strict=True)
    )


def locked_out(studio: Studio, media: set[str]) -> set[str]:
    """Return media, and those that need one of them, or one that needs one."""
    more = {medium.id for medium in studio.media.values() if media & set(medium.needs)}
    return media if more <= media else locked_out(studio, media | more)


def kept_in_step(studio: Studio, media: set[str]) -> set[str]:
    """Return media, and those that mirror one of them, or a mirror of it, as far as none keeps versions."""
    mirrors = {mirror for id_ in media for mirror in mirrors_of(studio, id_)}
    more = {mirror for mirror in mirrors if studio.media[mirror].keeps_versions_s is None}
    return media if more <= media else kept_in_step(studio, media | more)
