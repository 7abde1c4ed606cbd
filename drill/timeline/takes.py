"""How long a step takes: as the scheme says, or a usual shoot's files and bytes at the rates of the media.

Flows in: a step, a studio. Flows out: seconds. Must not know: the calendar.
A copy needs files × the slower `per_file` + bytes ÷ the slower rate; of a bus that both media are on each gets half.
The usual shoot where nothing says or shows how big it is: a round figure, from no source.
"""

from collections.abc import Iterable
from functools import lru_cache

from drill.model import Bus, Medium, Shoot, Step, Studio
from drill.timing import per_file_s, rate_bps
from drill.units import YEAR_S

USUAL_BYTES = 40_000_000_000
USUAL_FILES = 1500
_LONGEST_S = 100 * YEAR_S


def takes_s(step: Step, studio: Studio) -> float:
    """Return how long a step takes, in seconds: a hundred years at most, which no life lasts."""
    if step.takes_s is not None:
        return step.takes_s
    if step.do in ("erase", "edit"):
        return 0.0
    size, files = usual(studio)
    media = [studio.media[id_] for id_ in (step.source, step.target) if id_]
    return min(_LONGEST_S, files * max(map(per_file_s, media)) + size / _rate_bps(media, studio))


def usual(studio: Studio) -> tuple[int, int]:
    """Return the bytes and files of a usual shoot: the scheme's, else the mean of what is promised, else round figures.

    A shoot counts for the mean of bytes where all its sizes are known.
    """
    scheme = studio.scheme
    size, files = (scheme.size, scheme.files) if scheme else (None, None)
    if size is None or files is None:
        mean_size, mean_files = _means(_Same(studio.shoots))
        size, files = mean_size if size is None else size, mean_files if files is None else files
    return size, files


def is_size_known(studio: Studio) -> bool:
    """Say whether the scheme says how many bytes a usual shoot has, or a promise shows it."""
    return (studio.scheme is not None and studio.scheme.size is not None) or bool(_sizes(studio.shoots))


def _rate_bps(media: list[Medium], studio: Studio) -> float:
    shared: Bus | None = None
    if len(media) == 2 and media[0].bus and media[0].bus == media[1].bus:
        shared = studio.buses[media[0].bus]
    slowest = min(rate_bps(medium, studio.buses) for medium in media)
    return min(slowest, shared.carries_bps / 2) if shared else slowest


class _Same:
    """Shoots under their identity: promises may be millions of files, gone through once and never compared."""

    __slots__ = ("shoots",)

    def __init__(self, shoots: tuple[Shoot, ...]) -> None:
        self.shoots = shoots

    def __hash__(self) -> int:
        return id(self.shoots)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.shoots is self.shoots


@lru_cache(maxsize=4)
def _means(same: _Same) -> tuple[int, int]:
    counts = [len(shoot.promise) for shoot in same.shoots if len(shoot.promise)]
    sizes = _sizes(same.shoots)
    return (
        -(-sum(sizes) // len(sizes)) if sizes else USUAL_BYTES,
        -(-sum(counts) // len(counts)) if counts else USUAL_FILES,
    )


def _sizes(shoots: Iterable[Shoot]) -> list[int]:
    """Return the bytes of each shoot of which all sizes are known."""
    found = []
    for shoot in shoots:
        known = [file.size for file in shoot.promise]
        if known and None not in known:
            found.append(sum(size for size in known if size is not None))
    return found
