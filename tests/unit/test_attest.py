"""Attest: what a proof rests on, each thing that stands against one, and which bytes a checksum comes from."""

import json
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from attested import CLIENT, OURS, PRIVATE, World, laid, pictures, promise
from census import census
from dated import dated

from drill import clock
from drill.attest import Options, attest, shoots_of
from drill.errors import Mistakes
from drill.ledger import Ledger
from drill.model import Digest, Promised
from drill.promisemark import mark_of
from drill.proofrecord import OWN, SHORTFALLS, Proof, dump
from drill.report.attest_text import _STEPS
from drill.report.letter_short import _SAYINGS

DAY = timedelta(days=1)
HUNDRED = 'verified_within = "100 days"'


def proved(world: World, *, as_is: bool = False, now: datetime | None = None) -> Proof:
    studio = world.studio
    with Ledger.read(studio.ledger) as ledger:
        options = Options(now or clock.now(), as_is=as_is)
        return attest(studio, shoots_of(studio, CLIENT, ()), ledger, options)


def falls_short(world: World, **more: bool | datetime) -> list[str]:
    """What stands against a proof; what is refused has no checksums, and as it is everything there is."""
    now = more.get("now")
    assert now is None or isinstance(now, datetime)
    proof = proved(world, now=now)
    assert bool(proof.checksums) is not proof.falls_short
    return [one.what for one in proof.shortfalls]


def good(folder: Path, **more: str) -> World:
    world = laid(folder, targets=HUNDRED, **more)
    world.drill()
    world.audit()
    return world


def untouched(world: World) -> object:
    """What asking for a proof must not change: the copies, and what the ledger holds."""
    return census(world.folder / f"{PRIVATE}-media"), (world.folder / "ledger.sqlite").read_bytes()


# --- what is proved ----------------------------------------------------------------------------------------------


def test_a_proof_counts_what_was_drilled_and_read_and_names_nothing_private(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    before = untouched(world)
    proof = proved(world)
    assert untouched(world) == before
    assert not proof.falls_short and proof.client == CLIENT and proof.studio == "Kiln Light"
    (shoot,) = proof.shoots
    assert (shoot.shoot, shoot.date, shoot.drills, shoot.all_back) == (OURS, "2026-09-12", 4, 4)
    assert {sort: (back.promised, back.came_back) for sort, back in shoot.back.items()} == {
        "deliverables": (2, 2),
        "originals": (2, 2),
    }
    assert shoot.scenarios == {"silent-rot": 3, OWN: 1}
    assert shoot.read_on.kinds == {"computer": 1, "hard-disk": 1, "ssd": 1} and shoot.read_on.places == 3
    files = pictures(OURS)
    assert {one.name: one.sha256 for one in proof.checksums} == {
        path: sha256(data).hexdigest() for path, data in files.items() if path.startswith("deliver/")
    }
    assert {one.source for one in proof.checksums} == {"promise"}
    text = dump(proof)
    assert PRIVATE not in text and str(tmp_path) not in text and json.loads(text)["schema"] == "restore-proof/1"


def test_two_copies_on_one_medium_are_one_and_a_mirror_is_none_of_its_own(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    text = world.file.read_text(encoding="utf-8")
    text = text.replace(f'id = "{PRIVATE}-b"\nkind', f'id = "{PRIVATE}-b"\nmirrors = "{PRIVATE}-c"\nkind')
    text += f'[[copies]]\nid = "twice"\non = "{PRIVATE}-a"\nat = "{PRIVATE}-media/b"\n'
    world.file.write_text(text, encoding="utf-8")
    world.drill()
    world.audit()
    (shoot,) = proved(world, as_is=True).shoots
    assert shoot.read_on.kinds == {"computer": 1, "hard-disk": 1} and shoot.read_on.places == 2


def test_a_medium_on_which_one_file_was_not_read_does_not_count(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    (world.at("b") / OURS / "raw" / "0001.dng").unlink()
    world.drill()
    world.audit()
    (shoot,) = proved(world).shoots
    assert shoot.read_on.kinds == {"computer": 1, "hard-disk": 1}


def test_what_came_back_in_the_worst_drill_is_told(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    for medium in "bc":
        (world.at(medium) / OURS / "raw" / "0001.dng").unlink()
        (world.at(medium) / OURS / "deliver" / "0000.jpg").unlink()
    world.drill()
    world.audit()
    proof = proved(world, as_is=True)
    (shoot,) = proof.shoots
    assert {sort: back.came_back for sort, back in shoot.back.items()} == {"deliverables": 1, "originals": 1}
    assert shoot.all_back < shoot.drills and "drill_short" in {one.what for one in proof.shortfalls}


# --- what stands against it --------------------------------------------------------------------------------------


def test_each_shortfall_has_its_words_and_its_next_step() -> None:
    assert set(_SAYINGS) == set(SHORTFALLS) == set(_STEPS)


def test_without_a_drill_or_an_audit_there_is_no_proof(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    assert falls_short(world) == ["never_drilled", "never_audited", "not_read"]
    world.audit()
    assert falls_short(world) == ["never_drilled"]
    (tmp_path / "s" / "ledger.sqlite").unlink()
    world.drill()
    assert "never_audited" in falls_short(world)


def test_a_drill_and_an_audit_of_somebody_elses_shoot_are_none(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    world.drill(shoots=[f"{PRIVATE}-shoot"])
    world.audit(shoots=[f"{PRIVATE}-shoot"])
    assert falls_short(world)[:2] == ["never_drilled", "never_audited"]


def test_what_is_older_than_the_target_is_refused_to_the_second(tmp_path: Path) -> None:
    world = laid(tmp_path / "s", targets=HUNDRED)
    now = datetime(2026, 11, 24, 20, tzinfo=UTC)
    world.drill()
    dated(tmp_path / "s" / "ledger.sqlite", now - 100 * DAY)
    world.audit()
    dated(tmp_path / "s" / "ledger.sqlite", now - 99 * DAY)
    assert falls_short(world, now=now) == []
    assert falls_short(world, now=now + timedelta(seconds=1)) == ["drill_old"]
    assert falls_short(world, now=now + 2 * DAY) == ["drill_old", "audit_old", "not_read"]


def test_without_a_target_age_is_only_told(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    world.drill()
    world.audit()
    assert falls_short(world, now=clock.now() + 3000 * DAY) == []


def test_what_is_dated_later_than_now_is_refused(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    short = falls_short(world, now=clock.now() - DAY)
    assert short[:2] == ["drill_later", "never_drilled"] and {"audit_later", "never_audited"} <= set(short)
    ledger = tmp_path / "s" / "ledger.sqlite"
    world.drill()
    dated(ledger, clock.now() + 3 * DAY)
    short = falls_short(world)
    assert short[0] == "drill_later" and set(short) <= {"drill_later", "not_read"}  # what it read proves nothing either


@pytest.mark.parametrize("how", ["more", "less", "other bytes", "class"])
def test_a_promise_that_changed_since_the_drill_is_refused(tmp_path: Path, how: str) -> None:
    world = good(tmp_path / "s")
    files = pictures(OURS)
    if how == "more":
        promise(world, OURS, files | {"deliver/9999.jpg": files["deliver/0000.jpg"]})
    elif how == "less":
        promise(world, OURS, dict(list(files.items())[1:]))
    elif how == "other bytes":
        promise(world, OURS, files | {"raw/0000.dng": files["raw/0001.dng"]})
    else:
        text = world.file.read_text(encoding="utf-8")
        world.file.write_text(text.replace('["raw/**"]', '["raw/0000.dng"]'), encoding="utf-8")
    assert falls_short(world) == ["promise_changed"]


def test_the_order_of_a_list_is_no_change(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    promise(world, OURS, dict(reversed(pictures(OURS).items())))
    assert falls_short(world) == []


def test_the_mark_of_a_promise_tells_every_part_of_it() -> None:
    one = Promised("a.jpg", (Digest("md5", "00" * 16), Digest("sha256", "11" * 32)), 5, "originals")
    same = [[one], [replace(one, digests=one.digests[::-1])], [replace(one, size=6)]]
    assert len({mark_of(promise) for promise in same}) == 1
    others = [[replace(one, path="b.jpg")], [replace(one, kind="edits")], [replace(one, digests=one.digests[:1])], []]
    assert len({mark_of(promise) for promise in [*same, *others, [one, one], [replace(one, path="\udce9")]]}) == 7


def test_a_drill_of_an_older_program_is_refused(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    change(world, "DELETE FROM promises")
    assert falls_short(world) == ["drill_unknown"]


def change(world: World, *statements: str) -> None:
    with closing(sqlite3.connect(world.folder / "ledger.sqlite")) as db, db:
        for statement in statements:
            db.execute(statement)


def test_a_drill_that_did_not_end_is_refused_also_after_a_whole_one(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    world.drill("silent-rot")
    change(world, "UPDATE runs SET complete = 0 WHERE id = (SELECT max(id) FROM runs)")
    assert falls_short(world) == ["drill_incomplete"]


def test_an_audit_that_did_not_end_is_none(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    change(world, "UPDATE runs SET complete = 0 WHERE kind = 'audit'")
    assert falls_short(world) == ["never_audited"]


def test_an_easier_drill_hides_no_shortfall(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    for medium in "bc":
        (world.at(medium) / OURS / "raw" / "0001.dng").unlink()
    world.drill(world.scenario)
    world.audit()
    assert falls_short(world) == ["drill_short"]
    world.drill("silent-rot", "deletion-by-mistake")
    proof = proved(world)
    assert {(one.what, one.scenario) for one in proof.shortfalls} >= {("drill_short", OWN)}


def test_a_drill_that_came_out_right_since_heals_it(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    lost = world.at("b") / OURS / "raw" / "0001.dng"
    other = world.at("c") / OURS / "raw" / "0001.dng"
    content = lost.read_bytes()
    lost.unlink()
    other.unlink()
    world.drill()
    lost.write_bytes(content)
    world.drill()
    world.audit()
    assert falls_short(world) == []


def test_a_file_that_is_damaged_on_one_copy_is_refused(tmp_path: Path) -> None:
    world = laid(tmp_path / "s", targets=HUNDRED)
    file = world.at("c") / OURS / "deliver" / "0001.jpg"
    file.write_bytes(b"\0" + file.read_bytes()[1:])
    world.drill()
    world.audit()
    assert falls_short(world) == ["damaged"]
    (one,) = proved(world).shortfalls
    assert (one.count, one.of) == (1, 4)


def test_a_damaged_ledger_is_a_mistake(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    for damage in (
        "UPDATE drills SET record = 'x'",
        "UPDATE drills SET verified = 1",
        "UPDATE drills SET record = '[]'",
    ):
        change(world, damage)
        with pytest.raises(Mistakes, match="is damaged"):
            proved(world)


# --- whose shoots ------------------------------------------------------------------------------------------------


def test_a_letter_is_to_one_client(tmp_path: Path) -> None:
    studio = laid(tmp_path / "s", client="Café Reed").studio
    for name in ("Café Reed", "Cafe\u0301 Reed", " Café Reed "):
        assert [shoot.id for shoot in shoots_of(studio, name, ())] == [OURS]
    assert [shoot.id for shoot in shoots_of(studio, None, [OURS])] == [OURS]
    for client, ids, said in (
        ("Nobody", (), "no shoot has this client"),
        (None, ("nothing",), "no shoot has this id"),
        (None, (OURS, f"{PRIVATE}-shoot"), "a letter is to one client"),
    ):
        with pytest.raises(Mistakes, match=said):
            shoots_of(studio, client, ids)


def test_without_deliverables_there_is_nothing_to_check(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    text = world.file.read_text(encoding="utf-8").replace('["deliver/**"]', '["finals/**"]')
    world.file.write_text(text, encoding="utf-8")
    with pytest.raises(Mistakes, match="no promised file of these shoots is a deliverable"):
        shoots_of(world.studio, CLIENT, ())


# --- checksums ---------------------------------------------------------------------------------------------------


def test_what_was_promised_by_a_fast_digest_is_read_now_and_held_against_it(tmp_path: Path) -> None:
    world = good(tmp_path / "s", kind="xxh128")
    before = untouched(world)
    proof = proved(world)
    assert untouched(world) == before
    files = pictures(OURS)
    assert {one.name: (one.sha256, one.source) for one in proof.checksums} == {
        path: (sha256(data).hexdigest(), "read") for path, data in files.items() if path.startswith("deliver/")
    }


def test_bytes_that_changed_since_are_never_signed(tmp_path: Path) -> None:
    """The same size and times as when they were audited, so that nothing but reading tells."""
    world = good(tmp_path / "s", kind="xxh128")
    for medium in "abc":
        file = world.at(medium) / OURS / "deliver" / "0001.jpg"
        facts = file.stat()
        file.write_bytes(b"\0" + file.read_bytes()[1:])
        os.utime(file, ns=(facts.st_atime_ns, facts.st_mtime_ns))
    proof = proved(world)
    assert [(one.what, one.count, one.of) for one in proof.shortfalls] == [("no_checksum", 1, 2)]
    assert [one.name for one in proof.checksums] == ["deliver/0000.jpg"]


def test_another_copy_is_read_where_the_first_has_other_bytes(tmp_path: Path) -> None:
    world = good(tmp_path / "s", kind="xxh128")
    for medium in "ab":
        (world.at(medium) / OURS / "deliver" / "0001.jpg").write_bytes(b"something else")
    assert [one.source for one in proved(world).checksums] == ["read", "read"]


def test_a_file_under_another_name_is_found_by_what_was_read_of_it(tmp_path: Path) -> None:
    world = laid(tmp_path / "s", kind="xxh128")
    for medium in "abc":
        (world.at(medium) / OURS / "deliver" / "0001.jpg").rename(world.at(medium) / "renamed.bin")
    world.drill()
    world.audit()
    assert len(proved(world).checksums) == 2


def test_too_short_a_digest_proves_nothing(tmp_path: Path) -> None:
    world = laid(tmp_path / "s", kind="xxh32")
    world.drill()
    world.audit()
    proof = proved(world, as_is=True)
    assert proof.checksums == () and "no_checksum" in {one.what for one in proof.shortfalls}


def test_with_several_shoots_names_begin_with_the_shoots(tmp_path: Path) -> None:
    names = ("reed-one", "reed-two")
    world = laid(tmp_path / "s", {name: pictures(name, 1) for name in names})
    world.drill()
    world.audit()
    assert [one.name for one in proved(world).checksums] == [f"{name}/deliver/0000.jpg" for name in names]


def test_the_same_ledger_and_moment_give_the_same_record(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    now = clock.now()
    make: Callable[[], str] = lambda: dump(proved(world, as_is=True, now=now))  # noqa: E731
    assert make() == make()
