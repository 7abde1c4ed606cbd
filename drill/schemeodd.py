"""What is allowed in a studio file's scheme and yet hardly meant: told as warnings.

Flows in: a scheme, media. Flows out: sentences. Must not know: files, the calendar, what may go wrong.
"""

from collections.abc import Iterator, Mapping

from drill.followers import reached_from, read_by, with_followed
from drill.model import Medium, Scheme, Step
from drill.units import say_span

_DAY_S = 86400.0
_COMES_AGAIN_S = {"day": _DAY_S, "week": 7 * _DAY_S, "month": 28 * _DAY_S, "quarter": 90 * _DAY_S, "year": 365 * _DAY_S}


def odd_steps(scheme: Scheme, media: Mapping[str, Medium]) -> list[str]:
    """Return what is odd about the steps, the most serious first."""
    known = {step.id: step for step in scheme.steps}
    never = dict(_never(scheme, media))
    done = [step for step in scheme.steps if step.id not in never]
    each = (_one_try, _waits_for_forgotten, _takes_too_long)
    return [*never.values(), *(said for odd in each for step in done for said in odd(step, known))]


def odd_needs(media: Mapping[str, Medium]) -> list[str]:
    """Return a sentence for each ring of media that need each other: whoever loses one loses them all."""
    found: dict[frozenset[str], str] = {}
    for id_ in media:
        ring = _ring(id_, media)
        if ring and frozenset(ring) not in found:
            round_ = " needs ".join((*ring, id_))
            found[frozenset(ring)] = (
                f"{round_}: without one of them none can be read; take out the `needs` that there is a way around"
            )
    return list(found.values())


def _ring(start: str, media: Mapping[str, Medium]) -> list[str]:
    """Return the shortest way from a medium over what each needs back to itself; empty: there is none."""
    ways = [[start]]
    seen = {start}
    for way in ways:  # grows as it goes: the nearest first
        for id_ in media[way[-1]].needs:
            if id_ == start and len(way) > 1:
                return way
            if id_ in media and id_ not in seen:
                seen.add(id_)
                ways.append([*way, id_])
    return []


def _never(scheme: Scheme, media: Mapping[str, Medium]) -> Iterator[tuple[str, str]]:
    """Tell, by their ids, steps that can never do anything, as nothing ever brings a shoot to a medium they need."""
    reached = reached_from(scheme.made_on, scheme.steps, media)
    for step in scheme.steps:
        needed = (read_by(step), *step.only_once_on)
        never = sorted({id_ for id_ in needed if id_ and id_ in media} - reached)
        if never:
            yield step.id, f"the step {step.id!r} is never done: no step brings a shoot to {', '.join(never)}"


def _one_try(step: Step, known: Mapping[str, Step]) -> Iterator[str]:
    """Tell an erase that has to wait for copies and looks for them once only."""
    if step.do in ("erase", "move") and step.only_once_on and not comes_again(step, known):
        yield (
            f"the step {step.id!r} is tried once only: where {', '.join(step.only_once_on)} "
            f"{'have' if len(step.only_once_on) > 1 else 'has'} no copy by then, {step.source} is never cleared; "
            'add again = "1 week"'
        )


def _waits_for_forgotten(step: Step, known: Mapping[str, Step]) -> Iterator[str]:
    """Tell a step that finds nothing to do, ever, once the step that it follows was forgotten."""
    first = known.get(step.follows or "")
    if first is None or first.done >= 1 or comes_again(step, known) or step.do == "erase":
        return
    read = read_by(step)
    if read is not None and read == first.target:
        yield (
            f"the step {step.id!r} follows {first.id!r}, which is forgotten at times and not made up for: then "
            f'{step.id!r} finds nothing on {read}, ever; add again = "1 day" to {first.id!r}'
        )


def comes_again(step: Step, known: Mapping[str, Step]) -> bool:
    """Say whether a step is done more than once: by a rhythm or `again` of its own, or of a step that it follows."""
    return any(one.again_s is not None or one.rhythm is not None for one in with_followed(step, known))


def _takes_too_long(step: Step, _: Mapping[str, Step]) -> Iterator[str]:
    if step.rhythm is None or step.takes_s is None:
        return
    if step.takes_s > _COMES_AGAIN_S[step.rhythm.every] / max(1, len(step.rhythm.on)):
        yield (
            f"the step {step.id!r} takes {say_span(step.takes_s)}, longer than it is from one time to the next (every "
            f"{step.rhythm.every}); it is reckoned with as if the next could begin all the same"
        )
