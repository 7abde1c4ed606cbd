"""A scale of time that shows the first day large and the year small: four stretches, each with its own even measure.

Flows in: seconds after the first picture. Flows out: pixels, and where marks belong. Must not know: what is drawn.
"""

from dataclasses import dataclass

HOUR, DAY = 3600.0, 86400.0
ENDS = (DAY, 7 * DAY, 35 * DAY, 366 * DAY)  # where the measure changes
MARKS = (
    (0.0, "0 h"),
    (6 * HOUR, "6 h"),
    (12 * HOUR, "12 h"),
    (18 * HOUR, "18 h"),
    (DAY, "1 day"),
    (3 * DAY, "3"),
    (5 * DAY, "5"),
    (7 * DAY, "7 days"),
    (14 * DAY, "14"),
    (21 * DAY, "21"),
    (28 * DAY, "28"),
    (35 * DAY, "35 days"),
    (183 * DAY, "6 months"),
    (365 * DAY, "1 year"),
)


@dataclass(frozen=True, slots=True)
class Scale:
    """Where moments lie: from `left`, over `width` pixels, a quarter for each stretch."""

    left: float
    width: float

    def x(self, after_s: float) -> float:
        """Return the pixel of a moment; what lies behind the year is at its end."""
        each = self.width / len(ENDS)
        begins_s = 0.0
        for number, ends_s in enumerate(ENDS):
            if after_s <= ends_s:
                return self.left + each * (number + max(after_s - begins_s, 0.0) / (ends_s - begins_s))
            begins_s = ends_s
        return self.left + self.width
