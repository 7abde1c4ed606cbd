"""Attest: what a proof rests on, each thing that stands against one, and which bytes a checksum comes from."""

import json
import os
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from hashlib import sha256
from pathlib import Path

import pytest
from attested import CLIENT, OURS, PRIVATE, World, laid, pictures, promise
from census import census
from dated import dated

from drill import clock
from drill.attest import Options, attest, shoots_of
from drill.attest.audits import separate
from drill.errors import Mistakes
from drill.ledger import Ledger
from drill.model import Digest, Promised
from drill.promisemark import mark_of
from drill.proofrecord import OWN, SHORTFALLS, Proof, dump
from drill.report.attest_text import _STEPS, refused_text
from drill.report.letter_short import _SAYINGS
from drill.report.typed import typed
from drill.sampling import Spot

DAY = timedelta(days=1)
HUNDRED = 'verified_within = "100 days"'
HALF = Spot(None, Fraction(1, 2), Fraction(1, 10))
LOST_IN_TURN = 'title = "One is gone"\nstory = "It fell."\n[[hazards]]\neffect = "gone"\neach = "medium"\n'
SLOWER = 'title = "A slow day"\nstory = "It rains."\n[[hazards]]\neffect = "slow"\nfactor = 0.9\n'


def proved(world: World, *, as_is: bool = False, now: datetime | None = None) -> Proof:
    studio = world.studio
    with Ledger.read(studio.ledger) as ledger:
        options = Options(now or clock.now(), as_is=as_is)
        return attest(studio, shoots_of(studio, CLIENT, ()), ledger, options)


def falls_short(world: World, **more: bool | datetime) -> list[str]:
    """What stands against a proof, but for scenarios never rehearsed; what is refused has no checksums."""
    now = more.get("now")
    assert now is None or isinstance(now, datetime)
    proof = proved(world, now=now)
    assert bool(proof.checksums) is not proof.falls_short
    return [one.what for one in proof.shortfalls if one.what != "not_rehearsed"]


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
    assert (shoot.shoot, shoot.date, shoot.drills, shoot.all_back) == (OURS, "2026-09-12", 14, 14)
    assert {sort: (back.promised, back.came_back) for sort, back in shoot.back.items()} == {
        "deliverables": (2, 2),
        "originals": (2, 2),
    }
    assert (shoot.scenarios["silent-rot"], shoot.scenarios[OWN]) == (3, 1) and "dead-card" not in shoot.scenarios
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


def test_mirrors_of_one_medium_are_one_also_where_that_one_holds_nothing(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    text = world.file.read_text(encoding="utf-8")
    for medium in "bc":
        text = text.replace(f'"{PRIVATE}-{medium}"\nkind', f'"{PRIVATE}-{medium}"\nmirrors = "{PRIVATE}-a"\nkind')
    world.file.write_text(text, encoding="utf-8")
    (world.at("a") / OURS / "raw" / "0001.dng").unlink()
    world.drill()
    world.audit()
    (shoot,) = proved(world, as_is=True).shoots
    assert shoot.read_on.media == shoot.read_on.places == 1


def test_mirrors_of_mirrors_are_one_whatever_is_asked_about(tmp_path: Path) -> None:
    media = laid(tmp_path / "s").studio.media
    a, b, c = (f"{PRIVATE}-{medium}" for medium in "abc")

    def left(ids: list[str], **mirrored: str) -> list[str]:
        follows = {f"{PRIVATE}-{medium}": f"{PRIVATE}-{other}" for medium, other in mirrored.items()}
        made = {id_: replace(medium, mirrors=follows.get(id_)) for id_, medium in media.items()}
        return [medium.id for medium in separate(made, ids)]

    assert left([c, b, a]) == [c, b, a] and left([a, a, "gone"]) == [a]
    assert left([c, a], c="b", b="a") == [a] and left([c, b], c="b", b="a") == [c]
    assert left([a, b], a="b", b="a") == [a] and left([c, b], a="b", b="a", c="b") == [c]


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


def test_the_next_steps_can_be_typed_as_they_are(tmp_path: Path) -> None:
    name = "studio of reed.toml"
    said = refused_text(proved(laid(tmp_path / "s")), studio=name, titles={}, width=200)
    assert f"drill run {typed([name])} --shoot {OURS}" in said and f"drill audit {typed([name])} --shoot {OURS}" in said


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


def test_an_audit_of_a_copy_without_the_shoot_is_none_of_it(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    world.drill()
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "note.txt").write_text("no picture", encoding="utf-8")
    media = '[[media]]\nid = "e"\nkind = "card"\nplace = "e"\n[[copies]]\non = "e"\nat = "../elsewhere"\n'
    world.file.write_text(world.file.read_text(encoding="utf-8") + media, encoding="utf-8")
    world.audit(copies=["e"])
    # The drill may have read files that were written just before, which the ledger does not keep: then "not_read" too.
    assert falls_short(world)[0] == "never_audited" and proved(world).shoots[0].audited is None
    world.audit(copies=[f"{PRIVATE}-a"])
    assert falls_short(world) == [] and proved(world).shoots[0].audited is not None


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


def test_without_a_target_thirteen_weeks_are_the_limit(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    world.drill()
    world.audit()
    assert falls_short(world, now=clock.now() + 90 * DAY) == []
    assert falls_short(world, now=clock.now() + 92 * DAY) == ["drill_old", "audit_old", "not_read"]


def test_one_easy_drill_is_no_proof(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    world.audit()
    world.drill("deletion-by-mistake")
    proof = proved(world)
    named = {one.scenario for one in proof.shortfalls if one.what == "not_rehearsed"}
    assert not proof.checksums and {one.what for one in proof.shortfalls} == {"not_rehearsed"}
    assert {"house-fire", "silent-rot"} <= named and not named & {"deletion-by-mistake", "dead-card"}
    world.drill()
    assert proved(world).shortfalls == ()
    world.drill("deletion-by-mistake")
    assert proved(world).shortfalls == (), "what was rehearsed in time still counts"


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
    (shoot,) = proved(world, as_is=True).shoots  # what came back is what was drilled, whatever is promised now
    assert {sort: (one.promised, one.came_back) for sort, one in shoot.back.items()} == {
        "deliverables": (2, 2),
        "originals": (2, 2),
    }


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


def test_a_drill_that_broke_off_hides_no_shortfall(tmp_path: Path) -> None:
    """What it had not come to yet is as it was the last time."""
    world = laid(tmp_path / "s")
    for medium in "bc":
        (world.at(medium) / OURS / "raw" / "0001.dng").unlink()
    each = tmp_path / "each.toml"
    each.write_text(LOST_IN_TURN, encoding="utf-8")
    world.drill(each)
    world.audit()
    last = "(SELECT max(id) FROM runs)"
    world.drill(each)
    change(
        world, f"UPDATE runs SET complete = 0 WHERE id = {last}", f"DELETE FROM drills WHERE run = {last} AND lost > 0"
    )
    assert falls_short(world) == ["drill_incomplete", "drill_short"]
    world.drill("deletion-by-mistake")
    assert falls_short(world) == ["drill_short"]


def test_what_a_drill_that_broke_off_showed_counts(tmp_path: Path) -> None:
    world = good(tmp_path / "s")
    aside = {medium: world.at(medium) / OURS / "raw" / "0001.dng" for medium in "bc"}
    contents = {file: file.read_bytes() for file in aside.values()}
    for file in contents:
        file.unlink()
    world.drill(world.scenario)
    change(world, "UPDATE runs SET complete = 0 WHERE id = (SELECT max(id) FROM runs)")
    for file, content in contents.items():
        file.write_bytes(content)
    world.drill("silent-rot")
    assert falls_short(world) == ["drill_short"]
    world.drill(world.scenario)
    assert falls_short(world) == []


def test_a_spot_check_alone_is_no_proof(tmp_path: Path) -> None:
    world = laid(tmp_path / "s", {OURS: pictures(OURS, 30)})
    world.drill("silent-rot", spot=HALF)
    world.audit()
    assert falls_short(world)[0] == "drill_spot"
    world.drill("silent-rot")
    assert falls_short(world) == []


def test_what_a_spot_check_finds_lost_counts_and_nothing_else_of_it(tmp_path: Path) -> None:
    world = laid(tmp_path / "s", {OURS: pictures(OURS, 30)})
    world.drill("silent-rot")
    world.audit()
    world.drill("silent-rot", world.scenario, spot=HALF)
    assert falls_short(world) == [], "what it left out is no shortfall"
    contents = {}
    for medium in "bc":
        for file in sorted((world.at(medium) / OURS / "raw").iterdir()):
            contents[file] = file.read_bytes()
            file.unlink()
    world.drill("silent-rot", world.scenario, spot=HALF)
    found = {(one.what, one.scenario) for one in proved(world).shortfalls}
    assert ("drill_short", OWN) in found, "also after the last whole drill, and of a scenario that one did not have"
    for file, content in contents.items():
        file.write_bytes(content)
    world.drill("silent-rot", world.scenario)
    assert falls_short(world) == []


@pytest.mark.parametrize("target", ['restore_within = "1 s"', "further_failures = 2"])
def test_a_drill_is_held_to_the_targets_of_today_too(tmp_path: Path, target: str) -> None:
    world = laid(tmp_path / "s", targets='restore_within = "2 days"\nfurther_failures = 0')
    text = world.file.read_text(encoding="utf-8")
    world.file.write_text(text.replace('"ssd"', '"ssd"\nin_hand_after = "1 h"'), encoding="utf-8")
    (world.at("c") / OURS / "raw" / "0001.dng").unlink()
    world.drill(world.scenario)
    world.audit()
    assert falls_short(world) == []
    text = world.file.read_text(encoding="utf-8")
    key = target.partition(" = ")[0]
    world.file.write_text(re.sub(f"{key} = .*", target, text), encoding="utf-8")
    assert falls_short(world) == ["drill_short"]


@pytest.mark.parametrize("shipped", ["house-fire", "lost-tablet"])
def test_a_scenario_of_ones_own_is_never_told_by_a_shipped_ones_name(tmp_path: Path, shipped: str) -> None:
    world = laid(tmp_path / "s")
    own = tmp_path / f"{shipped}.toml"
    own.write_text(SLOWER, encoding="utf-8")
    world.drill(own)
    world.audit()
    assert proved(world).shoots[0].scenarios == {OWN: 1}


def test_a_scenario_of_ones_own_heals_no_shipped_one_of_its_name(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    for medium in "ab":
        (world.at(medium) / OURS / "raw" / "0001.dng").unlink()
    world.drill("malicious-encryption")
    world.audit()
    assert falls_short(world) == ["drill_short"]
    own = tmp_path / "malicious-encryption.toml"
    own.write_text(SLOWER, encoding="utf-8")
    world.drill(own)
    assert ("drill_short", "malicious-encryption") in {(one.what, one.scenario) for one in proved(world).shortfalls}


def test_of_a_run_that_does_not_say_which_scenarios_they_were_none_is_named(tmp_path: Path) -> None:
    """As an older program's, whose shortfalls a drill of today heals all the same."""
    world = laid(tmp_path / "s")
    gone = world.at("a") / OURS / "raw" / "0001.dng"
    other = world.at("b") / OURS / "raw" / "0001.dng"
    content = gone.read_bytes()
    gone.unlink()
    other.unlink()
    world.drill("malicious-encryption")
    world.audit()
    change(world, "DELETE FROM scenarios")
    assert [one.scenario for one in proved(world).shortfalls if one.what == "drill_short"] == [OWN]
    gone.write_bytes(content)
    world.drill("malicious-encryption")
    assert falls_short(world) == []


def test_a_drill_that_came_out_right_since_heals_it(tmp_path: Path) -> None:
    world = laid(tmp_path / "s")
    lost = world.at("b") / OURS / "raw" / "0001.dng"
    other = world.at("c") / OURS / "raw" / "0001.dng"
    content = lost.read_bytes()
    lost.unlink()
    other.unlink()
    world.drill()
    lost.write_bytes(content)
    other.write_bytes(content)
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
    shoots = {name: pictures(name, 1) for name in ("reed-one", "reed-two")}
    text = laid(tmp_path / "t", shoots, client="Café Reed").file.read_text(encoding="utf-8")
    (tmp_path / "t" / "studio.toml").write_text(text.replace("Caf\u00e9", "Cafe\u0301", 1), encoding="utf-8")
    assert len(shoots_of(World(tmp_path / "t").studio, "Café Reed", ())) == 2
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
