"""Notices: what is worth saying about promises, rates and lists, beside what is where.

Flows in: promises, media, paths of lists. Flows out: values of the record. Must not know: what is on the copies.
Facts: RAW+JPEG and sidecars share the stem of their names (what cameras and editors do); names that differ only in
Unicode form or case are one name where a file system ignores these (exFAT specification, section 7.2).
"""

import os
from collections import defaultdict
from collections.abc import Collection, Sequence
from pathlib import Path

from drill.columns import classes_of, columns_of, paths_of
from drill.globs import fold
from drill.inventory import ListBeside, Mirror, OddRate, Unpaired
from drill.lookup import path_index
from drill.model import Copy, Promised, Studio
from drill.naming import PICTURE_ENDINGS, RAW_ENDINGS, pair_key
from drill.timing import ceiling

Home = tuple[str, str]  # folder and stem, folded
JPEG_ENDINGS = frozenset({"jpg", "jpeg", "jpe", "heic", "heif", "hif"})
USUAL_EDITS = ("edits", "deliverables")  # classes whose absence is worth a word, where the studio has them


def unpaired(promise: Sequence[Promised]) -> list[Unpaired]:
    """Return the originals that lack what more than half of the shoot's have: a sidecar, the JPEG or raw beside them.

    A JPEG lies in the raw's folder (what is delivered is no pair); a sidecar there, or anywhere if its name is unique.
    """
    tails = {path[path.rfind(".") + 1 :].lower() for path in paths_of(promise)}
    if "xmp" not in tails and (tails.isdisjoint(RAW_ENDINGS) or tails.isdisjoint(JPEG_ENDINGS)):
        return []
    by_tail: dict[str, list[str]] = defaultdict(list)
    originals: dict[str, list[str]] = defaultdict(list)
    for path, kind in zip(paths_of(promise), classes_of(promise), strict=True):
        tail = path[path.rfind(".") + 1 :].lower()
        by_tail[tail].append(path)
        if kind == "originals":
            originals[tail].append(path)
    raws, jpegs, sidecars = (
        [path for tail in by_tail.keys() & some for path in by_tail[tail]]
        for some in (RAW_ENDINGS, JPEG_ENDINGS, {"xmp"})
    )
    found: list[Unpaired] = []
    if sidecars:
        named = [path for tail in (RAW_ENDINGS | PICTURE_ENDINGS) & by_tail.keys() for path in originals[tail]]
        found += _without_sidecar(named or raws, sidecars)
    if raws and jpegs:
        folders = {fold(folder) for folder in {path.rpartition("/")[0] for path in raws}}
        beside = [path for path in jpegs if fold(path.rpartition("/")[0]) in folders]
        found += _lacking(raws, _alone(raws, beside), "jpeg") + _lacking(beside, _alone(beside, raws), "raw")
    return sorted(found, key=lambda item: (item.path, item.lacks))


def _without_sidecar(originals: Sequence[str], sidecars: Sequence[str]) -> list[Unpaired]:
    alone = _alone(originals, sidecars)
    if alone:
        stems = set(map(pair_key, sidecars))
        folders = defaultdict(set)  # where each name is used: RAW+JPEG are one use
        for folder, stem in map(_home, originals):
            folders[stem].add(folder)
        alone = [path for path in alone if (stem := pair_key(path)) not in stems or len(folders[stem]) > 1]
    return _lacking(originals, alone, "sidecar")


def _alone(ours: Sequence[str], theirs: Sequence[str]) -> list[str]:
    """Return those of ours that none of theirs shares folder and stem with; most are found as they are written."""
    plain = {path[: path.rfind(".")] for path in theirs}
    alone = [path for path in ours if path[: path.rfind(".")] not in plain and path not in plain]
    homes = set(map(_home, theirs)) if alone else set()
    return [path for path in alone if _home(path) not in homes]


def _home(path: str) -> Home:
    return fold(path.rpartition("/")[0]), pair_key(path)


def _lacking(originals: Sequence[str], alone: Sequence[str], lacks: str) -> list[Unpaired]:
    return [Unpaired(path, lacks) for path in alone] if len(alone) * 2 < len(originals) else []


def colliding(promise: Sequence[Promised]) -> list[tuple[str, ...]]:
    """Return the promised names that are one name on a disk that ignores case and Unicode form."""
    path_at = columns_of(promise).path
    found: list[tuple[int, tuple[str, ...]]] = []
    for numbers in path_index(promise, fold).shared():
        groups: dict[str, list[int]] = defaultdict(list)
        for number in numbers:
            groups[fold(path_at(number))].append(number)
        found += [(some[0], tuple(path_at(n) for n in some)) for some in groups.values() if len(some) > 1]
    return [paths for _, paths in sorted(found)]


def lacks_classes(present: Collection[str], known: Collection[str]) -> list[str]:
    """Return the classes of work done after the shooting that a shoot with originals promises nothing of."""
    return [name for name in USUAL_EDITS if "originals" in present and name in known and name not in present]


def mirrors(studio: Studio) -> list[Mirror]:
    """Return the media with copies that only mirror another and keep no versions."""
    used = {copy.on for copy in studio.copies}
    return [
        Mirror(medium.id, medium.mirrors)
        for medium in studio.media.values()
        if medium.id in used and medium.mirrors is not None and medium.keeps_versions_s is None
    ]


def odd_rates(studio: Studio) -> list[OddRate]:
    """Return the rates that are above a published ceiling or above what the medium's bus carries."""
    return [
        OddRate(medium.id, medium.reads_at_bps, limit, of, source)
        for medium in studio.media.values()
        if medium.reads_at_bps is not None
        for limit, of, source in ceiling(medium, studio.buses)
    ]


def lists_beside(studio: Studio) -> list[ListBeside]:
    """Return the lists of digests that lie in a copy's folder and, by name and size, nowhere else.

    ISO 16363:2012, 4.4.1.2: fixity information is stored or protected separately from what it is about; NDSA levels
    2.0, Integrity, level 2: a copy of it is stored in a separate location.
    """
    homes = [(copy, root) for copy in studio.copies if (root := _root(copy)) is not None]
    beside: list[ListBeside] = []
    apart: set[tuple[str, int]] = set()
    keys: list[tuple[str, int]] = []
    for path in studio.manifest_files:
        real = Path(os.path.realpath(path))
        home = next((copy for copy, root in homes if real.is_relative_to(root)), None)
        key = (path.name, _size(real))
        if home is None:
            apart.add(key)
        else:
            beside.append(ListBeside(path.name, home.id, home.on))
            keys.append(key)
    return [item for item, key in zip(beside, keys, strict=True) if key not in apart]


def _root(copy: Copy) -> Path | None:
    if copy.at is None:
        return None
    return Path(os.path.realpath(copy.at if copy.form == "folder" else copy.at.parent))


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return -1
