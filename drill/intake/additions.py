"""What a second look adds to a studio file and its lists: only appended, so that edits by hand stay as they are.

Flows in: a proposal, the studio file's own text. Flows out: changes to files. Writes nothing. Must not know: terminals.
A list that people keep elsewhere is never changed: what is new goes into a shoot of its own beside it.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from drill.intake.draft import (
    MANIFESTS,
    Change,
    copy_list,
    copy_table,
    medium_table,
    promise_key,
    shoot_lists,
    shoot_table,
)
from drill.intake.since import changed_since
from drill.manifests import format_list, kind_named, read_manifest
from drill.model import Copy, Digest, Medium
from drill.proposal import Proposal, ShootNote
from drill.tables import load_toml


def added_files(
    studio_file: Path,
    proposal: Proposal,
    *,
    media: Mapping[str, Medium],
    copies: Sequence[Copy],
    known_copies: frozenset[str],
    promised: Collection[Digest] = frozenset(),
    relist: Collection[str] = (),
) -> tuple[list[Change], list[str]]:
    """Return the changes that a second look proposes, the studio file last, and notes.

    `media` are the new ones only; `copies` all, `known_copies` those that the studio file has. The own lists of copies
    in `relist` are made anew.
    """
    folder = studio_file.parent
    written = load_toml(studio_file)
    changes: list[Change] = []
    notes: list[str] = []
    tables = [medium_table(m, assumed=any(n.id == m.id and n.assumed for n in proposal.media)) for m in media.values()]
    keys = {str(table.get("id")): str(table.get("manifest")) for table in written.get("shoots", [])}
    for shoot in proposal.shoots:
        own = shoot.known and keys[shoot.id] in _own_keys(shoot)
        new = shoot if own or not shoot.known else replace(shoot, id=_unused(f"{shoot.id}-more", keys), known=False)
        keys.setdefault(new.id, promise_key(new))
        changes.extend(_grown(folder / path, lines) for path, lines in shoot_lists(new).items())
        if not own:
            tables.append(shoot_table(new))
            if shoot.known:
                notes.append(f"{shoot.id}: its list is not ours to change, so what is new is promised as {new.id}")
    for copy in copies:
        listed = proposal.lists.get(copy.id)
        if copy.id not in known_copies:
            tables.append(copy_table(copy, list_kind=proposal.digest if listed else None))
            if listed:
                lines = [(d, item.path) for item in listed for d in item.digests if d.kind == proposal.digest]
                changes.append(_grown(folder / copy_list(copy.id, proposal.digest), lines))
        elif listed:
            change = _own_list(folder, copy, proposal, written, anew=copy.id in relist)
            changes.extend([change] if change is not None else [])
            if copy.id not in relist:
                notes.extend(changed_since(copy, listed, promised=promised, others=proposal.lists))
    if tables:
        before = studio_file.read_bytes()
        text = "".join(tables)
        end = b"" if before.endswith(b"\n") else b"\n"
        changes.append(Change(studio_file, before + end + text.encode(), tuple(text.splitlines()), is_new=False))
    return [change for change in changes if change.added], notes


def _own_keys(shoot: ShootNote) -> set[str]:
    """Return the `manifest` values under which a shoot's list may be added to: the ones that `drill new` writes.

    A single list can take no lines of another kind.
    """
    paths = list(shoot_lists(shoot))
    return {f"{MANIFESTS}/{shoot.id}.*", *(paths if len(paths) == 1 else ())}


def _unused(id_: str, keys: Mapping[str, str]) -> str:
    number, found = 1, id_
    while found in keys:
        number += 1
        found = f"{id_}-{number}"
    return found


def _grown(path: Path, lines: Sequence[tuple[Digest, str]]) -> Change:
    before = path.read_bytes() if path.exists() else b""
    added = format_list(lines)
    text = tuple(added.decode("utf-8", "surrogateescape").splitlines())
    end = b"" if before.endswith(b"\n") or not before else b"\n"
    return Change(path, before + end + added, text, is_new=not before)


def _own_list(
    folder: Path, copy: Copy, proposal: Proposal, written: Mapping[str, object], *, anew: bool
) -> Change | None:
    """Return a known copy's own list with the files that are new on it, or made anew; None where it is not ours."""
    tables = written.get("copies")
    keys = [str(t.get("manifest")) for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
    for key in keys:
        kind = kind_named(key.rpartition(".")[2])
        if kind is None or key != copy_list(copy.id, kind):
            continue
        path = folder / key
        reading = read_manifest(key, base=folder, where=str(path), key="", role="copy")
        lines = [(d, item.path) for item in proposal.lists[copy.id] for d in item.digests if d.kind == kind]
        known = {(digest, item.path) for item in reading.listed for digest in item.digests}
        paths = {item.path for item in reading.listed}
        if anew:
            fresh = format_list(line for line in lines if line not in known)
            gone = len(known) - len(known & set(lines))
            text = (*([f"({gone} lines go)"] if gone else []), *fresh.decode("utf-8", "surrogateescape").splitlines())
            return Change(path, format_list(lines), text, is_new=False)
        new = [(digest, name) for digest, name in lines if name not in paths]
        return _grown(path, new) if new else None
    return None
