"""The pages of audits, histories, forecasts and maps: what stands first, safe with any name, small with any number."""

import re
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest
from forecasted import DAY, forecast
from page_read import NASTY, Read

from drill.advicerecord import Compared, Comparison
from drill.auditrecord import OUTCOMES, Audit, CopyResult, Disagreement, FileResult, Intact
from drill.extents import Anatomy, Extent, Part
from drill.forecastrecord import Day
from drill.historyrecord import CopyThen, Due, DueShoot, History, RunThen, SlowerMedium, WorseCopy
from drill.model import Entry, OtherBytes
from drill.radius import measure
from drill.radius.cells import MOST_CELLS
from drill.report.pages.audit import audit_page
from drill.report.pages.base import MOST_BYTES
from drill.report.pages.forecast import forecast_page
from drill.report.pages.history import history_page
from drill.report.pages.sectors import sectors_page
from drill.report.pages.told import MOST_ROWS
from drill.report.sections import Items, Paragraph, Section, Table, filled, items, laid_out, paragraphs
from drill.sectorrecord import SectorMap
from drill.standingrecord import Standing

NOW = "2026-11-24T20:00:00Z"
COMMAND = "drill audit 'studio of reed.toml' --seed 7"


def copy(id_: str, *files: FileResult, verified: int = 10, **more: object) -> CopyResult:
    counts = dict.fromkeys(OUTCOMES, 0) | {"verified": verified} | Counter(file.outcome for file in files)
    values = {"medium": id_, "reached": True, "bytes_read": 2_000_000_000, "seconds": 20.0} | more
    return CopyResult(copy=id_, counts=counts, files=files, **values)  # type: ignore[arg-type]


def audit(*copies: CopyResult, **more: object) -> Audit:
    values = {"studio": "Reed Bank", "started": NOW, "now": NOW, "seed": 7, "complete": True} | more
    return Audit(copies=copies, **values)  # type: ignore[arg-type]


def bad(name: str, *, elsewhere: bool = False, outcome: str = "altered") -> FileResult:
    return FileResult(name, outcome, "other bytes", (), (Intact("tablet", name, NOW),) if elsewhere else ())


def named_audit(name: str) -> str:
    files = (bad(name), bad(f"{name}2", outcome="missing"), FileResult(name, "extra", "could not be read"))
    copies = (
        copy("kiln", *files, other_bytes=(OtherBytes(name, "heron/a.dng"),), unlisted=(name,)),
        copy("barn", verified=0, reached=False, reason=name),
    )
    odd = (Disagreement(name, ("kiln", "barn"), (), (), None, name),)
    return audit_page(audit(*copies, studio=name, notes=(name,), limit=name, disagreements=odd), command=COMMAND)


def history(shoots: int = 2, *, name: str = "reed", **more: object) -> History:
    run = RunThen(1, "audit", NOW, NOW, 3.0, complete=True, seed=1, version="1", copies=(name,), damaged=2)
    due = tuple(DueShoot(f"{name}-{n}", NOW, 86400.0, True, NOW, NOW[:10], True) for n in range(shoots))
    values = {"due": Due(NOW, NOW[:10], True, due), "runs": (run,)} | more
    return History(studio=name, now=NOW, **values)  # type: ignore[arg-type]


def named_history(name: str) -> str:
    worse = (WorseCopy(name, CopyThen(1, NOW, 0, 9, 0), CopyThen(2, NOW, 2, 7, 0)),)
    slower = (SlowerMedium(name, 3, 9e7, 1e7, NOW),)
    return history_page(
        history(name=name, worse_copies=worse, slower_media=slower, notes=(name,)), command="drill history"
    )


def named_forecast(name: str) -> str:
    found = forecast()
    bands = tuple(replace(band, title=name, variant=name) for band in found.lives[0].bands)
    copies = tuple(replace(one, medium=name) for one in found.lives[0].stages[0].copies)
    stages = (replace(found.lives[0].stages[0], copies=copies), *found.lives[0].stages[1:])
    life = replace(found.lives[0], bands=bands, stages=stages, worst_words=name)
    told = replace(
        found, studio=name, verdict=name, lives=(life, *found.lives[1:]), assumptions=(name,), planned=(name,)
    )
    return forecast_page(told, command="drill forecast", measures=True)


def named_comparison(name: str) -> str:
    rows = (Compared(name, name, "seconds", 7200.0, 3600.0, "better"),)
    return forecast_page(replace(forecast(), comparison=Comparison(name, name, rows)), command="drill forecast")


def map_of(number: int = 40, *, name: str = "reed", sector_size: int = 4096) -> SectorMap:
    """Stored pictures of 10,000 bytes, each third of which may cost all behind it, between two headers."""
    entries = tuple(Entry(f"{name}/{n}.dng", 10_000, index=n) for n in range(number))
    data = [
        Extent(
            32 + n * 10_000,
            10_032 + n * 10_000,
            Part.STORED if n % 3 else Part.COMPRESSED,
            n,
            (n, n + 1),
            (n, n + 1 if n % 3 else number),
        )
        for n in range(number)
    ]
    end = 32 + number * 10_000
    head = Extent(0, 32, Part.HEADERS, 0, (0, 0), (0, 0), "the start header")
    tail = Extent(end, end + 900, Part.HEADERS, 0, (0, number), (0, number), "the end header")
    built = Anatomy(end + 900, entries, (head, *data, tail), number * 10_000, number * 10_000)
    return measure(built, archive=f"{name}.7z", sector_size=sector_size)


def named_map(name: str) -> str:
    return sectors_page(replace(map_of(6, name=name), advice=(name,)), command="drill bad-sector")


NAMED = [named_audit, named_history, named_forecast, named_comparison, named_map]


@pytest.mark.parametrize("page", NAMED)
def test_a_page_asks_for_nothing_and_those_who_hear_it_find_their_way(page: Callable[[str], str]) -> None:
    text = page("reed")
    read = Read(text)
    assert not {"script", "link", "img", "iframe", "object", "form", "base"} & set(read.tags)
    assert not re.search(r"url\(|@import|https?:", text.replace("http://www.w3.org/2000/svg", ""))
    assert read.headings[0] == 1 and read.headings.count(1) == 1
    assert all(after <= before + 1 for before, after in zip(read.headings, read.headings[1:], strict=False))
    ids = Counter(read.valued("id"))
    assert max(ids.values()) == 1
    assert {value[1:] for value in read.valued("href")} <= set(ids)
    assert set(read.valued("aria-labelledby")) <= set(ids)
    assert read.tags["table"] + read.tags["svg"] + read.tags["pre"] == read.valued("role").count("group")
    assert read.tags["nav"] + read.valued("role").count("group") == len(read.valued("aria-label"))
    assert read.valued("scope").count("col") >= read.tags["table"]


@pytest.mark.parametrize("page", NAMED)
def test_a_name_is_nothing_but_text(page: Callable[[str], str]) -> None:
    text = page(NASTY)
    plain, read = Read(page("reed")), Read(text)
    assert read.tags == plain.tags
    assert not [name for name, _ in read.attributes if name.startswith("on")]
    assert not set("\x1b\x00\u202e\u2066") & set(text)
    assert "\\u202egnp.exe" in text
    text.encode("utf-8")


# --- what stands first -------------------------------------------------------------------------------------------


def verdict_of(text: str) -> str:
    found = re.search(r'id="verdict">(.*?)</p>', text, re.DOTALL)
    assert found
    return " ".join(found[1].split())


def test_an_audit_says_first_what_is_damaged_where_and_whether_it_is_known_elsewhere() -> None:
    nowhere = audit(copy("kiln", bad("a.dng"), bad("b.dng", elsewhere=True)), copy("tablet", bad("c.dng")))
    assert verdict_of(audit_page(nowhere, command=COMMAND)) == (
        "3 files are damaged or missing (2 on kiln, 1 on tablet): of 2 of them the right bytes are known on no copy, "
        "so change nothing on kiln, tablet."
    )
    held = audit(copy("kiln", bad("a.dng", elsewhere=True)))
    assert verdict_of(audit_page(held, command=COMMAND)) == (
        "1 file is damaged or missing (1 on kiln): the right bytes are held elsewhere, or said to be."
    )


def test_an_audit_without_damage_says_what_it_says_nothing_of() -> None:
    left = (FileResult("x.dng", "not_read", ""),) * 3
    text = verdict_of(audit_page(audit(copy("kiln", *left), copy("barn", verified=0, reached=False)), command=COMMAND))
    assert text == (
        "No damage was found: 10 files read on 1 copy are what was promised or listed. 3 files were not read and 1 "
        "copy could not be reached: nothing is said of these."
    )
    none = verdict_of(audit_page(audit(copy("barn", verified=0, reached=False)), command=COMMAND))
    assert none.startswith("Nothing was verified: no copy could be reached")
    broken = audit(copy("kiln", verified=0, is_archive=True, refuses=True, is_broken=True, reason="cut short"))
    assert verdict_of(audit_page(broken, command=COMMAND)) == "1 archive is damaged as a whole: kiln."


def test_what_to_do_first_comes_before_the_tables() -> None:
    text = audit_page(audit(copy("kiln", bad("a.dng"))), command=COMMAND)
    assert text.index("What to do first") < text.index("<table") and "drill audit &#39;studio of reed.toml&#39;" in text
    text = named_history("reed")
    assert text.index("What to do first") < text.index("What got worse since") < text.index("<table")
    assert verdict_of(text).startswith("Something got worse since the time before: more is damaged or missing on reed")
    calm = verdict_of(history_page(history(), command="drill history"))
    assert calm.startswith("Nothing got worse") and "overdue since 2026-11-24" in calm
    first = History("Reed Bank", NOW, Due(None, None, False))
    assert "There is no history yet" in verdict_of(history_page(first, command="drill history"))


def test_a_forecast_says_first_what_is_in_danger_and_its_picture_is_told_in_tables() -> None:
    text = forecast_page(replace(forecast(), standing=None), command="drill forecast")
    assert verdict_of(text) == forecast().verdict and text.count(forecast().verdict) == 1
    days = (Day("one_failure", "x", True, "2026-03-31", 4 * DAY, "2026-04-01", DAY),)
    danger = verdict_of(forecast_page(replace(forecast(), standing=None, days=days), command="drill forecast"))
    assert danger.startswith("A new shoot is in danger from one failure alone for up to 4 days of its first year")
    dropped = (*days, Day("no_copy", "x", True, "2026-03-31", DAY, "2026-04-01", 0.0))
    gone = verdict_of(forecast_page(replace(forecast(), standing=None, days=dropped), command="drill forecast"))
    assert gone.startswith("The plan itself lets go of the last copy of a shoot")
    drawn = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(drawn) == len(forecast().lives)
    for one in drawn:
        root = ET.fromstring(one)
        assert root.get("role") == "img" and root.get("viewBox")
        title = root.find("title")
        assert title is not None and title.get("id") == root.get("aria-labelledby")
        assert "first year of a shoot made" in str(title.text)
    assert "stage by stage" in text and "Every scenario over the first year" in text
    empty = replace(forecast(), lives=(), standing=Standing(1, (), (), (), ()))
    assert "no shoot in the studio file yet" in verdict_of(forecast_page(empty, command="drill forecast"))


def test_options_are_not_broken_over_lines() -> None:
    assert '<span class="whole">--copy</span> barn' in named_audit("reed")


# --- small with any number ---------------------------------------------------------------------------------------


def test_a_page_is_small_whatever_is_damaged() -> None:
    many = tuple(bad(f"{'reed/' * 40}{n:06d}.dng") for n in range(100_000))
    text = audit_page(audit(copy("kiln", *many)), command=COMMAND)
    assert len(text.encode()) < MOST_BYTES
    assert "100,000 altered" in text and "and 99,900 more (--json has all of them)" in "".join(Read(text).texts)
    few = tuple(bad(f"{'heron/' * 40}{n:06d}.dng") for n in range(60))
    text = audit_page(audit(*(copy(f"kiln-{n}", *few) for n in range(200))), command=COMMAND)
    assert len(text.encode()) < MOST_BYTES
    assert "kiln-199: 60 altered" in text


def test_a_table_ends_and_says_how_much_more_there_is() -> None:
    text = history_page(history(3000), command="drill history")
    assert len(text.encode()) < MOST_BYTES
    assert f"and {3000 - MOST_ROWS:,} more (--json has all of them)" in "".join(Read(text).texts)


def test_the_largest_map_fits() -> None:
    found = map_of(9000)
    assert len(found.strip.most) > MOST_CELLS / 2
    assert len(sectors_page(found, command="drill bad-sector").encode()) < MOST_BYTES


# --- sections ----------------------------------------------------------------------------------------------------


def test_sections_are_laid_out_as_text() -> None:
    sections = [
        Section("Reed \x1b", (Table(["A", "B"], [["a", "1"]], right=(1,)), Paragraph("so"))),
        items("Nothing", []),
        Section("", (Items(["first"], number=2), Items(["or"], under=True))),
        paragraphs("", "end"),
    ]
    assert laid_out(sections, width=40) == ("Reed \\x1b\nA  B\n-  -\na  1\nso\n\n2. first\n   - or\n\nend\n")
    assert len(filled(sections)) == 3
