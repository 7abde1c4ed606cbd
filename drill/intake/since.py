"""What happened on a copy since its list was made: damaged, repaired, changed, moved, gone.

Flows in: the copy's list, what was seen now, all that is promised. Flows out: words. Must not know: files. The list is
left as it is, for it says what was held; what people did on purpose they confirm with --relist.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence

from drill.model import Copy, Digest
from drill.proposal import ListLine

_MOST_NAMED = 3


def changed_since(
    copy: Copy,
    found: Sequence[ListLine],
    *,
    present: Collection[str],
    promised: Collection[Digest],
    others: Mapping[str, Sequence[ListLine]],
    unread: Collection[str] = (),
    ours: bool,
) -> list[str]:
    """Return what to say of each kind of change. `present` are all paths that are there, read or not; `others` what
    every copy was seen to hold, by id; `unread` the paths that could not be read; `ours` whether its list is one that
    `drill new` may make anew."""
    now = {item.path: item.digests for item in found}
    listed = copy.listed or ()
    if not any(item.path in now for item in listed):
        return []  # names of another form, such as absolute ones
    held = {digest for item in found for digest in item.digests}
    kinds: dict[str, list[str]] = defaultdict(list)
    right: dict[str, set[str]] = defaultdict(set)
    for item in listed:
        kind = ""
        if item.path not in now:
            if item.path in unread:
                kind = "unread"
            elif item.path not in present:
                kind = "moved" if held & set(item.digests) else "gone"
        elif _differ(item.digests, now[item.path]):
            was, is_now = promised_in(item.digests, promised), promised_in(now[item.path], promised)
            kind = "damaged" if was else "repaired" if is_now else "changed"
        if kind:
            kinds[kind].append(item.path)
        if kind in ("damaged", "unread"):
            right[kind] |= {
                id_ for id_, lines in others.items() if any(_same(item.digests, ln.digests) for ln in lines)
            }
    said = []
    for kind, paths in kinds.items():
        said.append(
            f"{copy.id}: {_count(paths)} {_words(kind, right[kind], copy.id if ours else None)}: {_some(paths)}"
        )
    return said


def promised_in(digests: Iterable[Digest], promised: Collection[Digest]) -> bool:
    """Say whether one of the digests is promised."""
    return any(digest in promised for digest in digests)


def _words(kind: str, right: Collection[str], id_: str | None) -> str:
    again = "if that is as it should be, " + (f"--relist {id_} makes its list anew" if id_ else "make its list anew")
    where = f"right on {', '.join(sorted(right))}" if right else "right on no copy that was looked at"
    return {
        "damaged": f"no longer what was promised (damaged, edited, or another picture of that name): {where}; look "
        f"before anything is copied over them, or {again}",
        "unread": f"in its list and could not be read (damaged, or the drive fails): {where}; drill audit tells more",
        "repaired": f"now what was promised, and its list does not say so yet; {again}",
        "changed": f"other than its list says; {again}",
        "moved": f"moved or renamed since its list was made; {again}",
        "gone": f"in its list and no longer there; {again}",
    }[kind]


def _differ(one: Iterable[Digest], other: Iterable[Digest]) -> bool:
    mine, yours = dict(one), dict(other)
    return any(mine[kind] != yours[kind] for kind in mine.keys() & yours.keys())


def _same(one: Iterable[Digest], other: Iterable[Digest]) -> bool:
    return bool(set(one) & set(other))


def _count(paths: Sequence[str]) -> str:
    return "1 file is" if len(paths) == 1 else f"{len(paths)} files are"


def _some(paths: Sequence[str]) -> str:
    more = f" and {len(paths) - _MOST_NAMED} more" if len(paths) > _MOST_NAMED else ""
    return ", ".join(paths[:_MOST_NAMED]) + more
