"""The first studio file and its lists, as bytes to write; and what a second look adds to them.

Flows in: a proposal, the copies it is about. Flows out: changes to files. Writes nothing itself. Must not know: copies'
contents, terminals. What people wrote stays byte for byte: additions are appended.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from drill import naming
from drill.intake.dates import UNKNOWN
from drill.manifests import format_list, suffix
from drill.model import Copy, Digest, Medium
from drill.proposal import Proposal, ShootNote
from drill.tables import quoted
from drill.units import say_size

STUDIO_FILE = "studio.toml"
MANIFESTS = "manifests"
NO_DATE = "1970-01-01"
_MOST_SAID = 3
_EDITED = ("**/edit*/**", "**/retouch*/**")
_WRAP = 96


@dataclass(frozen=True, slots=True)
class Change:
    """One file to write: what it is to hold, the lines that are new in it, and whether the file itself is new."""

    path: Path
    content: bytes
    added: tuple[str, ...]
    is_new: bool


def copy_list(id_: str, kind: str) -> str:
    """Return the path of a copy's own list, relative to the studio file."""
    return f"{MANIFESTS}/on-{id_}{suffix(kind)}"


def list_kinds(proposal: Proposal) -> list[str]:
    """Return the kinds of copies' lists: the chosen one, and what only lists that were there know promised files by.

    Without these, a copy that was seen to hold other bytes would be matched by name.
    """
    digests = [line.digests for shoot in proposal.shoots for line in shoot.lines]
    others = {d.kind for some in digests if all(d.kind != proposal.digest for d in some) for d in some}
    return [proposal.digest, *sorted(others)]


def copy_key(id_: str, kinds: Sequence[str]) -> str:
    """Return the `manifest` that names all of a copy's own lists."""
    return copy_list(id_, kinds[0]) if len(kinds) == 1 else f"{MANIFESTS}/on-{id_}.*"


def first_files(
    folder: Path, proposal: Proposal, *, name: str, media: Mapping[str, Medium], copies: Sequence[Copy]
) -> list[Change]:
    """Return the lists and the studio file of a first look, the studio file last."""
    changes: list[Change] = []
    for shoot in proposal.shoots:
        changes.extend(_new(folder / path, lines) for path, lines in shoot_lists(shoot).items())
    for id_, listed in proposal.lists.items():
        for kind in list_kinds(proposal):
            lines = [(d, item.path) for item in listed for d in item.digests if d.kind == kind]
            changes.append(_new(folder / copy_list(id_, kind), lines))
    text = _head(name, proposal) + _tables(proposal, media, copies, frozenset(proposal.lists))
    changes.append(Change(folder / STUDIO_FILE, text.encode(), tuple(text.splitlines()), is_new=True))
    return changes


def _new(path: Path, lines: Iterable[tuple[Digest, str]]) -> Change:
    content = format_list(lines)
    return Change(path, content, tuple(content.decode("utf-8", "surrogateescape").splitlines()), is_new=True)


def shoot_lists(shoot: ShootNote) -> dict[str, list[tuple[Digest, str]]]:
    """Return a shoot's promise as lists, one for each digest kind, by their path beside the studio file."""
    kinds = sorted({digest.kind for line in shoot.lines for digest in line.digests})
    return {
        f"{MANIFESTS}/{shoot.id}{suffix(kind)}": [
            (digest, line.path) for line in shoot.lines for digest in line.digests if digest.kind == kind
        ]
        for kind in kinds
    }


def promise_key(shoot: ShootNote) -> str:
    """Return the `manifest` that names all of a shoot's lists."""
    paths = list(shoot_lists(shoot))
    return paths[0] if len(paths) == 1 else f"{MANIFESTS}/{shoot.id}.*"


def _head(name: str, proposal: Proposal) -> str:
    originals = sorted(naming.RAW_ENDINGS) + sorted(naming.PICTURE_ENDINGS | naming.VIDEO_ENDINGS)
    deliver = ["deliver*", "export*", "final*", "web", "print*"]
    deliver += sorted({_glob(folder) for folder in proposal.deliveries if not naming_covers(folder, deliver)})
    return f"""\
# A first studio file, made from what was found on your media. Read it once, mend what is wrong, then drill.
# Every key is explained in the README under "The studio file". Lines that begin with # are only for you.

[studio]
name = {quoted(name)}
# scratch = "/path/to/a/disk/with/room"   # where restores are rehearsed; default: the system's temporary folder

# What you want to hold. Take the # away from what you mean.
[targets]
# restore_within = "48 h"                 # everything back in your hands
# lose_at_most = "31 days"                # how far back lost work may reach
# further_failures = 1                    # one more thing may break afterwards
# verified_within = "100 days"            # how old the last proof may be

# Which file is what, by name; the first match wins.
[classes]
deliverables = {_array(f"**/{folder}/**" for folder in deliver)}
edits = {_array([*_EDITED, *(f"*.{end}" for end in sorted(naming.SIDECAR_ENDINGS | naming.LAYERED_ENDINGS))])}
originals = {_array(f"*.{end}" for end in originals)}
"""


def _glob(name: str) -> str:
    """Return a glob that matches a name; any letter where it is no valid text, which TOML cannot hold."""
    return "".join("?" if "\ud800" <= c <= "\udfff" else f"[{c}]" if c in "*?[" else c for c in name)


def naming_covers(folder: str, patterns: Iterable[str]) -> bool:
    """Say whether a folder's name is one of the patterns, or begins like one that ends in a star."""
    low = folder.lower()
    return any(low == p or (p.endswith("*") and low.startswith(p[:-1])) for p in patterns)


def _array(items: Iterable[str]) -> str:
    lines, line = [], "   "
    for item in items:
        word = f" {quoted(item)},"
        if len(line) + len(word) > _WRAP:
            lines.append(line)
            line = "   "
        line += word
    return "[\n" + "\n".join([*lines, line]) + "\n]"


def _tables(proposal: Proposal, media: Mapping[str, Medium], copies: Sequence[Copy], listed: frozenset[str]) -> str:
    parts = [_places(media.values())]
    assumed = {note.id for note in proposal.media if note.assumed}
    parts.extend(medium_table(medium, assumed=medium.id in assumed) for medium in media.values())
    parts.extend(shoot_table(shoot) for shoot in proposal.shoots)
    parts.extend(copy_table(copy, kinds=list_kinds(proposal) if copy.id in listed else ()) for copy in copies)
    return "".join(parts)


def _places(media: Iterable[Medium]) -> str:
    carried = {medium.place for medium in media if medium.carried}
    return "".join(f"\n[[places]]\nid = {quoted(place)}\ncarried = true   # goes where you go\n" for place in carried)


def medium_table(medium: Medium, *, assumed: bool) -> str:
    """Return a medium as TOML."""
    note = (
        "   # ASSUMED. One fire or theft takes a whole place: give one name to all that is together" if assumed else ""
    )
    lines = ["", "[[media]]", f"id = {quoted(medium.id)}", f"kind = {quoted(medium.kind)}"]
    lines.append(f"place = {quoted(medium.place)}{note}")
    if medium.account is not None:
        lines.append(f"account = {quoted(medium.account)}   # whose lock-out takes it")
        lines.append('# needs = ["…"]          # the medium on which its login is confirmed')
    if medium.kind in ("hard-disk", "ssd", "card"):
        lines.append('# recognised_by = "…"    # a file at its top that only this drive has')
    if medium.kind in ("computer", "network-storage", "hard-disk", "cloud"):
        lines.append('# mirrors = "…"          # the medium it is kept in step with: then it is no second copy')
    return "\n".join(lines) + "\n"


def shoot_table(shoot: ShootNote) -> str:
    """Return a shoot as TOML, with what was found out about it."""
    lines = ["", "[[shoots]]"]
    lines.append(f"# {len(shoot.lines)} files, {say_size(shoot.bytes)}; {_plain(shoot.why)}")
    held = ", ".join(f"{copy} {count}" for copy, count in shoot.copies.items())
    lines.append(f"# held, byte for byte, by: {held or 'no copy'}")
    for one in shoot.disagreements[:_MOST_SAID]:
        lines.append(f"# {'JUDGED' if one.judged else 'differs'}: {_plain(one.path)}: {_plain(one.why)}")
    if len(shoot.disagreements) > _MOST_SAID:
        lines.append(f"# … and {len(shoot.disagreements) - _MOST_SAID} more files of which copies hold different bytes")
    lines.append(f"id = {quoted(shoot.id)}")
    day = shoot.date.isoformat() if shoot.date is not None else NO_DATE
    unknown = "NOT KNOWN: write the day of the shoot" if shoot.date_from == UNKNOWN else f"by {shoot.date_from}"
    lines.append(f"date = {day}   # {unknown}")
    lines.append('# client = "…"')
    lines.append(f"manifest = {quoted(promise_key(shoot))}")
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    """Return a text that cannot end a comment's line."""
    return text if text.isprintable() else json.dumps(text, ensure_ascii=True)[1:-1]


def copy_table(copy: Copy, *, kinds: Sequence[str]) -> str:
    """Return a copy as TOML."""
    lines = ["", "[[copies]]", f"id = {quoted(copy.id)}", f"on = {quoted(copy.on)}"]
    if copy.url is not None or copy.at is not None:
        lines.append(f"at = {quoted(copy.url or str(copy.at))}")
    else:
        lines.append('# at = "…"             # not given: it cannot be read from here, and so proves nothing')
    if kinds:
        lines.append(f"manifest = {quoted(copy_key(copy.id, kinds))}   # what it was seen to hold")
    elif copy.at is None and copy.url is None:
        lines.append(
            '# manifest = "manifests/….xxh128"   # if you know that it holds a shoot: a copy of that shoot\'s list'
        )
    if copy.archive is not None and not kinds:
        lines.append('# password_env = "ARCHIVE_PASSWORD"   # if encrypted: the variable with its password')
    return "\n".join(lines) + "\n"
