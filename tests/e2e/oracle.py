"""The independent judge: from what is really stored and what goes wrong, say by brute force what must come back.

Flows in: a description of a studio (really stored bytes, lists, media) and of scenarios. Flows out: for each drill
what must be verified, on paper and lost, the score, the verdict, the further failures, the exit code.

It must not import anything of the program that it judges. It compares raw bytes, never digests, and tries every set
of failures. What the contract leaves open it does not decide: it gives bounds, or None.

Facts: the contract of the tool (what effects give, what counts, the score's formula).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from fractions import Fraction
from itertools import combinations
from math import floor

from described import Copy, Hazard, Held, Scenario, Shoot, Studio
from struck import Blow, blows_of, class_of, closed_media, last_part, matches, needed_by, variants

WHOLE = ("gone", "refused", "expired")
PAGE = b"<!doctype html><title>This link has expired</title>"


@dataclass(frozen=True, slots=True)
class Seen:
    """What a read of one stored file gives under a scenario: bytes, unreadable offsets, touched by a hazard or not."""

    path: str
    stored: bytes
    gives: bytes
    holes: frozenset[int] = frozenset()

    @property
    def untouched(self) -> bool:
        """Whether no hazard changes this read."""
        return self.gives == self.stored and not self.holes

    def is_intact(self, data: bytes) -> bool:
        """Whether a read gives exactly `data`."""
        return self.gives == data and not self.holes


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What one drill must report. `survivable` is (at least, at most); `weakest` and `unchecked` None: not decided."""

    scenario: str
    variant: str | None
    shoot: Shoot
    holders: Mapping[str, frozenset[str]]  # verified path → copies whose read gives exactly the promised bytes
    stitched: frozenset[str]  # no copy has it whole, and within any bound it comes from several
    stitchable: frozenset[str]  # its bytes are there in pieces: these, and what may need more tries than a bound allows
    on_paper: frozenset[str]
    lost: frozenset[str]
    by_class: Mapping[str, Mapping[str, int]]
    score: float
    verdict: str
    oldest_lost: str | None
    lost_work_met: bool
    survivable: tuple[int, int]
    weakest: frozenset[frozenset[str]] | None
    unchecked: Mapping[str, int] | None

    @property
    def key(self) -> tuple[str, str | None, str]:
        """What tells this drill from the others of a run."""
        return self.scenario, self.variant, self.shoot.id

    @property
    def falls_short(self) -> bool | None:
        """Whether this drill alone makes the run end with 1; None where that cannot be told."""
        target = self.shoot.targets.further_failures
        if self.verdict != "restored" or not self.lost_work_met:
            return True
        if target is None or self.survivable[0] >= target:
            return False
        return True if self.survivable[1] < target else None


# --- what a read gives -------------------------------------------------------------------------------------------


def _damage(hazard: Hazard, seen: Seen) -> Seen:
    """Lay one hazard's byte effect over what a read of a file gives."""
    gives, holes = bytearray(seen.gives), set(seen.holes)
    match hazard.effect:
        case "altered":
            for offset in hazard.offsets:
                if offset < len(gives) and offset < len(seen.stored):
                    gives[offset] = seen.stored[offset] ^ 0xFF
        case "encrypted":
            gives = bytearray(byte ^ 0xFF for byte in seen.stored)
        case "truncated":
            keep = hazard.keep
            size = floor(Fraction(keep[:-1]) / 100 * len(seen.stored)) if isinstance(keep, str) else keep or 0
            gives = gives[:size]
        case "unreadable":
            assert not isinstance(hazard.sectors, str), "the worst sector is not this judge's to find"
            for sector in hazard.sectors:
                first = sector * hazard.sector_size
                holes |= set(range(first, min(first + hazard.sector_size, len(seen.stored))))
        case "expired":
            gives = bytearray(PAGE)
    return Seen(seen.path, seen.stored, bytes(gives), frozenset(h for h in holes if h < len(gives)))


def _is_younger(held: Held, copy: Copy, before: datetime) -> bool:
    when = copy.made if copy.form == "link" else held.modified
    assert when is not None, f"{copy.id}: no time is known for {held.path}"
    return when >= before


def read_all(studio: Studio, copy: Copy, blows: Iterable[Blow]) -> list[Seen] | None:
    """Return what reads of a reachable copy give, file by file; None where it holds nothing."""
    blows = list(blows)
    if copy.on in closed_media(studio, blows):
        return None
    present = [(held, Seen(held.path, held.data, held.data)) for held in copy.holds]
    for blow in blows:
        hazard = blow.hazard
        if copy.id not in blow.copies or hazard.effect == "slow":
            continue
        page = hazard.effect == "expired" and hazard.page and copy.form == "link"
        if (hazard.effect in WHOLE and not page) or (
            hazard.effect == "encrypted" and copy.is_archive and hazard.files is None
        ):
            return None
        if hazard.effect == "deleted":
            present = [(h, s) for h, s in present if not matches(hazard.files, h.path)]
        elif hazard.effect == "stale":
            assert hazard.before is not None
            present = [(h, s) for h, s in present if not _is_younger(h, copy, hazard.before)]
        else:
            assert hazard.effect == "encrypted" or page or not copy.is_archive, "archives' bytes are not judged here"
            present = [(h, _damage(hazard, s) if matches(hazard.files, h.path) else s) for h, s in present]
    return [seen for _, seen in present]


def _listed_names(copy: Copy, shoot: Shoot, path: str, data: bytes) -> list[str]:
    """Return the names of a copy's list that stand for a promised file."""
    shared = set(copy.says_in) & set(shoot.promised_in)
    by_content, same = bool(shared), last_part(path)
    by_name = not shared - {"xxh32"}  # xxh32 alone is no identity
    return [
        name
        for name, what in copy.says or ()
        if (not by_content or what == data) and (not by_name or last_part(name) == same)
    ]


def candidates(
    studio: Studio, copy: Copy, present: list[Seen], shoot: Shoot, promised: tuple[str, bytes]
) -> list[Seen]:
    """Return the files of a reachable copy that stand for a promised file, by list, name or (unlisted) content."""
    path, data = promised
    if copy.says is not None:
        found: list[Seen] = []
        for name in _listed_names(copy, shoot, path, data):
            exact = [seen for seen in present if seen.path == name]
            found += exact or [seen for seen in present if last_part(seen.path) == last_part(name)]
        return list(dict.fromkeys(found))
    promised_names = {last_part(name) for s in studio.shoots for name, _ in s.promise}
    return [
        seen
        for seen in present
        if last_part(seen.path) == last_part(path)
        or (last_part(seen.path) not in promised_names and seen.stored == data)
    ]


def _said_on_paper(studio: Studio, copy: Copy, blows: list[Blow], shoot: Shoot, promised: tuple[str, bytes]) -> bool:
    """Say whether a copy out of reach, that the scenario leaves, is said to hold a promised file."""
    names = _listed_names(copy, shoot, *promised)
    if copy.on in closed_media(studio, blows):
        return False
    for blow in blows:
        hazard = blow.hazard
        if copy.id not in blow.copies:
            continue
        if hazard.effect in WHOLE:
            return False
        if hazard.effect in ("deleted", "encrypted"):
            names = [name for name in names if not matches(hazard.files, name)]
        if hazard.effect == "stale" and copy.made is not None:
            assert hazard.before is not None
            names = [] if copy.made >= hazard.before else names
    return bool(names)


def _in_pieces(data: bytes, reads: Iterable[Seen]) -> bool:
    """Say whether every byte of `data` can be had from one read or another."""
    reads = [seen for seen in reads if seen.gives]
    return bool(reads) and all(
        any(at < len(s.gives) and at not in s.holes and s.gives[at] == byte for s in reads)
        for at, byte in enumerate(data)
    )


def _forwards(seen: Seen) -> Seen:
    """Return what comes of a file that can only be read from its beginning on."""
    return replace(seen, gives=seen.gives[: min(seen.holes)], holes=frozenset()) if seen.holes else seen


def _is_easy(data: bytes, reads: Iterable[Seen]) -> bool:
    """Say whether a file that is there in pieces must be stitched: hardly anything has to be tried.

    What a link gives comes forwards only, and ends where a hole begins; sectors smaller than any drive's are only told
    apart where they are together.
    """
    reads = [seen for seen in reads if seen.gives]
    combinations = 1
    for at in range(len(data)):
        combinations *= max(len({s.gives[at] for s in reads if at < len(s.gives) and at not in s.holes}), 1)
        if combinations > 256:
            return False
    together = all(len(s.holes) == max(s.holes) - min(s.holes) + 1 for s in reads if s.holes)
    return len(reads) <= 6 and together and all(len(s.gives) <= len(data) for s in reads)


# --- further failures --------------------------------------------------------------------------------------------


def _events(studio: Studio) -> list[str]:
    names = [f"medium:{m.id}" for m in studio.media]
    names += [f"place:{p}" for p in dict.fromkeys(m.place for m in studio.media)]
    return names + [f"account:{a}" for a in dict.fromkeys(m.account for m in studio.media) if a is not None]


def _lives(studio: Studio, copy_id: str, failed: frozenset[str]) -> bool:
    medium = next(c.on for c in studio.copies if c.id == copy_id)
    for name in needed_by(studio, medium):
        m = studio.medium(name)
        if {f"medium:{m.id}", f"place:{m.place}", f"account:{m.account}"} & failed:
            return False
    return True


def weakest_sets(studio: Studio, on: Iterable[frozenset[str]]) -> tuple[int, frozenset[frozenset[str]]]:
    """Try every set of failures, smallest first; `on`: for each file, the copies that count.

    Returns how many failures are survivable, and all the smallest sets that are not. (-1, none) where a file is on
    no copy already.
    """
    groups = set(on)
    if frozenset() in groups:
        return -1, frozenset()
    events = _events(studio)
    for size in range(1, len(events) + 1):
        sets = frozenset(
            failed
            for failed in map(frozenset, combinations(events, size))
            if any(not any(_lives(studio, copy, failed) for copy in copies) for copies in groups)
        )
        if sets:
            return size - 1, sets
    raise AssertionError("all media together leave nothing")


# --- the drills --------------------------------------------------------------------------------------------------


def _by_hand(studio: Studio, reads: Mapping[str, list[Seen] | None], shoot: Shoot) -> Mapping[str, int] | None:
    """Count what a restore by hand brings back; None where the contract leaves open which file it would take."""
    counts = {"right": 0, "silently_wrong": 0, "failed": 0}
    for path, data in shoot.promise:
        got: bytes | None = None
        for copy in studio.copies:
            named = [name for name, _ in copy.says or () if last_part(name) == last_part(path)]
            held = [h.path for h in copy.holds if last_part(h.path) == last_part(path)]
            if copy.says is not None and (sorted(named) != sorted(_listed_names(copy, shoot, path, data))):
                return None
            if len(named) > 1 or len(held) > 1 or (copy.says is not None and held and held != named):
                return None
            present = reads.get(copy.id)
            if present is None or (copy.says is not None and not named):
                continue
            mine = [seen for seen in present if last_part(seen.path) == last_part(path) and not seen.holes]
            if mine:
                got = mine[0].gives
                break
        counts["failed" if got is None else "right" if got == data else "silently_wrong"] += 1
    return counts


def _score(studio: Studio, by_class: Mapping[str, Mapping[str, int]]) -> float:
    weights = {name: Fraction(str(studio.weights.get(name, 1))) for name in by_class}
    shares = {name: Fraction(n["verified"], n["promised"]) for name, n in by_class.items()}
    mean = sum((weights[n] * shares[n] for n in by_class), Fraction(0)) / sum(weights.values())
    return floor(mean * 1000) / 10


def _counts(studio: Studio, shoot: Shoot, outcome: Mapping[str, str]) -> dict[str, dict[str, int]]:
    table: dict[str, dict[str, int]] = {}
    for path, _ in shoot.promise:
        row = table.setdefault(class_of(studio, path), {"promised": 0, "verified": 0, "on_paper": 0, "lost": 0})
        row["promised"] += 1
        row[outcome[path]] += 1
    return table


def _verdict(outcomes: set[str]) -> str:
    if outcomes == {"verified"}:
        return "restored"
    if outcomes == {"lost"}:
        return "lost"
    return "partial" if "lost" in outcomes else "unproven"


@dataclass(slots=True)
class _Finding:
    """What the copies give for the files of one shoot under one scenario."""

    holders: dict[str, frozenset[str]] = field(default_factory=dict)
    paper: dict[str, frozenset[str]] = field(default_factory=dict)
    claimed: dict[str, frozenset[str]] = field(default_factory=dict)
    pieces: dict[str, frozenset[str]] = field(default_factory=dict)  # of what must be stitched, who has some of it
    stitched: set[str] = field(default_factory=set)
    stitchable: set[str] = field(default_factory=set)


def _look(studio: Studio, shoot: Shoot, blows: list[Blow], reads: Mapping[str, list[Seen] | None]) -> _Finding:
    finding = _Finding()
    for path, data in shoot.promise:
        intact, paper, claimed, some = set(), set(), set(), set()
        pieces: list[Seen] = []
        for copy in studio.copies:
            if copy.out_of_reach:
                if _said_on_paper(studio, copy, blows, shoot, (path, data)):
                    paper.add(copy.id)
                continue
            present = reads[copy.id]
            if present is None:
                continue
            mine = candidates(studio, copy, present, shoot, (path, data))
            some |= {copy.id} if mine else set()
            pieces += [_forwards(seen) for seen in mine] if copy.form == "link" else mine
            if any(seen.is_intact(data) for seen in mine):
                intact.add(copy.id)
            stored = {held.path for held in copy.holds}
            missing = copy.says is not None and any(
                name not in stored for name in _listed_names(copy, shoot, path, data)
            )
            if missing or any(seen.untouched for seen in mine):
                claimed.add(copy.id)
        finding.holders[path], finding.paper[path] = frozenset(intact), frozenset(paper)
        finding.claimed[path] = frozenset(intact | claimed)
        finding.pieces[path] = frozenset()
        if not intact and _in_pieces(data, pieces):
            finding.stitchable.add(path)
            if _is_easy(data, pieces):
                finding.stitched.add(path)
                finding.pieces[path] = frozenset(some)
    return finding


def expect_drill(studio: Studio, scenario: Scenario, variant: str | None, shoot: Shoot, now: datetime) -> Expected:
    """Say what one drill must report."""
    blows = blows_of(studio, scenario, variant)
    reads = {c.id: read_all(studio, c, blows) for c in studio.copies if not c.out_of_reach}
    finding = _look(studio, shoot, blows, reads)
    outcome = {
        path: "verified"
        if finding.holders[path] or path in finding.stitched
        else "on_paper"
        if finding.paper[path]
        else "lost"
        for path, _ in shoot.promise
    }
    lost = frozenset(path for path, what in outcome.items() if what == "lost")
    # Of a file in pieces, how the pieces are told apart is left open: one failure may take it, or only that of all.
    surely, weakest = weakest_sets(studio, (finding.holders[p] | finding.paper[p] | finding.pieces[p] for p in outcome))
    perhaps, by_claim = weakest_sets(
        studio, (finding.claimed[p] | finding.paper[p] | finding.pieces[p] for p in outcome)
    )
    surely = min(surely, 0) if finding.stitched else surely
    perhaps = -1 if lost else perhaps
    by_class = _counts(studio, shoot, outcome)
    return Expected(
        scenario=scenario.name,
        variant=variant,
        shoot=shoot,
        holders={path: who for path, who in finding.holders.items() if who},
        stitched=frozenset(finding.stitched),
        stitchable=frozenset(finding.stitchable),
        on_paper=frozenset(path for path, what in outcome.items() if what == "on_paper"),
        lost=lost,
        by_class=by_class,
        score=_score(studio, by_class),
        verdict=_verdict(set(outcome.values())),
        oldest_lost=shoot.date.isoformat() if lost else None,
        lost_work_met=_met(shoot, now) if lost else True,
        survivable=(surely, perhaps),
        weakest=weakest if surely == -1 or (weakest == by_claim and not finding.stitched) else None,
        unchecked=_by_hand(studio, reads, shoot),
    )


def _met(shoot: Shoot, now: datetime) -> bool:
    """Say whether losing something of this shoot meets its target; a date is its first moment, local time."""
    hours = shoot.targets.lose_at_most_h
    first = datetime(shoot.date.year, shoot.date.month, shoot.date.day).astimezone()
    return hours is None or first >= now - timedelta(hours=hours)


@dataclass(frozen=True, slots=True)
class ExpectedRun:
    """What a whole run must report. `code` None: not decided."""

    drills: tuple[Expected, ...]
    not_applicable: tuple[str, ...]
    code: int | None


def expect_run(studio: Studio, scenarios: Iterable[Scenario], now: datetime) -> ExpectedRun:
    """Say what a run of these scenarios over all shoots must report."""
    drills: list[Expected] = []
    nowhere: list[str] = []
    for scenario in scenarios:
        turns = variants(studio, scenario)
        if not turns:
            nowhere.append(scenario.name)
        drills += [expect_drill(studio, scenario, turn, shoot, now) for turn in turns for shoot in studio.shoots]
    short = [drill.falls_short for drill in drills]
    code = 2 if not drills else 1 if True in short else None if None in short else 0
    return ExpectedRun(tuple(drills), tuple(nowhere), code)
