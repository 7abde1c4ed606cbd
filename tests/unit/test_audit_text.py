"""The text of an audit: what is damaged by name, what a spot check shows, what to do first; never "all good"."""

import re

from drill.auditrecord import OUTCOMES, Audit, CopyResult, FileResult, Intact, Sample, to_json
from drill.model import OtherBytes
from drill.report.audit_text import audit_text

NOW = "2026-11-24T20:00:00Z"


def copy(id_: str = "archive-a", *files: FileResult, verified: int = 10, **more: object) -> CopyResult:
    counts = dict.fromkeys(OUTCOMES, 0) | {"verified": verified}
    for file in files:
        counts[file.outcome] += 1
    values = {"reached": True, "bytes_read": 2_000_000_000, "seconds": 20.0} | more
    return CopyResult(copy=id_, medium=id_, counts=counts, files=files, **values)  # type: ignore[arg-type]


def audit(*copies: CopyResult, **more: object) -> Audit:
    values = {"started": NOW, "now": NOW, "seed": 7, "complete": True} | more
    return Audit(studio="Saltmarsh Light", copies=copies, **values)  # type: ignore[arg-type]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_table_and_the_limits_of_an_audit() -> None:
    text = audit_text(audit(copy(), copy("tablet", FileResult("note.txt", "extra", ""))))
    assert re.search(r"archive-a +yes +10 +- +- +- +2 GB +100 MB/s", text), text
    assert re.search(r"tablet +yes +10 +- +1 +- ", text), text
    assert "20 files verified on 2 copies, none found damaged or missing" in flat(text)
    assert "What this does not prove" in text
    assert "all good" not in text.lower()
    assert max(map(len, text.splitlines())) <= 80


def test_damage_is_named_and_what_to_do_about_it() -> None:
    altered = FileResult(
        "heron/R0007.DNG", "altered", "other bytes", (), (Intact("tablet", "x", "2026-11-21T20:00:00Z"),)
    )
    text = flat(audit_text(audit(copy("archive-a", altered))))
    said = "heron/R0007.DNG on archive-a has other bytes than its list says: damaged, or another picture of that name"
    assert f"{said} (a camera uses names again); tablet holds the listed one, verified 3 days ago: look at both" in text
    assert "before anything is copied over it, and keep this one under another name" in text and "bring" not in text
    assert "archive-a: 1 altered - heron/R0007.DNG: altered: other bytes" in text


def test_advice_goes_by_what_is_known_of_other_copies() -> None:
    files = (
        FileResult("a.dng", "missing", "not there", (), (Intact("cloud", "a.dng", None),)),
        FileResult("b.dng", "unreadable", "I/O error: bytes 0 to 4095 cannot be read (4096 of 9000)", ((0, 4096),)),
        FileResult("c.dng", "missing", "not there", (), (Intact("archive-a", "moved/c.dng", NOW),)),
        FileResult("d.dng", "altered", "other bytes", (), (Intact("tablet", "d.dng", NOW),)),
    )
    text = flat(audit_text(audit(copy("archive-a", *files))))
    assert "a.dng on archive-a is missing; cloud is said to hold it, which nobody verified" in text
    assert "b.dng on archive-a is damaged; no other copy is known to hold it: change nothing there" in text
    assert "c.dng on archive-a is missing; the listed bytes are at moved/c.dng there, verified in this audit" in text
    assert "tablet holds the listed one, verified in this audit: look at both before anything is copied over it" in text
    steps = text[text.index("What to do first") :]
    assert (
        steps.index("may be failing") < steps.index("b.dng") < steps.index("a.dng on")
    )  # the lone one before the rest


def test_long_lists_are_cut_and_say_so() -> None:
    files = [FileResult(f"R{number:04}.DNG", "missing", "not there") for number in range(25)]
    text = flat(audit_text(audit(copy("archive-a", *files))))
    assert "R0009.DNG: missing" in text and "R0010.DNG: missing" not in text
    assert "and 15 more (--json has all of them)" in text
    assert "R0000.DNG, R0001.DNG, R0002.DNG and 22 more on archive-a are missing; no other copy" in text


def test_what_a_spot_check_shows() -> None:
    clean = Sample(2000, 294, 0, 0.95, 19, 0, 0, 25)
    text = flat(audit_text(audit(copy(sample=clean), limit="a spot check")))
    assert "294 of 2,000 files read, none of them bad: at 95 % confidence, at most 19 of 2,000 files are bad" in text
    bad = Sample(2000, 294, 3, 0.95, 51, 20, 5, 58)
    text = flat(audit_text(audit(copy(sample=bad))))
    assert (
        "294 of 2,000 files read, 3 of them bad: about 20 of all 2,000 are, between 5 and 58 at 95 % confidence" in text
    )
    assert "that shows nothing" in audit_text(audit(copy(sample=Sample(2000, 0, 0, 0.95, 2000, 0, 0, 2000))))
    assert "which is all of them: none bad" in flat(audit_text(audit(copy(sample=Sample(5, 5, 0, 0.95, 0, 0, 0, 0)))))


def test_a_spot_check_of_nearly_all_says_what_was_left_out() -> None:
    text = flat(audit_text(audit(copy(sample=Sample(30, 29, 0, 0.95, 0, 0, 0, 1)))))
    assert "29 of 30 files read: at 95 % confidence none of 30 is bad; 1 was not read" in text
    assert "at most 0" not in text and "all good" not in text


def test_only_what_is_missing_is_brought_back_to_where_it_was() -> None:
    whole = (Intact("tablet", "x", NOW),)
    files = [FileResult(f"{outcome}.dng", outcome, "so", (), whole) for outcome in ("altered", "unreadable", "missing")]
    text = flat(audit_text(audit(copy("card", *files))))
    assert "missing.dng on card is missing; tablet holds it, verified in this audit: bring it back from there" in text
    assert "unreadable.dng on card is damaged; tablet holds it, verified in this audit: bring it back" in text
    assert "to a sound drive, not over what is left here" in text
    assert "altered.dng on card has other bytes than its list says" in text
    without = flat(audit_text(audit(copy("card", *files, has_list=False))))
    assert "altered.dng on card has other bytes than promised" in without and "holds the promised one" in without


def test_an_archive_is_made_anew_and_never_mended() -> None:
    whole = (Intact("tablet", "x", NOW),)
    files = [FileResult(f"{outcome}.dng", outcome, "so", (), whole) for outcome in ("altered", "unreadable", "missing")]
    text = flat(audit_text(audit(copy("archive-a", *files, is_archive=True))))
    assert text.count("make it anew from there, beside this one, and keep this one until the new one has been") == 3
    assert "bring" not in text and text.count("look at both") == 1


def test_a_place_that_only_a_name_leads_to_is_said_to_be_so() -> None:
    files = (
        FileResult("a.dng", "altered", "so", (), (Intact("tablet", "x", NOW, by_name=True),)),
        FileResult("b.dng", "missing", "so", (), (Intact("card", "x", NOW, by_name=True),)),
    )
    text = flat(audit_text(audit(copy("card", *files))))
    assert "tablet, by its name, holds the listed one, verified in this audit: look at both" in text
    assert "b.dng on card is missing; what is promised under that name is at x there" in text


def test_what_a_list_has_wrong_is_said_though_its_files_are_verified() -> None:
    wrong = copy("old", other_bytes=(OtherBytes("2026/a.dng", "raw/a.dng"),))
    text = flat(audit_text(audit(copy(), wrong)))
    assert "none found damaged or missing. 1 file not what was promised, by the copy's own list." in text
    section = (
        "Not what was promised, by the copy's own list - old: 2026/a.dng: its list has other bytes than promised as"
    )
    assert section in text and "2026/a.dng on old: not what was promised" in text
    assert "never that the promised picture is safe" in text
    assert "never that the promised picture" not in flat(audit_text(audit(copy())))
    value = to_json(audit(wrong, copy()))["copies"]
    assert [one["other_bytes"] for one in value] == [[{"path": "2026/a.dng", "promised": "raw/a.dng"}], []]


def test_copies_that_were_not_reached_verify_nothing() -> None:
    away = copy("cloud", reached=False, reason="no server", verified=0, bytes_read=0)
    assert "10 files verified on 1 copy, none found" in flat(audit_text(audit(copy(), away)))


def test_copies_that_give_nothing_or_not_all() -> None:
    away = copy("cloud", reached=False, reason="no server", verified=0, bytes_read=0)
    shut = copy("old", refuses=True, reason="damaged at its head", verified=0, bytes_read=0)
    closed = copy("nas", unlisted=("raw (Permission denied)",))
    unread = copy("card", FileResult("x.dng", "extra", "could not be read: I/O error at byte 0"))
    text = flat(audit_text(audit(away, shut, closed, unread)))
    assert "cloud could not be reached (no server): plug it in or log in, and audit it (--copy cloud)" in text
    assert "old was reached and gives nothing: damaged at its head" in text
    assert "nas: 1 folder could not be listed: raw (Permission denied)" in text
    assert "card: 1 file no promise names could not be read: x.dng" in text


def test_opens_is_its_own_column_and_said_to_be_little() -> None:
    text = audit_text(audit(copy("card", FileResult("x.jpg", "opens", ""), FileResult("y.raw", "cannot_check", ""))))
    assert "Opens" in text and "Cannot" in text and "about 1 in 100 flipped bits" in flat(text)
    assert "Opens" not in audit_text(audit(copy()))


def test_an_audit_that_did_not_end_says_so() -> None:
    text = flat(
        audit_text(audit(copy("card", FileResult("x", "not_read", "")), complete=False, unfinished="interrupted"))
    )
    assert "1 not read" in text and "Not finished: interrupted." in text


def test_no_name_reaches_the_terminal_as_it_is() -> None:
    file = FileResult("a\x1b[2J.dng", "missing", "not there")
    text = audit_text(audit(copy("card", file)))
    assert "\x1b" not in text and "\\x1b[2J" in text


def test_falls_short_and_the_json() -> None:
    assert not audit(copy()).falls_short
    assert audit(copy("x", FileResult("a", "missing", ""))).falls_short
    assert not audit(copy("x", FileResult("a", "cannot_check", ""), FileResult("b", "extra", ""))).falls_short
    away = copy("x", reached=False)
    assert not audit(away).falls_short and audit(away, named=("x",)).falls_short
    assert audit(copy(refuses=True)).falls_short and audit(copy(unlisted=("raw (closed)",))).falls_short
    value = to_json(audit(copy("x", FileResult("a", "unreadable", "so", ((0, 4096),)))))
    assert list(value)[:6] == ["schema", "studio", "started", "seed", "complete", "copies"]
    assert list(value["copies"][0])[:6] == ["copy", "reached", "counts", "bytes_read", "seconds", "files"]
    assert list(value["copies"][0]["counts"]) == list(OUTCOMES)
    file = {"path": "a", "outcome": "unreadable", "detail": "so", "ranges": [[0, 4096]], "intact": []}
    assert value["copies"][0]["files"] == [file]


def test_an_audit_that_verified_nothing_says_so_first() -> None:
    away = copy("card", FileResult("a", "not_read", ""), verified=0, reached=False, bytes_read=0)
    assert flat(audit_text(audit(away))).startswith(
        "Saltmarsh Light: nothing was verified: no copy could be reached; 1 file not read."
    )
    strangers = copy("card", FileResult("a", "extra", ""), verified=0)
    assert "nothing was verified: none of the files that were read" in flat(audit_text(audit(strangers)))
