"""`drill recover` as a user starts it: what comes back and under which name, what is refused, what is still missing.

The studios are described by hand; every expectation is worked out from the bytes that are really there.
"""

import hashlib
import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from census import census, files_below
from described import Held, Medium, Place, Studio
from hand import DAY, FILES, A, B, C, D, copy, held, media, picture, shoot
from runner import NOW, Outcome, begin, start
from studios import SECRET, Built, build, link_server

pytestmark = pytest.mark.deep  # many starts of the program; its rooms have quick tests of their own


def lay(folder: Path, *, base: str | None = None, **parts: Any) -> Built:
    """Two drives that have all of one shoot, unless told otherwise."""
    parts.setdefault("media", media("x", "y"))
    parts.setdefault("shoots", (shoot(*FILES),))
    parts.setdefault("copies", (copy("x", *FILES), copy("y", *FILES)))
    return build(folder, Studio(**parts), base=base)


def ask(built: Built, *more: str | Path, into: Path | None = None, code: int = 0) -> Outcome:
    """Recover, and see that no source changed and nothing is left on its way."""
    into = into or built.file.parent.parent / "back"
    before = census(*built.sources)
    outcome = start("recover", built.file, "--into", into, "--no-ledger", *more, cwd=built.file.parent)
    assert census(*built.sources) == before
    assert outcome.code == code, outcome.said
    assert "Traceback" not in outcome.err
    assert not (into / ".drill-recovery").exists()
    if "--json" not in more:
        assert max(map(len, outcome.out.splitlines()), default=0) <= 80
    return outcome


def add_lines(built: Built, text: str, *, after: str) -> None:
    """Put lines into the studio file."""
    whole = built.file.read_text(encoding="utf-8")
    assert after in whole
    built.file.write_text(whole.replace(after, after + text, 1), encoding="utf-8")


# --- what comes back -----------------------------------------------------------------------------------------------


def test_everything_comes_back_under_its_own_name_with_lists_that_check(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", shoots=(shoot(*FILES, promised_in=("sha256", "md5")),))
    outcome = ask(built, "--lost", "x")
    back = tmp_path / "back"
    assert files_below(back) == ["terns.md5", "terns.sha256", *sorted(f"terns/{path}" for path, _ in FILES)]
    for path, data in FILES:
        assert (back / "terns" / path).read_bytes() == data
    for kind in ("md5", "sha256"):
        lines = (back / f"terns.{kind}").read_text().splitlines()
        assert lines == [f"{hashlib.new(kind, data).hexdigest()}  terns/{path}" for path, data in FILES]
    assert outcome.out.startswith("Oystercatcher Pictures: All 3 files are back")
    assert "is on the same disk as y: what is back is no copy apart" in " ".join(outcome.out.split())


def test_what_comes_back_has_the_time_of_its_copy_and_usual_rights(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", copies=(copy("y", *FILES),))
    ask(built, "--lost", "x")
    facts = (tmp_path / "back/terns" / FILES[0][0]).stat()
    assert facts.st_mtime == held(*FILES)[0].modified.timestamp()
    (tmp_path / "usual").write_bytes(b"")
    assert facts.st_mode == (tmp_path / "usual").stat().st_mode


def test_each_file_is_one_of_its_own_also_where_two_are_promised_with_the_same_bytes(tmp_path: Path) -> None:
    same = (("a/one.dng", A), ("b/two.dng", A), ("c.xmp", b""), ("d.xmp", b""))
    built = lay(tmp_path / "s", shoots=(shoot(*same),), copies=(copy("y", ("any.dng", A), ("c.xmp", b"")),))
    ask(built, "--lost", "x")
    facts = [(tmp_path / "back/terns" / path).stat() for path, _ in same]
    assert [one.st_nlink for one in facts] == [1, 1, 1, 1] and len({one.st_ino for one in facts}) == 4
    assert [(tmp_path / "back/terns" / path).read_bytes() for path, _ in same] == [A, A, b"", b""]


@pytest.mark.parametrize("form", [".7z", ".zip", ".tar", ".tar.gz"])
def test_archives_give_theirs_and_what_is_damaged_elsewhere_is_taken_from_the_next(tmp_path: Path, form: str) -> None:
    rotten = (Held(FILES[0][0], b"rot" + A[3:]), *held(*FILES[1:]))
    built = lay(
        tmp_path / "s", media=media(*"xyz"), copies=(copy("x", *FILES, form=form), copy("y", holds=rotten), copy("z"))
    )
    told = ask(built, "--lost", "z", "--json", "-").record["shoots"][0]
    assert told["files"]["restored"] == 3 and set(told["sources"]) <= {"x", "y"} and "x" in told["sources"]


def test_a_second_run_reads_what_is_there_and_brings_only_the_rest(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    ask(built, "--lost", "x")
    back = tmp_path / "back/terns"
    (back / FILES[0][0]).unlink()
    (back / FILES[1][0]).write_bytes(b"rot" + B[3:])  # this disk is not to be believed either
    told = ask(built, "--lost", "x", "--json", "-").record["shoots"][0]
    assert (told["files"]["found"], told["files"]["restored"]) == (1, 2)
    assert (back / FILES[0][0]).read_bytes() == A
    assert (back / FILES[1][0]).read_bytes() == b"rot" + B[3:], "it may be somebody's work"
    assert (tmp_path / "back/terns.as-promised" / FILES[1][0]).read_bytes() == B
    assert [row["put"] for row in told["elsewhere"]] == [f"terns.as-promised/{FILES[1][0]}"]
    lines = (tmp_path / "back/terns.sha256").read_text().splitlines()
    assert f"{hashlib.sha256(B).hexdigest()}  terns.as-promised/{FILES[1][0]}" in lines and len(lines) == 3


def test_what_needs_the_lost_and_what_is_in_a_lost_place_is_not_touched(tmp_path: Path) -> None:
    key, cloud = Medium(id="phone", kind="phone", place="bag"), Medium(id="vault", place="home", needs=("phone",))
    built = lay(
        tmp_path / "s",
        media=(key, cloud, Medium(id="y", place="away")),
        copies=(copy("vault", *FILES), copy("y", *FILES[:1])),
    )
    told = ask(built, "--lost", "bag", "--json", "-", code=1).record
    assert told["lost"] == ["place:bag"]
    assert told["shoots"][0]["files"] == {
        "promised": 3,
        "found": 0,
        "restored": 1,
        "on_paper": 0,
        "lost": 2,
        "not_tried": 0,
    }
    assert "vault is lost, has no list" in " ".join(told["notes"])


def test_a_lost_account_with_a_lost_place_and_no_loss_but_a_shoot(tmp_path: Path) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        web = Medium(id="web", kind="cloud", place="provider", account="login")
        built = lay(
            tmp_path / "s",
            base=base,
            media=(web, Medium(id="y", place="home")),
            copies=(copy("web", *FILES, form="link", says=True), copy("y", *FILES)),
        )
        ask(built, "--lost", "login", into=tmp_path / "one")
        assert served.requests == []
        told = ask(built, "--lost", "home", "--json", "-", into=tmp_path / "two")
        assert told.record["shoots"][0]["sources"] == {"web": 3} and SECRET not in told.said
        ask(built, "--shoot", "terns", into=tmp_path / "three")


# --- in which order ------------------------------------------------------------------------------------------------


def test_clients_first_then_the_newest_and_named_classes_of_all_before_the_rest(tmp_path: Path) -> None:
    old, new, own = (tuple((f"{name}/{path}", picture(n * 10 + m)) for m, (path, _) in enumerate(FILES))
                     for n, name in enumerate(("old", "new", "own"), 1))  # fmt: skip
    shoots = (
        shoot(*own, id="own", date=DAY.replace(month=11)),
        shoot(*old, id="old", date=DAY.replace(month=1)),
        shoot(*new, id="new", date=DAY),
    )
    built = lay(
        tmp_path / "s",
        shoots=shoots,
        copies=(copy("y", *old, *new, *own),),
        classes=(("deliverables", ("**/deliver/*",)), ("originals", ("*.dng",))),
    )
    for name in ("old", "new"):
        add_lines(built, '\nclient = "Saltmarsh Trust"', after=f'id = "{name}"')
    told = ask(built, "--lost", "x", "--json", "-").record
    assert [row["shoot"] for row in told["shoots"]] == ["new", "old", "own"]
    named = ask(built, "--shoot", "own", "--shoot", "old", "--json", "-", into=tmp_path / "b").record
    assert [row["shoot"] for row in named["shoots"]] == ["own", "old"]
    ask(built, "--lost", "x", "--class", "deliverables", into=tmp_path / "c")
    changed = {path: (tmp_path / "c" / path).stat().st_ctime_ns for path in files_below(tmp_path / "c") if "/" in path}
    first = sorted(changed, key=lambda path: changed[path])[:3]
    assert first == [f"{id_}/{id_}/deliver/one.jpg" for id_ in ("new", "old", "own")]


# --- what is still missing -----------------------------------------------------------------------------------------


def test_what_is_missing_is_told_with_where_it_was_and_what_might_bring_it_back(tmp_path: Path) -> None:
    studio = {
        "media": (
            Medium(id="card", kind="card", place="bag"),
            Medium(id="drawer", kind="hard-disk", place="home"),
            Medium(id="web", kind="cloud", place="provider", account="login"),
        ),
        "shoots": (shoot(*FILES),),
        "classes": (("deliverables", ("deliver/**",)),),
        "copies": (
            copy("card", FILES[0], says=True),
            copy("drawer", FILES[1], says=True, out_of_reach="no at"),
            copy("web", FILES[2], says=True, form="link"),
        ),
    }
    with link_server(tmp_path / "s/cloud") as (base, served):
        built = lay(tmp_path / "s", base=base, **studio)
        add_lines(built, '\nclient = "Kiln Row"', after='id = "terns"')
        served.answer[f"/web/{FILES[2][0]}"] = (410, b"expired")
        outcome = ask(built, "--lost", "card", code=1)
        told = ask(built, "--lost", "card", "--json", "-", code=1).record["shoots"][0]["missing"]
    assert [(row["path"], row["outcome"]) for row in told] == [
        (FILES[0][0], "lost"),
        (FILES[1][0], "on_paper"),
        (FILES[2][0], "lost"),
    ]
    assert [[(seen["medium"], seen["state"]) for seen in row["last_seen"]] for row in told] == [
        [("card", "lost")],
        [("drawer", "away")],
        [("web", "refuses")],
    ]
    assert [[(way["how"], way["who"]) for way in row["ways"]] for row in told] == [
        [("lab", "card")],
        [("plug_in", "drawer")],
        [("support", "login"), ("client", "Kiln Row")],
    ]
    left = (tmp_path / "back/terns.STILL-MISSING.txt").read_text(encoding="utf-8")
    for words in (*(path for path, _ in FILES), "Plug in drawer", "laboratory", "support", "Ask Kiln Row"):
        assert words in left
        assert words in outcome.out


def test_the_list_of_what_is_missing_goes_when_nothing_is_missing_and_one_that_is_not_ours_stays(
    tmp_path: Path,
) -> None:
    built = lay(tmp_path / "s", copies=(copy("x", *FILES), copy("y", *FILES[:2])))
    missing = tmp_path / "back/terns.STILL-MISSING.txt"
    ask(built, "--lost", "x", code=1)
    assert FILES[2][0] in missing.read_text()
    ask(built, "--shoot", "terns")
    assert not missing.exists()
    missing.write_text("my own notes")
    (tmp_path / "back/terns" / FILES[0][0]).unlink()
    (tmp_path / "back/terns.sha256").write_text("my own list")
    outcome = ask(built, "--lost", "x", code=0)
    assert missing.read_text() == "my own notes" and "is no list of ours" in outcome.err
    assert (tmp_path / "back/terns.sha256").read_text() == "my own list"
    assert (tmp_path / "back/terns.as-promised.sha256").read_text().count("\n") == 3


def test_the_list_of_another_shoot_stays_until_that_shoot_is_back(tmp_path: Path) -> None:
    """A run for one shoot must not look like an all-clear for another."""
    shoots = (shoot(*FILES), shoot(("dunlin/D.dng", D), id="dunlins"))
    built = lay(tmp_path / "s", shoots=shoots, copies=(copy("x", *FILES), copy("y", *FILES[:2], ("dunlin/D.dng", D))))
    lists = [tmp_path / f"back/{name}.STILL-MISSING.txt" for name in ("terns", "dunlins")]
    ask(built, "--lost", "x", code=1)
    told = lists[0].read_text(encoding="utf-8")
    assert FILES[2][0] in told and "dunlin" not in told and not lists[1].exists()
    ask(built, "--lost", "x", "--shoot", "dunlins")
    assert lists[0].read_text(encoding="utf-8") == told
    (tmp_path / "back/dunlins/dunlin/D.dng").unlink()
    ask(built, "--lost", "y", "--shoot", "dunlins", code=1)
    assert "dunlin/D.dng" in lists[1].read_text(encoding="utf-8")
    assert lists[0].read_text(encoding="utf-8") == told
    ask(built, "--shoot", "terns")
    assert not lists[0].exists() and lists[1].exists()


def test_the_disk_of_what_is_lost_is_warned_of_before_anything_is_written(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    outcome = ask(built, "--lost", "x")
    assert f"warning: {tmp_path / 'back'} is on the same disk as x, lost" in outcome.err
    assert "Better a folder on another disk" in " ".join(outcome.out.split())


# --- names ---------------------------------------------------------------------------------------------------------


def test_a_name_that_is_taken_by_a_folder_or_too_long_still_comes_back(tmp_path: Path) -> None:
    long = "deep/" + "n" * 300 + ".dng"
    files = (("raw", A), ("raw.d/one.dng", B), (long, C))
    built = lay(
        tmp_path / "s",
        shoots=(shoot(*files),),
        copies=(copy("y", *((f"{n}.dng", d) for n, (_, d) in enumerate(files))),),
    )
    (tmp_path / "back/terns/raw").mkdir(parents=True)
    (tmp_path / "back/terns/raw.d").write_bytes(b"a file where a folder should be")
    outcome = ask(built, "--lost", "x", "--json", "-")
    told = {row["path"]: row["put"] for row in outcome.record["shoots"][0]["elsewhere"]}
    assert told["raw"] == "terns.as-promised/raw" and told["raw.d/one.dng"] == "terns.as-promised/raw.d/one.dng"
    assert told[long].startswith("terns.as-promised/00003-deep-nnn") and told[long].endswith(".dng")
    for path, data in files:
        assert (tmp_path / "back" / told[path]).read_bytes() == data
    assert ask(built, "--lost", "x", "--json", "-").record["shoots"][0]["files"]["found"] == 3


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_a_link_in_the_folder_leads_to_no_copy(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    (tmp_path / "back/terns").mkdir(parents=True)
    (tmp_path / "back/terns/raw").symlink_to(tmp_path / "s/media/x/raw", target_is_directory=True)
    (tmp_path / "s/media/x/raw/AAAA0001.dng").unlink()
    told = ask(built, "--lost", "y", "--json", "-", code=1).record["shoots"][0]
    assert [row["path"] for row in told["missing"]] == [FILES[0][0]]
    assert told["files"]["found"] == 0, "what stands behind the link is the copy itself"
    assert files_below(tmp_path / "back/terns.as-promised") == ["raw/AAAA0002.dng"]


# --- what is refused -----------------------------------------------------------------------------------------------


def refused(built: Built, *arguments: str | Path, words: tuple[str, ...]) -> None:
    """Exit 2, every mistake said, nothing written."""
    root = built.file.parent.parent
    before = census(root)
    outcome = start("recover", built.file, "--no-ledger", *arguments, cwd=built.file.parent)
    assert outcome.code == 2, outcome.said
    assert [word for word in words if word not in outcome.err] == [], outcome.said
    assert census(root) == before


def test_exit_2_lists_all_that_is_wrong_and_the_known_ids(tmp_path: Path) -> None:
    built = lay(tmp_path / "s", places=(Place(id="shed"),))
    refused(
        built,
        *("--lost", "nobody", "--shoot", "none", "--class", "odd", "--into", tmp_path / "back"),
        words=("nobody", "medium:x, medium:y", "place:shed", "none", "terns", "odd", "other"),
    )
    refused(built, "--into", tmp_path / "back", words=("--lost", "no shoot is named"))


@pytest.mark.parametrize(
    ("into", "words"),
    [
        ("s/media/x/back", "falls inside the copy x"),
        ("s/media", "has the copy x, the copy y in it"),
        ("s", "more in it"),
        ("s/reports/back", "falls inside the reports"),
        ("s/scratch/back", "falls inside scratch"),
        ("s/ledger.headers/back", "falls inside the saved headers"),
        ("nowhere/back", "is not there"),
        ("s/studio.toml", "falls inside the studio file"),
        ("a-file", "is a file"),
        ("door", "falls inside the copy x"),
    ],
)
def test_exit_2_for_a_folder_that_is_not_its_own(tmp_path: Path, into: str, words: str) -> None:
    built = lay(tmp_path / "s")
    (tmp_path / "a-file").write_bytes(b"")
    if into == "door":
        try:
            (tmp_path / "door").symlink_to(tmp_path / "s/media/x", target_is_directory=True)
        except OSError:
            pytest.skip("this system lets no symbolic link be made")
    refused(built, "--lost", "y", "--into", tmp_path / into, words=(words, "--into"))


def test_exit_2_where_two_things_would_want_one_name(tmp_path: Path) -> None:
    built = lay(
        tmp_path / "s",
        shoots=(shoot(*FILES, id="terns"), shoot(*FILES, id="Terns"), shoot(*FILES, id="terns.as-promised")),
    )
    refused(built, "--lost", "x", "--into", tmp_path / "back", words=("Terns", "terns.as-promised", "alone"))
    ask(built, "--shoot", "Terns")


def test_an_id_that_is_two_things_has_to_be_said_more_closely(tmp_path: Path) -> None:
    two = (Medium(id="home", place="home"), Medium(id="y", place="home"), Medium(id="z", place="z"))
    built = lay(tmp_path / "s", media=two, copies=(copy("home", *FILES), copy("y", *FILES), copy("z")))
    refused(built, "--lost", "home", "--into", tmp_path / "back", words=("medium:home or place:home",))
    ask(built, "--lost", "place:home", code=1)
    ask(built, "--lost", "medium:home", "--lost", "z")


# --- cut short -----------------------------------------------------------------------------------------------------


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGINT for another process")
def test_interrupted_it_keeps_what_is_back_and_goes_on(tmp_path: Path) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        web = Medium(id="web", kind="cloud", place="provider")
        built = lay(
            tmp_path / "s",
            base=base,
            media=(web, Medium(id="y", place="home")),
            copies=(copy("y", *FILES[:2]), copy("web", FILES[2], form="link", says=True)),
        )
        served.stuck.add(f"/web/{FILES[2][0]}")
        arguments = (
            "recover",
            built.file,
            "--shoot",
            "terns",
            "--into",
            tmp_path / "back",
            "--now",
            NOW,
            "--json",
            "-",
        )
        running = begin(*arguments, cwd=tmp_path)
        assert served.arrived.wait(30)
        running.send_signal(signal.SIGINT)
        time.sleep(0.3)
        served.release.set()
        out, err = running.communicate(timeout=60)
        assert running.returncode == 3, err
        assert "goes on from there" in err
        record = json.loads(out)
        assert record["complete"] is False and record["all_back"] is False
        served.stuck.clear()
        again = start(*arguments, cwd=tmp_path)
        assert (again.code, again.record["shoots"][0]["files"]["restored"]) != (0, 0), again.said
        assert again.code == 0 and not (tmp_path / "back/.drill-recovery").exists()


def test_two_at_once_into_one_folder_are_one_too_many(tmp_path: Path) -> None:
    with link_server(tmp_path / "s/cloud") as (base, served):
        web = Medium(id="web", kind="cloud", place="provider")
        built = lay(tmp_path / "s", base=base, media=(web,), copies=(copy("web", *FILES, form="link", says=True),))
        served.stuck.add(f"/web/{FILES[2][0]}")
        arguments = ("recover", built.file, "--shoot", "terns", "--into", tmp_path / "back", "--no-ledger")
        running = begin(*arguments, cwd=tmp_path)
        assert served.arrived.wait(30)
        second = start(*arguments, cwd=tmp_path)
        assert second.code == 3 and "another recovery" in second.err, second.said
        served.release.set()
        _, err = running.communicate(timeout=60)
        assert running.returncode == 0, err


def test_the_ledger_knows_of_it_what_was_read_and_what_was_on_the_lost(tmp_path: Path) -> None:
    built = lay(tmp_path / "s")
    with_ledger = ("recover", built.file, "--into", tmp_path / "back", "--json", "-")
    assert start("audit", built.file, cwd=tmp_path).code == 0
    for path in ("x", "y"):
        (tmp_path / "s/media" / path / FILES[0][0]).unlink()
    outcome = start(*with_ledger, "--lost", "x", cwd=tmp_path)
    assert outcome.code == 1, outcome.said
    (row,) = outcome.record["shoots"][0]["missing"]
    assert [(seen["copy"], seen["path"], seen["state"]) for seen in row["last_seen"]] == [("x", FILES[0][0], "lost")]
    survey = start("survey", built.file, "--json", "-", cwd=tmp_path).record
    proofs = {each["copy"]: each["proven"] for each in survey["shoots"][0]["verified"]["copies"]}
    assert proofs["y"] == 2
    assert start("history", built.file, cwd=tmp_path).code in (0, 1)
