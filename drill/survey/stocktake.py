"""Stocktake: what each shoot promises, what each copy is said to hold and has, and what published rules say to that.

Flows in: a studio, the moment that counts as now. Flows out: the record of a survey. No picture is read, and nothing is
written but archives' headers, beside the ledger. Must not know: terminals. Everything that is asked of a file depends
on which copies hold it, so files are counted in classes of equal holders, and each class is judged once.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import repeat
from pathlib import Path

from drill import clock
from drill.columns import classes_of, paths_of
from drill.coverage import other_bytes
from drill.evidence import proof_age
from drill.inventory import (
    Checked,
    CopyStock,
    Disagreement,
    Exposure,
    Lone,
    Practice,
    Rule321,
    ShootStock,
    Survey,
    Tally,
)
from drill.ledger import Ledger
from drill.model import Medium, OtherBytes, Promised, Shoot, Studio
from drill.radius import unlisted_archive
from drill.studio import shoots_named
from drill.survey import rules
from drill.survey.look import Found
from drill.survey.match import NONE, SAID, THERE, Wanted
from drill.survey.notices import colliding, lacks_classes, lists_beside, mirrors, odd_rates, unpaired
from drill.survey.proofs import Proofs
from drill.survey.safe import Safe
from drill.survey.seen import Seen, look_at_all, sizes_told, spans_of

Holders = tuple[int, ...]  # the state of a promised file on each copy, in the studio file's order


def survey(
    studio: Studio,
    *,
    now: datetime,
    ledger: Ledger | None = None,
    headers: Path | None = None,
    shoots: Sequence[str] = (),
    progress: Callable[[str], None] = lambda text: None,
) -> Survey:
    """Take stock of the studio, or of some of its shoots by id; the ledger tells what was ever proved. The headers of
    archives in good health are kept in the folder `headers`, where there is one.

    Errors: Mistakes, for an id that no shoot has.
    """
    chosen = shoots_named(studio, shoots)
    wanted = Wanted((shoot.id, shoot.promise) for shoot in studio.shoots)
    spans = spans_of(studio.shoots)
    proofs = Proofs(ledger, studio.shoots, now=now)
    safe = Safe(headers, now=now)
    looked = look_at_all(studio, wanted, proofs, safe, now=now, progress=progress)
    progress("counting")
    sizes, unclear = sizes_told(wanted, looked)
    stocks = []
    for shoot in chosen:
        span = spans[shoot.id]
        judged = _Judged(studio, [seen.found for seen in looked])
        judged.count(shoot, [seen.holding.state[span] for seen in looked], sizes[span])
        doubts = [unclear[n] for n in range(span.start, span.stop) if n in unclear]
        stocks.append(_shoot_stock(shoot, judged, doubts, _checked(shoot, span, looked, now)))
    return Survey(
        studio=studio.name,
        now=clock.rfc3339(now),
        shoots=tuple(stocks),
        copies=tuple(_copy_stock(seen, spans, chosen, whole=not shoots, now=now) for seen in looked),
        mirrors=tuple(mirrors(studio)),
        rates=tuple(odd_rates(studio)),
        lists_beside=tuple(lists_beside(studio)),
        notes=(*_notes(looked), *safe.warnings),
    )


# --- copies ------------------------------------------------------------------------------------------------------


def _copy_stock(
    seen: Seen, all_spans: Mapping[str, slice], shoots: Sequence[Shoot], *, whole: bool, now: datetime
) -> CopyStock:
    found, holding = seen.found, seen.holding
    spans = [all_spans[shoot.id] for shoot in shoots]
    promised = there = 0
    for span in spans:
        states = holding.state[span]
        promised += len(states) - states.count(NONE)
        there += states.count(THERE)

    behind = {} if whole else holding.promised_behind()

    def concerns(path: str) -> bool:
        """Say whether a path that is wrong is about a shoot that is asked for."""
        return whole or any(span.start <= n < span.stop for n in behind.get(path, ()) for span in spans)

    end = found.expires
    proof = proof_age(found.copy.id, (number for span in spans for number in seen.held(span)), seen.known)
    return CopyStock(
        copy=found.copy.id,
        medium=found.medium.id,
        kind=found.medium.kind,
        place=found.medium.place,
        form=found.copy.form,
        state=found.state,
        reason=found.reason,
        listed=seen.listed,
        found=seen.files,
        promised=promised,
        there=there,
        by_name=holding.by_name,
        missing=holding.missing if whole else tuple(item for item in holding.missing if concerns(item.path)),
        other_size=tuple(item for item in dict.fromkeys(holding.other_size) if concerns(item.path)),
        other_bytes=tuple(OtherBytes(path, file.path) for path, file in other_bytes(found.copy.listed or (), shoots)),
        extra=tuple(holding.extra),
        expires=None if end is None else clock.rfc3339(end),
        expires_in_seconds=None if end is None else (end - now).total_seconds(),
        last_verified=proof.oldest,
        never_verified=proof.never,
        refuted=proof.refuted,
        unlisted=found.unlisted,
        headers_kept=seen.headers_kept,
    )


# --- shoots ------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Judged:
    """The files of one shoot, counted by what holds them."""

    studio: Studio
    found: Sequence[Found]
    there: int = 0
    on_paper: int = 0
    on_no_copy: list[str] = field(default_factory=list)
    on_one_copy: list[Lone] = field(default_factory=list)
    by_class: dict[str, Tally] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    copies: Counter[str] = field(default_factory=Counter)
    media: dict[str, Medium] = field(default_factory=dict)
    level: int = 2

    def count(self, shoot: Shoot, states_of: Sequence[bytearray], sizes: Sequence[int | None]) -> None:
        """Count one shoot's files, by their states on each copy: each class of equal holders is judged once."""

        def holders() -> Iterable[Holders]:
            return zip(*states_of, strict=True) if states_of else repeat((), len(shoot.promise))

        classes = Counter(holders())
        lone: dict[Holders, tuple[str, bool]] = {}
        none: set[Holders] = set()
        for states, number in classes.items():
            media = self._judge(states, number)
            if not media:
                none.add(states)
            elif len(media) == 1:
                first = min(
                    (n for n, s in enumerate(states) if s in (SAID, THERE)), key=lambda n: (states[n] == SAID, n)
                )
                lone[states] = (self.found[first].copy.id, states[first] == SAID)
        if none or lone:
            for path, states in zip(paths_of(shoot.promise), holders(), strict=True):
                if states in none:
                    self.on_no_copy.append(path)
                elif states in lone:
                    self.on_one_copy.append(Lone(path, *lone[states]))
        self._tally(shoot.promise, sizes)

    def _judge(self, states: Holders, number: int) -> Mapping[str, Medium]:
        """Count what is true of `number` files that these copies hold; return the media they are on."""
        holding = [n for n, state in enumerate(states) if state in (SAID, THERE)]
        media = {self.found[n].medium.id: self.found[n].medium for n in holding}
        self.media |= media
        for n in holding:
            self.copies[self.found[n].copy.id] += number
        self.there += number if THERE in states else 0
        self.on_paper += number if holding and THERE not in states else 0
        each = list(media.values())
        true = [f"lack {name}" for name in rules.lacks_3_2_1(each)]
        self.level = min(self.level, rules.storage_level(each))
        true += ["3-2-1"] if true else []
        true += ["practice"] if rules.lacks_practice(each) else []
        true += ["card and tablet"] if rules.card_and_tablet_only(each) else []
        if media:
            true += ["one place"] if len({medium.place for medium in each}) == 1 else []
            true += ["one kind"] if len({medium.kind for medium in each}) == 1 else []
            true += [] if any(medium.offsite for medium in each) else ["none offsite"]
            alone = len(each) > 1 and rules.independent(each, self.studio.media) == 1
            true += ["only mirrors"] if alone else []
        self.counts.update(dict.fromkeys(true, number))
        return media

    def _tally(self, promise: Sequence[Promised], sizes: Sequence[int | None]) -> None:
        by_kind: dict[str, list[int | None]] = defaultdict(list)
        for kind, size in zip(classes_of(promise), sizes, strict=True):
            by_kind[kind].append(size)
        for kind in (*self.studio.weights, *sorted(by_kind.keys() - self.studio.weights.keys())):
            if kind in by_kind:
                known = [size for size in by_kind[kind] if size is not None]
                self.by_class[kind] = Tally(len(by_kind[kind]), sum(known), len(by_kind[kind]) - len(known))


def _checked(shoot: Shoot, span: slice, looked: Sequence[Seen], now: datetime) -> Checked:
    """Say when a shoot was last proved: each file by its latest proof on any copy, the shoot by its oldest file."""
    target_s = shoot.targets.verified_within_s
    latest = [
        max((seen.known.proven[n] for seen in looked if n in seen.known.proven), default=None)
        for n in range(span.start, span.stop)
    ]
    proofs = [when for when in latest if when is not None]
    oldest = min(proofs, default=None)
    never = len(latest) - len(proofs)
    fresh = oldest is not None and not never and (now - oldest).total_seconds() <= (target_s or 0)
    ages = [proof_age(seen.found.copy.id, held, seen.known) for seen in looked if (held := seen.held(span))]
    last = None if oldest is None else clock.rfc3339(oldest)
    return Checked(target_s, last, target_s is None or fresh, never, tuple(ages))


def _shoot_stock(shoot: Shoot, judged: _Judged, unclear: Sequence[Disagreement], verified: Checked) -> ShootStock:
    tallies, counts = judged.by_class.values(), judged.counts
    return ShootStock(
        shoot=shoot.id,
        date=shoot.date.isoformat(),
        client=shoot.client,
        promised=Tally(
            sum(t.files for t in tallies), sum(t.bytes for t in tallies), sum(t.unknown_files for t in tallies)
        ),
        by_class=judged.by_class,
        there=judged.there,
        on_paper=judged.on_paper,
        on_no_copy=tuple(judged.on_no_copy),
        on_one_copy=tuple(judged.on_one_copy),
        copies={found.copy.id: judged.copies[found.copy.id] for found in judged.found if judged.copies[found.copy.id]},
        places=tuple(dict.fromkeys(medium.place for medium in judged.media.values())),
        kinds=tuple(dict.fromkeys(medium.kind for medium in judged.media.values())),
        exposure=Exposure(counts["one place"], counts["one kind"], counts["none offsite"], counts["only mirrors"]),
        sizes_disagree=tuple(unclear),
        rule_3_2_1=Rule321(
            not counts["3-2-1"], counts["3-2-1"], counts["lack copies"], counts["lack kinds"], counts["lack offsite"]
        ),
        ndsa_storage_level=judged.level,
        practice=Practice(not counts["practice"], counts["practice"], counts["card and tablet"]),
        lacks_classes=tuple(lacks_classes(judged.by_class, judged.studio.weights)),
        unpaired=tuple(unpaired(shoot.promise)),
        colliding=tuple(colliding(shoot.promise)),
        verified=verified,
    )


def _notes(looked: Iterable[Seen]) -> list[str]:
    said = []
    for seen in looked:
        found, copy = seen.found, seen.found.copy
        if found.state == "away":
            on_paper = _on_paper(seen, "without a list it counts for nothing")
            said.append(f"{copy.id} cannot be reached now: {found.reason}; {on_paper}")
        elif found.state == "answers":
            what = _on_paper(seen, "without a list it counts for nothing here")
            said.append(f"{copy.id} answers, and was not downloaded: {what}; a drill looks inside")
            said += [f"{copy.id} refuses some of its files: {found.reason}"] if found.reason else []
        elif copy.archive is not None and copy.listed is None:
            said.append(unlisted_archive(copy.id))
        said += [f"{copy.id}: {found.note}"] if found.note else []
    return said


def _on_paper(seen: Seen, nothing: str) -> str:
    """Return in words what counts of a copy that nobody can look into."""
    if seen.found.copy.listed:
        return "what its list names stays on paper"
    return "it has no list, and what was read on it before stays on paper" if seen.is_remembered else nothing
