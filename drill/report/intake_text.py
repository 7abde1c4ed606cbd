"""What `drill new` says: the media, the shoots and why each is promised as it is, what was left out, what comes next.

Flows in: a proposal, the files written or proposed. Flows out: text. Must not know: copies.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path

from drill.proposal import CopyNote, Disagreement, Proposal, ShootNote
from drill.report.words import MAKE_ANEW, paragraph, safe, table
from drill.units import say_size, say_span

_MOST_LINES = 5
_MOST_DIFFERING = 8


def proposal_text(proposal: Proposal, *, width: int) -> str:
    """Return what was found, as tables and sentences."""
    parts = [_media(proposal, width), _shoots(proposal, width), _differing(proposal.shoots, width)]
    parts.append(
        _said("Could not be read, so perhaps damaged (the rest of that copy was read):", _unread(proposal), width)
    )
    parts.append(_said("Left out of the promises:", proposal.left_out, width))
    parts.append(_said("What could not be found out, and what was assumed:", _unknown(proposal), width))
    return "\n".join(part for part in parts if part)


def _media(proposal: Proposal, width: int) -> str:
    place = {note.id: f"{note.place}{' ?' if note.assumed else ''}" for note in proposal.media}
    kind = {note.id: note.kind for note in proposal.media}
    rows = [
        [
            c.id,
            kind[c.on],
            place[c.on],
            f"{c.files:,}",
            say_size(c.bytes),
            (c.at if c.is_damaged else c.reason or c.at) or "cannot be read from here",
        ]
        for c in proposal.copies
        if not _has_archives_alone(c, proposal)
    ]
    heads = ["copy", "kind of medium", "place", "files", "size", "where"]
    assumed = "\n?: where it is kept is only assumed." if any(note.assumed for note in proposal.media) else ""
    return "Copies found\n\n" + table(heads, rows, width, right=(3, 4), firm=(0,)) + assumed + "\n"


def _has_archives_alone(one: CopyNote, proposal: Proposal) -> bool:
    """Say whether a folder holds nothing but archives, which are copies of their own."""
    if one.files or one.form != "folder" or one.reason or one.id in proposal.unread:
        return False
    return any(other.on == one.on and other.form == "archive" for other in proposal.copies)


def _shoots(proposal: Proposal, width: int) -> str:
    if not proposal.shoots:
        return "No shoot that is not promised already.\n" if proposal.copies else ""
    rows = [
        [
            shoot.id + (" (more of it)" if shoot.known else ""),
            str(shoot.date or ("" if shoot.known else "NOT KNOWN")),
            f"{len(shoot.lines):,}",
            say_size(shoot.bytes),
            ", ".join(f"{copy} {count:,}" for copy, count in shoot.copies.items()) or "no copy",
            shoot.why,
        ]
        for shoot in proposal.shoots
    ]
    heads = ["shoot", "date", "files", "size", "right on", "promised from"]
    gap = f"Loose pictures are split where none was taken for {say_span(proposal.gap_s)} (--gap)."
    return "Shoots\n\n" + table(heads, rows, width, right=(2, 3), firm=(0,)) + "\n\n" + paragraph(gap, width) + "\n"


def _differing(shoots: Sequence[ShootNote], width: int) -> str:
    found = [(shoot.id, one) for shoot in shoots for one in shoot.disagreements]
    if not found:
        return ""
    lines = ["Files of which copies hold different bytes, or that no copy has:"]
    for id_, one in sorted(found, key=lambda pair: not pair[1].judged)[:_MOST_DIFFERING]:
        lines.append(paragraph(safe(f"{id_}: {one.path}: {_readings(one)}"), width, first="- ", rest="  "))
    if len(found) > _MOST_DIFFERING:
        lines.append(f"  … and {len(found) - _MOST_DIFFERING} more")
    if any(one.judged for _, one in found):
        judged = "“judged” is no proof: look at these yourself, and put the right file's digest in the list."
        lines.append(paragraph(judged, width, first="  ", rest="  "))
    return "\n".join(lines) + "\n"


def _readings(one: Disagreement) -> str:
    sides = " against ".join(" and ".join(copies) for copies in one.readings if copies)
    promised = f"promised as on {' and '.join(one.readings[0])}" if one.readings and one.readings[0] else "promised"
    marked = "judged" if one.judged else "settled"
    return f"{sides or 'on no copy'}; {promised}, {marked}: {one.why}"


def _unread(proposal: Proposal) -> Iterable[str]:
    """Say for each copy, by the reason, what could not be read on it."""
    where = {copy.id: copy.at for copy in proposal.copies}
    for id_, unread in proposal.unread.items():
        reasons: dict[str, list[str]] = {}
        for path, why in unread.items():
            reasons.setdefault(why, []).append(path)
        at = f" ({where[id_]})" if where.get(id_) else ""
        for why, paths in reasons.items():
            more = f" and {len(paths) - _MOST_LINES} more" if len(paths) > _MOST_LINES else ""
            number = "1 file" if len(paths) == 1 else f"{len(paths)} files"
            yield f"{id_}{at}: {number}: {', '.join(paths[:_MOST_LINES])}{more}: {why}"


def _unknown(proposal: Proposal) -> Iterable[str]:
    assumed = [f"{note.id}: {note.place}" for note in proposal.media if note.assumed]
    if assumed:
        yield f"where media are kept is assumed by their kind ({', '.join(assumed)}): correct it in the studio file"
    for copy in proposal.copies:
        if copy.is_damaged:
            yield f"{copy.id} is damaged, and what it lost is promised by no file here: {copy.reason}; {MAKE_ANEW}"
        elif copy.reason:
            yield f"{copy.id} gives nothing now: {copy.reason}"
        elif copy.at is None and copy.form is None:
            yield (
                f"{copy.id} cannot be read from here, so nothing is known of what it holds; if you know that it "
                "holds a shoot, give it a copy of that shoot's list as its manifest: it then counts, on paper"
            )
    undated = [shoot.id for shoot in proposal.shoots if shoot.date is None and not shoot.known]
    if undated:
        yield f"no picture and no name tells the date of {', '.join(undated)}: write it in the studio file"
    for shoot in proposal.shoots:
        if "but the folder" in shoot.date_from:
            yield f"{shoot.id}: its date is {shoot.date} by {shoot.date_from}: was the camera's clock set?"
        yield from (f"{shoot.id}: {note}" for note in shoot.notes)
    yield from proposal.notes
    if proposal.shoots:
        yield "edits that live only in an app's own catalogue are on no copy, and nothing here can promise them"


def _said(head: str, items: Iterable[str], width: int) -> str:
    lines = [paragraph(safe(item), width, first="- ", rest="  ") for item in items]
    return "\n".join([head, *lines]) + "\n" if lines else ""


def paragraphs(items: Iterable[str], *, width: int) -> str:
    """Return each text folded, on lines of its own."""
    return "".join(paragraph(safe(item), width) + "\n" for item in items)


def changes_text(changes: Iterable[tuple[Path, bool, Sequence[str]]]) -> str:
    """Return files (path, whether new, added lines) as a listing like a patch; long lists are cut and counted."""
    out = []
    for path, is_new, added in changes:
        out.append(f"+++ {safe(str(path))}{' (new)' if is_new else ''}")
        shown = added if path.suffix == ".toml" else added[:_MOST_LINES]
        out.extend(f"+{safe(line)}" for line in shown)
        if len(added) > len(shown):
            out.append(f"+… and {len(added) - len(shown)} more lines")
    return "\n".join(out) + "\n" if out else ""
