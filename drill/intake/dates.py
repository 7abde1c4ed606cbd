"""The date of a shoot: by its pictures' own capture times first, by names second, never by file times.

Flows in: a group. Flows out: a day and where it is from. Must not know: promises.
"""

from collections import Counter
from datetime import date

from drill import naming
from drill.intake.shoots import Group, day_named, taken_of

UNKNOWN = "not known"
DOUBTED = "but the folder's name says"  # the camera's clock may never have been set
_CLOCK_DAYS = 2  # a clock on another time zone, a job past midnight


def shoot_date(group: Group) -> tuple[date | None, str]:
    """Return the day on which most of the pictures were taken (of equals the first), and what says so."""
    days = Counter(taken.when.date() for slot in group.slots if (taken := taken_of(slot)) is not None)
    named = _day_of_folder(group)
    if days:
        most = max(days.values())
        more = f", of {len(days)} days" if len(days) > 1 else ""
        first = min(day for day, count in days.items() if count == most)
        far = named is not None and not any(abs((named - shot).days) <= _CLOCK_DAYS for shot in days)
        return first, f"capture times{more}, {DOUBTED} {named}" if far else f"capture times{more}"
    if named is not None:
        return named, "the folder's name"
    in_names = Counter(day for slot in group.slots if (day := day_named(slot)) is not None)
    if in_names:
        most = max(in_names.values())
        return min(day for day, count in in_names.items() if count == most), "file names"
    return None, UNKNOWN


def _day_of_folder(group: Group) -> date | None:
    found = (naming.date_in(name) for _, names in group.folders for name in reversed(names))
    return next((day for day in found if day is not None), None)
