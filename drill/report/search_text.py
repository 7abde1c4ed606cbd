"""A search as text: for each life the shortest story, dated; what else of that length there is; what it takes later on;
what was tried.

Flows in: the record of a search. Flows out: text. Must not know: how it was searched, terminals (the width is given).
"""

from collections.abc import Mapping, Sequence

from drill.report.forecast_words import span_words
from drill.report.words import listed, paragraph, safe
from drill.searchrecord import Chance, Level, Life, Search, Story

_MOST_OTHERS = 6
_MOST_DIFFERENCES = 4  # of a second life that are told alone; where there are more it is told in full
_MISHAP, _PLAN = "! ", "  "
_Names = tuple[str, ...]


def search_text(found: Search, *, width: int = 80) -> str:
    """Return the whole search."""
    parts: list[str] = []
    for life in found.lives:
        before = next(one for one in found.lives if _edit_id(one) == _edit_id(life))
        differs = _differences(before, life) if life is not before else None
        parts += _life(life, found, width) if differs is None else _second_life(life, differs, found, width)
    parts.append(paragraph(safe(f"Reckoned with: {' '.join(found.assumptions)}"), width))
    parts += [paragraph(safe(note), width) for note in found.notes]
    return "\n\n".join(part for part in parts if part) + "\n"


def _life(life: Life, found: Search, width: int) -> list[str]:
    return [
        paragraph(safe(f"{_which(life)}: {_verdict(life)}"), width),
        *(part for number, level in enumerate(life.levels) for part in _level(level, number, width)),
        paragraph(safe(_to_the_end(life)), width),
        _by_others(life, width),
        *_what_was_tried(life, found, width),
    ]


def _second_life(life: Life, differs: Sequence[str], found: Search, width: int) -> list[str]:
    """Tell of a life what differs from the one that was told before."""
    before, option = ("away", "--home") if not life.away else ("at home", "--away")
    head = f"{_which(life)}: {_verdict(life)} It is the same as {before}"
    head += ", but for what follows" if differs else ""
    return [
        listed(safe(f"{head}; {option} tells it with its own times."), differs, width)
        or paragraph(safe(f"{head}; {option} tells it with its own times."), width),
        *_what_was_tried(life, found, width),
    ]


def _what_was_tried(life: Life, found: Search, width: int) -> list[str]:
    return [
        paragraph(safe(_tried(life, found)), width),
        _chance(life, width),
        paragraph(safe(_kept(life)), width),
        "It was broken off here: what would have come after this was not tried." if life.interrupted else "",
    ]


def _edit_id(life: Life) -> str:
    return life.edit.step if life.edit else ""


def _which(life: Life) -> str:
    shoot = f"shoot made {'away' if life.away else 'at home'} on {life.day}"
    if life.edit is None:
        return f"A {shoot}"
    return f"The edits of a {shoot} ({life.edit.step}: made on {life.edit.medium} by {life.edit.local})"


def _it(life: Life) -> str:
    return "it" if life.edit is None else "them"


def _differences(before: Life, life: Life) -> list[str] | None:
    """Return what of a life is not as in the one before, None where that is much."""
    if not life.levels or _numbers(before) != _numbers(life) or 0 in _numbers(life):
        return None
    found: list[str] = []
    for was, now in zip(before.levels, life.levels, strict=True):
        known = {tuple(sorted(story.mishaps)): story for story in was.stories}
        here = {tuple(sorted(story.mishaps)): story for story in now.stories}
        all_told = len(known) == was.different and len(here) == now.different
        if not all_told and (was.different != now.different or known.keys() != here.keys()):
            return None
        found += _differ(was, now, known, here)
    if before.levels[-1].always != life.levels[-1].always:
        found += [_to_the_end(life)] if _to_the_end(life) else []
    return found if len(found) <= _MOST_DIFFERENCES else None


def _differ(was: Level, now: Level, known: Mapping[_Names, Story], here: Mapping[_Names, Story]) -> list[str]:
    """Say how the stories of a level are others, or may begin at other times."""
    later = now.begins_local != was.begins_local
    found = [f"it takes {_mishaps(now.mishaps)} from {now.begins_local} on"] if later else []
    for names, story in here.items():
        other = known.get(names)
        if other is None:
            found.append(f"also: {_in_short(story)}")
        elif (other.earliest, story.earliest) not in ((story.earliest,) * 2, (was.begins_local, now.begins_local)):
            found.append(f"from {story.earliest} on: {_in_short(story)}")
    return found + [f"not: {_mishaps_alone(story)}" for names, story in known.items() if names not in here]


def _numbers(life: Life) -> tuple[int, ...]:
    return (life.complete, *(level.mishaps for level in life.levels))


def _verdict(life: Life) -> str:
    least = _proved(life)
    if life.levels:
        return f"{_mishaps(life.levels[0].mishaps)} can lose {_it(life)}, and no fewer (proved shortest)."
    story = life.shortest
    if story is None:
        return f"no story was found that loses {_it(life)}. That says what was tried, below, and no more."
    said = f"{_mishaps(len(story.mishaps))} can lose {_it(life)}"
    if least is not None:
        return f"{said}, and no fewer (proved shortest: all stories of fewer were tried)."
    proved = "" if life.complete < 1 else f"; fewer than {life.complete + 1} cannot"
    return f"{said} (shortest found, which is no proof{proved})."


def _proved(life: Life) -> int | None:
    """Return how many mishaps are proved to be the fewest: also those of a story found otherwise, where every shorter
    one was tried."""
    if life.levels:
        return life.levels[0].mishaps
    story = life.shortest
    return None if story is None or len(story.mishaps) != life.complete + 1 else len(story.mishaps)


def _level(level: Level, number: int, width: int) -> list[str]:
    first, *others = level.stories
    if not level.mishaps:
        return [_story("It goes as planned, and nothing is left:", first, width)]
    title = "The likeliest of these stories" if level.different > 1 else "The story"
    if number:
        title = f"From {level.begins_local} on it takes {_mishaps(level.mishaps)} (proved). {title}"
    told = [_in_short(story) for story in others[:_MOST_OTHERS]]
    more = level.different - 1 - len(told)
    if more > 0:
        has = "them" if level.different == len(level.stories) else f"the {len(level.stories)} likeliest"
        told.append(f"… and {more} more that differ in their mishaps (--json FILE has {has})")
    of = f"Also {_mishaps(level.mishaps)}, the likelier first"
    return [_story(f"{title}:", first, width), paragraph(safe(_when(first)), width), listed(of, told, width)]


def _when(story: Story) -> str:
    """Say between which times a story may begin; nothing where that is one moment."""
    if story.earliest == story.latest:
        return ""
    one = len(story.mishaps) == 1
    said = "The time of the mishap is an example: it" if one else "The times are examples: the first"
    return f"{said} may come as early as {story.earliest}, and as late as {story.latest}."


def _to_the_end(life: Life) -> str:
    """Say that there is no time from which on it takes more, where that is so."""
    if not life.levels or not life.levels[-1].mishaps or life.clear_from_local is not None:
        return ""
    level = life.levels[-1]
    said = f"There is no time until {life.until[:10]} from which on it takes more: "
    begun = f"{_mishaps(level.mishaps)} can be enough" + (", the first" if level.mishaps > 1 else "")
    if level.always:
        return f"{said}{begun} at any moment from {level.begins_local} on."
    when = f"for {span_words(level.open_s)} in all" if level.open_s else "when a step is due"
    return f"{said}{begun} {when}, the last time until {level.ends_local}."


def _story(title: str, story: Story, width: int) -> str:
    lines = [paragraph(safe(title), width)]
    for one in story.happenings:
        sign = _PLAN if one.by_plan else _MISHAP
        lines.append(paragraph(safe(f"{one.local}  {one.words}"), width, first=sign, rest="    "))
    return "\n".join(lines)


def _in_short(story: Story) -> str:
    last = story.happenings[-1]
    told = _mishaps_alone(story)
    return told if not last.by_plan else f"{told}; then, by plan, {last.local} {last.words}"


def _mishaps_alone(story: Story) -> str:
    return "; ".join(f"{one.local} {one.words}" for one in story.happenings if not one.by_plan)


def _by_others(life: Life, width: int) -> str:
    """Tell the shortest story where trying all of them found none."""
    story = life.shortest
    if life.levels or story is None:
        return ""
    by_chance = life.chance is not None and life.chance.story is story
    how = "found by chance" if by_chance else "kept from an earlier run"
    return _story(f"A story of {_mishaps(len(story.mishaps))} ({how}):", story, width)


def _tried(life: Life, found: Search) -> str:
    if life.complete < 0:
        return "Not all stories of even no mishap could be tried in the time allowed."
    less = [f"nothing before {span_words(found.after_s)} after the first picture"] if found.after_s else []
    less += [f"without {', '.join(found.without)}"] if found.without else []
    said = (
        f"Tried: every story of up to {_mishaps(life.complete)} in the time until {life.until[:10]}"
        f"{' (' + '; '.join(less) + ')' if less else ''}. That is {life.states:,} ways in which the copies can stand, "
        f"right, wrong or gone, at {life.moments:,} moments of the plan."
    )
    if life.complete < found.depth and (not life.levels or life.levels[0].mishaps):
        said += (
            f" Those of {_mishaps(life.complete + 1)} were not done: the time was over, or there were too many states."
        )
    if life.clear_from_local is not None and life.levels and life.complete:
        said += f" From {life.clear_from_local} on no story of up to {_mishaps(life.complete)} begins that loses "
        said += f"{_it(life)}, by these rules: more mishaps, and what is no mishap here, are another matter."
    if not life.levels:
        are = "it is" if life.edit is None else "they are"
        said += f" More mishaps, and what is no mishap here, were not tried: this does not say that {are} safe."
    return said


def _chance(life: Life, width: int) -> str:
    chance = life.chance
    return "" if chance is None else paragraph(safe(_say_chance(chance, life)), width)


def _say_chance(chance: Chance, life: Life) -> str:
    if chance.why_not:
        return f"By chance: not tried. {chance.why_not}"
    said = (
        f"By chance, with real bytes: {chance.examples:,} stories of up to {chance.most} mishaps, seed {chance.seed}: "
    )
    if chance.mishaps is None:
        return said + f"none that loses {_it(life)} was found."
    proved = _proved(life)
    if proved is None:
        return said + f"shortest found {_mishaps(chance.mishaps)}. A shorter one may be there."
    if proved == chance.mishaps:
        return said + f"shortest found {_mishaps(chance.mishaps)}, as was proved."
    return said + f"shortest found {_mishaps(chance.mishaps)}; chance did not come upon the shorter one."


def _kept(life: Life) -> str:
    told = []
    if life.known:
        told.append(f"{life.known} still {'loses' if life.known == 1 else 'lose'} {_it(life)}")
    if life.outlived:
        told.append(f"{life.outlived} {'does' if life.outlived == 1 else 'do'} not lose {_it(life)} any more")
    return f"Of the stories kept from earlier runs {', '.join(told)}." if told else ""


def _mishaps(number: int) -> str:
    return {0: "no mishap", 1: "one mishap", 2: "two mishaps", 3: "three mishaps"}.get(number, f"{number} mishaps")
