"""The whole audit on small real copies: what the ledger's failure, its rates and its past do to it."""

import os
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from plain_studio import LIST, sha256_list, studio_text

from drill.audit import Limits, Options, audit
from drill.audit.past import cut_short, measured_rate
from drill.audit.reads import Reads, shared_out
from drill.errors import Mistakes, Unfinished
from drill.ledger import AuditedCopy, Ledger
from drill.model import Studio
from drill.studio import load_studio

NOW = datetime(2026, 11, 24, 20, tzinfo=UTC)


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    (tmp_path / "disk").mkdir()
    files = {f"R{number}.dng": f"picture {number}".encode() * 50 for number in range(6)}
    for name, content in files.items():
        path = tmp_path / "disk" / name
        path.write_bytes(content)
        os.utime(path, (1_789_000_000.5, 1_789_000_000.5))
    (tmp_path / LIST).write_text(sha256_list(files), encoding="ascii")
    (tmp_path / "studio.toml").write_text(studio_text({"disk": "ssd"}, listed=("disk",)), encoding="utf-8")
    return load_studio(tmp_path / "studio.toml")


@pytest.mark.parametrize("state", ["away", "refuses"])
def test_what_a_copy_that_refuses_once_held_is_nowhere_to_be_looked_for(tmp_path: Path, state: str) -> None:
    content = b"kiln" * 500
    (tmp_path / "disk").mkdir()
    (tmp_path / "box").mkdir()
    (tmp_path / "disk/R1.dng").write_bytes(content)
    with zipfile.ZipFile(tmp_path / "box/box.zip", "w") as packed:
        packed.writestr("R1.dng", content)
    for path in ("disk/R1.dng", "box/box.zip"):
        os.utime(tmp_path / path, (1_789_000_000.5, 1_789_000_000.5))
    (tmp_path / LIST).write_text(sha256_list({"R1.dng": content}), encoding="ascii")
    text = studio_text({"disk": "ssd", "box": "ssd"}, at={"box": "box/box.zip"}, listed=("disk",))
    (tmp_path / "studio.toml").write_text(text, encoding="utf-8")
    studio = load_studio(tmp_path / "studio.toml")
    with Ledger.open(None) as ledger:
        audit(studio, ledger, Options(now=NOW, new_seed=1))
        (tmp_path / "disk/R1.dng").write_bytes(content[::-1])
        if state == "away":
            (tmp_path / "box/box.zip").unlink()
        else:
            (tmp_path / "box/box.zip").write_bytes(b"no archive any more" * 100)
        found = {copy.copy: copy for copy in audit(studio, ledger, Options(now=NOW, new_seed=1)).copies}
    assert found["box"].refuses is (state == "refuses")
    (altered,) = found["disk"].files
    assert [place.copy for place in altered.intact] == (["box"] if state == "away" else [])


@pytest.mark.parametrize("ends_at", [None, 3])
def test_members_that_their_archive_doubts_are_looked_at_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ends_at: int | None
) -> None:
    """The promise is of the bytes that come, so only the archive's own check values are wrong."""
    (tmp_path / "box").mkdir()
    with zipfile.ZipFile(tmp_path / "box/box.zip", "w") as archive:
        for number in range(200):
            archive.writestr(f"R{number}.dng", f"kiln {number:03}")
    (tmp_path / "box/box.zip").write_bytes((tmp_path / "box/box.zip").read_bytes().replace(b"kiln", b"reed"))
    promised = {f"R{number}.dng": f"reed {number:03}".encode() for number in range(200)}
    (tmp_path / LIST).write_text(sha256_list(promised), encoding="ascii")
    (tmp_path / "studio.toml").write_text(studio_text({"box": "ssd"}, at={"box": "box/box.zip"}), encoding="utf-8")
    said: list[str] = []

    def is_up(reads: Reads) -> bool:
        return ends_at is not None and any(f"doubts, {ends_at} of 200" in text for text in said)

    monkeypatch.setattr(Reads, "is_up", is_up)
    with Ledger.open(None) as ledger:
        found = audit(load_studio(tmp_path / "studio.toml"), ledger, Options(now=NOW, new_seed=1, progress=said.append))
    (box,) = found.copies
    assert box.counts["verified"] == (200 if ends_at is None else ends_at)
    assert len([text for text in said if "doubts, " in text]) == (ends_at or 200)
    assert any("time for reading" in note for note in found.notes) is (ends_at is not None)


class Full(Ledger):
    """A ledger whose disk is full once the audit has ended."""

    def add_audit(self, run: int, audited: AuditedCopy) -> None:
        raise Unfinished("the ledger cannot be written: the disk is full")


def test_a_ledger_that_fails_at_the_end_does_not_take_the_result_along(studio: Studio) -> None:
    with Full.open(None) as ledger:
        found = audit(studio, ledger, Options(now=NOW, new_seed=1))
    assert found.complete is False and found.unfinished == "the ledger cannot be written: the disk is full"
    assert found.copies[0].counts["verified"] == 6


def test_the_seed_of_an_audit_that_was_cut_short_is_used_again(studio: Studio) -> None:
    with Ledger.open(None) as ledger:
        ledger.begin_run("audit", now=NOW, seed=77)
        assert audit(studio, ledger, Options(now=NOW, new_seed=1)).seed == 77
        assert audit(studio, ledger, Options(now=NOW, new_seed=1)).seed == 1, "the last one was complete"
        assert audit(studio, ledger, Options(now=NOW, new_seed=1, seed=5)).seed == 5


def test_what_was_cut_short_counts_for_seven_days(studio: Studio) -> None:
    with Ledger.open(None) as ledger:
        ledger.begin_run("audit", now=NOW, seed=77)
        ledger.begin_run("drill", now=NOW, seed=3)
        started = ledger.runs()[0].started
        found = cut_short(ledger, now=started + timedelta(days=6, hours=23))
        assert found is not None and (found.since, found.seed) == (started, 77)
        assert cut_short(ledger, now=started + timedelta(days=7, seconds=1)) is None


def test_rates_that_may_have_come_from_memory_project_nothing(studio: Studio) -> None:
    medium = studio.media["disk"]
    with Ledger.open(None) as ledger:
        run = ledger.begin_run("audit", now=NOW, seed=1)
        ledger.add_rate(run, "disk", files=10, bytes=10**9, took_s=1.0, maybe_cached=True)
        assert measured_rate(ledger, medium) is None
        ledger.add_rate(run, "disk", files=10, bytes=10**9, took_s=10.0, maybe_cached=False)
        rate = measured_rate(ledger, medium)
    assert rate is not None and rate.bps == pytest.approx(1e8)


def test_a_budget_of_time_ends_by_the_clock_and_is_no_interruption(
    studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Ledger.open(None) as ledger:
        options = Options(now=NOW, new_seed=1, limits=Limits(budget_s=3600.0))
        assert audit(studio, ledger, options).copies[0].counts["verified"] == 6
        monkeypatch.setattr("drill.audit.reads.Reads.is_up", lambda self: True)
        late = audit(studio, ledger, options)
    assert late.complete is True and late.copies[0].counts["not_read"] == 6
    assert any("used up" in note for note in late.notes)


def test_ids_that_nobody_has_are_mistakes(studio: Studio) -> None:
    with Ledger.open(None) as ledger, pytest.raises(Mistakes, match="no copy has this id"):
        audit(studio, ledger, Options(now=NOW, new_seed=1, copies=("heron",)))


def test_the_seconds_of_a_medium_are_shared_out_by_bytes() -> None:
    assert shared_out(10.0, {"a": 300, "b": 100}, {"a": 1, "b": 9}) == {"a": 7.5, "b": 2.5}
    assert shared_out(10.0, {}, {"a": 1, "b": 4}) == {"a": 2.0, "b": 8.0}
    assert shared_out(10.0, {}, {}) == {}


def test_what_is_told_of_a_rate_is_what_was_measured_of_the_medium(studio: Studio) -> None:
    with Ledger.open(None) as ledger:
        copy = audit(studio, ledger, Options(now=NOW, new_seed=1)).copies[0]
        (rate,) = ledger.rates("disk")
    assert rate.bytes == copy.bytes_read and rate.took_s == pytest.approx(copy.seconds, abs=0.001)


def test_an_audit_that_is_interrupted_took_its_time(studio: Studio) -> None:
    def interrupt(text: str) -> None:
        if "6 of 6 files" in text:
            raise KeyboardInterrupt

    with Ledger.open(None) as ledger:
        found = audit(studio, ledger, Options(now=NOW, new_seed=1, progress=interrupt))
    assert found.complete is False and found.copies[0].counts["verified"] == 6
    assert found.copies[0].bytes_read and found.copies[0].seconds > 0


def test_another_copy_inside_a_copy_is_not_extra(studio: Studio) -> None:
    inner = studio.file.parent / "disk/inner"
    inner.mkdir()
    (inner / "note.txt").write_bytes(b"note")
    (inner.parent / "mine.txt").write_bytes(b"mine")
    text = studio.file.read_text(encoding="utf-8")
    outer, inside = text, '[[copies]]\nid = "inner"\non = "disk"\nat = "disk/inner"\n'
    for list_or_none in (outer, outer.removesuffix('manifest = "reed.sha256"\n')):
        studio.file.write_text(list_or_none + inside, encoding="utf-8")
        with Ledger.open(None) as ledger:
            found = audit(load_studio(studio.file), ledger, Options(now=NOW, new_seed=1))
        extra = [[file.path for file in copy.files] for copy in found.copies]
        assert extra == [["mine.txt"], ["note.txt"]]


@pytest.mark.parametrize(("spare", "compared"), [(0, False), (4 * 9 - 1, False), (4 * 9, True)])
def test_what_is_left_of_a_budget_bounds_comparing(studio: Studio, spare: int, compared: bool) -> None:
    """Two copies of a note differ; each is read once more to compare, and once more to decode it."""
    studio.file.write_text(studio_text({"disk": "ssd", "other": "ssd"}), encoding="utf-8")
    (studio.file.parent / "other").mkdir()
    for name, words in (("disk", b"this note"), ("other", b"that note")):
        (studio.file.parent / name / "note.txt").write_bytes(words)
    all_of_it = sum(path.stat().st_size for path in studio.file.parent.glob("*/*"))
    limits = Limits(budget_bytes=all_of_it + spare)
    with Ledger.open(None) as ledger:
        found = audit(load_studio(studio.file), ledger, Options(now=NOW, new_seed=1, limits=limits))
    (one,) = found.disagreements
    assert all(copy.counts["not_read"] == 0 for copy in found.copies)
    assert (len(one.groups) == 2) is compared
    assert one.judgement.startswith("not compared: what is left of the budget") is not compared


@pytest.mark.parametrize(("spare", "looked_into"), [(0, 0), (12, 1), (24, 2)])
def test_a_budget_bounds_looks_too(studio: Studio, spare: int, looked_into: int) -> None:
    """Two sidecars beside the list, of 12 bytes each."""
    disk = studio.file.parent / "disk"
    all_of_it = sum(path.stat().st_size for path in disk.iterdir())
    for name in ("a.xmp", "b.xmp"):
        (disk / name).write_bytes(b"<x><y /></x>")
    limits = Limits(budget_bytes=all_of_it + spare)
    with Ledger.open(None) as ledger:
        found = audit(studio, ledger, Options(now=NOW, new_seed=1, limits=limits, look=True))
    counts = found.copies[0].counts
    assert (counts["opens"], counts["extra"], counts["verified"]) == (looked_into, 2 - looked_into, 6)
    assert any("looked into" in note for note in found.notes) is (looked_into < 2)
