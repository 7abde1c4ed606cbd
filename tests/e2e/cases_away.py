"""Hand-made studios about what cannot be had: needs, drives that are not here, links.

What must come of each is worked out by hand.

Flows in: nothing. Flows out: cases. It must not import the program under test. Facts: the contract.
"""

from datetime import UTC, datetime
from typing import Any

from described import Hazard, Medium, Studio, Targets
from hand import FILES, SLOW, A, B, C, Case, D, copy, gone, media, only, shoot


def needs() -> Case:
    """The drive needs a key, the key needs the phone: without any of them nothing comes off the drive."""
    chain = (
        Medium(id="drive", kind="hard-disk", needs=("key",)),
        Medium(id="key", kind="card", place="drawer", needs=("phone",)),
        Medium(id="phone", kind="phone", place="bag", account="login"),
    )
    studio = Studio(media=chain, shoots=(shoot(*FILES),), copies=(copy("drive", *FILES),))
    hits = {"medium": "phone"}
    scenarios = (
        only("gone", Hazard(effect="gone", hits=hits)),
        only("refused", Hazard(effect="refused", each="account")),
        only("encrypted", Hazard(effect="encrypted", hits=hits)),
        only("deleted", Hazard(effect="deleted", hits=hits)),
        only("bag", Hazard(effect="gone", hits={"place": "bag"})),
    )
    hand: dict[Any, tuple[int, int, int]] = {(name, None): (0, 0, 3) for name in ("gone", "encrypted", "bag")}
    return Case(studio, scenarios, hand | {("refused", "login"): (0, 0, 3), ("deleted", None): (3, 0, 0)})


def needs_by_mirror() -> Case:
    """Encryption of the computer reaches the tablet that mirrors it, and with it the key that the drive needs."""
    kept = (Medium(id="computer", kind="computer"), Medium(id="tablet", kind="tablet", mirrors="computer"))
    studio = Studio(
        media=(*kept, Medium(id="drive", kind="hard-disk", needs=("tablet",))),
        shoots=(shoot(*FILES),),
        copies=(copy("drive", *FILES),),
    )
    scenario = only("encrypted", Hazard(effect="encrypted", hits={"medium": "computer"}))
    return Case(studio, (scenario,), {("encrypted", None): (0, 0, 3)})


def out_of_reach() -> Case:
    """What cannot be read now counts on paper by its list, each reason alike, unless the scenario takes it."""
    made = datetime(2026, 9, 13, tzinfo=UTC)
    drives = (
        *media("here", "no-at", "absent", "bare"),
        Medium(id="other", place="at-other", recognised_by="DRIVE.txt"),
        Medium(id="known", place="at-known", recognised_by="DRIVE.txt"),
    )
    copies = (
        copy("here", FILES[0]),
        copy("no-at", FILES[1], says=True, holds=(), out_of_reach="no at", made=made),
        copy("absent", FILES[2], says=True, out_of_reach="missing"),
        copy("bare", ("deliver/four.jpg", D), says=True, form=".zip", out_of_reach="empty"),
        copy("other", ("deliver/five.jpg", A + B), says=True, out_of_reach="other drive"),
        copy("known", ("deliver/six.jpg", B + C)),
    )
    more = (
        ("deliver/four.jpg", D),
        ("deliver/five.jpg", A + B),
        ("deliver/six.jpg", B + C),
        ("deliver/seven.jpg", C + D),
    )
    studio = Studio(
        media=drives, shoots=(shoot(*FILES, *more, targets=Targets(lose_at_most_h=24)),), copies=copies
    )  # fmt: skip
    away = {"medium": ["no-at", "absent", "bare", "other"]}
    scenarios = (
        SLOW,
        only("gone", Hazard(effect="gone", hits=away)),
        only("encrypted", Hazard(effect="encrypted", hits=away)),
        only("some", Hazard(effect="deleted", hits=away, files=("*.jpg",))),
        only("altered", Hazard(effect="altered", hits=away, offsets=(0,))),
        only("stale", Hazard(effect="stale", hits=away, before=made)),
        only("fresh", Hazard(effect="stale", hits=away, before=datetime(2026, 9, 14, tzinfo=UTC))),
        only("forms", Hazard(effect="gone", hits={"form": ["folder", "archive"]})),
    )
    hand: dict[Any, tuple[int, int, int]] = {(name, None): (2, 4, 1) for name in ("slow", "altered", "fresh")}
    hand |= {(name, None): (2, 0, 5) for name in ("gone", "encrypted")}
    hand |= {("some", None): (2, 1, 4), ("stale", None): (2, 3, 2), ("forms", None): (0, 1, 6)}
    return Case(studio, scenarios, hand)


def no_list_out_of_reach() -> Case:
    """A drive that is not here and has no list is said to hold nothing; an archive missing among other files too."""
    copies = (copy("x", *FILES[:2]), copy("y", *FILES, out_of_reach="missing"), copy("z", *FILES, form=".tar"))
    studio = Studio(media=media(*"xyz"), shoots=(shoot(*FILES),), copies=copies)
    return Case(studio, (gone(medium="z"),), {("gone", None): (2, 0, 1)})


def link_case() -> Case:
    """A base link with a list, an archive link, and a folder that holds less."""
    kept = (
        Medium(id="web", kind="cloud", place="far", account="acc"),
        Medium(id="box", kind="cloud", place="far"),
        Medium(id="disk", place="home"),
    )
    strange = ("raw/A & B #1 \u00fc.dng", D)
    made = datetime(2026, 9, 13, tzinfo=UTC)
    copies = (
        copy("web", *FILES, strange, says=True, form="link", made=made),
        copy("box", *FILES[:2], form="link.zip", made=made),
        copy("disk", FILES[0]),
    )
    studio = Studio(media=kept, shoots=(shoot(*FILES, strange),), copies=copies)
    web, box = {"copy": "web"}, {"copy": "box"}
    scenarios = (
        SLOW,
        only("expired", Hazard(effect="expired", hits={"form": "link"}, each="copy")),
        only("forbidden", Hazard(effect="expired", hits={"form": "link"}, status=403)),
        only("page", Hazard(effect="expired", hits=web, page=True)),
        only("all-pages", Hazard(effect="expired", hits={"form": "link"}, page=True)),
        only("deleted", Hazard(effect="deleted", hits=web, files=("*.dng",))),
        only(
            "boxed",
            Hazard(effect="deleted", hits=box, files=("*1.dng",)),
            *gone(medium="disk").hazards,
            Hazard(effect="gone", hits=web),
        ),
        only("encrypted", Hazard(effect="encrypted", hits={"kind": "cloud"})),
        only("stale", Hazard(effect="stale", hits=web, before=made)),
        only("locked", Hazard(effect="refused", each="account")),
    )
    hand: dict[Any, tuple[int, int, int]] = {
        ("slow", None): (4, 0, 0),
        ("expired", "web"): (2, 0, 2),
        ("expired", "box"): (4, 0, 0),
    }
    hand |= {("forbidden", None): (1, 0, 3), ("page", None): (2, 0, 2), ("all-pages", None): (1, 0, 3)}
    hand |= {("deleted", None): (3, 0, 1), ("boxed", None): (1, 0, 3), ("encrypted", None): (1, 0, 3)}
    return Case(studio, scenarios, hand | {("stale", None): (2, 0, 2), ("locked", "acc"): (2, 0, 2)})
