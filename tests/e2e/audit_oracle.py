"""The independent judge of audits: what each file of each copy must come out as, by comparing raw bytes.

Flows in: a described studio, and what is really on its copies. Flows out: outcomes by path, for each copy.
It must not import anything of the program that it judges. What the contract leaves open it does not decide: then a
path has more than one outcome that is right. Facts: the contract, "The result of `drill audit` as JSON".
"""

import unicodedata
from collections import Counter
from collections.abc import Mapping
from typing import Any

from described import Copy, Studio
from struck import last_part

OUTCOMES = ("verified", "altered", "unreadable", "missing", "extra", "opens", "cannot_check", "not_read")
Expected = dict[str, frozenset[str]]  # path → the outcomes that are right


def _folded(path: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def _folder(path: str) -> str:
    return _folded(path).rpartition("/")[0].rpartition("/")[2]


def stored(studio: Studio, copy: Copy) -> dict[str, bytes]:
    """Return what lies on a copy, with the file that `studios` puts beside it."""
    files = {held.path: held.data for held in copy.holds}
    mark = studio.medium(copy.on).recognised_by
    if not copy.is_archive and not copy.form.startswith("link"):
        if mark is not None:
            files[mark] = b"this is the drive\n"
        elif not files:
            files["about this drive.txt"] = f"drive of {copy.id}\n".encode()
    return files


def expect_copy(studio: Studio, copy: Copy) -> Expected:
    """Return what every file of a copy must come out as."""
    if copy.says is not None:
        return _by_list(copy, copy.says, stored(studio, copy))
    return {} if copy.out_of_reach else _by_promise(studio, copy, stored(studio, copy))


def _by_list(copy: Copy, says: tuple[tuple[str, bytes], ...], files: Mapping[str, bytes]) -> Expected:
    if copy.out_of_reach:
        return {name: frozenset({"not_read"}) for name, _ in says}
    expected: Expected = {}
    here = {_folded(path): path for path in files}
    for name, data in says:
        path = name if name in files else here.get(_folded(name))
        if path is None:
            expected[name] = frozenset({"missing"})
        else:
            expected[path] = frozenset({"verified" if files[path] == data else "altered"})
    if not copy.form.startswith("link") or copy.is_archive:  # what is behind a base and not listed, nobody sees
        expected |= {path: frozenset({"extra"}) for path in files if path not in expected}
    return expected


def _by_promise(studio: Studio, copy: Copy, files: Mapping[str, bytes]) -> Expected:
    promised = [(shoot.id, path, data) for shoot in studio.shoots for path, data in shoot.promise]
    contents, here = {data for _, _, data in promised}, set(files.values())
    expected: Expected = {}
    for path, data in files.items():
        if data in contents:
            expected[path] = frozenset({"verified"})
            continue
        lacking = [
            (shoot, name, right)
            for shoot, name, right in promised
            if last_part(name) == last_part(path) and right not in here
        ]
        if any(_folder(name) == _folder(path) for _, name, _ in lacking):
            expected[path] = frozenset({"altered"})
        elif any(len(right) == len(data) for _, _, right in lacking):
            # A promise gives no size: it is known where some copy's read verified those bytes.
            expected[path] = frozenset({"altered", "extra"})
        elif any(not _folder(name) or not _folder(path) for _, name, _ in lacking):
            expected[path] = frozenset({"altered", "extra"})  # what the folder's name is at the top is not said
        else:
            expected[path] = frozenset({"extra"})
    return expected


def audit_disagreements(studio: Studio, record: Mapping[str, Any], code: int) -> list[str]:
    """Hold a record of all copies against what it must be; return every difference in words."""
    found: list[str] = []
    damaged = False
    if [row["copy"] for row in record["copies"]] != [copy.id for copy in studio.copies]:
        return [f"copies: {[row['copy'] for row in record['copies']]}"]
    for copy, row in zip(studio.copies, record["copies"], strict=True):
        expected = expect_copy(studio, copy)
        told = {file["path"]: file["outcome"] for file in row["files"]}
        if len(told) != len(row["files"]) or row["reached"] != (copy.out_of_reach is None):
            found.append(f"{copy.id}: a path twice, or reached is wrong: {row}")
        for path, right in expected.items():
            if told.get(path, "verified") not in right:
                found.append(f"{copy.id}: {path} is {told.get(path, 'verified')}, not {sorted(right)}")
        found += [f"{copy.id}: {path} is nobody's" for path in told.keys() - expected.keys()]
        counts = Counter(told.values())
        counts["verified"] = sum(path not in told for path in expected)
        if row["counts"] != {outcome: counts[outcome] for outcome in OUTCOMES}:
            found.append(f"{copy.id}: counts are {row['counts']}, the files say {dict(counts)}")
        damaged |= any(outcome in ("altered", "unreadable", "missing") for outcome in told.values())
    if code != int(damaged) or record["complete"] is not True:
        found.append(f"exit code {code}, complete {record['complete']}, damaged {damaged}")
    return found
