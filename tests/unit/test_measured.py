"""Measured rates in the place of what a studio file says, and those that cannot be true."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from drill.ledger import Ledger
from drill.measured import with_measured_rates
from drill.model import Studio
from drill.studio import load_studio

NOW = datetime(2026, 9, 1, tzinfo=UTC)


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    (tmp_path / "reed.sha256").write_text("0" * 64 + "  a.dng\n")
    (tmp_path / "studio.toml").write_text(
        '[studio]\nname = "Reed"\n[[shoots]]\nid = "reed"\ndate = 2026-09-01\nmanifest = "reed.sha256"\n'
        '[[media]]\nid = "a"\nkind = "hard-disk"\nplace = "home"\nreads_at = "100 MB/s"\nper_file = "9 ms"\n'
        '[[copies]]\non = "a"\nmanifest = "reed.sha256"\n'
    )
    return load_studio(tmp_path / "studio.toml")


def ledger_with(*rates: tuple[int, int, float], maybe_cached: bool = False) -> Ledger:
    ledger = Ledger.open(None)
    run = ledger.begin_run("audit", now=NOW, seed=1)
    for files, size, took_s in rates:
        ledger.add_rate(run, "a", files=files, bytes=size, took_s=took_s, maybe_cached=maybe_cached)
    return ledger


def test_what_was_measured_replaces_what_was_given(studio: Studio) -> None:
    ledger = ledger_with((100, 10**9, 11.0), (2000, 10**9, 30.0), (10, 4 * 10**9, 40.1))
    found, said = with_measured_rates(studio, ledger)
    assert found.media["a"].reads_at_bps == pytest.approx(100e6, rel=1e-3)
    assert found.media["a"].per_file_s == pytest.approx(0.01, rel=1e-3)
    assert len(said) == 1 and "3 readings" in said[0] and "95 times of 100" in said[0]


def test_one_reading_is_a_rate_without_an_interval(studio: Studio) -> None:
    found, said = with_measured_rates(studio, ledger_with((100, 10**9, 20.0)))
    assert (found.media["a"].reads_at_bps, found.media["a"].per_file_s) == (50e6, 0.0)
    assert said == ["restore times use what audits measured of a: 50 MB/s (1 reading, so it may be far off)"]


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("x.7z",), "; that is how fast this computer unpacks"),
        (("x.zip", "x"), "; in part that is how fast this computer unpacks"),
        (("x.tar", "x"), ""),
    ],
)
def test_what_an_archive_was_unpacked_at_is_not_called_the_drive_s_rate(
    studio: Studio, tmp_path: Path, names: tuple[str, ...], words: str
) -> None:
    text = "".join(f'[[copies]]\non = "a"\nid = "c{n}"\nat = "disk/{name}"\n' for n, name in enumerate(names))
    before = (tmp_path / "studio.toml").read_text().partition("[[copies]]")[0]
    (tmp_path / "studio.toml").write_text(before + text)
    _, (said,) = with_measured_rates(load_studio(tmp_path / "studio.toml"), ledger_with((100, 10**9, 20.0)))
    assert (words in said) if words else said.endswith("far off)")


def test_what_may_have_come_from_memory_says_nothing(studio: Studio) -> None:
    assert with_measured_rates(studio, ledger_with((1, 10**9, 20.0), maybe_cached=True)) == (studio, [])
    assert with_measured_rates(studio, None) == (studio, [])


def test_a_rate_that_no_connection_carries_is_said_to_be_impossible(studio: Studio) -> None:
    """SATA III carries 600 MB/s (6 Gb/s, 8b/10b); a hard disk that reads at 5 GB/s is no hard disk."""
    found, said = with_measured_rates(studio, ledger_with((1, 5 * 10**9, 1.0)))
    assert found.media == studio.media
    assert "impossible" in said[0] and "SATA III" in said[0]
