"""What a second look adds to a studio file and its lists: only appended, so that edits by hand stay as they are.

Flows in: a proposal, the studio file's own text. Flows out: changes to files. Writes nothing. Must not know: terminals.
A list that people keep elsewhere is never changed: what is new goes into a shoot of its own beside it.
"""

import tomllib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from drill.digests import KINDS
from drill.errors import Mistake, Mistakes
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
        own = shoot.known and _may_grow(keys[shoot.id], shoot, folder)
        new = shoot if own or not shoot.known else replace(shoot, id=_unused(f"{shoot.id}-more", keys), known=False)
        keys.setdefault(new.id, promise_key(new))
        places = _places(keys[new.id], new) if own else {path: path for path in shoot_lists(new)}
        changes.extend(_grown(folder / places[path], lines) for path, lines in shoot_lists(new).items())
        if not own:
            tables.append(shoot_table(new))
            if shoot.known:
                notes.append(f"{shoot.id}: its list is not ours to change, so what is new is promised as {new.id}")
    for copy in copies:
        listed = proposal.lists.get(copy.id)
        if copy.id not in known_copies:
            tables.append(copy_table(copy, kinds=[proposal.digest] if listed else ()))
            if listed:
                lines = [(d, item.path) for item in listed for d in item.digests if d.kind == proposal.digest]
                changes.append(_grown(folder / copy_list(copy.id, proposal.digest), lines))
        elif listed:
            changes.extend(_own_lists(folder, copy, proposal, written, anew=copy.id in relist))
            if copy.id not in relist:
                closed = proposal.closed.get(copy.id, ())
                hidden = {item.path for item in copy.listed or () if item.path.startswith(closed)}
                present = proposal.present.get(copy.id, frozenset()) | hidden
                ours = bool(_own_keys_of(copy, written))
                notes.extend(
                    changed_since(
                        copy,
                        listed,
                        present=present,
                        promised=promised,
                        others=proposal.lists,
                        unread=proposal.unread.get(copy.id, ()),
                        ours=ours,
                    )
                )
    if tables:
        before = studio_file.read_bytes()
        text = "".join(tables)
        end = b"" if before.endswith(b"\n") else b"\n"
        grown = before + end + text.encode()
        _check(studio_file, written, grown)
        changes.append(Change(studio_file, grown, tuple(text.splitlines()), is_new=False))
    return [change for change in changes if change.added], notes


def _check(studio_file: Path, written: Mapping[str, object], grown: bytes) -> None:
    """Read the grown studio file back: all that was there must still be. Errors: Mistakes, with what to add by hand."""
    try:
        now = tomllib.loads(grown.decode("utf-8-sig").replace("\r\n", "\n"))
        if all(
            now[key][: len(old)] == old if isinstance(old, list) else now[key] == old for key, old in written.items()
        ):
            return
    except (tomllib.TOMLDecodeError, KeyError):
        pass
    what = "has its media, shoots or copies written so that none can be added at its end"
    raise Mistakes([Mistake(str(studio_file), "", what, "write them as [[media]], [[shoots]] and [[copies]] tables")])


def _begins(now: object, old: object) -> bool:
    return now[: len(old)] == old if isinstance(now, list) and isinstance(old, list) else now == old


def _may_grow(key: str, shoot: ShootNote, folder: Path) -> bool:
    """Say whether a shoot's list may be added to: a plain list in our folder for lists, of the one kind that
    the new lines have; or the lists that `drill new` writes. No bag, no list elsewhere."""
    kinds = {digest.kind for line in shoot.lines for digest in line.digests}
    if key == f"{MANIFESTS}/{shoot.id}.*":
        return True
    path = folder / key
    inside = path.is_file() and path.resolve().is_relative_to((folder / MANIFESTS).resolve())
    return inside and {kind_named(key.rpartition(".")[2])} == kinds


def _places(key: str, shoot: ShootNote) -> dict[str, str]:
    """Return where the lines of each of a known shoot's lists go: the one list it has, whatever its name."""
    paths = list(shoot_lists(shoot))
    return {paths[0]: key} if len(paths) == 1 and not key.endswith(".*") else {path: path for path in paths}


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


def _own_keys_of(copy: Copy, written: Mapping[str, object]) -> dict[str, str]:
    """Return a copy's own lists that `drill new` may change, by digest kind; none where people keep its list."""
    tables = written.get("copies")
    keys = {str(t.get("manifest")) for t in tables if isinstance(t, dict)} if isinstance(tables, list) else set()
    every = f"{MANIFESTS}/on-{copy.id}.*" in keys
    return {kind: copy_list(copy.id, kind) for kind in KINDS if every or copy_list(copy.id, kind) in keys}


def _own_lists(
    folder: Path, copy: Copy, proposal: Proposal, written: Mapping[str, object], *, anew: bool
) -> Iterator[Change]:
    """Give a known copy's own lists with the files that are new on it, or made anew; none that are not ours."""
    for kind, key in _own_keys_of(copy, written).items():
        path = folder / key
        if not path.is_file():
            continue
        reading = read_manifest(key, base=folder, where=str(path), key="", role="copy")
        lines = [(d, item.path) for item in proposal.lists[copy.id] for d in item.digests if d.kind == kind]
        known = {(digest, item.path) for item in reading.listed for digest in item.digests}
        paths = {item.path for item in reading.listed}
        if anew:
            # What is there and could not be read, or is left out of lists, is not struck from one.
            seen = {name for _, name in lines}
            unread = proposal.present.get(copy.id, frozenset()) - seen
            closed = proposal.closed.get(copy.id, ())
            kept = (line for line in known if line[1] in unread or line[1].startswith(closed))
            lines += sorted(line for line in kept if line[0].kind == kind)
            fresh = format_list(line for line in lines if line not in known)
            gone = len(known) - len(known & set(lines))
            said = [f"({gone} line{'s go' if gone > 1 else ' goes'})"] if gone else []
            added = fresh.decode("utf-8", "surrogateescape").splitlines()
            yield Change(path, format_list(lines), (*said, *added), is_new=False)
        elif new := [(digest, name) for digest, name in lines if name not in paths]:
            yield _grown(path, new)
