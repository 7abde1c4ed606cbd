"""Measured: the rates that the ledger has of the studio's own media, in the place of what the studio file says.

Flows in: a studio, the ledger. Flows out: the studio with measured rates, and words. Must not know: plans, how rates
were measured. A reading that may have come from the system's memory says nothing of a medium, nor does a rate above
what the medium's connection can carry: such a rate is impossible, and said to be.
"""

from collections.abc import Iterable
from dataclasses import replace

from drill.ledger import Ledger, MeasuredRate
from drill.model import Medium, Studio
from drill.rates import Measurement, Rate, fit
from drill.timing import ceiling
from drill.units import say_size, say_span

PLAIN = frozenset({".tar"})  # archives whose files lie in them as they are: reading them is reading the drive


def with_measured_rates(studio: Studio, ledger: Ledger | None) -> tuple[Studio, list[str]]:
    """Return the studio with each medium's measured rate, and what is worth saying of these."""
    if ledger is None:
        return studio, []
    media: dict[str, Medium] = {}
    said: list[str] = []
    for id_ in dict.fromkeys(copy.on for copy in studio.copies):
        known = ledger.rates(id_)
        rate = fit(_sure(known))
        if rate is None:
            continue
        medium = replace(studio.media[id_], reads_at_bps=rate.bps, per_file_s=rate.per_file_s)
        limits = ceiling(replace(medium, bus=None), studio.buses)  # a bus that others share caps it later
        if limits:
            said.append(
                f"{id_} was measured at {say_size(round(rate.bps))}/s, which is impossible: {limits[0][1]} carries "
                f"{say_size(round(limits[0][0]))}/s at most. Not used: is it another medium than the studio file says?"
            )
            continue
        media[id_] = medium
        said.append(f"restore times use what audits measured of {id_}: {_words(rate, known)}{_unpacked(studio, id_)}")
    return replace(studio, media={**studio.media, **media}), said


def _unpacked(studio: Studio, id_: str) -> str:
    """Say what was measured where archives had to be unpacked: this computer rather than the drive."""
    packed = {copy.archive not in PLAIN and copy.archive is not None for copy in studio.copies if copy.on == id_}
    if True not in packed:
        return ""
    part = "" if packed == {True} else "in part "
    return f"; {part}that is how fast this computer unpacks what is archived on it, not how fast it reads"


def _sure(rates: Iterable[MeasuredRate]) -> list[Measurement]:
    return [Measurement(one.files, one.bytes, one.took_s) for one in rates if not one.maybe_cached]


def _words(rate: Rate, known: Iterable[MeasuredRate]) -> str:
    sure = _sure(known)
    said = f"{say_size(round(rate.bps))}/s"
    if rate.per_file_s:
        said += f" and {rate.per_file_s * 1000:.3g} ms a file"
    said += f" ({rate.measurements} readings" if rate.measurements > 1 else " (1 reading, so it may be far off"
    files, size = sure[-1].files, sure[-1].bytes
    off_s = rate.off_by_s(files, size)
    if off_s is not None:
        took = say_span(rate.seconds(files, size))
        said += f"; {say_size(size)} take {took}, 95 times of 100 no more than {say_span(off_s)} off"
    return said + ")"
