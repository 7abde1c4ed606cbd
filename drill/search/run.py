"""The whole search: for each life what was found before, then all stories up to a depth, then some by chance.

Flows in: a studio with a scheme, options. Flows out: the record. Must not know: terminals. The rooms that search do not
know each other; every story that is told was played with real bytes, and drilled.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from importlib.util import find_spec

from drill import clock, units
from drill.errors import Mistake, Mistakes
from drill.forecast.saying import lasting
from drill.model import Scheme, Studio
from drill.odds import rates
from drill.phrases import count_files
from drill.search.corpus import KeptStory, kept_story, marks_of
from drill.search.exhaustive import Level as Found
from drill.search.exhaustive import Searched, marks, search
from drill.search.judge import Judge, judging
from drill.search.legs import Course, Stretch, begin_of, course_of, first_leg_from, may_go_wrong
from drill.search.mishaps import all_mishaps, edits_asked, is_left_out, keeps_a_copy
from drill.search.play import Ways
from drill.search.scenes import Scenes
from drill.search.telling import Marks, Told, likelihood, say_local, tell
from drill.searchrecord import Chance, Edit, Level, Life, Search, Story
from drill.shelf import fresh_folder
from drill.timeline import horizon, is_size_known, life, usual, within_calendar

_TOLD = 12  # stories of a level that are told; the rest is counted
_NOISE = 20  # mishaps of a story by chance, before it is shortened
_HALF = 0.5  # of the time allowed that trying all stories may take


@dataclass(frozen=True, slots=True)
class Options:
    """What to search: the day of the shoot, away or at home or both, how many mishaps at most, over how many years.

    None of the mishaps is one of `without`, or comes before `after_s` seconds after the first picture. With `budget_s`
    it ends after about so long, and part of that is for stories by chance, from `seed`, at most `examples`
    of them where that is given. `kept` are stories of earlier runs. With `edits_alone` it is not asked what loses the
    shoot itself.
    """

    started: datetime
    now: datetime
    day: date
    away: tuple[bool, ...]
    depth: int
    years: int
    after_s: float
    without: tuple[str, ...]
    seed: int
    budget_s: float | None
    kept: tuple[KeptStory, ...] = ()
    examples: int | None = None
    edits_alone: bool = False
    progress: Callable[[str], None] = lambda text: None


ToKeep = list[tuple[KeptStory, tuple[str, ...]]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """The record of a search, and the stories to keep for later runs, each with its words."""

    record: Search
    to_keep: tuple[tuple[KeptStory, tuple[str, ...]], ...]


def search_scheme(studio: Studio, options: Options, notes: Sequence[str] = ()) -> Outcome:
    """Search a studio's scheme. Errors: ValueError for a studio without one, Mistakes, Unfinished."""
    if studio.scheme is None:
        raise ValueError("this studio has no scheme")
    with within_calendar(options.day):
        return _search(studio, studio.scheme, options, notes)


def _search(studio: Studio, scheme: Scheme, options: Options, notes: Sequence[str]) -> Outcome:
    courses = list(_courses(studio, scheme, options))
    _check_asked(courses, studio, options)
    found: list[tuple[Life, ToKeep]] = []
    share_s = None if options.budget_s is None else options.budget_s / len(courses)
    for course, start in courses:
        if not any(one.interrupted for one, _ in found):
            found.append(_search_life(studio, course, start, replace(options, budget_s=share_s)))
    size, files = usual(studio)
    record = Search(
        studio=studio.name,
        started=clock.rfc3339(options.started),
        now=clock.rfc3339(options.now),
        size=size,
        files=files,
        assumptions=(_size_words(studio, size, files), *lasting(studio, scheme), *_lists(courses, scheme)),
        depth=options.depth,
        after_s=options.after_s,
        without=options.without,
        lives=tuple(one for one, _ in found),
        notes=(*notes, *_never_edited(courses, studio, options)),
    )
    return Outcome(record, tuple(kept for _, stories in found for kept in stories))


def _lists(courses: Sequence[tuple[Course, int]], scheme: Scheme) -> Iterator[str]:
    """Yield what is taken for granted of checks where edits are asked about."""
    if any(course.edit for course, _ in courses) and any(step.do == "verify" for step in scheme.steps):
        yield "A check is taken to know of edits: the list that it goes by is made anew once they are there."


def _size_words(studio: Studio, size: int, files: int) -> str:
    guessed = "" if is_size_known(studio) else " (a round figure: nothing says how big yours are; add size to [scheme])"
    return f"A shoot is taken to be of {units.say_size(size)}{guessed} in {count_files(files)}."


@dataclass(frozen=True, slots=True)
class _Hall:
    """What the search of one life works with."""

    course: Course
    studio: Studio
    scenes: Scenes
    judge: Judge
    start: int

    def told(self, at: Marks, between: tuple[int, int]) -> Story | None:
        """Play and tell a story, and drill what it leaves; None where it loses nothing. Errors: Unfinished."""
        told = tell(self.course, self.studio, self.scenes, at, between)
        if told is not None:
            self._check(told)
        return None if told is None else told.story

    def _check(self, told: Told) -> None:
        back = self.judge.back(told.scene)
        if back:
            names = ", ".join(told.story.mishaps)
            raise AssertionError(f"the drill brings back {back} pictures after this story: {names}")


def _courses(studio: Studio, scheme: Scheme, options: Options) -> Iterator[tuple[Course, int]]:
    """Yield lives as legs, each with the first leg on which a mishap may come: of the shoot, then of the edits that are
    made by plan before the life ends."""
    until = horizon(scheme, options.day, options.years)
    lives = [life(studio, options.day, away=away, until=until) for away in options.away]
    of_shoot = () if options.edits_alone else (None,)
    for edit in (*of_shoot, *edits_asked(studio, options.without)):
        for lived in lives:
            after = lived.begins + timedelta(seconds=min(options.after_s, (until - lived.begins).total_seconds()))
            course = course_of(lived, studio, scheme, options.without, cut=after, edit=edit)
            if edit is None or course.edited_at is not None:
                yield course, first_leg_from(course, after)


def _never_edited(courses: Sequence[tuple[Course, int]], studio: Studio, options: Options) -> Iterator[str]:
    """Yield a sentence for each step that comes to edit nothing, so that nothing was asked about it."""
    asked = {(course.edit.id, course.life.away) for course, _ in courses if course.edit}
    for step in edits_asked(studio, options.without):
        for away in options.away:
            if (step.id, away) not in asked:
                yield (
                    f"The step {step.id} edits nothing of a shoot made {'away' if away else 'at home'} in the time "
                    "that is looked at: it is not due then, or the medium that it edits on does not hold the shoot. "
                    "What loses its edits was not asked."
                )


def _no_edits(studio: Studio, options: Options) -> Mistake:
    """Return the mistake of asking about edits alone where there are none."""
    if edits_asked(studio, options.without):
        what = "no step edits anything in the time that is looked at"
        return Mistake("--edits", "", what, "edit on a medium once the shoot is on it, or leave --edits out")
    if edits_asked(studio, ()):
        return Mistake(
            "--without", "", "leaves out all edits, and with --edits nothing else is asked", "leave out fewer"
        )
    return Mistake("--edits", "", "no step of this scheme edits", 'add a step with do = "edit", or leave --edits out')


def _check_asked(courses: Sequence[tuple[Course, int]], studio: Studio, options: Options) -> None:
    """Refuse what leaves nothing to try; of edits the same mishaps are asked as of the shoot. Errors: Mistakes."""
    mistakes = []
    if not courses:
        raise Mistakes([_no_edits(studio, options)])
    alike = [(course, start) for course, start in courses if course.edit is courses[0][0].edit]
    for course, start in alike:
        if may_go_wrong(course, start):
            continue
        lived = course.life
        where = "" if len(alike) == 1 else f" to a shoot made {'away' if lived.away else 'at home'}"
        if not may_go_wrong(course, 0):
            option, advice = "--without", "leave out fewer"
        else:
            length = units.say_span((lived.until - lived.begins).total_seconds())
            option, advice = "--after", f"its life is looked at for {length}: name a shorter span, or more --years"
        mistakes.append(Mistake(option, "", f"no mishap is left that may come{where}", advice))
    if mistakes:
        raise Mistakes(mistakes)


def _search_life(studio: Studio, course: Course, start: int, options: Options) -> tuple[Life, ToKeep]:
    scenes = Scenes(studio, course)
    with judging(studio, scenes, studio.scratch) as judge:
        hall = _Hall(course, studio, scenes, judge, start)
        known, outlived = _try_kept(hall, options)
        began_s = clock.ticks_s()
        found = search(
            course.legs,
            course.first,
            depth=options.depth,
            start=start,
            until_s=None if options.budget_s is None else began_s + options.budget_s * _HALF,
            progress=options.progress,
        )
        levels = _levels(hall, found)
        chance, interrupted = None, found.interrupted
        by_chance: Marks = ()
        if options.budget_s is not None and not interrupted:
            with suppress(KeyboardInterrupt):
                interrupted = True  # where it ends before its own way of noting that is there, or after it
                chance, by_chance, interrupted = _chance(hall, options, options.budget_s - (clock.ticks_s() - began_s))
    record = _life(hall, found, levels, known, outlived)
    record = replace(record, chance=chance, interrupted=interrupted)
    return record, _to_keep(hall, record, found, by_chance)


def _try_kept(hall: _Hall, options: Options) -> tuple[list[Story], int]:
    """Return the stories of earlier runs that lose the shoot still, the shortest first, and how many do not.

    Those with mishaps that are not asked about now are neither.
    """
    known: list[Story] = []
    outlived = 0
    for kept in options.kept:
        at = marks_of(kept, hall.course, hall.studio)
        if not _is_asked(kept, hall.course, options) or (at and at[0][0] < hall.start):
            continue
        story = None if at is None else hall.told(at, (at[0][0], at[0][0]) if at else (-1, -1))
        known += [story] if story is not None else []
        outlived += story is None
    return sorted(known, key=lambda story: len(story.mishaps)), outlived


def _is_asked(kept: KeptStory, course: Course, options: Options) -> bool:
    """Say whether a kept story is of such a life, and none of its mishaps is left out, or comes after its end."""
    length_s = (course.life.until - course.life.begins).total_seconds()
    is_alike = kept.away == course.life.away and kept.edit == (course.edit and course.edit.id)
    return is_alike and not any(
        is_left_out(name, options.without) or after_s >= length_s for name, after_s in kept.mishaps
    )


def _levels(hall: _Hall, found: Searched) -> tuple[Level, ...]:
    return tuple(_level(hall, level) for level in found.levels)


def _level(hall: _Hall, level: Found) -> Level:
    per_year = dict(rates(hall.studio).per_year)
    ways = sorted(level.ways, key=lambda way: (-likelihood(way[0], per_year, hall.studio), way[0]))
    stories = [hall.told(marks(way), (way.earliest, way.latest)) for _, way in ways[:_TOLD]]
    _check_told(stories)
    begins = begin_of(hall.course.legs[level.start]) if level.start < len(hall.course.legs) else hall.course.life.until
    last = hall.course.legs[level.last] if level.last >= 0 else None
    ends = begins if last is None else getattr(last, "ends", begin_of(last))
    zone = hall.studio.scheme.zone if hall.studio.scheme else None
    open_ = [leg for leg in (hall.course.legs[number] for number in level.openings) if isinstance(leg, Stretch)]
    open_s = sum((leg.ends - leg.begins).total_seconds() for leg in open_)
    return Level(
        mishaps=level.mishaps,
        begins=clock.rfc3339(begins),
        ends=clock.rfc3339(ends),
        begins_local=say_local(begins, zone),
        ends_local=say_local(ends, zone),
        open_s=open_s,
        always=open_s >= (ends - begins).total_seconds() > 0,
        different=len(level.ways),
        stories=tuple(story for story in stories if story is not None),
    )


def _check_told(stories: Sequence[Story | None]) -> None:
    if any(story is None for story in stories):
        raise AssertionError("a story that was found loses nothing when it is played")


def _chance(hall: _Hall, options: Options, left_s: float) -> tuple[Chance, Marks, bool]:
    """Search by chance for so long; return the record, the mishaps with their legs, and whether it was interrupted.

    Where Hypothesis is not installed, the record says so.
    """
    budget_s = max(left_s, 0.0)
    if find_spec("hypothesis") is None:
        why = 'Hypothesis is not installed: pip install "restore-drill[search]"'
        return Chance(0, 0, options.seed, budget_s, _NOISE, None, None, why), (), False
    from drill.search import by_chance  # noqa: PLC0415  # it loads Hypothesis, an extra, which takes a while

    names = [name for name in all_mishaps(hall.studio) if not is_left_out(name, options.without)]
    with fresh_folder(hall.studio.scratch) as home:
        tried = by_chance.by_chance(
            Ways(hall.course, hall.scenes, hall.start),
            hall.judge,
            names,
            seldom=keeps_a_copy(hall.studio),
            most=_NOISE,
            seed_=options.seed,
            budget_s=budget_s,
            home=home,
            examples=options.examples,
            progress=options.progress,
        )
    story = None
    if tried.marks is not None:
        first = tried.marks[0][0] if tried.marks else -1
        story = hall.told(tried.marks, (first, first))
        _check_told([story])
    length = None if story is None else len(story.mishaps)
    record = Chance(tried.examples, tried.steps, options.seed, budget_s, _NOISE, length, story)
    return record, tried.marks or (), tried.interrupted


def _life(hall: _Hall, found: Searched, levels: tuple[Level, ...], known: Sequence[Story], outlived: int) -> Life:
    course, zone = hall.course, hall.studio.scheme.zone if hall.studio.scheme else None
    clear = begin_of(course.legs[found.beyond]) if found.beyond < len(course.legs) and found.complete >= 0 else None
    clear = None if clear is None or clear >= course.life.until else clear
    return Life(
        day=course.life.day.isoformat(),
        away=course.life.away,
        begins=clock.rfc3339(course.life.begins),
        until=clock.rfc3339(course.life.until),
        levels=levels,
        complete=found.complete,
        clear_from=None if clear is None else clock.rfc3339(clear),
        clear_from_local=None if clear is None else say_local(clear, zone),
        states=len(found.states),
        moments=len({begin_of(leg) for leg in course.legs}),
        known=len(known),
        outlived=outlived,
        known_story=known[0] if known else None,
        edit=_edit(course, zone),
    )


def _edit(course: Course, zone: str | None) -> Edit | None:
    edit, at = course.edit, course.edited_at
    if edit is None or at is None:
        return None
    return Edit(edit.id, edit.target or "", clock.rfc3339(at), say_local(at, zone))


def _to_keep(hall: _Hall, record: Life, found: Searched, by_chance: Marks) -> ToKeep:
    """Return the stories that are told of each level, and the one that chance found where there is no level."""
    stories = []
    for level, told in zip(found.levels, record.levels, strict=True):
        ways = dict(level.ways)
        stories += [(marks(ways[tuple(sorted(story.mishaps))]), story) for story in told.stories]
    if not record.levels and record.chance is not None and record.chance.story is not None:
        stories.append((list(by_chance), record.chance.story))
    return [(kept_story(hall.course, at), tuple(f"{h.local} {h.words}" for h in s.happenings)) for at, s in stories]
