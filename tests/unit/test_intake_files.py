"""Around the sorting: what --medium says, real files read for real, the studio file that is written, what is added."""

import io
import os
import sys
import time
import zipfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest
from piles import film, jpeg, raw, sha

from drill.errors import Mistakes
from drill.intake.additions import added_files
from drill.intake.draft import Change, first_files
from drill.intake.media import Given, copies_on, medium_for, read_given
from drill.intake.run import Look, look
from drill.ledger import Ledger
from drill.manifests import read_manifest
from drill.model import Copy, Medium, Shoot
from drill.proposal import Proposal
from drill.studio import load_studio

NOW = datetime(2026, 11, 1, tzinfo=UTC)
NINE = datetime(2026, 9, 12, 9)


def put(path: Path, content: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


class Table:
    """Media that lie on the table: a look at them, and what comes of it."""

    def __init__(self, *media: str, digest: str = "xxh128", ledger: Path | None = None) -> None:
        self.media: dict[str, Medium] = {}
        self.copies: list[Copy] = []
        self.digest, self.ledger = digest, ledger
        taken: set[str] = set()
        for one in read_given(media):
            medium, _ = medium_for(one, taken=self.media, ask=None)
            self.media[medium.id] = medium
            self.copies += copies_on(one, medium, taken=taken)

    def look(self, scratch: Path, promised: Sequence[Shoot] = (), gap_s: float = 6 * 3600) -> Proposal:
        with Ledger.open(self.ledger) as ledger:
            return look(
                Look(
                    media=self.media,
                    copies=self.copies,
                    assumed=frozenset(self.media),
                    gap_s=gap_s,
                    digest=self.digest,
                    now=NOW,
                    scratch=scratch,
                    ledger=ledger,
                    progress=lambda _: None,
                    promised=promised,
                )
            )

    def write(self, folder: Path) -> Path:
        proposal = self.look(folder)
        write(first_files(folder, proposal, name="Reed", media=self.media, copies=self.copies))
        return folder / "studio.toml"


def write(changes: Sequence[Change]) -> None:
    for change in changes:
        put(change.path, change.content)


def paths(proposal: Proposal) -> dict[str, list[str]]:
    return {shoot.id: [line.path for line in shoot.lines] for shoot in proposal.shoots}


# --- --medium ----------------------------------------------------------------------------------------------------


def wrong(*media: str) -> dict[str, str]:
    with pytest.raises(Mistakes) as caught:
        read_given(media)
    return {mistake.at: mistake.what for mistake in caught.value.mistakes}


def test_every_mistake_in_media_is_found_at_once(tmp_path: Path) -> None:
    card, empty, file = tmp_path / "card", tmp_path / "empty", put(tmp_path / "a.jpg", b"x")
    put(card / "DCIM/1.jpg", b"x")
    empty.mkdir()
    found = wrong(
        "card",
        f"floppy={card}",
        f"card={tmp_path / 'nowhere'}",
        f"ssd={file}",
        f"tablet={empty}",
        "cloud=https://example.org/pictures",
        f"card={card}",
        f"ssd={card / 'DCIM'}",
    )
    assert "KIND=PATH" in found["card"]
    assert "no kind of medium" in found[f"floppy={card}"]
    assert "no such folder" in found[f"card={tmp_path / 'nowhere'}"]
    assert "no archive" in found[f"ssd={file}"]
    assert "empty" in found[f"tablet={empty}"]
    assert "archive's name" in found["cloud=https://example.org/pictures"]
    assert "counts as" in found[str(card / "DCIM")] or "count as two" in found[str(card / "DCIM")]
    assert len(found) == 7


@pytest.mark.parametrize("where", ["~nobody-of-that-name/x", "x" * 5000, "a/" * 4000])
def test_paths_that_the_system_refuses_are_mistakes(where: str) -> None:
    assert len(wrong(f"card={where}")) == 1


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux takes any bytes for a name")
def test_a_medium_whose_name_is_no_text_is_a_mistake(tmp_path: Path) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/c\xffrd"))
    put(folder / "1.jpg", b"x")
    assert "no valid text" in next(iter(wrong(f"card={folder}").values()))


def test_media_get_names_kinds_and_places(tmp_path: Path) -> None:
    for name in ("Archive A", "DCIM", "x/DCIM", "y/Archive A"):
        put(tmp_path / name / "1.jpg", b"x")
    table = Table(
        f"hard-disk={tmp_path / 'Archive A'}",
        f"card={tmp_path / 'DCIM'}",
        f"card={tmp_path / 'x/DCIM'}",
        f"ssd={tmp_path / 'y/Archive A'}",
        "tablet=",
        "cloud=https://example.org/2026/heron.zip?token=1",
    )
    assert list(table.media) == ["archive-a", "card", "card-2", "archive-a-2", "tablet", "cloud"]
    assert [medium.place for medium in table.media.values()] == ["home", "bag", "bag", "bag", "bag", "provider"]
    assert table.media["cloud"].account == "cloud-login"
    assert (table.copies[-2].form, table.copies[-1].form) == (None, "link")
    assert (table.copies[-2].at, table.copies[-1].archive) == (None, ".zip")


def test_a_place_that_is_answered_is_not_assumed() -> None:
    (given,) = read_given(["tablet="])
    asked: list[str] = []

    def ask(question: str, assumed: str) -> str:
        asked.append(f"{question} {assumed}")
        return "Home office"

    medium, assumed = medium_for(given, taken=(), ask=ask)
    assert (medium.place, medium.carried, assumed) == ("home-office", False, False)
    assert "tablet" in asked[0]
    assert "bag" in asked[0]


def test_archives_below_a_folder_are_copies_of_their_own(tmp_path: Path) -> None:
    for name in ("A.ZIP", "years/b.tar.gz", ".Trashes/c.zip", "._d.zip", "e.rar", "years/a.7z"):
        put(tmp_path / "drive" / name, b"x")
    table = Table(f"ssd={tmp_path / 'drive'}")
    assert [copy.id for copy in table.copies] == ["drive", "drive-a-zip", "drive-a-7z", "drive-b"]
    assert {copy.on for copy in table.copies} == {"drive"}
    again = Given("ssd", tmp_path / "drive")
    known = [copy.at for copy in table.copies if copy.at is not None and copy.id != "drive-a-7z"]
    later = copies_on(again, table.media["drive"], taken={"drive-a"}, known=known)
    assert [copy.id for copy in later] == ["drive-a-7z"]  # of a name that an older studio file gave to another


# --- a look at real files ----------------------------------------------------------------------------------------


def test_no_file_time_tells_a_shoots_day(tmp_path: Path) -> None:
    long_ago = datetime(2001, 2, 3, tzinfo=UTC).timestamp()
    for name, content in (("1.jpg", jpeg(1, NINE, "Reed")), ("2.jpg", jpeg(2, None, "Reed")), ("3.mov", film(3))):
        os.utime(put(tmp_path / "a/heron" / name, content), (long_ago, long_ago))
    os.utime(put(tmp_path / "a/scans/4.jpg", jpeg(4, None, "Reed")), (long_ago, long_ago))
    proposal = Table(f"ssd={tmp_path / 'a'}").look(tmp_path)
    assert {shoot.id: (shoot.date, shoot.date_from) for shoot in proposal.shoots} == {
        "heron": (NINE.date(), "capture times"),
        "scans": (None, "not known"),
    }


def test_raws_pair_with_jpegs_films_and_sidecars_on_a_card_with_two_cameras(tmp_path: Path) -> None:
    card = tmp_path / "card/DCIM"
    put(card / "100REED_/REED0001.JPG", jpeg(1, NINE, "Reed"))
    put(card / "100REED_/REED0001.DNG", raw(1, NINE, "Reed"))
    put(card / "100REED_/REED0002.MOV", film(2))
    put(card / "101KILN_/KILN0001.JPG", jpeg(3, NINE.replace(hour=10), "Kiln"))
    put(card / "101KILN_/KILN0001.XMP", b"<x/>")
    (shoot,) = Table(f"card={tmp_path / 'card'}").look(tmp_path).shoots
    assert shoot.id == "2026-09-12"
    assert len(shoot.lines) == 5


def test_what_a_ledger_knows_of_other_kinds_makes_no_second_reading_of_equal_bytes(tmp_path: Path) -> None:
    for medium in ("a", "b"):
        put(tmp_path / medium / "heron/1.jpg", jpeg(1, NINE, "Reed"))
        os.utime(tmp_path / medium / "heron/1.jpg", (10**9, 10**9))
    ledger = tmp_path / "ledger"
    Table(f"ssd={tmp_path / 'a'}", digest="sha256", ledger=ledger).look(tmp_path)
    table = Table(f"ssd={tmp_path / 'a'}", f"card={tmp_path / 'b'}", ledger=ledger)
    (shoot,) = table.look(tmp_path).shoots
    assert len(shoot.lines) == 1
    assert shoot.disagreements == ()


def test_a_file_that_was_never_filled_is_left_out_and_said_and_no_list_counts_it(tmp_path: Path) -> None:
    right = jpeg(1, NINE, "Reed")
    put(tmp_path / "a/heron/1.jpg", right)
    put(tmp_path / "b/heron/1.jpg", bytes(len(right)))
    put(tmp_path / "b/heron/2.jpg", b"")
    put(tmp_path / "b/heron/3.jpg", jpeg(3, NINE, "Reed"))
    stated = (tmp_path / "b/heron/1.jpg").read_bytes()
    lines = [f"{sha(stated)}  heron/1.jpg", f"{sha(b'')}  heron/2.jpg", f"{sha(jpeg(3, NINE, 'Reed'))}  heron/3.jpg"]
    put(tmp_path / "b/SHA256SUMS", "\n".join(lines).encode())
    proposal = Table(f"ssd={tmp_path / 'a'}", f"card={tmp_path / 'b'}").look(tmp_path)
    assert paths(proposal) == {"heron": ["1.jpg", "3.jpg"]}
    assert proposal.shoots[0].disagreements == ()
    assert any("heron/1.jpg, heron/2.jpg" in note and "never filled" in note for note in proposal.notes)
    assert {item.path for item in proposal.lists["b"]} == {"heron/1.jpg", "heron/2.jpg", "heron/3.jpg"}


def test_what_lists_name_and_no_copy_has_is_promised_once_beside_its_neighbours(tmp_path: Path) -> None:
    for number, medium in ((1, "a"), (1, "b")):
        put(tmp_path / medium / f"DCIM/100REED_/REED000{number}.JPG", jpeg(number, NINE, "Reed"))
    put(tmp_path / "a/DCIM/100REED_/REED0009.JPG", jpeg(9, NINE.replace(day=20), "Reed"))
    lost = jpeg(2, NINE, "Reed")
    lines = [f"{sha(jpeg(1, NINE, 'Reed'))}  DCIM/100REED_/REED0001.JPG", f"{sha(lost)}  DCIM/100REED_/REED0002.JPG"]
    lines.append(f"{sha(jpeg(9, NINE.replace(day=20), 'Reed'))}  DCIM/100REED_/REED0009.JPG")
    for medium in "ab":
        put(tmp_path / medium / "card.sha256", "\n".join(lines[: 3 if medium == "a" else 2]).encode())
    put(tmp_path / "b/other.sha256", f"{'0' * 64}  nothing/of/this.jpg\n".encode())
    proposal = Table(f"ssd={tmp_path / 'a'}", f"card={tmp_path / 'b'}").look(tmp_path)
    assert paths(proposal)["2026-09-12"] == ["100REED_/REED0001.JPG", "DCIM/100REED_/REED0002.JPG"]
    assert len(proposal.shoots) == 2
    assert proposal.shoots[0].lines[1].digests[0].hex == sha(lost)
    assert any("other.sha256" in note and "not promised" in note for note in proposal.notes)


def test_a_listed_file_that_lies_elsewhere_damaged_is_one_promise(tmp_path: Path) -> None:
    names = ("REED0001.MOV", "REED0002.MOV")
    contents = [film(1), film(2)]
    put(tmp_path / "a/heron" / names[0], contents[0])
    put(
        tmp_path / "a/SHA256SUMS",
        "".join(f"{sha(c)}  heron/{n}\n" for n, c in zip(names, contents, strict=True)).encode(),
    )
    put(tmp_path / "b/heron" / names[0], contents[0])
    put(tmp_path / "b/heron" / names[1], contents[1][:3000])
    (shoot,) = Table(f"ssd={tmp_path / 'a'}", f"card={tmp_path / 'b'}").look(tmp_path).shoots
    assert [line.path for line in shoot.lines] == list(names)
    assert shoot.lines[1].digests[0].hex == sha(contents[1])
    assert shoot.disagreements[0].readings == (("b",),)


def test_bags_and_archives_are_shoots_by_their_names(tmp_path: Path) -> None:
    put(tmp_path / "a/bags/heron-2026/bagit.txt", b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    put(tmp_path / "a/bags/heron-2026/data/1.jpg", jpeg(1, NINE, "Reed"))
    lines = f"{sha(jpeg(1, NINE, 'Reed'))}  data/1.jpg\n"
    put(tmp_path / "a/bags/heron-2026/manifest-sha256.txt", lines.encode())
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w") as packed:
        packed.writestr("raw/1.jpg", jpeg(2, NINE.replace(day=20), "Reed"))
    put(tmp_path / "a/years/Kiln Yard.ZIP", box.getvalue())
    proposal = Table(f"hard-disk={tmp_path / 'a'}").look(tmp_path)
    assert paths(proposal) == {"heron-2026": ["1.jpg"], "kiln-yard": ["raw/1.jpg"]}
    assert proposal.shoots[0].why == "listed in a: bags/heron-2026/manifest-sha256.txt"


def test_which_opens_is_seen_by_decoding(tmp_path: Path) -> None:
    right = jpeg(1, NINE, "Reed")
    put(tmp_path / "a/heron/1.jpg", right[:3000])
    put(tmp_path / "a/heron/2.jpg", jpeg(2, NINE, "Reed"))
    put(tmp_path / "b/heron/1.jpg", right)
    (shoot,) = Table(f"ssd={tmp_path / 'a'}", f"card={tmp_path / 'b'}").look(tmp_path).shoots
    assert [(one.why, one.judged) for one in shoot.disagreements] == [("it opens and the other does not", True)]
    assert shoot.lines[0].size == len(right)


def test_five_thousand_small_files_take_a_moment(tmp_path: Path) -> None:
    made = [put(tmp_path / f"a/heron/{n:04d}.dng", b"%d" % n) for n in range(2500)]
    (tmp_path / "b").mkdir()
    for n, one in enumerate(made):
        os.link(one, tmp_path / f"b/{n:04d}.dng") if hasattr(os, "link") else put(
            tmp_path / f"b/{n:04d}.dng", b"%d" % n
        )
    table = Table(f"ssd={tmp_path / 'a'}", f"card={tmp_path / 'b'}")
    start_s = time.perf_counter()
    (shoot,) = table.look(tmp_path).shoots
    assert time.perf_counter() - start_s < 20  # a quadratic step takes minutes
    assert len(shoot.lines) == 2500


# --- the first studio file ---------------------------------------------------------------------------------------

NASTY = [
    "it's.jpg",
    'say "cheese".jpg',
    "two\nlines.jpg",
    "cr\rreturn.jpg",
    "back\\slash.jpg",
    "wave 🌊.jpg",
    "# comment.jpg",
    "tab\there.jpg",
    "[x] = 1.jpg",
    "%0A.jpg",
    " space .jpg",
]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such names")
@pytest.mark.parametrize("digest", ["xxh128", "sha256"])
def test_nasty_names_come_through_the_studio_file_and_its_lists(tmp_path: Path, digest: str) -> None:
    for folder in ('# x = "', "date = 2026]]", "'''quoted'''", "ridge\n[[media]]", "hires [9-1]", 'web "x"'):
        put(tmp_path / "a" / folder / "1.jpg", jpeg(sum(folder.encode()), NINE, "Reed"))
    for number, name in enumerate(NASTY):
        put(tmp_path / "a/heron" / name, jpeg(100 + number, NINE, "Reed"))
        put(tmp_path / "b/heron" / name, jpeg(100 + number, NINE, "Reed")[:3000])
    (tmp_path / "st").mkdir()
    table = Table(f"ssd={tmp_path / 'a'}", f"card={tmp_path / 'b'}", digest=digest)
    studio = load_studio(table.write(tmp_path / "st"))
    (heron,) = (shoot for shoot in studio.shoots if shoot.id == "heron")
    assert {file.path for file in heron.promise} == set(NASTY)
    assert sum(len(shoot.promise) for shoot in studio.shoots) == len(NASTY) + 6
    (copy,) = (copy for copy in studio.copies if copy.id == "a")
    assert copy.listed is not None
    assert len(copy.listed) == len(NASTY) + 6


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux takes any bytes for a name")
def test_names_that_are_no_text_come_through_too(tmp_path: Path) -> None:
    root = os.fsencode(tmp_path) + b"/a"
    for path in (b"/her\xffon/\xfe1.jpg", b"/kiln/hires\xff/2.jpg", b"/kiln/\xff.zip"):
        put(Path(os.fsdecode(root + path)), jpeg(len(path), NINE, "Reed"))
    (tmp_path / "st").mkdir()
    table = Table(f"ssd={tmp_path / 'a'}")
    studio = load_studio(table.write(tmp_path / "st"))
    assert sorted(os.fsencode(file.path) for shoot in studio.shoots for file in shoot.promise) == [
        b"hires\xff/2.jpg",
        b"\xfe1.jpg",
    ]
    assert any(file.kind == "deliverables" for shoot in studio.shoots for file in shoot.promise)
    assert any("plain names" in said for said in table.look(tmp_path).left_out)


def test_an_unknown_day_is_said_in_the_studio_file(tmp_path: Path) -> None:
    put(tmp_path / "a/scans/1.jpg", jpeg(1, None, "Reed"))
    (tmp_path / "st").mkdir()
    studio_file = Table(f"ssd={tmp_path / 'a'}").write(tmp_path / "st")
    assert "date = 1970-01-01   # NOT KNOWN" in studio_file.read_text("utf-8")
    assert load_studio(studio_file).shoots[0].id == "scans"


# --- a second look -----------------------------------------------------------------------------------------------


@pytest.fixture
def studio_file(tmp_path: Path) -> Path:
    """A first studio file, with a comment of its owner's."""
    put(tmp_path / "a/heron/1.jpg", jpeg(1, NINE, "Reed"))
    (tmp_path / "st").mkdir()
    file = Table(f"ssd={tmp_path / 'a'}").write(tmp_path / "st")
    file.write_text("# mine: keep this\n" + file.read_text("utf-8"), "utf-8")
    return file


def second(studio_file: Path, *media: str) -> tuple[list[Change], list[str]]:
    """Look again at what the studio file has and at new media; return the changes, written, and the notes."""
    studio = load_studio(studio_file)
    table = Table(*media)
    new: Mapping[str, Medium] = dict(table.media)
    table.media = {**studio.media, **table.media}
    table.copies = [*studio.copies, *table.copies]
    proposal = table.look(studio_file.parent, promised=studio.shoots)
    known = frozenset(copy.id for copy in studio.copies)
    changes, notes = added_files(studio_file, proposal, media=new, copies=table.copies, known_copies=known)
    return changes, notes


def test_what_is_new_is_appended_and_what_was_there_stays_byte_for_byte(tmp_path: Path, studio_file: Path) -> None:
    before = {path: path.read_bytes() for path in (tmp_path / "st").rglob("*") if path.is_file()}
    put(tmp_path / "a/heron/2.jpg", jpeg(2, NINE, "Reed"))
    put(tmp_path / "b/kiln/3.jpg", jpeg(3, NINE.replace(day=20), "Reed"))
    changes, notes = second(studio_file, f"card={tmp_path / 'b'}")
    assert not notes
    write(changes)
    assert all(path.read_bytes().startswith(content) for path, content in before.items())
    studio = load_studio(studio_file)
    assert {shoot.id: {file.path for file in shoot.promise} for shoot in studio.shoots} == {
        "heron": {"1.jpg", "2.jpg"},
        "kiln": {"3.jpg"},
    }
    assert {copy.id: len(copy.listed or ()) for copy in studio.copies} == {"a": 2, "b": 1}
    assert second(studio_file) == ([], [])


def test_an_edited_sidecar_is_no_new_promise_and_a_damaged_copy_none_either(tmp_path: Path, studio_file: Path) -> None:
    put(tmp_path / "a/heron/1.xmp", b"<x>1</x>")
    write(second(studio_file)[0])
    put(tmp_path / "a/heron/1.xmp", b"<x>2</x>")
    put(tmp_path / "b/heron/1.jpg", jpeg(1, NINE, "Reed")[:3000])
    changes, _ = second(studio_file, f"card={tmp_path / 'b'}")
    assert {change.path.name for change in changes} == {"on-b.xxh128", "studio.toml"}
    assert "[[shoots]]" not in "\n".join(changes[-1].added)


def test_a_promise_that_somebody_keeps_elsewhere_is_not_touched(tmp_path: Path, studio_file: Path) -> None:
    ours = tmp_path / "st/manifests/heron.xxh128"
    theirs = tmp_path / "st/my heron.xxh128"
    ours.rename(theirs)
    studio_file.write_text(studio_file.read_text("utf-8").replace("manifests/heron.xxh128", "my heron.xxh128"), "utf-8")
    before = theirs.read_bytes()
    put(tmp_path / "a/heron/2.jpg", jpeg(2, NINE, "Reed"))
    changes, notes = second(studio_file)
    assert any("heron-more" in note for note in notes)
    write(changes)
    assert theirs.read_bytes() == before
    studio = load_studio(studio_file)
    assert {shoot.id: [file.path for file in shoot.promise] for shoot in studio.shoots} == {
        "heron": ["1.jpg"],
        "heron-more": ["2.jpg"],
    }
    assert second(studio_file)[0] == []


def test_lists_written_are_read_back_to_what_was_seen(tmp_path: Path, studio_file: Path) -> None:
    reading = read_manifest("manifests/*", base=studio_file.parent, where="st", key="x", role="copy")
    assert not reading.mistakes
    assert {item.path for item in reading.listed} == {"1.jpg", "heron/1.jpg"}
