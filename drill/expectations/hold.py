"""Hold: the record of a drill against what was expected of it, in plain words.

Flows in: what was due, the record, how old the proofs are. Flows out: words for what falls short, or none. Must not
know: files, views, who asked. What is lost or only on paper never counts as back.
"""

from collections.abc import Callable, Sequence
from datetime import datetime

from drill import units
from drill.expectations.demands import Expected
from drill.expectations.match import Due
from drill.model import ProofAge, Shoot
from drill.record import Drill, FileNote
from drill.report.ages_text import is_overdue, say_age
from drill.report.text import to_do, weakest
from drill.report.words import safe

Ages = Callable[[], Sequence[ProofAge] | None]  # of the copies the scenario leaves; None: there is no ledger


def shortfall(due: Due, record: Drill, *, ages: Ages, now: datetime, where: str) -> str:
    """Return in words what falls short of the expectations in file `where`; empty where everything holds.

    The first line is the news in few words: it is all that a list of what failed has room for.
    """
    said = []
    is_short = False
    for one in due.expected:
        if not one.has_demands:
            is_short = is_short or record.falls_short
            continue
        broken = _broken(one, record, due.exercise.shoot, ages, now)
        is_short = is_short or bool(broken)
        said += [f"Expected in {where}, {one.at}: {'; '.join(broken)}."] if broken else []
    if not is_short:
        return ""
    return "\n".join([_news(record), _head(due, record), *map(safe, said)])


def _news(record: Drill) -> str:
    files = record.files
    if files.lost:
        return f"{files.lost:,} of {files.promised:,} files lost"
    if files.on_paper:
        return f"{files.on_paper:,} of {files.promised:,} files only on paper"
    if record.verdict == "late":
        return f"back too late: after {units.say_span(record.seconds.projected)}"
    return "one failure too close to a loss" if record.falls_short else "all back, but not as expected"


def _head(due: Due, record: Drill) -> str:
    title = due.exercise.scenario.title
    if record.falls_short:
        return to_do(record, title)
    which = f" ({record.variant})" if record.variant else ""
    return safe(f"{record.shoot}, if this happens: {title}{which}.")


def _broken(one: Expected, record: Drill, shoot: Shoot, ages: Ages, now: datetime) -> list[str]:
    said = _back(one, record, shoot) if one.comes_back or one.classes or one.restored_within_s is not None else []
    if one.restored_within_s is not None and record.seconds.projected > one.restored_within_s:
        takes, wanted = units.say_span(record.seconds.projected), units.say_span(one.restored_within_s)
        said.append(f"it is to be back within {wanted}, and the restore takes {takes}")
    if one.further_failures is not None and record.further_failures.survivable < one.further_failures:
        said.append(_too_few(one.further_failures, record))
    if one.verified_within_s is not None:
        said += _unproved(one.verified_within_s, ages(), now)
    return said


def _too_few(wanted: int, record: Drill) -> str:
    asked = f"{wanted} further failure{' is' if wanted == 1 else 's are'} to be survivable"
    left = record.further_failures.survivable
    if left < 0:
        return f"{asked}, and something is lost already"
    return f"{asked}, and {left} {'is' if left == 1 else 'are'}: {weakest(record)} would then take files"


def _back(one: Expected, record: Drill, shoot: Shoot) -> list[str]:
    """Say what did not come back of the classes that are expected to, of all where none is named."""
    kinds = [kind for kind in record.by_class if not one.classes or kind in one.classes]
    counts = [record.by_class[kind] for kind in kinds]
    promised, verified = sum(count.promised for count in counts), sum(count.verified for count in counts)
    if promised == verified:
        return []
    lost, on_paper = sum(count.lost for count in counts), sum(count.on_paper for count in counts)
    ways = [f"{lost} lost"] if lost else []
    ways += [f"{on_paper} only on paper"] if on_paper else []
    example = _example(one, record, shoot)
    of = f" ({', '.join(one.classes)})" if one.classes else ""
    files = f"all {promised} files{of} are" if promised > 1 else f"the file{of} is"
    return [f"{files} to come back, and {verified} did, {', '.join(ways)}, such as {example.path}: {example.why}"]


def _example(one: Expected, record: Drill, shoot: Shoot) -> FileNote:
    kind_of = {file.path: file.kind for file in shoot.promise} if one.classes else {}
    notes = [*record.lost_files, *record.on_paper_files]
    return next(note for note in notes if not one.classes or kind_of[note.path] in one.classes)


def _unproved(within_s: float, ages: Sequence[ProofAge] | None, now: datetime) -> list[str]:
    """Say which of the copies that are left have no proof, or an older one than is asked for."""
    wanted = f"every copy that is left is to have been verified within {units.say_span(within_s)}"
    if ages is None:
        return [f"{wanted}, and without the ledger nobody knows when it was"]
    if not ages:
        return [f"{wanted}, and no copy that is left is said to hold any of it"]
    late = [f"{age.copy} ({_age_words(age, now)})" for age in ages if is_overdue(age, within_s, now)]
    is_wrong = any(_wrong(age) for age in ages)
    advice = "drill audit names the wrong ones: copy these anew" if is_wrong else "drill audit verifies them"
    return [f"{wanted}; not so {', '.join(late)}: {advice}"] if late else []


def _age_words(age: ProofAge, now: datetime) -> str:
    said = [f"{age.never} of {age.held} files never"] if age.never else []
    said += [f"{_wrong(age)} wrong when last read"] if _wrong(age) else []
    said += [f"the oldest proof made {say_age(age.oldest, now)}"] if age.oldest is not None else []
    return ", ".join(said)


def _wrong(age: ProofAge) -> int:
    return age.held - age.proven - age.never
