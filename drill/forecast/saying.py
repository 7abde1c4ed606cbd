"""What a forecast says in sentences: its verdict, what it reckons with, what it does not know.

Flows in: a studio, lives as they are recorded. Flows out: sentences. Must not know: how they are laid out.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import timedelta

from drill import units
from drill.advicerecord import Advice
from drill.forecastrecord import LifeThen
from drill.model import Scheme, Step, Studio, Targets
from drill.stages import Days, Exposure
from drill.timeline import takes_s
from drill.timing import DEFAULT_BPS

LACKS: Mapping[str, str] = {
    "one_failure": "one failure alone takes it",
    "no_copy": "no copy of it is left",
    "one_copy": "it is on one copy only",
    "one_place": "it is in one place only",
    "one_kind": "it is on one kind of medium",
    "nothing_offsite": "nothing of it is off-site",
    "nothing_verified": "no copy of it is checked",
}
GOALS: Mapping[str, str] = {
    "two_copies": "two copies",
    "three_copies": "three copies",
    "two_kinds": "two kinds of media",
    "two_places": "copies in two places",
    "offsite": "a copy off-site",
    "verified": "a checked copy",
    "further_failures": "as many survivable failures as the target",
}
_DAY_S = 86400.0
_YEAR_S = 365 * _DAY_S
_FAILURES = "a medium, a place or an account"


def days_words(span_s: float) -> str:
    """Write a span: days alone from ten days on."""
    return f"{span_s / _DAY_S:.0f} days" if span_s >= 10 * _DAY_S else units.say_span(span_s)


def verdict(days: Iterable[Days], lives: Sequence[LifeThen]) -> str:
    """Return the first sentences of the report: when one failure takes a shoot, and for how long."""
    by_lack = {(day.lack, day.away): day for day in days}
    said = _either([(by_lack["no_copy", life.away], life) for life in lives], _dropped)
    asked = [life for life in lives if not by_lack["no_copy", life.away].best_s]
    if asked and not any(by_lack["one_failure", life.away].worst_s for life in lives):
        said.append(f"No single failure of {_FAILURES} takes a shoot at any moment of its first year.")
    else:
        said += _either([(by_lack["one_failure", life.away], life) for life in asked], _in_danger)
    return " ".join([*said, *_not_counted(asked), *_edits_in_danger(lives)])


def _edits_in_danger(lives: Sequence[LifeThen]) -> Iterable[str]:
    """Yield the sentences on edits that the plan itself loses, and on those that one failure takes to the end; of a
    step the same once."""
    asked = [one for life in lives for one in life.edits]
    gone = {one.step: one for one in asked if one.lost_on is not None}
    risky = {one.step: one for one in asked if one.worst_age_s is None and one.step not in gone}
    for one in gone.values():
        yield (
            f"The plan itself loses edits: of those made on {one.medium} ({one.step}), of a shoot of {one.lost_on}, "
            "none is left in the end."
        )
    for one in risky.values():
        yield (
            f"One failure alone can take the edits made on {one.medium} ({one.step}), of a shoot of {one.worst_day}, "
            "to the end of its first year."
        )


def _either(asked: Sequence[tuple[Days, LifeThen]], say: Callable[[Days, LifeThen, str], str]) -> list[str]:
    """Return a sentence for each life, one for both where it is the same."""
    said = [say(day, life, " away" if life.away else " at home") for day, life in asked]
    if len(asked) > 1 and len({say(day, life, "") for day, life in asked}) == 1:
        said = [say(*asked[0], " away or at home")]
    return [one for one in said if one]


def _dropped(day: Days, _: LifeThen, where: str) -> str:
    """Return the sentence on a plan that lets go of the last copy by itself; of any other nothing."""
    if not day.worst_s:
        return ""
    which = f"every shoot made{where}" if day.best_s else f"shoots made{where} on some days"
    left = days_words(_YEAR_S - day.worst_s)
    return f"The plan itself loses {which}: of one made on {day.worst} no copy is left after {left}."


def _not_counted(lives: Sequence[LifeThen]) -> list[str]:
    """Return the sentence on what else takes a shoot alone, while no failure that is counted does."""
    late = [life.stages[-1] for life in lives if life.stages[-1].survivable > 0 and life.stages[-1].alone]
    early = [s for life in lives for s in life.stages if s.survivable > 0 and s.alone]
    if not early:
        return []
    stage = max(late or early, key=lambda stage: stage.alone)
    ways = [way for way, events in zip(stage.ways, stage.cut_sets, strict=True) if len(events) == 1]
    more = f"; and {stage.alone - 1} more" if stage.alone > 1 else ""
    so_long = "to the end" if late else "for a time"
    return [
        f"Not counted in that are mistakes, attacks and rot: one alone can still take it {so_long} ({ways[0]}{more})."
    ]


def helps_most(advice: Advice) -> str:
    """Return the sentence on the one change that takes most of the risk away; never all of it."""
    if advice.most is None:
        return "No single change that was tried helps by much."
    share = min(99, int(advice.most.removes * 100))
    return f"What helps most removes {share} % of the first year's risk: {advice.most.what}"


def _in_danger(day: Days, life: LifeThen, where: str) -> str:
    made = f"a shoot made{where}"
    if not day.worst_s:
        return f"No single failure of {_FAILURES} takes {made} at any moment of its first year."
    any_of = ", any of" if ";" in life.worst_words else ""
    way = f"the shoot shown, of {life.day}, at its worst moment{any_of}: {life.worst_words}"
    if day.best_s >= _YEAR_S - _DAY_S:
        return f"One failure alone takes {made}, at every moment of its first year ({way}{_at_last(life)})."
    lasts = days_words(day.worst_s)
    if day.best_s < day.worst_s:
        lasts = f"{days_words(day.best_s)} to {lasts}"
    still = life.stages[life.settled].survivable <= 0
    end = f", and it is still so when all is done{_at_last(life)}" if still else ""
    return f"For {lasts} of its first year one failure alone takes {made} ({way}){end}."


def _at_last(life: LifeThen) -> str:
    """Return what failure still takes a shoot when all is done, where that is not what takes it at its worst."""
    stage = life.stages[life.settled]
    ways = [
        way
        for way, events in zip(stage.ways, stage.cut_sets, strict=True)
        if len(events) == 1 and events[0].partition(":")[0] in ("medium", "place", "account")
    ]
    return f"; at last by {ways[0]}" if ways and ways[0] not in life.worst_words else ""


def targets_asked(targets: Targets, exposure: Exposure, settled: int) -> Iterable[tuple[str, str, bool, str]]:
    """Give each target that a scheme can tell: its name, what it asks, whether it is met, why."""
    if targets.further_failures is not None:
        why = f"{settled} survivable once all is done" if settled >= 0 else "no copy is left once all is done"
        yield "further_failures", str(targets.further_failures), exposure.targets["further_failures"], why
    if targets.lose_at_most_s is not None:
        back = exposure.lost_back_s
        why = (
            "one failure can take it to the end"
            if back is None
            else f"one failure can take it until it is {days_words(back)} old"
            if back
            else "no single failure takes it"
        )
        yield "lose_at_most", days_words(targets.lose_at_most_s), exposure.targets["lose_at_most"], why
    if targets.verified_within_s is not None:
        age = exposure.proof_age_s
        why = "no copy is ever checked" if age is None else f"the newest proof becomes {days_words(age)} old"
        yield "verified_within", days_words(targets.verified_within_s), exposure.targets["verified_within"], why


def assumptions(studio: Studio, scheme: Scheme, *, size: int, files: int) -> tuple[str, ...]:
    """Return what the forecast reckons with."""
    said = [
        f"A shoot is of {units.say_size(size)} in {files:,} files, made from {_clock(scheme.begins_s)} to "
        f"{_clock(scheme.ends_s)}{' the next day' if scheme.ends_s >= _DAY_S else ''} "
        f"({scheme.zone or 'by the clock of this computer'}); after one away you are home again "
        f"{days_words(scheme.away_for_s)} after its end.",
        _done(scheme.steps),
        *lasting(studio, scheme),
        f"What is lost is replaced and copied again within {days_words(scheme.replaced_within_s)}, as long as a good "
        "copy is left; bytes that go bad are noticed by a verify step alone.",
        "A shoot counts as one thing, whole or lost; a copy is whole or not. Failures come by chance, each on its own, "
        "as likely on one day as on the next; a fire, a theft, a lock-out or an attack takes all that it reaches.",
    ]
    if any(medium.mirrors for medium in studio.media.values()):
        said.append(
            "A mirror follows at once, in what is copied and in what goes wrong, unless it keeps versions; how long "
            "it keeps them is taken as long enough."
        )
    return tuple(said)


def _clock(seconds: float) -> str:
    return str(timedelta(seconds=seconds % _DAY_S)).rpartition(":")[0].zfill(5)


def lasting(studio: Studio, scheme: Scheme) -> Iterator[str]:
    """Yield how long the steps take that do not say so themselves, and which rates are assumed for it."""
    asked = [step for step in scheme.steps if step.takes_s is None and step.do not in ("erase", "edit")]
    if not asked:
        return
    used = dict.fromkeys(id_ for step in asked for id_ in (step.source, step.target) if id_)
    kinds = dict.fromkeys(studio.media[id_].kind for id_ in used if studio.media[id_].reads_at_bps is None)
    rates = ", ".join(f"{kind} {units.say_size(round(DEFAULT_BPS[kind]))}/s" for kind in kinds)
    assumed = (
        f" Without reads_at of your own a medium is taken to do, both ways (round figures): {rates}." if rates else ""
    )
    slow = any(studio.media[step.target].kind == "cloud" for step in asked if step.target and step.do != "verify")
    upload = " An upload is often far slower: give it takes." if slow else ""
    lasts = ", ".join(f"{step.id} {units.say_span(takes_s(step, studio))}" for step in asked)
    yield f"Where no takes is given, a step lasts as long as its slower medium needs: {lasts}.{assumed}{upload}"


def _done(steps: Iterable[Step]) -> str:
    seldom = [f"{step.id} {step.done * 100:.6g} % of the times" for step in steps if step.done < 1]
    said = "Every step is done each time, at its time"
    if not seldom:
        return f"{said}: none is ever forgotten."
    return (
        f"{said}: stages, days, targets and scenarios are so told. That a step may be forgotten is in the odds alone "
        f"({', '.join(seldom)}), and in what one time forgotten comes to."
    )


def unknown(studio: Studio) -> tuple[str, ...]:
    """Return what the forecast does not know, as far as it matters in this studio."""
    media = studio.media.values()
    kinds = [medium.kind for medium in media]
    said = ["What you do on a bad day: the wrong card formatted, the bag left open, a month with no evening free."]
    if any(kinds.count(kind) > 1 and kind != "cloud" for kind in kinds):
        said.append("Drives of one make and age, dropped or worn alike, fail together more often than by chance.")
    if len({medium.place for medium in media}) > 1:
        said.append(
            "A flood, a storm, an earthquake or a war takes several places at once; here each is struck on its own."
        )
    if "cloud" in kinds:
        said.append(
            "A cloud firm may close, change its terms or lose your pictures in ways that no rate here has in it."
        )
    if any(medium.account for medium in media):
        said.append("Whether anybody but you has the passwords, on the day you cannot be asked.")
    said.append("Whether the copies you have today are right: it reads none of them.")
    return tuple(said)
