"""Sizes, durations and rates as people write them. 1 MB = 10^6, 1 MiB = 2^20 (IEC 80000-13, from memory)."""

import pytest

from drill import units


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("700 MB", 700_000_000),
        ("64 KiB", 65536),
        ("1 MiB", 1 << 20),
        ("12B", 12),
        ("1.5 GB", 1_500_000_000),
        ("0 B", 0),
    ],
)
def test_sizes(text: str, size: int) -> None:
    assert units.parse_size(text) == size


@pytest.mark.parametrize(
    ("text", "span_s"),
    [
        *(("48 h", 172800), ("2 days", 172800), ("1 day", 86400), ("5 ms", 0.005), ("30 min", 1800)),
        *(("100 days", 8640000), ("0 h", 0), ("1 week", 604800), ("90 s", 90), ("2 hours", 7200), ("3 minutes", 180)),
        *(("1 year", 31557600), ("5 years", 157788000)),
        *(("10 h 45 min", 38700), ("2h5min", 7500), ("3 days 2 h", 266400), ("1 week 1 day 1 h", 694800)),
    ],
)
def test_spans(text: str, span_s: float) -> None:
    assert units.parse_span(text) == pytest.approx(span_s)


@pytest.mark.parametrize(
    ("text", "rate"), [("180 MB/s", 180e6), ("40 Mbit/s", 5e6), ("1 MiB/s", 1048576), ("12.5 kB/s", 12500)]
)
def test_rates(text: str, rate: float) -> None:
    assert units.parse_rate(text) == pytest.approx(rate)


@pytest.mark.parametrize(
    "text",
    ["", "fast", "12", "-3 h", "3 parsecs", "3 months", "1e9 s", "48 h 3", "5 min 2 h", "2 h 3 h", "1 h 2 moons"],
)
def test_what_is_no_duration_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not written like"):
        units.parse_span(text)


@pytest.mark.parametrize("text", ["180 MB", "180/s", "180 MB/h", "MB/s"])
def test_what_is_no_rate_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not written like"):
        units.parse_rate(text)


@pytest.mark.parametrize(("text", "share"), [("70%", 0.7), ("0 %", 0.0), ("100%", 1.0), ("12.5%", 0.125)])
def test_shares(text: str, share: float) -> None:
    assert units.parse_share(text) == pytest.approx(share)


def test_a_share_above_the_whole_is_refused() -> None:
    with pytest.raises(ValueError, match="70%"):
        units.parse_share("101%")


@pytest.mark.parametrize(
    ("size", "said"),
    [(0, "0 B"), (999, "999 B"), (2_400_000_000, "2.4 GB"), (999_600, "1000 kB"), (25_000_000, "25 MB")],
)
def test_sizes_are_said_for_people(size: int, said: str) -> None:
    assert units.say_size(size) == said


@pytest.mark.parametrize(
    ("span_s", "said"),
    [
        (0.2, "under 1 s"),
        (41.2, "41 s"),
        (7520, "2 h 5 min"),
        (3600, "1 h"),
        (172800, "2 days"),
        (180000, "2 days 2 h"),
    ],
)
def test_durations_are_said_for_people(span_s: float, said: str) -> None:
    assert units.say_span(span_s) == said


def test_what_is_over_a_target_does_not_read_as_the_target() -> None:
    assert units.say_beside(172_801, 172_800) == "2 days and 1 s"
    assert units.say_beside(172_800.4, 172_800) == "just over 2 days"
    assert units.say_beside(172_800, 172_800) == units.say_beside(172_800, None) == "2 days"
    assert units.say_beside(7_520, 3_600) == "2 h 5 min"
