"""Published rules about where copies are, as small schemes with expected answers; the source beside each."""

from collections.abc import Sequence

import pytest

from drill.model import Bus, Medium
from drill.survey.rules import lacks_3_2_1, storage_level
from drill.timing import ceiling


def media(scheme: str) -> list[Medium]:
    """Read "kind@place kind@place+": a plus marks a place away from home and studio."""
    found = []
    for number, text in enumerate(scheme.split()):
        kind, _, place = text.partition("@")
        off = place.endswith("+")
        found.append(Medium(f"m{number}", kind, place.rstrip("+"), attached=False, offsite=off, carried=False))
    return found


# Ruggiero & Heckathorn, "Data Backup Options", US-CERT 2012: "3 – Keep 3 copies of any important file: 1 primary and 2
# backups. 2 – Keep the files on 2 different media types to protect against different types of hazards. 1 – Store 1 copy
# offsite (e.g., outside your home or business facility)."
US_CERT = [
    ("computer@home hard-disk@home cloud@provider+", ()),
    ("hard-disk@home hard-disk@home hard-disk@bank+", ("kinds",)),
    ("computer@home hard-disk@home ssd@home", ("offsite",)),
    ("computer@home hard-disk@bank+", ("copies",)),
    ("card@bag", ("copies", "kinds", "offsite")),
    ("cloud@provider+", ("copies", "kinds")),
    ("", ("copies", "kinds", "offsite")),
]


@pytest.mark.parametrize(("scheme", "lacks"), US_CERT)
def test_three_copies_two_media_types_one_offsite(scheme: str, lacks: Sequence[str]) -> None:
    assert lacks_3_2_1(media(scheme)) == tuple(lacks)


# NDSA Levels of Digital Preservation 2.0 (2019), Storage: level 1 "Have two complete copies in separate locations";
# level 2 three complete copies, at least one in a separate geographic location. Levels 3 and 4 want places "with a
# different disaster threat", of which a studio file says nothing, so they are never claimed.
NDSA = [
    ("hard-disk@home", 0),
    ("hard-disk@home ssd@home", 0),
    ("hard-disk@home ssd@studio", 1),
    ("hard-disk@home cloud@provider+", 1),
    ("hard-disk@home ssd@home computer@studio", 1),
    ("hard-disk@home ssd@home cloud@provider+", 2),
    ("hard-disk@home ssd@home tablet@home", 0),  # three copies share one house: no level, let alone the third
    ("hard-disk@home ssd@bank+ cloud@provider+ tape@vault+", 2),
]


@pytest.mark.parametrize(("scheme", "level"), NDSA)
def test_ndsa_storage_levels(scheme: str, level: int) -> None:
    assert storage_level(media(scheme)) == level


# SD bus modes: SD Express 985 MB/s. SATA III: 6 Gb/s with 8b/10b, 600 MB/s. USB 3.2 Gen 2: 10 Gb/s with 128b/132b,
# 1212.1 MB/s. Gigabit Ethernet, TCP/IPv4, MTU 1500: 1460/1538 of 1000 Mb/s, 118.66 MB/s.
CEILINGS = [
    ("card", 985.0),
    ("hard-disk", 600.0),
    ("ssd", 1212.1),
    ("tablet", 1212.1),
    ("network-storage", 118.66),
]


def reading_at(kind: str, rate_mbps: float, bus: str | None = None) -> Medium:
    return Medium(
        "m", kind, "home", attached=False, offsite=False, carried=False, reads_at_bps=rate_mbps * 1e6, bus=bus
    )


@pytest.mark.parametrize(("kind", "ceiling_mbps"), CEILINGS)
def test_a_rate_above_the_ceiling_is_said_and_one_below_is_not(kind: str, ceiling_mbps: float) -> None:
    (limit,) = ceiling(reading_at(kind, ceiling_mbps + 0.1), {})
    assert limit[0] / 1e6 == pytest.approx(ceiling_mbps, abs=0.05)
    assert not ceiling(reading_at(kind, ceiling_mbps - 0.1), {})


def test_a_rate_above_its_bus() -> None:
    # USB 2.0 specification, table 5-10: 13 × 512 bytes in each of 8000 microframes a second, 53,248,000 bytes a second.
    usb = Bus("hub", 13 * 512 * 8000)
    assert usb.carries_bps == 53_248_000
    assert [of for _, of, _ in ceiling(reading_at("card", 54, "hub"), {"hub": usb})] == ["its bus hub"]
    assert not ceiling(reading_at("card", 53, "hub"), {"hub": usb})
