"""The map of an archive as text: what one unreadable sector costs, the worst places, the headers, what to do.

Flows in: the record of a map. Flows out: text. Must not know: formats, files, terminals (the width is given).
"""

from fractions import Fraction

from drill import units
from drill.phrases import count_files
from drill.report.sections import NOTHING, Paragraph, Section, Table, items, laid_out, paragraphs
from drill.sectorrecord import Headers, Lost, Place, SectorMap

NOT_PROVED = (
    "What this does not prove: it is told by how the archive is built, not by reading the pictures in it. Whether they "
    "are all there and right, drill audit and drill run tell."
)
STOPS = "Stops: a program that ends at its first error, on the drive itself; most do."
ROUND = "At best: the sector is read around and unpacking goes on behind it, as drill run and drill recover do."
PLAN = (
    "Where two numbers are given, only unpacking would tell, so plan for the higher: in trials, JPEGs and TIFFs packed "
    "together lost nearly as many, and raws, which hardly compress, mostly as few as the lower."
)


def sectors_text(found: SectorMap, *, width: int = 80) -> str:
    """Return the whole report."""
    head = [paragraphs(text) for text in (title(found), about(found), average(found))]
    advice = items("What to do", found.advice)
    return laid_out([*head, *tables(found), advice, paragraphs(NOT_PROVED)], width=width)


def title(found: SectorMap) -> str:
    """Return what the report is of."""
    return f"{found.archive}: one unreadable sector, and what it costs"


def tables(found: SectorMap) -> list[Section]:
    """Return what sectors cost, in tables."""
    return [_classes(found), _worst(found), _headers(found)]


def say_expected(found: SectorMap) -> tuple[str, str]:
    """Write how many files one bad sector at random costs on average: with a program that stops, and at best.

    Of two bounds the higher is the one to plan for: what is really lost of JPEGs packed together comes close to it.
    """
    stops, least, most = (_number(share) for share in found.expected())
    return stops, most if least == most else f"{least} to {most} (plan for {most})"


def _number(expected: Fraction) -> str:
    """Write a number of files so that little is never written as none."""
    number = float(expected)
    if 0 < number < 0.01:
        return "under 0.01"
    return f"{number:,.2f}" if number < 10 and expected.denominator > 1 else f"{number:,.0f}"


def about(found: SectorMap) -> str:
    """Return how large the archive is."""
    takes = f"{units.say_size(found.stream_size)} of files in {units.say_size(found.size)}"
    secret = ", encrypted" if found.encrypted else ""
    kept = " A copy of its headers is kept elsewhere." if found.kept_elsewhere else ""
    sectors = f"{found.sectors:,} sector{'' if found.sectors == 1 else 's'} of {found.sector_size:,} bytes"
    return f"{count_files(found.members)}, {takes}{secret}: {sectors}.{kept}"


def average(found: SectorMap) -> str:
    """Return what one bad sector costs, wherever it lies."""
    stops, best = say_expected(found)
    free = sum(one.sectors.most for one in found.classes if one.high == 0)
    spared = f"{free:,} sector{'' if free == 1 else 's'} cost{'s' if free == 1 else ''} nothing at best."
    return (
        f"One bad sector somewhere in it costs, on average, {stops} of {count_files(found.members)} with a program "
        f"that stops at its first error, and at best, where reading goes on behind it, {best}. "
        f"{spared if free else ''}".rstrip()
    )


def _classes(found: SectorMap) -> Section:
    sure = found.lost.least == found.lost.most
    rows = []
    for one in found.classes:
        number = one.sectors
        if not (number.stops or number.least or number.most):
            continue
        files = f"{one.low:,}" if one.low == one.high else f"{one.low:,} to {one.high:,}"
        files = "all" if one.low == found.members and found.members > 1 else files if one.low else "none"
        cells = [number.stops, number.most] if sure else [number.stops, number.most, number.least]
        rows.append([files, *(f"{cell:,}" for cell in cells)])
    heads = ["At best"] if sure else ["At best: plan for", "No fewer than"]
    body = Table(["Files lost", "Stops", *heads], rows, right=range(1, 2 + len(heads)))
    said = [STOPS, ROUND] if sure else [STOPS, ROUND, PLAN]
    return Section("How many sectors cost how many files", (body, Paragraph(" ".join(said))))


def _worst(found: SectorMap) -> Section:
    if not found.worst:
        return NOTHING
    rows = [_place(one, found) for one in found.worst]
    body = Table(["From byte", "To", "Sectors", "Lost", "What lies there", "Which files"], rows, right=(0, 1, 2, 3))
    more = f"{found.left_out:,} more places cost as much or less (--json has every sector's cost)."
    left = (Paragraph(more),) if found.left_out else ()
    return Section("The worst places, and what any one sector of them costs at best", (body, *left))


def _place(one: Place, found: SectorMap) -> list[str]:
    which = one.first if one.members == 1 else f"{one.members:,} files in a row, from {one.first} on"
    if one.members == found.members and one.members > 1:
        which = "all"
    if one.alike:
        which += f"; and {one.alike:,} more place{'s' if one.alike > 1 else ''} like it"
    return [f"{one.start:,}", f"{one.end:,}", f"{one.sectors:,}", _lost(one.lost), one.what, which]


def _lost(lost: Lost) -> str:
    return f"{lost.most:,}" if lost.least == lost.most else f"{lost.least:,} to {lost.most:,}"


def _headers(found: SectorMap) -> Section:
    if not found.headers:
        return NOTHING
    heads = ["Headers", "Pieces", "Bytes", "Sectors", "Stops", "At best"]
    rows = [_header(one) for one in found.headers]
    said = "Stops, at best: files lost with the costliest of these pieces alone, and nothing else of its sector."
    return Section("Headers", (Table(heads, rows, right=(1, 2, 3, 4, 5)), Paragraph(said)))


def _header(one: Headers) -> list[str]:
    return [one.what, f"{one.pieces:,}", f"{one.size:,}", f"{one.sectors:,}", f"{one.lost.stops:,}", _lost(one.lost)]
