"""What goes with a medium, what lies beside its copies, and the words of the answer."""

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from worlds import NOW, laid_out

import drill.quick
from drill.guard import top_of
from drill.ledger import Ledger
from drill.model import Copy, Medium, Studio
from drill.quick import FORGETS
from drill.report.retire_text import answer, retire_text
from drill.retire import Options, desk, retire
from drill.retire.beside import lies_beside
from drill.retire.going import going
from drill.retirerecord import Contents, Named, Reason, Retirement, ShootLeft, dump
from drill.studio import load_studio
from drill.testing.world import CopyPlan, World


def medium(id_: str, kind: str = "ssd", **more: object) -> Medium:
    return Medium(id_, kind, "home", attached=False, offsite=False, carried=False, **more)  # type: ignore[arg-type]


def studio(*media: Medium, at: dict[str, Path] | None = None) -> Studio:
    copies = tuple(Copy(m.id, m.id, (at or {}).get(m.id), None, "folder", None, None) for m in media)
    home = Path("nowhere")
    return Studio(home, "Reed", None, home, home, {}, {}, {m.id: m for m in media}, {}, (), copies)


# --- what goes ---------------------------------------------------------------------------------------------------


def test_needs_and_mirrors_are_followed_to_their_ends() -> None:
    media = (
        medium("phone"),
        medium("tablet", needs=("phone",)),
        medium("reader", needs=("tablet",)),
        medium("cloud", mirrors="phone", keeps_versions_s=1.0),
        medium("second", mirrors="cloud"),
        medium("locked", needs=("second",)),
        medium("shelf"),
    )
    gone = going(studio(*media), "phone")
    assert gone.media == ("phone", "reader", "tablet")
    assert set(gone.not_counted) == {"cloud", "second", "locked"}
    counted = [copy.id for copy in studio(*media).copies if gone.counts(copy)]
    assert counted == ["shelf"]
    assert going(studio(*media), "second").media == ("second", "locked")  # what it mirrors stays


def test_a_ring_of_mirrors_ends() -> None:
    ring = studio(medium("a", mirrors="b"), medium("b", mirrors="a"))
    assert set(going(ring, "a").not_counted) == {"b"}


def test_a_login_takes_its_other_clouds_but_not_with_a_tablet() -> None:
    tablet = medium("tablet", kind="tablet", account="login")
    media = (medium("cloud", kind="cloud", account="login"), tablet, medium("free", kind="cloud"))
    assert set(going(studio(*media), "cloud").not_counted) == {"tablet"}
    assert going(studio(*media), "tablet").not_counted == {}


def test_folders_in_each_other_are_the_same_files(tmp_path: Path) -> None:
    inner = tmp_path / "a/b"
    inner.mkdir(parents=True)
    links = tmp_path / "link"
    media = (medium("a"), medium("b"), medium("c"), medium("d"))
    places = {"a": tmp_path / "a", "b": inner, "c": tmp_path / "other"}
    (tmp_path / "other").mkdir()
    if os.name == "posix":
        links.symlink_to(tmp_path / "a")
        places["d"] = links
    shared = going(studio(*media, at=places), "a").shared
    assert set(shared) == ({"b", "d"} if os.name == "posix" else {"b"})


# --- beside ------------------------------------------------------------------------------------------------------


def fill(top: Path, *paths: str) -> None:
    for path in paths:
        (top / path).parent.mkdir(parents=True, exist_ok=True)
        (top / path).write_bytes(b"x")


def test_a_film_beside_dcim_is_seen(tmp_path: Path) -> None:
    fill(tmp_path, "DCIM/100REED_/A.DNG", "PRIVATE/CLIP/C0001.MP4", "CARD-7.txt", ".DS_Store", "MISC/AUTPRINT.MRK")
    (tmp_path / "EMPTY").mkdir()
    known = [tmp_path / "CARD-7.txt"]
    assert lies_beside(tmp_path, [tmp_path / "DCIM"], besides=known) == ["PRIVATE/"]
    assert lies_beside(tmp_path, [tmp_path], besides=known) == []


def test_archives_and_deeper_copies(tmp_path: Path) -> None:
    fill(tmp_path, "2026/heron.7z", "2026/kiln.7z", "2025/old.7z", "notes.txt", "work/day/raw/A.DNG", "work/b.dng")
    copies = [tmp_path / "2026/heron.7z", tmp_path / "work/day"]
    assert lies_beside(tmp_path, copies) == ["2025/", "2026/kiln.7z", "notes.txt", "work/b.dng"]


def test_the_disk_of_the_home_folder_is_no_medium_of_its_own(tmp_path: Path) -> None:
    assert top_of(tmp_path) is None
    assert top_of(Path.home()) is None


@pytest.mark.skipif(not os.path.ismount("/proc"), reason="needs some other mount")
def test_another_mount_has_a_top() -> None:
    assert top_of(Path("/proc/self")) == Path("/proc")


# --- a copy that vanishes ----------------------------------------------------------------------------------------


def test_a_copy_that_vanishes_leaves_no_answer(tmp_path: Path) -> None:
    world = World(2, (CopyPlan("card", "bag", frozenset({0, 1})), CopyPlan("x", "home", frozenset({0, 1}))))
    with laid_out(world, tmp_path) as studio_file, Ledger.open(None) as ledger, pytest.MonkeyPatch.context() as patch:
        reads = desk.read_files

        def reading(*jobs: Any, **more: Any) -> Any:
            (studio_file.parent / "media/x").rename(tmp_path / "unplugged")
            return reads(*jobs, **more)

        patch.setattr(desk, "read_files", reading)
        record = retire(load_studio(studio_file), "card", ledger, Options(NOW))
    assert record.may_go is None and record.unfinished == "x vanished while being read: plug it in again"
    assert record.contents.promised == 2


@pytest.mark.parametrize("stays", [False, True])
def test_a_yes_that_may_rest_on_this_computers_memory_says_so(tmp_path: Path, stays: bool) -> None:
    world = World(2, (CopyPlan("card", "bag", frozenset({0, 1})), CopyPlan("x", "home", frozenset({0, 1}))))
    with laid_out(world, tmp_path) as studio_file, Ledger.open(None) as ledger, pytest.MonkeyPatch.context() as patch:
        if stays:
            patch.setattr(drill.quick, "is_at_hand", lambda fd: True)
        record = retire(load_studio(studio_file), "card", ledger, Options(NOW))
    said = [caution for caution in record.cautions if "memory" in caution]
    assert len(said) == (stays or not FORGETS), record
    assert all(caution.startswith("what was read from x may have come from") for caution in said)


# --- words -------------------------------------------------------------------------------------------------------

LEFT = ShootLeft(
    "reed", 3, 3000, 3, 1, "2026-11-20T20:00:00Z", {"x": 3}, 1, 1, 0, 1, (("place:home",),), 70.0, 60.0, None
)
YES = Retirement(
    studio="Reed",
    medium="card",
    kind="card",
    started="2026-11-24T20:00:00Z",
    now="2026-11-24T20:00:00Z",
    may_go=True,
    reasons=(),
    shoots=(LEFT,),
    contents=Contents(4, 3000, 3, 1, 0, 0),
)
ONE = (Named("card", "la\x1b[2Jte.dng", "named like reed: a.dng, with other bytes"),)


@pytest.mark.parametrize(
    ("kind", "verb"), [("card", "formatted"), ("cloud", "cancelled"), ("ssd", "let go"), ("tape", "let go")]
)
def test_yes_in_one_line(kind: str, verb: str) -> None:
    assert answer(replace(YES, kind=kind)) == f"Yes: card may be {verb}."


@pytest.mark.parametrize(
    "why", ["not_known", "extra", "unreadable", "not_read", "needed", "not_verified", "weak", "too_few", "too_slow"]
)
@pytest.mark.parametrize("width", [60, 80, 120])
def test_every_reason_has_its_words_and_fits(why: str, width: int) -> None:
    files = ONE if why in ("extra", "unreadable", "not_read", "needed", "not_verified", "weak") else ()
    no = replace(YES, may_go=False, reasons=(Reason(why, "reed", "some words", files), Reason("extra", None, "", ONE)))
    text = retire_text(no, width=width)
    first = text.splitlines()[0]
    assert first.startswith("No: card must be kept: ") and "\x1b" not in text
    assert max(map(len, text.splitlines())) <= width
    assert text.index("Shoot by shoot") < text.index("What to do first") < text.index("What a yes does not prove")
    assert "and 1 more reason." in " ".join(text.split())


def test_many_files_are_cut_and_the_record_has_all() -> None:
    files = tuple(Named("card", f"R{number:04d}.DNG", "") for number in range(25))
    no = replace(YES, may_go=False, reasons=(Reason("extra", None, "no promise knows them", files),))
    assert "and 15 more" in retire_text(no) and "R0024" not in retire_text(no) and "R0024" in dump(no)


def test_an_unfinished_answer_is_none() -> None:
    cut = replace(YES, may_go=None, unfinished="interrupted")
    assert answer(cut) == "No answer yet: card must be kept."
    assert '"answer": null' in dump(cut) and "interrupted" in retire_text(cut)


def test_cautions_stand_right_below_a_yes() -> None:
    thin = replace(YES, but=("files of reed are then in one place only",), cautions=("look at what lies beside",))
    lines = retire_text(thin, width=120).splitlines()
    assert lines[0] == "Yes, but files of reed are then in one place only: card may be formatted."
    text = "\n".join(lines)
    assert text.index("look at what lies beside") < text.index("Shoot by shoot") and "To know" not in text


DAMAGED = (Named("zip", "heron/R0007.DNG", "other bytes than promised"),)
SHORT = replace(LEFT, survivable=0, survivable_target=1, places=("home", "bag"))
FEW = replace(YES, may_go=False, reasons=(Reason("too_few", "reed", "some words"),), damaged=DAMAGED, shoots=(SHORT,))


def test_what_is_wrong_elsewhere_is_named_and_mending_it_is_the_answer() -> None:
    text = retire_text(replace(FEW, mendable=("reed",)), width=120)
    assert "repair or replace heron/R0007.DNG on zip, and ask again" in text and "one more copy" not in text
    text = retire_text(FEW, width=120)
    assert "repair or replace heron/R0007.DNG on zip" in text and "make one more copy" in text


@pytest.mark.parametrize(
    ("left", "words"),
    [
        (SHORT, "make one more copy of reed at a place other than home and bag, and ask again"),
        (
            replace(SHORT, survivable_target=2, places=("home",), accounts=("web", "nas")),
            "make 2 more copies of reed, each at a place of its own, other than home, and not behind the login web or "
            "nas, and ask again",
        ),
    ],
)
def test_too_few_places_says_which_they_are_and_what_would_do(left: ShootLeft, words: str) -> None:
    text = " ".join(retire_text(replace(FEW, shoots=(left,)), width=120).split())
    assert f"- {words}" in text


def test_what_was_cut_short_advises_to_run_it_again_alone() -> None:
    reasons = (
        Reason("not_verified", "reed", "", ONE),
        Reason("not_read", None, "", ONE),
        Reason("too_few", "reed", ""),
    )
    text = retire_text(replace(YES, may_go=None, reasons=reasons, unfinished="interrupted"), width=120)
    assert "1 file on it was not read yet" in text and "1 file not verified elsewhere yet" in text
    assert "run it again" in text and "copy what can" not in text and "bring the files" not in text
    assert "could not be read" not in text and "one more copy" not in text


def test_a_cloud_is_not_plugged_in() -> None:
    away = replace(
        YES,
        kind="cloud",
        medium="cloud",
        may_go=False,
        reasons=(Reason("not_known", None, "cloud cannot be reached"),),
        shoots=(),
        contents=Contents(0, 0, 0, 0, 0, 0),
    )
    text = retire_text(away, width=120)
    assert "log in to cloud, or get a new link" in text and "plug" not in text and "0 of 0" not in text
    assert "what is on cloud could not be looked at" in text and "plug card in" in retire_text(
        replace(away, kind="card", medium="card")
    )
