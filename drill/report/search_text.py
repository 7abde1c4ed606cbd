"""A search as text: for each life the shortest story, dated; what else of that length there is; what it takes later on;
what was tried.

Flows in: the record of a search. Flows out: text. Must not know: how it was searched, terminals (the width is given).
"""

from drill.report.forecast_words import span_words
from drill.report.words import listed, paragraph, safe
from drill.searchrecord import Chance, Level, Life, Search, Story

_MOST_OTHERS = 6
_MISHAP, _PLAN = "! ", "  "


def search_text(found: Search, *, width: int = 80) -> str:
    """Return the whole search."""
    parts = [part for life in found.lives for part in _life(life, found, width)]
    parts += [paragraph(safe(note), width) for note in found.notes]
    return "\n\n".join(part for part in parts if part) + "\n"


def _life(life: Life, found: Search, width: int) -> list[str]:
    where = "away" if life.away else "at home"
    head = f"A shoot made {where} on {life.day}: {_verdict(life)}"
    return [
        paragraph(safe(head), width),
        *(part for number, level in enumerate(life.levels) for part in _level(level, number, width)),
        _by_others(life, width),
        paragraph(safe(_tried(life, found)), width),
        _chance(life, width),
        paragraph(safe(_kept(life)), width),
        "It was broken off here: what would have come after this was not tried." if life.interrupted else "",
    ]


def _verdict(life: Life) -> str:
    if life.levels:
        return f"{_mishaps(life.levels[0].mishaps)} can lose it, and no fewer (proved shortest)."
    story = life.shortest
    if story is not None:
        proved = "" if life.complete < 1 else f"; fewer than {life.complete + 1} cannot"
        return f"{_mishaps(len(story.mishaps))} can lose it (shortest found, which is no proof{proved})."
    return "no story was found that loses it. That says what was tried, below, and no more."


def _level(level: Level, number: int, width: int) -> list[str]:
    first, *others = level.stories
    if not level.mishaps:
        return [_story("It goes as planned, and nothing is left:", first, width)]
    title = "The likeliest of these stories" if level.different > 1 else "The story"
    if number:
        title = f"From {level.begins_local} on it takes {_mishaps(level.mishaps)} (proved). {title}"
    more = level.different - 1 - len(others[:_MOST_OTHERS])
    told = [_in_short(story) for story in others[:_MOST_OTHERS]]
    told += [f"… and {more} more"] if more > 0 else []
    of = f"Also {_mishaps(level.mishaps)}, the likelier first"
    return [_story(f"{title}:", first, width), listed(of, told, width)]


def _story(title: str, story: Story, width: int) -> str:
    lines = [paragraph(safe(title), width)]
    for one in story.happenings:
        sign = _PLAN if one.by_plan else _MISHAP
        lines.append(paragraph(safe(f"{one.local}  {one.words}"), width, first=sign, rest="    "))
    return "\n".join(lines)


def _in_short(story: Story) -> str:
    told = "; ".join(f"{one.local} {one.words}" for one in story.happenings if not one.by_plan)
    last = story.happenings[-1]
    return told if not last.by_plan else f"{told}; then, by plan, {last.local} {last.words}"


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
        f"{' (' + '; '.join(less) + ')' if less else ''}: {life.states:,} different states at {life.moments:,} moments."
    )
    if life.complete < found.depth and (not life.levels or life.levels[0].mishaps):
        said += (
            f" Those of {_mishaps(life.complete + 1)} were not done: the time was over, or there were too many states."
        )
    if life.clear_from_local is not None and life.levels and life.complete:
        said += f" From {life.clear_from_local} on no story of up to {_mishaps(life.complete)} begins that loses it"
        said += ", by these rules: more mishaps, and what is no mishap here, are another matter."
    if not life.levels:
        said += " More mishaps, and what is no mishap here, were not tried: this does not say that it is safe."
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
        return said + "none that loses it was found."
    proved = life.levels[0].mishaps if life.levels else None
    if proved is None:
        return said + f"shortest found {_mishaps(chance.mishaps)}. A shorter one may be there."
    if proved == chance.mishaps:
        return said + f"shortest found {_mishaps(chance.mishaps)}, as was proved."
    return said + f"shortest found {_mishaps(chance.mishaps)}; chance did not come upon the shorter one."


def _kept(life: Life) -> str:
    if not life.known and not life.outlived:
        return ""
    told = f"Of the stories kept from earlier runs {life.known} lose it still"
    return told + (f", {life.outlived} not any more." if life.outlived else ".")


def _mishaps(number: int) -> str:
    return {0: "no mishap", 1: "one mishap", 2: "two mishaps", 3: "three mishaps"}.get(number, f"{number} mishaps")
