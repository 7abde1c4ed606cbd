"""The letter: what the page and the PDF say, on one page always, and names that are nothing but text."""

import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from drill.proofrecord import OWN, SHORTFALLS, Back, Checksum, Kept, Proof, ShootProof, Shortfall, Took
from drill.report.letter_page import letter_page
from drill.report.letter_pdf import MOST_ROWS, letter_pdf
from drill.report.letter_words import Letter, Seals, letter_of
from drill.scenario import load_scenarios

TITLES = {scenario.name: scenario.title for scenario in load_scenarios([])}
SEALS = Seals("ab12 " * 15 + "ab12", "cd" * 32)
ISSUED = "2026-11-24T20:05:00Z"
SHOOT = ShootProof(
    shoot="heron-ridge",
    date="2026-09-12",
    drilled="2026-11-20T09:00:00Z",
    audited="2026-11-21T09:00:00Z",
    drills=17,
    all_back=17,
    back={"deliverables": Back(241, 241), "originals": Back(1203, 1203), "other": Back(3, 3)},
    restored_from=Kept({"cloud": 1, "hard-disk": 2}, 3),
    read_on=Kept({"hard-disk": 2, "ssd": 1}, 2, "2026-11-21T09:00:00Z"),
    took=Took(93.0, 18_300.0, 172_800.0),
    survivable=1,
    scenarios=dict.fromkeys(TITLES, 1) | {OWN: 4},
)
SUMS = tuple(Checksum(f"deliver/{number}.jpg", f"{number:064x}", "promise") for number in range(241))
PROOF = Proof("Kiln Light", "Ridge Trust", ISSUED, "0", (SHOOT,), (), SUMS)
READS = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext (poppler-utils) is not here")
NASTY = '<script>alert(1)</script>"><img onerror=x src=y> \u202egpj.exe \x1b[31m\x07 \u2066'


def letter(proof: Proof, rows: int = MOST_ROWS) -> Letter:
    return letter_of(proof, SEALS, titles=TITLES, most_rows=rows)


def pdf(proof: Proof) -> bytes:
    return letter_pdf(lambda rows: letter(proof, rows), issued=proof.issued)


def read(content: bytes, folder: Path, *more: str) -> str:
    """What pdftotext (poppler) reads, without line breaks."""
    file = folder / "letter.pdf"
    file.write_bytes(content)
    done = subprocess.run(["pdftotext", *more, str(file), "-"], check=True, capture_output=True, encoding="utf-8")
    assert done.stderr == ""
    return " ".join(done.stdout.split())


def pages(content: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", content))


def many(count: int) -> Proof:
    shoots = tuple(replace(SHOOT, shoot=f"shoot-{number:03d}") for number in range(count))
    return replace(PROOF, shoots=shoots)


def every_shortfall(shoots: Sequence[str]) -> tuple[Shortfall, ...]:
    plain = [Shortfall(shoot, what, ISSUED, 8_640_000.0, 11, 12) for shoot in shoots for what in SHORTFALLS]
    return (*plain, *(Shortfall(shoots[0], "drill_short", count=1, of=2, scenario=name) for name in TITLES))


class Words(HTMLParser):
    """All that a page shows, and the tags that it is made of."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text, self.tags = "", set[str]()
        self._hidden = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        assert not [name for name, _ in attrs if name.startswith("on") or name in ("src", "href")], (tag, attrs)
        self._hidden = tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._hidden = False

    def handle_data(self, data: str) -> None:
        self.text += "" if self._hidden else data


@pytest.mark.outside
@READS
def test_every_number_is_in_the_pdf_and_the_page(tmp_path: Path) -> None:
    told = (
        *("Ridge Trust", "Kiln Light", "heron-ridge", "12 Sep 2026", "24 Nov 2026, 20:05 UTC", "20 Nov 2026"),
        *("17 drills", "241 delivered files", "1,203 originals", "3 other files", "1 cloud account and 2 hard disks"),
        *("in 3 places", "2 hard disks and 1 SSD, in 2 places", "21 Nov 2026", "2 min", "5 h 5 min", "2 days"),
        *(SEALS.fingerprint, SEALS.root, *TITLES.values()),
    )
    for text in (read(pdf(PROOF), tmp_path), " ".join(Words(letter_page(letter(PROOF))).text.split())):
        assert [part for part in told if part not in text] == []
        assert "falls short" not in text and "contract" in text and "legal advice" in text


@pytest.mark.deep
@pytest.mark.outside
@READS
def test_the_page_says_what_the_pdf_says(tmp_path: Path) -> None:
    proof = replace(many(5), shortfalls=every_shortfall(["shoot-001", "shoot-002"]))
    said = read(pdf(proof), tmp_path)
    shown = letter(proof)
    sentences = [*shown.short, *(text for section in shown.sections for text in section.paragraphs), shown.seal_words]
    page = " ".join(Words(letter_page(shown)).text.split())
    for sentence in sentences:
        assert sentence in page and sentence in said, sentence


@pytest.mark.outside
@READS
def test_what_falls_short_comes_first(tmp_path: Path) -> None:
    proof = replace(PROOF, shortfalls=every_shortfall(["heron-ridge"]))
    for text in (read(pdf(proof), tmp_path), Words(letter_page(letter(proof))).text):
        assert text.index("This falls short") < text.index("What was tried") and "Proof that" not in text


@pytest.mark.outside
@READS
@pytest.mark.parametrize(
    ("count", "short"),
    [(1, True), (2, False), (14, True), (40, False), pytest.param(200, True, marks=pytest.mark.deep)],
)
def test_the_pdf_is_one_page_whatever_is_in_it(count: int, short: bool, tmp_path: Path) -> None:
    name = "Wm. Æthelstan-Saltmarsh & Daughters " * 30
    proof = replace(many(count), studio=name, client=name)
    proof = replace(proof, shortfalls=every_shortfall([one.shoot for one in proof.shoots]) if short else ())
    content = pdf(proof)
    assert pages(content) == 1
    text = read(content, tmp_path)
    if count > 1:
        shown = len(re.findall(r"shoot-[0-9]{3} 12 Sep 2026", read(content, tmp_path, "-layout")))
        assert shown == count or f"And {count - shown} shoots{' more' if shown else ''} with" in text
        assert f"{241 * count:,} delivered files" in text
    assert SEALS.root in text, "the end of the letter is on the page"


@pytest.mark.deep
@pytest.mark.outside
@READS
def test_what_is_printed_fits_letter_paper_as_well(tmp_path: Path) -> None:
    """The lowest and the rightmost word end within 279.4 and 210 mm, less a margin that printers need."""
    proof = replace(many(40), shortfalls=every_shortfall(["shoot-001"]))
    file = tmp_path / "letter.pdf"
    file.write_bytes(pdf(proof))
    done = subprocess.run(["pdftotext", "-bbox", str(file), "-"], check=True, capture_output=True, encoding="utf-8")
    ends = [(float(x), float(y)) for x, y in re.findall(r'xMax="([0-9.]+)" yMax="([0-9.]+)"', done.stdout)]
    assert max(y for _, y in ends) * 25.4 / 72 <= 279.4 - 10 and max(x for x, _ in ends) * 25.4 / 72 <= 210 - 10
    assert '<page width="595.280000" height="841.890000">' in done.stdout


@pytest.mark.outside
@READS
def test_names_are_nothing_but_text(tmp_path: Path) -> None:
    proof = replace(PROOF, studio=NASTY, client=NASTY)
    page = letter_page(letter(proof))
    words = Words(page)
    assert not words.tags & {"script", "img", "a", "iframe", "link"} and "<script>alert(1)</script>" in words.text
    said = read(pdf(proof), tmp_path)
    for text in (page, said):
        assert not {char for char in text if not char.isprintable() and char != "\n"}
        assert "\\u202e" in text and "\\x1b[31m" in text
    assert "default-src 'none'" in page and "http" not in page.replace("http-equiv", "")


@pytest.mark.outside
@READS
def test_what_the_font_cannot_show_is_shown_by_its_number(tmp_path: Path) -> None:
    proof = replace(PROOF, client="山田 写真 🦩 Ærø Δέλτα Дом")
    said = read(pdf(proof), tmp_path)
    assert "[U+5C71][U+7530] [U+5199][U+771F] [U+1F9A9] Ærø Δέλτα Дом" in said
    assert "山田 写真 🦩 Ærø Δέλτα Дом" in letter_page(letter(proof))


@pytest.mark.outside
@READS
def test_a_name_from_right_to_left_is_drawn_that_way_and_isolated_on_the_page(tmp_path: Path) -> None:
    name = "סטודיו אור"
    proof = replace(PROOF, client=name)
    assert f"<bdi>{name}</bdi>" in letter_page(letter(proof))
    assert name in read(pdf(proof), tmp_path)  # poppler puts what is drawn back into the order of reading


@pytest.mark.deep
def test_the_same_letter_is_the_same_bytes_and_says_no_other_time() -> None:
    content = pdf(PROOF)
    assert content == pdf(PROOF) and content != pdf(replace(PROOF, issued="2026-11-24T20:06:00Z"))
    assert set(re.findall(rb"D:([0-9]{14})", content)) <= {b"20261124200500"}
    assert b"/Author" not in content and b"/Creator" not in content, "nobody's name, and no computer's"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"drills": 0, "drilled": None, "took": None, "back": {"deliverables": Back(2, 0)}}, "no drill was made"),
        ({"all_back": 16, "back": {"deliverables": Back(241, 0)}}, "In 16 of 17 drills everything came back"),
        ({"read_on": Kept({}, 0)}, "No single device was read that holds every delivered file"),
        ({"scenarios": {OWN: 17}}, "of mishaps that we thought of ourselves"),
        ({"took": Took(1.0, 86_401.0, 86_400.0)}, "Our own target is 24 h or less, which is missed."),
        ({"all_back": 16}, "a real restore of what came back may take"),
        (
            {"read_on": Kept({"ssd": 1}, 1, "2026-09-01T00:00:00Z")},
            "was read in whole on 1 Sep 2026 or later, and found",
        ),
    ],
)
def test_less_is_said_where_less_is_known(change: dict[str, object], told: str) -> None:
    shown = letter(replace(PROOF, shoots=(replace(SHOOT, **change),)))
    assert told in " ".join(text for section in shown.sections for text in section.paragraphs)


def test_of_several_shoots_the_worst_is_told() -> None:
    worse = replace(SHOOT, shoot="kiln-two", took=Took(400.0, 36_000.0, 86_400.0), read_on=Kept({}, 0))
    for shoots in ((SHOOT, worse), (worse, SHOOT)):
        shown = letter(replace(PROOF, shoots=shoots))
        text = " ".join(text for section in shown.sections for text in section.paragraphs)
        assert "may take up to 10 h. Our own target is 24 h or less." in text
        assert "For 1 of 2 shoots, every delivered file" in text


@pytest.mark.parametrize("what", ["promise_changed", "drill_unknown"])
def test_what_came_back_is_told_of_what_was_drilled(what: str) -> None:
    short = (Shortfall(SHOOT.shoot, what, ISSUED, count=12, of=11),)
    for proof, is_said in ((PROOF, False), (replace(PROOF, shortfalls=short), True)):
        came = next(one for one in letter(proof).sections if one.heading == "What came back").paragraphs[0]
        assert "all of them came back" in came and ("as they were then" in came) is is_said


def test_where_checksums_are_from_is_said() -> None:
    read_now = tuple(replace(one, source="read") for one in SUMS[:40])
    for sums, told in (
        (SUMS, "All come from our list of what we keep."),
        (read_now, "All were worked out on 24 Nov 2026 from a copy"),
        ((*read_now, *SUMS[40:]), "201 come from our list of what we keep. 40 were worked out"),
    ):
        shown = letter(replace(PROOF, checksums=sums))
        assert told in next(one for one in shown.sections if one.heading == "What you can check").paragraphs[0]
