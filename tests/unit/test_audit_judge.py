"""The judge of an audit and what it is asked: copies with and without lists, outcomes of every kind of read."""

import hashlib
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pytest

from drill.audit.judge import Judged, judge_listed, judge_problem, judge_refusing, judge_unlisted, sizes_of
from drill.audit.promises import Promises
from drill.audit.scope import Scope, listed_scope, unlisted_scope
from drill.model import (
    Copy,
    Digest,
    Entry,
    Listed,
    Medium,
    Problem,
    Promised,
    Seen,
    Shoot,
    Targets,
    Trouble,
)
from drill.shelf import OpenCopy, State

IO = Problem(Trouble.IO, "I/O error at byte 0")
Results = Mapping[tuple[str, int], Seen | Problem]


def sha(text: str) -> Digest:
    return Digest("sha256", hashlib.sha256(text.encode()).hexdigest())


def seen(text: str, *kinds: Digest) -> Seen:
    return Seen(len(text), kinds or (sha(text),))


def found(*paths: str, listed: tuple[Listed, ...] | None = None, **more: object) -> OpenCopy:
    copy = Copy("drive", "drive", Path("kiln"), None, "folder", None, listed)
    medium = Medium("drive", "ssd", "home", False, False, False)
    entries = tuple(Entry(path, 4) for path in paths)
    return OpenCopy(copy, medium, State.HERE, entries=entries, **more)  # type: ignore[arg-type]


def shoot(id_: str, **files: str) -> Shoot:
    """Promise files: name (with __ for a slash, _ for a dot) = content."""
    promise = [
        Promised(name.replace("__", "/").replace("_", "."), (sha(text),), None, "other") for name, text in files.items()
    ]
    return Shoot(id_, date(2026, 9, 12), None, tuple(promise), Targets())


def promises(*shoots: Shoot, asked: tuple[Shoot, ...] | None = None) -> Promises:
    return Promises(shoots, shoots if asked is None else asked)


def outcomes(judged: list[Judged]) -> dict[str, str]:
    return {one.path: one.outcome for one in judged}


def with_list(listed: tuple[Listed, ...], *paths: str) -> Scope:
    return listed_scope(found(*paths, listed=listed), listed, promises(), None)


def test_a_list_decides_name_by_name() -> None:
    listed = tuple(Listed(f"{name}.dng", (sha(name),)) for name in "abcd")
    scope = with_list(listed, "a.dng", "b.dng", "c.dng", "extra.dng")
    results: Results = {("a.dng", 0): seen("a"), ("b.dng", 0): seen("!"), ("c.dng", 0): IO}
    assert outcomes(judge_listed(scope, results, reached=True)) == {
        "a.dng": "verified",
        "b.dng": "altered",
        "c.dng": "unreadable",
        "d.dng": "missing",
        "extra.dng": "extra",
    }
    assert [entry.path for entry in scope.to_read] == ["a.dng", "b.dng", "c.dng"]


def test_what_was_not_read_is_never_verified() -> None:
    scope = with_list((Listed("a.dng", (sha("a"),)),), "a.dng")
    assert outcomes(judge_listed(scope, {}, reached=True)) == {"a.dng": "not_read"}
    assert outcomes(judge_listed(scope, {("a.dng", 0): seen("a")}, reached=False)) == {"a.dng": "not_read"}
    unshared = Seen(1, (Digest("md5", "00"),))
    assert outcomes(judge_listed(scope, {("a.dng", 0): unshared}, reached=True)) == {"a.dng": "altered"}


def test_of_two_lists_both_must_agree_and_so_must_a_listed_size() -> None:
    right, wrong = Digest("md5", hashlib.md5(b"a").hexdigest()), Digest("md5", "0" * 32)
    scope = with_list((Listed("a.dng", (sha("a"), wrong)), Listed("b.dng", (sha("b"),), 7)), "a.dng", "b.dng")
    results: Results = {("a.dng", 0): seen("a", sha("a"), right), ("b.dng", 0): seen("b")}
    assert outcomes(judge_listed(scope, results, reached=True)) == {"a.dng": "altered", "b.dng": "altered"}


def test_swapped_files_are_told_whose_bytes_they_are() -> None:
    scope = with_list((Listed("a.dng", (sha("a"),)), Listed("b.dng", (sha("b"),))), "a.dng", "b.dng")
    judged = judge_listed(scope, {("a.dng", 0): seen("b"), ("b.dng", 0): seen("b")}, reached=True)
    assert judged[0].detail.endswith("they are those of b.dng")


def test_a_name_that_moved_is_missing_and_a_hint_is_given() -> None:
    scope = with_list((Listed("heron/a.dng", (sha("a"),)), Listed("b.dng", (sha("b"),))), "2026/heron/a.dng", "b.dng")
    judged = judge_listed(scope, {("b.dng", 0): seen("b")}, reached=True)
    assert outcomes(judged) == {"heron/a.dng": "missing", "b.dng": "verified", "2026/heron/a.dng": "extra"}
    assert "a file of that name is at 2026/heron/a.dng" in judged[0].detail


def test_absolute_names_are_matched_by_their_endings() -> None:
    listed = tuple(Listed(f"/mnt/old/kiln/{n}.dng", (sha(n),)) for n in "ab")
    scope = with_list(listed, "a.dng", "b.dng")
    results: Results = {("a.dng", 0): seen("a"), ("b.dng", 0): seen("!")}
    assert outcomes(judge_listed(scope, results, reached=True)) == {"a.dng": "verified", "b.dng": "altered"}


def test_an_absolute_name_that_only_its_last_part_speaks_for_is_proven_or_missing() -> None:
    listed = (Listed("/mnt/x/a.dng", (sha("a"),)), Listed("/mnt/y/b.dng", (sha("b"),)))
    scope = with_list(listed, "elsewhere/a.dng", "other/b.dng")
    results: Results = {("elsewhere/a.dng", 0): seen("a"), ("other/b.dng", 0): seen("another picture")}
    judged = outcomes(judge_listed(scope, results, reached=True))
    assert judged == {"elsewhere/a.dng": "verified", "/mnt/y/b.dng": "missing"}


def test_what_lies_in_a_folder_that_cannot_be_listed_is_unreadable() -> None:
    listed = (Listed("raw/a.dng", (sha("a"),)),)
    scope = listed_scope(found(listed=listed, unlisted=("raw (Permission denied)",)), listed, promises(), None)
    judged = judge_listed(scope, {}, reached=True)
    assert outcomes(judged) == {"raw/a.dng": "unreadable"}
    assert "Permission denied" in judged[0].detail


@pytest.mark.parametrize(
    ("trouble", "archive", "url", "outcome"),
    [
        (Trouble.IO, None, None, "unreadable"),
        (Trouble.DAMAGED, None, None, "unreadable"),
        (Trouble.DAMAGED, ".zip", None, "altered"),
        (Trouble.CHECK_VALUE, ".zip", None, "altered"),
        (Trouble.IO, ".zip", None, "unreadable"),
        (Trouble.MISSING, None, None, "missing"),
        (Trouble.REFUSED, None, None, "unreadable"),
        (Trouble.REFUSED, None, "https://reed.example/", "missing"),
        (Trouble.UNSUPPORTED, ".zip", None, "cannot_check"),
        (Trouble.UNREACHABLE, None, None, "not_read"),
    ],
)
def test_every_problem_has_an_outcome(trouble: Trouble, archive: str | None, url: str | None, outcome: str) -> None:
    copy = Copy("x", "x", None, url, "link" if url else "folder", archive, None)
    opened = OpenCopy(copy, Medium("x", "ssd", "home", False, False, False), State.HERE)
    assert judge_problem(Problem(trouble, "so"), opened)[0] == outcome


def test_a_copy_that_gives_nothing() -> None:
    listed = (Listed("a.dng", (sha("a"),)),)
    for trouble, outcome in ((Trouble.DAMAGED, "unreadable"), (Trouble.UNSUPPORTED, "cannot_check")):
        scope = Scope(found(listed=listed), said=with_list(listed).said)
        assert outcomes(judge_refusing(scope, Problem(trouble, "so"))) == {"a.dng": outcome}
        assert outcomes(judge_refusing(Scope(found()), Problem(trouble, "so"))) == {"kiln": outcome}
    assert judge_refusing(Scope(found()), Problem(Trouble.MISSING, "the archive is not there")) == []


# --- copies without a list ---------------------------------------------------------------------------------------


def judge(scope: Scope, promised: Promises, results: Results, *, whole: bool = True) -> dict[str, str]:
    sizes = sizes_of([(scope, results)], promised)
    return outcomes(judge_unlisted(scope, results, promised, sizes, known=lambda entry: (), whole=whole))


def without_list(promised: Promises, *paths: str, whole: bool = True) -> Scope:
    return unlisted_scope(found(*paths), promised, lambda entry: (), whole=whole)


def test_promised_bytes_count_under_any_name_and_other_bytes_by_name_and_folder() -> None:
    promised = promises(shoot("heron", raw__a_dng="a", raw__b_dng="b", c_dng="c"))
    scope = without_list(promised, "x.dng", "2026/raw/b.dng", "2026/b.dng", "heron/c.dng", "note.txt")
    results: Results = {
        ("x.dng", 0): seen("a"),
        ("2026/raw/b.dng", 0): seen("damaged"),
        ("2026/b.dng", 0): seen("another"),
        ("heron/c.dng", 0): IO,  # the shoot's id is the folder of what is promised at its top
        ("note.txt", 0): IO,
    }
    assert judge(scope, promised, results) == {
        "x.dng": "verified",
        "2026/raw/b.dng": "altered",
        "2026/b.dng": "extra",
        "heron/c.dng": "unreadable",
        "note.txt": "extra",
    }


def test_a_promised_file_that_is_otherwise_there_makes_no_other_file_damaged() -> None:
    promised = promises(shoot("heron", raw__a_dng="a"))
    scope = without_list(promised, "good/raw/a.dng", "later/raw/a.dng")
    results = {("good/raw/a.dng", 0): seen("a"), ("later/raw/a.dng", 0): seen("later")}
    assert judge(scope, promised, results) == {"good/raw/a.dng": "verified", "later/raw/a.dng": "extra"}
    left_out = {("later/raw/a.dng", 0): seen("later")}  # by a budget: the other may be the promised one
    assert judge(scope, promised, left_out) == {"good/raw/a.dng": "not_read", "later/raw/a.dng": "extra"}


def test_only_the_shoots_asked_for() -> None:
    heron, kiln = shoot("heron", raw__a_dng="a"), shoot("kiln", raw__k_dng="k")
    promised = promises(heron, kiln, asked=(heron,))
    scope = without_list(promised, "raw/a.dng", "raw/k.dng", "renamed.dng", "note.txt", whole=False)
    assert [entry.path for entry in scope.candidates] == ["raw/a.dng", "renamed.dng", "note.txt"]
    results = {
        ("raw/a.dng", 0): seen("!"),
        ("renamed.dng", 0): seen("k"),
        ("note.txt", 0): seen("note"),
    }
    assert judge(scope, promised, results, whole=False) == {"raw/a.dng": "altered"}
    results["renamed.dng", 0] = seen("a")
    assert judge(scope, promised, results, whole=False) == {"renamed.dng": "verified"}


def test_only_the_listed_names_of_the_shoots_asked_for() -> None:
    heron, kiln = shoot("heron", raw__a_dng="a"), shoot("kiln", raw__k_dng="k")
    listed = (Listed("h/a.dng", (sha("a"),)), Listed("k/k.dng", (sha("k"),)), Listed("x.txt", (sha("x"),)))
    scope = listed_scope(found("h/a.dng", "more.txt", listed=listed), listed, promises(heron, kiln), [heron])
    assert outcomes(judge_listed(scope, {}, reached=True)) == {"h/a.dng": "not_read"}


def test_what_is_known_to_be_no_promise_is_not_read_again() -> None:
    promised = promises(shoot("heron", raw__a_dng="a"))
    known = {"known.txt": (sha("x"),), "renamed.dng": (sha("a"),), "other kind.txt": (Digest("md5", "0" * 32),)}
    scope = unlisted_scope(
        found(*known, "new.txt", "raw/a.dng"), promised, lambda entry: known.get(entry.path, ()), whole=True
    )
    assert [entry.path for entry in scope.extra] == ["known.txt"]
    assert {entry.path for entry in scope.candidates} == {"renamed.dng", "other kind.txt", "new.txt", "raw/a.dng"}


def test_a_list_in_another_kind_than_the_promise_is_read_in_both() -> None:
    xxh = Digest("xxh128", "0" * 32)
    listed = (Listed("raw/a.dng", (xxh,)), Listed("note.txt", (xxh,)))
    scope = listed_scope(found("raw/a.dng", "note.txt"), listed, promises(shoot("heron", raw__a_dng="a")), None)
    assert scope.kinds_of("raw/a.dng", 0) == ("sha256", "xxh128")
    assert scope.kinds_of("note.txt", 0) == ("xxh128",)


def test_empty_and_weakly_promised_files() -> None:
    weak = Promised("raw/a.dng", (Digest("xxh32", "0000abcd"),), None, "other")
    promised = promises(Shoot("heron", date(2026, 9, 12), None, (weak,), Targets()))
    scope = without_list(promised, "raw/a.dng", "renamed.dng")
    same = Seen(4, weak.digests)
    results: Results = {("raw/a.dng", 0): same, ("renamed.dng", 0): same}
    assert judge(scope, promised, results) == {"raw/a.dng": "verified", "renamed.dng": "extra"}
