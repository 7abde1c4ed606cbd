"""The judge: may the medium go? Facts become reasons against it; where there is none, it may.

Flows in: what is on the medium, what was proved elsewhere, targets, failures. Flows out: reasons, and for each shoot
what is left. Must not know: how anything was read, copies' places, terminals. Every doubt is a reason.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from drill import clock
from drill.faulttree import smallest_cut_sets
from drill.model import Targets
from drill.retirerecord import Named, Reason, ShootLeft

MOST_LISTED = 20
_SLACK_S = 1e-6  # the sum of many short times is off by less


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """One copy that was seen to hold a promised file: when, and whether in this run."""

    at: datetime
    now: bool


@dataclass(frozen=True, slots=True)
class Stake:
    """A promised file that is, or is said to be, on the medium.

    `proofs` are by copy; `media_left` is how many other media are proven or said to hold it; `why_not` what is to be
    said where nothing is proven. Of a `weak` one nothing can be.
    """

    shoot: str
    path: str
    size: int | None
    proofs: Mapping[str, Elsewhere]
    media_left: int
    why_not: str = ""
    weak: bool = False


@dataclass(frozen=True, slots=True)
class Matter:
    """All that the judge is told.

    `unknown` says in words what cannot be told of the medium; `needed` are files of the studio's own on it; `medium_of`
    has the medium of each copy that counts, `events` the copies that each failure takes; `projected_s` the restore time
    of each shoot without the medium; `mendable` the shoots that would be in enough places if what was found wrong on
    other copies were mended.
    """

    stakes: Sequence[Stake]
    targets: Mapping[str, Targets]
    extra: Sequence[Named]
    unreadable: Sequence[Named]
    unread: Sequence[Named]
    unknown: Sequence[str]
    needed: Sequence[Named]
    medium_of: Mapping[str, str]
    events: Mapping[str, frozenset[str]]
    projected_s: Mapping[str, float]
    mendable: Collection[str] = ()


def judge(matter: Matter) -> tuple[list[Reason], list[ShootLeft]]:
    """Return every reason to keep the medium, the gravest first, and what is left of each shoot that is on it."""
    shoots = [_left(matter, id_) for id_ in matter.targets if any(stake.shoot == id_ for stake in matter.stakes)]
    reasons = [Reason("not_known", None, words) for words in matter.unknown]
    for left in shoots:
        reasons += _unproven(matter, left.shoot)
    if matter.extra:
        reasons.append(Reason("extra", None, "no promise knows them", tuple(matter.extra)))
    if matter.unreadable:
        reasons.append(Reason("unreadable", None, "what they are could not be read", tuple(matter.unreadable)))
    if matter.unread:
        reasons.append(Reason("not_read", None, "they were not read yet", tuple(matter.unread)))
    if matter.needed:
        reasons.append(Reason("needed", None, "the studio file, or what it names, lies there", tuple(matter.needed)))
    for left in shoots:
        reasons += _too_few(left, mendable=left.shoot in matter.mendable) + _too_slow(left)
    return reasons, shoots


def is_enough(proven: Collection[str], target: int | None, events: Mapping[str, frozenset[str]]) -> bool:
    """Say whether a file that these copies hold survives as many further failures as the target asks for."""
    return bool(proven) and (target is None or _survivable([frozenset(proven)], events)[0] >= target)


def _survivable(
    holders: Sequence[frozenset[str]], events: Mapping[str, frozenset[str]]
) -> tuple[int, tuple[tuple[str, ...], ...]]:
    size, sets = smallest_cut_sets(holders, events)
    return (size - 1, tuple(sets[:MOST_LISTED])) if size else (-1, ())


def _left(matter: Matter, shoot: str) -> ShootLeft:
    mine = [stake for stake in matter.stakes if stake.shoot == shoot]
    targets = matter.targets[shoot]
    proven = [stake for stake in mine if stake.proofs]
    last = [max(stake.proofs.values(), key=lambda one: one.at) for stake in proven]
    survivable, weakest = _survivable([frozenset(stake.proofs) for stake in mine], matter.events)
    sources = Counter(id_ for stake in proven for id_ in stake.proofs)
    return ShootLeft(
        shoot=shoot,
        at_stake=len(mine),
        bytes=sum(stake.size or 0 for stake in mine),
        verified=len(proven),
        read_now=sum(any(one.now for one in stake.proofs.values()) for stake in proven),
        oldest=clock.rfc3339(min(one.at for one in last)) if last else None,
        sources=dict(sorted(sources.items())),
        fewest=min(len({matter.medium_of[id_] for id_ in stake.proofs}) for stake in mine),
        media_left=min(stake.media_left for stake in mine),
        survivable=survivable,
        survivable_target=targets.further_failures,
        weakest=weakest,
        projected_s=round(matter.projected_s.get(shoot, 0.0), 3),
        target_s=targets.restore_within_s,
        verified_within_s=targets.verified_within_s,
        places=_taking(sources, "place:", matter.events),
        accounts=_taking(sources, "account:", matter.events),
    )


def _taking(copies: Collection[str], kind: str, events: Mapping[str, frozenset[str]]) -> tuple[str, ...]:
    """Return what of a kind of failure takes one of these copies."""
    return tuple(
        name.removeprefix(kind) for name, taken in events.items() if name.startswith(kind) and taken & {*copies}
    )


def _unproven(matter: Matter, shoot: str) -> list[Reason]:
    bad = [stake for stake in matter.stakes if stake.shoot == shoot and not stake.proofs]
    weak = tuple(Named(shoot, stake.path, stake.why_not) for stake in bad if stake.weak)
    others = tuple(Named(shoot, stake.path, stake.why_not) for stake in bad if not stake.weak)
    found = [Reason("not_verified", shoot, "nothing else was seen to hold them", others)] if others else []
    return found + ([Reason("weak", shoot, "their list proves too little", weak)] if weak else [])


def _too_few(left: ShootLeft, *, mendable: bool) -> list[Reason]:
    target = left.survivable_target
    if target is None or left.verified < left.at_stake or left.survivable >= target:
        return []
    weakest = "; ".join(" and ".join(event.replace(":", " ", 1) for event in events) for events in left.weakest[:3])
    detail = (
        f"on the copies that were verified it would survive {left.survivable} further "
        f"failure{'' if left.survivable == 1 else 's'}, the target is {target} "
        f"(weakest: {weakest})"
    )
    mend = "; mending what was found wrong on other copies would be enough" if mendable else ""
    return [Reason("too_few", left.shoot, detail + mend)]


def _too_slow(left: ShootLeft) -> list[Reason]:
    if left.target_s is None or left.projected_s <= left.target_s + _SLACK_S:
        return []
    return [Reason("too_slow", left.shoot, "restoring it from what is left would take longer than the target")]
