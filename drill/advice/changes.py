"""Changes: the single changes to a scheme that are worth a try, each as the studio would be with it, and a sentence.

Flows in: a studio with a scheme, what a shoot is on once it has settled. Flows out: changes. Must not know: odds,
costs. What is new asks for as many minutes as the steps of the same sort that are there, else for a few (assumed, no
source).
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, zip_longest

from drill.advice.edits import (
    free_id,
    new_medium,
    scheme_of,
    with_medium,
    with_new,
    with_step,
    with_steps,
)
from drill.followers import reached_from, with_followed, with_mirrors
from drill.model import Medium, Place, Rhythm, Step, Studio
from drill.phrases import in_a_row
from drill.schemeodd import comes_again
from drill.timeline import Span

_DAY_S = 86400.0
_MINUTES = {"copy": 5.0, "verify": 5.0}
_SOONER = {"year": "quarter", "quarter": "month", "month": "week", "week": "day"}
_FIRST_DAY = {"quarter": (1,), "month": (1,), "week": (0,), "day": ()}
_KINDS_TO_BUY = ("hard-disk", "ssd", "network-storage", "optical", "tape")
_CALLED = {"hard-disk": "hard disk", "network-storage": "network storage", "ssd": "SSD", "optical": "optical disc"}
_CALLED_BY = {"computer": "computer", "tablet": "tablet", "phone": "phone"}
_LATER_S = 30 * _DAY_S
_WEEK_S = 7 * _DAY_S


@dataclass(frozen=True, slots=True)
class Change:
    """One change: its sort, what to do as a sentence, and the studio as it would be.

    `kept_on`: the medium that keeps a shoot longer for it; `for_good`: and never lets go of it again.
    """

    kind: str
    what: str
    studio: Studio
    kept_on: str | None = None
    for_good: bool = False


@dataclass(frozen=True, slots=True)
class _Plan:
    """What is asked again and again: the studio, what a shoot is on once it has settled, where more is copied from."""

    studio: Studio
    settled: tuple[Medium, ...]
    hub: str
    home: Place


def changes(studio: Studio, settled: Span, most: int) -> list[Change]:
    """Return at most so many changes, of each sort some. `settled`: what the plan holds after its first year."""
    plan = _plan(studio, settled)
    sorts: list[Callable[[_Plan], Iterator[Change]]] = [
        _second_way, _offsite, _sooner, _in_the_field, _verify, _later, _at_home, _guarded, _kept, _from_away,
        _at_once, _again, _account, _unplugged, _versions, _other_kind,
    ]  # fmt: skip
    in_turn = zip_longest(*(sort(plan) for sort in sorts))
    return list(islice((change for round_ in in_turn for change in round_ if change is not None), most))


def _plan(studio: Studio, settled: Span) -> _Plan:
    scheme = scheme_of(studio)
    held = [copy for copy in settled.copies if not studio.media[copy.medium].mirrors]
    near = [copy for copy in held if not studio.media[copy.medium].offsite]
    fixed_here = [copy for copy in near if not studio.media[copy.medium].carried]
    hub = min(fixed_here or near or held, key=lambda copy: copy.since).medium if held else scheme.made_on[0]
    places = [studio.places[m.place] for m in studio.media.values() if m.place in studio.places]
    fixed = (place for place in places if not place.carried and not place.offsite)
    at_home = studio.places.get(scheme.home or "") or next(fixed, None) or Place("home")
    return _Plan(studio, tuple(studio.media[copy.medium] for copy in settled.copies), hub, at_home)


# --- one more copy -----------------------------------------------------------------------------------------------


def _in_the_field(plan: _Plan) -> Iterator[Change]:
    studio, card = plan.studio, plan.studio.media[scheme_of(plan.studio).made_on[0]]
    beside = studio.places.get(card.place) or Place(card.place, carried=True)
    for place, words in (
        (Place(free_id("pocket", studio.places), carried=True), "kept apart from the rest"),
        (beside, f"kept in {beside.id}"),
    ):
        medium = new_medium(studio, "ssd", place)
        step = _copy_step(plan, card.id, medium.id)
        what = f"Copy {card.id} to one more SSD as soon as a shoot is over, {words}."
        yield Change("one more copy", what, with_steps(with_new(studio, medium, place), step))


def _at_home(plan: _Plan) -> Iterator[Change]:
    priced = [kind for kind in _KINDS_TO_BUY if kind in scheme_of(plan.studio).costs.buy]
    for kind in priced or ["hard-disk"]:
        medium = new_medium(plan.studio, kind, plan.home)
        step = replace(_after_hub(plan, _copy_step(plan, plan.hub, medium.id)), only_when="home")
        what = f"Keep one more copy at {plan.home.id}, {_a(kind)}, made once {plan.hub} has the shoot."
        yield Change("one more copy", what, with_steps(with_new(plan.studio, medium, plan.home), step))


def _offsite(plan: _Plan) -> Iterator[Change]:
    studio = plan.studio
    cloud = Place(free_id("provider", studio.places), offsite=True)
    medium = new_medium(studio, "cloud", cloud, account=free_id("login", {m.account or "" for m in _media(studio)}))
    upload = replace(_after_hub(plan, _copy_step(plan, plan.hub, medium.id)), minutes=_minutes(studio, "copy", 2.0))
    what = f"Upload each shoot to one more cloud, under an account of its own, once {plan.hub} has it."
    yield Change("off-site", what, with_steps(with_new(studio, medium, cloud), upload))
    far = Place(free_id("elsewhere", studio.places), offsite=True)
    drive = new_medium(studio, "hard-disk", far)
    step = _after_hub(plan, _copy_step(plan, plan.hub, drive.id))
    step = replace(step, rhythm=Rhythm("month", (1,), 12 * 3600.0), only_when="home")
    what = f"Take a hard disk with a copy of {plan.hub} to somebody else's house every month."
    yield Change("off-site", what, with_steps(with_new(studio, drive, far), step))


def _copy_step(plan: _Plan, source: str, target: str) -> Step:
    ids = {step.id for step in scheme_of(plan.studio).steps}
    return Step(free_id("copy", ids), "copy", source=source, target=target, minutes=_minutes(plan.studio, "copy"))


def _after_hub(plan: _Plan, step: Step) -> Step:
    """Return a step that is done each time the hub may have got the shoot; where the camera writes to it, at home."""
    first = next((s for s in scheme_of(plan.studio).steps if s.target == plan.hub and s.do in ("copy", "move")), None)
    return replace(step, follows=first.id) if first else replace(step, only_when="home")


# --- sooner, later, surer ----------------------------------------------------------------------------------------


def _sooner(plan: _Plan) -> Iterator[Change]:
    for step in scheme_of(plan.studio).steps:
        rhythm, every = step.rhythm, step.rhythm.every if step.rhythm else ""
        while rhythm is not None and every in _SOONER:
            every = _SOONER[every]
            oftener = replace(rhythm, every=every, on=_FIRST_DAY[every])
            verb = "Verify" if step.do == "verify" else "Do"
            what = f"{verb} {step.target if step.do == 'verify' else step.id} every {every}, not every {rhythm.every}."
            if step.do in ("copy", "move") or (step.do == "verify" and every != "day"):
                yield Change("sooner", what, with_step(plan.studio, step.id, rhythm=oftener))


def _from_away(plan: _Plan) -> Iterator[Change]:
    for step in scheme_of(plan.studio).steps:
        target = plan.studio.media.get(step.target or "")
        is_near = target is not None and (target.carried or target.kind == "cloud")
        if step.do == "copy" and step.only_when == "home" and is_near and not _may_miss_edits(plan, step):
            what = f"Do {step.id} also while away, not only at home."
            yield Change("sooner", what, with_step(plan.studio, step.id, only_when=None))


def _at_once(plan: _Plan) -> Iterator[Change]:
    for step in scheme_of(plan.studio).steps:
        is_late = step.do in ("copy", "move") and step.rhythm is None and step.after_s > 0
        if is_late and not _may_miss_edits(plan, step):
            before = f"after {step.follows}" if step.follows else "when the shoot is over"
            what = f"Do {step.id} at once {before}, without waiting."
            yield Change("sooner", what, with_step(plan.studio, step.id, after_s=0.0))


def _may_miss_edits(plan: _Plan, step: Step) -> bool:
    """Say whether a step may take edits along, and sooner would come before them: then they stay where they are."""
    steps = scheme_of(plan.studio).steps
    edits = {one.id for one in steps if one.do == "edit"}
    followed = list(with_followed(step, {one.id: one for one in steps}))
    if any(one.rhythm for one in followed) or edits <= {one.id for one in followed}:
        return False
    made_on = [one.target for one in steps if one.do == "edit" and one.target]
    having = with_mirrors(made_on, plan.studio.media, keeping_versions=True)
    return step.source in reached_from(having, steps, plan.studio.media)


def _again(plan: _Plan) -> Iterator[Change]:
    for step in scheme_of(plan.studio).steps:
        if step.do in ("copy", "move") and step.rhythm is None and step.done < 1 and step.again_s is None:
            what = f"Check the day after whether {step.id} was done, and do it then."
            yield Change("surer", what, with_step(plan.studio, step.id, again_s=_DAY_S))


def _later(plan: _Plan) -> Iterator[Change]:
    for step in _erasing(plan):
        what = f"Wait 30 days longer before {step.id} clears {step.source}."
        later = with_step(plan.studio, step.id, after_s=step.after_s + _LATER_S)
        yield Change("later erasing", what, later, kept_on=step.source)


def _guarded(plan: _Plan) -> Iterator[Change]:
    steps = scheme_of(plan.studio).steps
    known = {step.id: step for step in steps}
    kept = {m.id: m for m in plan.settled} or {s.target: plan.studio.media[s.target] for s in steps if s.target}
    for step in _erasing(plan):
        others = tuple(m.id for m in kept.values() if m.id != step.source and not m.mirrors)
        if others and not set(others) <= set(step.only_once_on):
            have = "have" if len(others) > 1 else "has"
            what = f"Clear {step.source} only once {in_a_row(others)} {have} the shoot"
            guarded = tuple(dict.fromkeys((*step.only_once_on, *others)))
            again_s = step.again_s
            if not comes_again(step, known):  # one try too early would keep the shoot there for ever
                again_s, what = _WEEK_S, f"{what}, and look again every week until so"
            surer = with_step(plan.studio, step.id, only_once_on=guarded, again_s=again_s)
            yield Change("later erasing", f"{what}.", surer, kept_on=step.source)


def _kept(plan: _Plan) -> Iterator[Change]:
    for step in _erasing(plan):
        if step.do == "move":
            what = f"Copy from {step.source} to {step.target} instead of moving: {step.source} keeps its copy."
            copied = with_step(plan.studio, step.id, do="copy")
            yield Change("later erasing", what, copied, kept_on=step.source, for_good=True)
        elif not step.source or plan.studio.media[step.source].kind != "card":
            what = f"Do not clear {step.source} at all, as long as it has room."
            scheme = scheme_of(plan.studio)
            kept = tuple(s for s in scheme.steps if s.id != step.id)
            if not any(s.follows == step.id for s in kept):
                never = replace(plan.studio, scheme=replace(scheme, steps=kept))
                yield Change("later erasing", what, never, kept_on=step.source, for_good=True)


def _erasing(plan: _Plan) -> Sequence[Step]:
    return [step for step in scheme_of(plan.studio).steps if step.do in ("erase", "move")]


def _verify(plan: _Plan) -> Iterator[Change]:
    scheme = scheme_of(plan.studio)
    checked = {step.target for step in scheme.steps if step.do == "verify"}
    for medium in plan.settled:
        if medium.id not in checked:
            minutes = _minutes(plan.studio, "verify")
            ids = {step.id for step in scheme.steps}
            rhythm = Rhythm("quarter", (1,), 12 * 3600.0)
            step = Step(free_id("verify", ids), "verify", target=medium.id, rhythm=rhythm, minutes=minutes)
            what = f"Verify {medium.id} byte for byte every quarter."
            yield Change("verify", what, with_steps(plan.studio, step))


# --- the media themselves ----------------------------------------------------------------------------------------


def _second_way(plan: _Plan) -> Iterator[Change]:
    """Yield a second way to reach what one cannot get at without another medium: the need falls away."""
    for needed in dict.fromkeys(id_ for medium in plan.settled for id_ in medium.needs):
        held = [medium for medium in plan.settled if needed in medium.needs]
        for medium in (medium for medium in held if medium.account or medium.kind == "cloud"):
            what = f"Set up a second way to log in to {medium.id}, so that it does not need {needed}."
            yield Change("a second way", what, _without(plan.studio, needed, [medium]))
        read = [medium for medium in held if not medium.account and medium.kind != "cloud"]
        if read:
            reads = f"reads {in_a_row([medium.id for medium in read])}"
            what = f"Make sure that any other {_CALLED_BY.get(plan.studio.media[needed].kind, 'one')} {reads}"
            them = "they do" if len(read) > 1 else "it does"
            yield Change(
                "a second way", f"{what}, so that {them} not need {needed}.", _without(plan.studio, needed, read)
            )


def _without(studio: Studio, needed: str, media: Sequence[Medium]) -> Studio:
    for medium in media:
        studio = with_medium(studio, medium.id, needs=tuple(id_ for id_ in medium.needs if id_ != needed))
    return studio


def _account(plan: _Plan) -> Iterator[Change]:
    shared = [medium.account for medium in plan.settled if medium.account]
    accounts = {medium.account or "" for medium in _media(plan.studio)}
    for medium in plan.settled:
        if medium.account and shared.count(medium.account) > 1:
            what = f"Put {medium.id} under an account of its own, not that of {in_a_row(_with(plan, medium))}."
            own = free_id("login", accounts)
            yield Change("another account", what, with_medium(plan.studio, medium.id, account=own))


def _with(plan: _Plan, medium: Medium) -> list[str]:
    return [other.id for other in plan.settled if other.account == medium.account and other.id != medium.id]


def _unplugged(plan: _Plan) -> Iterator[Change]:
    for medium in plan.settled:
        if medium.attached and medium.kind not in ("tablet", "phone", "computer"):
            what = f"Unplug {medium.id} whenever nothing is being copied to it."
            yield Change("unplug", what, with_medium(plan.studio, medium.id, attached=False))


def _versions(plan: _Plan) -> Iterator[Change]:
    for medium in plan.settled:
        if medium.mirrors and medium.keeps_versions_s is None:
            what = (
                f"Let {medium.id} keep versions for 30 days, so that a deletion on {medium.mirrors} does not reach it."
            )
            yield Change("versions", what, with_medium(plan.studio, medium.id, keeps_versions_s=30 * _DAY_S))


def _other_kind(plan: _Plan) -> Iterator[Change]:
    kinds = [medium.kind for medium in plan.settled]
    for medium in plan.settled:
        if kinds.count(medium.kind) > 1 and medium.kind in _KINDS_TO_BUY:
            others = [kind for kind in _KINDS_TO_BUY if kind not in kinds]
            priced = [kind for kind in others if kind in scheme_of(plan.studio).costs.buy]
            for kind in (priced or others)[:1]:
                what = f"Let {medium.id} be {_a(kind)} instead: another kind fails in other ways."
                yield Change("another kind", what, with_medium(plan.studio, medium.id, kind=kind))


def _minutes(studio: Studio, do: str, usual: float | None = None) -> float:
    """Return the minutes of a new step: those of the first of its sort that has some, else assumed."""
    known = (step.minutes for step in scheme_of(studio).steps if step.do == do and step.minutes)
    return next(known, _MINUTES[do] if usual is None else usual)


def _media(studio: Studio) -> list[Medium]:
    return list(studio.media.values())


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeio' or kind == 'ssd' else 'a'} {_CALLED.get(kind, kind)}"
