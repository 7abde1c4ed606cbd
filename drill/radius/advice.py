"""Advice: what the numbers of a map say to do, each only where the numbers say it.

Flows in: an Anatomy and its map. Flows out: sentences. Must not know: formats, files, terminals.
The limits are judgement, no standard: common practice, no source.
"""

from fractions import Fraction

from drill import units
from drill.extents import Anatomy, Part
from drill.sectorrecord import SectorMap

DEAR = 10  # files that one sector outside the headers may cost before blocks are called too large
SAVES_LITTLE = Fraction(3, 100)  # of the size: less than that is not worth what compression costs in a damaged archive


def advice(found: SectorMap, anatomy: Anatomy) -> tuple[str, ...]:
    """Return what to do about the archive, the most urgent first."""
    said = [_headers(found), _blocks(anatomy), _compression(anatomy)]
    return tuple(text for text in said if text)


def unlisted_archive(archive: str) -> str:
    """Return what to do about an archive that has no list of digests of its own."""
    return (
        f"the archive {archive} has no list of digests: after damage, such a list tells which files got out of it are "
        "right, also those that no shoot promises; --write-manifests makes one"
    )


def _headers(found: SectorMap) -> str:
    dear = [one for one in found.headers if one.lost.most == found.members and found.members > 1]
    if found.kept_elsewhere or not dear:
        return ""
    sectors, size = sum(one.sectors for one in dear), sum(one.size for one in dear)
    gone = "that sector" if sectors == 1 else "any one of these sectors"
    which = " and ".join(one.what for one in dear)
    surely = all(one.lost.least == one.lost.most for one in dear)
    lies = f"{units.say_size(size)} in {sectors:,} sector{'s' if sectors > 1 else ''}"
    there = f"{which[:1].upper()}{which[1:]} ({lies}) {'are' if len(dear) > 1 else 'is'} there once"
    lost = f"{'' if surely else 'up to '}all {found.members:,} files are lost"
    return (
        f"Keep a second copy of the headers. {there}; without {gone} {lost}, though their bytes are there. A survey or "
        "a drill that finds the archive in good health keeps such a copy beside the ledger; this map knows of it only "
        "when it is told where (--studio FILE)"
    )


def _blocks(anatomy: Anatomy) -> str:
    data = [one for one in anatomy.extents if one.part is not Part.HEADERS and one.end > one.start]
    dear = [one for one in data if one.most[1] - one.most[0] >= DEAR]
    if not dear:
        return ""
    share = Fraction(sum(one.end - one.start for one in dear), anatomy.size)
    worst = max(one.most[1] - one.most[0] for one in dear)
    begins = "" if anatomy.restarts is None else f" (it can begin anew at {_places(anatomy.restarts)})"
    return (
        f"Pack in smaller blocks. In {_percent(share)} of the archive one bad sector can cost {DEAR} files or more, up "
        f"to {worst:,} of {len(anatomy.members):,}: unpacking cannot go on behind it before the next place where it "
        f"can begin anew{begins}. With every file packed by itself (a 7z that is not solid), or stored without "
        "compression, a sector costs a file or two"
    )


def _compression(anatomy: Anatomy) -> str:
    compressed = any(one.part is Part.COMPRESSED for one in anatomy.extents)
    saved = anatomy.stream_size - anatomy.packed_size
    if not compressed or not anatomy.stream_size or saved >= anatomy.stream_size * SAVES_LITTLE:
        return ""
    sizes = f"{units.say_size(anatomy.stream_size)} take {units.say_size(anatomy.packed_size)}"
    saves = f"saves {_percent(Fraction(saved, anatomy.stream_size))}" if saved > 0 else "saves nothing"
    return (
        f"Store the files without compression. It {saves} here ({sizes}): raws and JPEGs are compressed already. "
        "Stored as they are, files lose no more than the bad sector itself, and come back faster"
    )


def _places(number: int) -> str:
    return f"{number:,} place{'' if number == 1 else 's'} in all"


def _percent(share: Fraction) -> str:
    """Write a share for people; what is little is never written as nothing."""
    percent = float(share * 100)
    if 0 < percent < 0.1:
        return "under 0.1%"
    return f"{percent:.0f}%" if percent >= 10 or not percent else f"{percent:.1f}%"
