"""Rates: how fast the studio's own media were read before, for the projection of restore times.

Flows in: measurements (files, bytes, seconds) of one medium. Flows out: a rate and the time each file costs, and how
far the next time may be off. Must not know: where measurements are kept, copies, plans.

Reading takes seconds = files × per_file + bytes ÷ rate: two unknowns, found by least squares without a constant (any
handbook of statistics; the t quantiles of the interval: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2).
Least squares over few or over like measurements tells nothing of two unknowns: below three, or where files and bytes
rise together, all of the time is put down to the bytes.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

FEWEST = 3  # measurements, from which least squares and an interval are worth something
_ALIKE = 1e-6  # below this share of its largest value the determinant is noise
# The 97.5 % points of Student's t for 1 to 30 degrees of freedom, then for 40, 60, 120 and without end.
_T = (
    *(12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131),
    *(2.120, 2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042),
)
_T_ABOVE = ((120, 1.980), (60, 2.000), (40, 2.021), (30, 2.042))


@dataclass(frozen=True, slots=True)
class Measurement:
    """One reading of a medium: so many files and bytes in so many seconds."""

    files: int
    bytes: int
    took_s: float


@dataclass(frozen=True, slots=True)
class Rate:
    """What measurements of one medium come to: seconds = files × `per_file_s` + bytes ÷ `bps`.

    `spread_s` is the standard deviation of what they are off by, and `normal` the inverse of the normal matrix (files
    with files, files with bytes, bytes with bytes); both None below FEWEST measurements, or for one unknown.
    """

    bps: float
    per_file_s: float
    measurements: int
    spread_s: float | None = None
    normal: tuple[float, float, float] | None = None

    def seconds(self, files: int, size: int) -> float:
        """Return how long so much is expected to take."""
        return files * self.per_file_s + size / self.bps

    def off_by_s(self, files: int, size: int) -> float | None:
        """Return how far one more reading may be off to either side, in 95 of 100 cases; None where nothing tells."""
        if self.spread_s is None or self.normal is None:
            return None
        a, b, c = self.normal
        leverage = a * files * files + 2 * b * files * size + c * size * size
        return t_quantile(self.measurements - 2) * self.spread_s * math.sqrt(1 + leverage)


def fit(measured: Sequence[Measurement]) -> Rate | None:
    """Return the rate that measurements of one medium come to; None where none has bytes and time."""
    known = [one for one in measured if one.bytes > 0 and one.took_s > 0 and one.files > 0]
    if not known:
        return None
    fitted = _least_squares(known) if len(known) >= FEWEST else None
    if fitted is not None:
        return fitted
    return Rate(sum(one.bytes for one in known) / sum(one.took_s for one in known), 0.0, len(known))


def _least_squares(known: Sequence[Measurement]) -> Rate | None:
    """Fit both unknowns; None where the measurements do not tell them apart, or one comes out impossible."""
    ff = math.fsum(one.files * one.files for one in known)
    fb = math.fsum(one.files * one.bytes for one in known)
    bb = math.fsum(one.bytes * one.bytes for one in known)
    fs = math.fsum(one.files * one.took_s for one in known)
    bs = math.fsum(one.bytes * one.took_s for one in known)
    det = ff * bb - fb * fb
    if det <= _ALIKE * ff * bb:
        return None
    per_file_s, per_byte_s = (bb * fs - fb * bs) / det, (ff * bs - fb * fs) / det
    if per_file_s < 0 or per_byte_s <= 0:
        return None
    off = (one.took_s - one.files * per_file_s - one.bytes * per_byte_s for one in known)
    spread_s = math.sqrt(math.fsum(each * each for each in off) / (len(known) - 2))
    return Rate(1 / per_byte_s, per_file_s, len(known), spread_s, (bb / det, -fb / det, ff / det))


def t_quantile(freedom: int) -> float:
    """Return the 97.5 % point of Student's t; between two table rows the larger value, which is the careful one."""
    if freedom < 1:
        raise ValueError("no degrees of freedom")
    if freedom <= len(_T):
        return _T[freedom - 1]
    return next(value for above, value in _T_ABOVE if freedom >= above)
