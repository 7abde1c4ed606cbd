"""The end-to-end judge, held against small cases worked out by hand: a judge that nods is worse than none."""

import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "e2e"))  # the judge lives beside the tests it judges

from agreement import disagreements, drill_disagreements
from described import Copy, Hazard, Held, Medium, Place, Scenario, Shoot, Studio, Targets
from oracle import Expected, expect_drill, expect_run
from struck import glob_hits, last_part, variants

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)
A, B, C = b"a" * 100, b"b" * 200, b"c" * 300
ONE_GONE = Scenario(name="one-gone", hazards=(Hazard(effect="gone", each="medium"),))


def _shoot(*files: tuple[str, bytes], **more: Any) -> Shoot:
    return Shoot(id="s", date=date(2026, 9, 12), promise=files, **more)


def _studio(shoot: Shoot, *copies: Copy, media: tuple[Medium, ...] = (), **more: Any) -> Studio:
    known = {m.id for m in media}
    plain = tuple(
        Medium(id=name, place=f"at-{name}") for name in dict.fromkeys(c.on for c in copies) if name not in known
    )
    return Studio(media=media + plain, shoots=(shoot,), copies=copies, **more)


def _hazards(*hazards: Hazard) -> Scenario:
    return Scenario(name="h", hazards=hazards)


def _drill(studio: Studio, *hazards: Hazard, variant: str | None = None) -> Expected:
    return expect_drill(studio, _hazards(*hazards), variant, studio.shoots[0], NOW)


def _outcome(drill: Expected) -> tuple[set[str], set[str], set[str]]:
    return set(drill.holders), set(drill.on_paper), set(drill.lost)


def _copy(name: str, *held: tuple[str, bytes], **more: Any) -> Copy:
    return Copy(id=name, on=more.pop("on", name), holds=tuple(Held(p, d) for p, d in held), **more)


@pytest.mark.parametrize(
    ("pattern", "path", "hits"),
    [
        ("*.dng", "2026/a/X.DNG", True),
        ("deliver/**", "deliver/a/b.jpg", True),
        ("deliver/*", "deliver/a/b.jpg", False),
        ("**/raw/*", "raw/a", True),
        ("**/raw/*", "x/y/raw/a", True),
        ("a?.jpg", "q/a1.jpg", True),
        ("a.jpg", "axjpg", False),
    ],
)
def test_globs_match_as_the_contract_says(pattern: str, path: str, hits: bool) -> None:
    assert glob_hits(pattern, path) is hits


def test_names_are_compared_by_their_last_part_composed_and_case_folded() -> None:
    assert last_part("a/Mu\u0308we.JPG") == last_part("b\\M\u00dcWE.jpg") == "m\u00fcwe.jpg"


def test_two_copies_survive_one_loss_and_the_weakest_sets_are_all_there() -> None:
    studio = _studio(_shoot(("a", A), ("b", B)), _copy("x", ("a", A), ("b", B)), _copy("y", ("a", A)))
    drill = _drill(studio, Hazard(effect="slow", factor=0.5))
    assert _outcome(drill) == ({"a", "b"}, set(), set())
    assert drill.survivable == (0, 0)
    assert drill.weakest == frozenset({frozenset({"medium:x"}), frozenset({"place:at-x"})})
    after = _drill(studio, Hazard(effect="gone", hits={"medium": "x"}))
    assert _outcome(after) == ({"a"}, set(), {"b"})
    assert (after.survivable, after.weakest) == ((-1, -1), frozenset())
    assert (after.score, after.verdict, after.oldest_lost) == (50.0, "partial", "2026-09-12")


def test_a_needed_medium_takes_its_reader_along_through_the_chain() -> None:
    media = (Medium(id="x", needs=("p",)), Medium(id="p", kind="phone", needs=("q",), place="bag"), Medium(id="q"))
    studio = _studio(_shoot(("a", A)), _copy("x", ("a", A)), media=media)
    assert _outcome(_drill(studio, Hazard(effect="refused", hits={"medium": "q"})))[2] == {"a"}
    assert _outcome(_drill(studio, Hazard(effect="encrypted", hits={"medium": "q"})))[2] == {"a"}
    assert _outcome(_drill(studio, Hazard(effect="deleted", hits={"medium": "q"})))[0] == {"a"}
    weakest = _drill(studio, Hazard(effect="slow", factor=0.1)).weakest
    names = ("medium:x", "medium:p", "medium:q", "place:home", "place:bag")
    assert weakest == frozenset(frozenset({name}) for name in names)


def test_deletion_reaches_mirrors_of_mirrors_but_not_versions_and_gone_reaches_none() -> None:
    media = (Medium(id="m0"), Medium(id="m1", mirrors="m0"), Medium(id="m2", mirrors="m1"))
    versions = Medium(id="v", mirrors="m2", keeps_versions="30 days")
    studio = _studio(
        _shoot(("a", A)), *(_copy(name, ("a", A)) for name in ("m0", "m1", "m2", "v")), media=(*media, versions)
    )
    deleted = _drill(studio, Hazard(effect="deleted", hits={"medium": "m0"}))
    assert deleted.holders == {"a": {"v"}}
    assert _drill(studio, Hazard(effect="gone", hits={"medium": "m0"})).holders == {"a": {"m1", "m2", "v"}}
    assert _drill(studio, Hazard(effect="altered", offsets=(5,), hits={"medium": "m1"})).holders == {"a": {"m0", "v"}}


@pytest.mark.parametrize(
    ("hazard", "survives"),
    [
        (Hazard(effect="altered", offsets=(99,)), False),
        (Hazard(effect="altered", offsets=(100,)), True),
        (Hazard(effect="truncated", keep=99), False),
        (Hazard(effect="truncated", keep=100), True),
        (Hazard(effect="truncated", keep="50%"), False),
        (Hazard(effect="unreadable", sectors=(0,)), False),
        (Hazard(effect="unreadable", sectors=(1,), sector_size=64), False),
        (Hazard(effect="unreadable", sectors=(2,), sector_size=50), True),
        (Hazard(effect="encrypted", files=("*.b",)), True),
        (Hazard(effect="encrypted", files=("*.A",)), False),
        (Hazard(effect="expired"), False),
        (Hazard(effect="stale", before=datetime(2026, 9, 1, tzinfo=UTC)), False),
        (Hazard(effect="stale", before=datetime(2026, 9, 2, tzinfo=UTC)), True),
    ],
)
def test_every_effect_on_one_folder(hazard: Hazard, survives: bool) -> None:
    copy = Copy(id="x", on="x", holds=(Held("q.a", A, datetime(2026, 9, 1, 12, tzinfo=UTC)),))
    drill = _drill(_studio(_shoot(("q.a", A)), copy), hazard)
    assert (set(drill.holders) == {"q.a"}) is survives
    assert (drill.verdict, drill.score) == (("restored", 100.0) if survives else ("lost", 0.0))


def test_a_bad_sector_here_and_an_altered_byte_there_are_stitched_and_nothing_else() -> None:
    studio = _studio(_shoot(("a", A)), _copy("x", ("a", A)), _copy("y", ("a", A)))
    hole = Hazard(effect="unreadable", sectors=(0,), sector_size=50, hits={"medium": "x"})
    apart = _drill(studio, hole, Hazard(effect="altered", offsets=(60,), hits={"medium": "y"}))
    assert apart.stitched == apart.stitchable == {"a"} and apart.verdict == "restored"
    assert _drill(studio, hole, Hazard(effect="altered", offsets=(10,), hits={"medium": "y"})).stitchable == set()
    many = Hazard(effect="altered", offsets=tuple(range(0, 40, 2)), hits={"medium": "x"})
    more = Hazard(effect="altered", offsets=tuple(range(1, 40, 2)), hits={"medium": "y"})
    assert (_drill(studio, many, more).stitchable, _drill(studio, many, more).stitched) == ({"a"}, set())


def test_out_of_reach_is_on_paper_by_its_list_unless_the_scenario_takes_it() -> None:
    made = datetime(2026, 9, 1, tzinfo=UTC)
    away = Copy(id="x", on="x", says=(("k/a", A), ("k/b", B)), out_of_reach="no at", made=made)
    studio = _studio(_shoot(("a", A), ("b", B)), away, Copy(id="y", on="y", out_of_reach="empty"))
    assert _drill(studio, Hazard(effect="slow", factor=0.1)).verdict == "unproven"
    for leaves in (
        Hazard(effect="altered", offsets=(1,)),
        Hazard(effect="stale", before=datetime(2026, 9, 2, tzinfo=UTC)),
    ):
        assert _outcome(_drill(studio, leaves))[1] == {"a", "b"}
    assert _outcome(_drill(studio, Hazard(effect="stale", before=made)))[2] == {"a", "b"}
    assert _outcome(_drill(studio, Hazard(effect="deleted", files=("b",)))) == (set(), {"a"}, {"b"})
    assert _drill(studio, Hazard(effect="refused")).verdict == "lost"
    assert _drill(studio, Hazard(effect="refused", hits={"form": "folder"})).verdict == "unproven"


def test_a_list_finds_by_content_where_kinds_are_shared_and_by_name_elsewhere() -> None:
    shoot = _shoot(("one/X.jpg", A), ("two/X.jpg", B))
    held = (("p/1", A), ("q/X.JPG", B))
    shared = _copy("x", *held, says=(("p/1", A), ("q/X.JPG", B)))
    assert set(_drill(_studio(shoot, shared), Hazard(effect="slow")).holders) == {"one/X.jpg", "two/X.jpg"}
    other = _copy("x", *held, says=(("p/1", A), ("q/X.JPG", B)), says_in=("md5",))
    drill = _drill(_studio(shoot, other), Hazard(effect="slow"))
    assert _outcome(drill) == ({"two/X.jpg"}, set(), {"one/X.jpg"})
    moved = _copy("x", ("elsewhere/1", A), ("q/X.JPG", B), says=(("p/1", A),))
    assert set(_drill(_studio(shoot, moved), Hazard(effect="slow")).holders) == {"one/X.jpg"}
    unlisted = _copy("x", ("p/1", A), ("q/X.JPG", B))
    assert set(_drill(_studio(shoot, unlisted), Hazard(effect="slow")).holders) == {"one/X.jpg", "two/X.jpg"}


def test_xxh32_alone_is_no_identity() -> None:
    shoot = _shoot(("a", A), promised_in=("xxh32",))
    renamed = _copy("x", ("b", A), says=(("b", A),), says_in=("xxh32",))
    assert _drill(_studio(shoot, renamed), Hazard(effect="slow")).verdict == "lost"
    named = _copy("x", ("a", A), says=(("a", A),), says_in=("xxh32",))
    assert _drill(_studio(shoot, named), Hazard(effect="slow")).verdict == "restored"


def test_really_wrong_bytes_give_bounds_for_the_further_failures() -> None:
    studio = _studio(_shoot(("a", A)), _copy("x", ("a", A)), _copy("y", ("a", B)))
    drill = _drill(studio, Hazard(effect="slow"))
    assert (drill.survivable, drill.weakest) == ((0, 1), None)


def test_by_hand_the_first_copy_that_opens_is_believed() -> None:
    studio = _studio(
        _shoot(("a", A), ("b", B), ("c", C)), _copy("x", ("a", B), ("b", B)), _copy("y", ("a", A)), _copy("z", ("c", C))
    )
    drill = _drill(studio, Hazard(effect="deleted", hits={"medium": "z"}))
    assert drill.unchecked == {"right": 1, "silently_wrong": 1, "failed": 1}


def test_the_score_is_weighted_over_the_classes_present_and_rounded_down() -> None:
    shoot = _shoot(("a.dng", A), ("b.dng", B), ("c.dng", C), ("deliver/d", A))
    studio = _studio(
        shoot,
        _copy("x", ("a.dng", A), ("b.dng", B)),
        classes=(("originals", ("*.dng",)), ("edits", ("*.xmp",)), ("deliverables", ("deliver/**",))),
        weights={"deliverables": 2, "edits": 5},
    )
    # d is A too, but under a.dng, a promised name: by the words of the contract it is not looked for by content.
    drill = _drill(studio, Hazard(effect="slow"))
    assert drill.by_class["originals"] == {"promised": 3, "verified": 2, "on_paper": 0, "lost": 1}
    assert drill.score == 22.2  # (2/3 + 2 × 0) / 3


def test_variants_take_in_turn_what_is_hit_and_nothing_hit_does_not_apply() -> None:
    media = (Medium(id="m", account="acc"), Medium(id="n", place="bag"), Medium(id="o", kind="tablet", place="bag"))
    studio = _studio(
        _shoot(("a", A)), *(_copy(f"c{m.id}", ("a", A), on=m.id) for m in media), media=media,
        places=(Place(id="bag", carried=True),),
    )  # fmt: skip

    def turns(each: str, **hits: Any) -> list[str | None]:
        return variants(studio, _hazards(Hazard(effect="gone", hits=hits, each=each)))

    assert turns("medium", attached=False) == ["m", "n"]
    assert turns("place") == ["home", "bag"]
    assert turns("account") == ["acc"]
    assert turns("copy", carried=True) == ["cn", "co"]
    assert turns("medium", kind=["tape", "cloud"]) == []
    beside = _hazards(
        Hazard(effect="gone", hits={"kind": "tape"}, each="account"), Hazard(effect="gone", hits={"medium": "m"})
    )
    assert variants(studio, beside) == [None]
    assert expect_drill(studio, beside, None, studio.shoots[0], NOW).holders == {"a": {"cn", "co"}}
    one = expect_drill(studio, _hazards(Hazard(effect="gone", each="place")), "bag", studio.shoots[0], NOW)
    assert one.holders == {"a": {"cm"}}


def test_the_exit_code_and_what_does_not_apply() -> None:
    shoot = _shoot(("a", A), targets=Targets(further_failures=1, lose_at_most_h=24))
    studio = _studio(shoot, _copy("x", ("a", A)), _copy("y", ("a", A)), _copy("z", ("a", A)))
    tapes = Scenario(name="tapes", hazards=(Hazard(effect="gone", hits={"kind": "tape"}),))
    run = expect_run(studio, [ONE_GONE, tapes], NOW)
    assert ([d.variant for d in run.drills], run.not_applicable, run.code) == (["x", "y", "z"], ("tapes",), 0)
    two = _hazards(Hazard(effect="gone", hits={"medium": ["x", "y"]}))
    assert (expect_run(studio, [two], NOW).code, expect_run(studio, [tapes], NOW).code) == (1, 2)
    everything = expect_run(studio, [_hazards(Hazard(effect="gone"))], NOW).drills[0]
    assert (everything.verdict, everything.lost_work_met) == ("lost", False)


def _honest(drill: Expected) -> dict[str, Any]:
    """A record of one drill, written by hand for files a (verified) and b (lost)."""
    row = {"promised": 2, "verified": 1, "on_paper": 0, "lost": 1}
    return {
        "scenario": drill.scenario, "variant": None, "shoot": "s", "verdict": "partial", "score": 50.0, "files": row,
        "bytes": {"promised": 300, "verified": 100, "on_paper": 0, "lost": 200, "unknown_files": 0},
        "by_class": {"other": dict(row)}, "sources": {"x": 1}, "stitched": 0,
        "unchecked": {"right": 1, "silently_wrong": 0, "failed": 1},
        "lost_files": [{"path": "b", "why": "on no copy"}], "on_paper_files": [],
        "seconds": {"measured": 0.1, "projected": 1.0, "target": None},
        "lost_work": {"oldest_lost": "2026-09-12", "target_seconds": None, "met": True},
        "further_failures": {"survivable": -1, "target": None, "weakest": []},
    }  # fmt: skip


def _lies(record: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    all_won = {"promised": 2, "verified": 2, "on_paper": 0, "lost": 0}
    return [
        ("a false pass", record | {"lost_files": [], "files": all_won, "by_class": {"other": all_won}}),
        ("a false pass, stitched", record | {"lost_files": [], "files": all_won, "stitched": 1}),
        ("a false loss", record | {"lost_files": [{"path": "a", "why": "?"}, {"path": "b", "why": "?"}]}),
        ("on paper for lost", record | {"lost_files": [], "on_paper_files": [{"path": "b", "why": "?"}]}),
        ("a score", record | {"score": 50.1}),
        ("a verdict", record | {"verdict": "unproven"}),
        ("a source", record | {"sources": {"y": 1}}),
        ("a survivable", record | {"further_failures": {"survivable": 0, "target": None, "weakest": []}}),
        ("a weakest", record | {"further_failures": {"survivable": -1, "target": None, "weakest": [["medium:x"]]}}),
        ("lost work", record | {"lost_work": {"oldest_lost": None, "target_seconds": None, "met": True}}),
        ("by hand", record | {"unchecked": {"right": 2, "silently_wrong": 0, "failed": 0}}),
        ("bytes", record | {"bytes": record["bytes"] | {"verified": 101, "promised": 301}}),
        ("a sum", record | {"bytes": record["bytes"] | {"promised": 301}}),
    ]


def test_an_honest_record_agrees_and_each_lie_is_caught() -> None:
    studio = _studio(_shoot(("a", A), ("b", B)), _copy("x", ("a", A)))
    run = expect_run(studio, [_hazards(Hazard(effect="slow"))], NOW)
    honest = _honest(run.drills[0])
    whole = {"drills": [honest], "not_applicable": [], "complete": True}
    assert disagreements(run, whole, 1) == []
    assert disagreements(run, whole, 0) and disagreements(run, whole | {"drills": []}, 1)
    assert disagreements(run, whole | {"not_applicable": ["x"]}, 1)
    for what, lie in _lies(honest):
        assert drill_disagreements(run.drills[0], lie), f"not caught: {what}"
