"""Hand-made studios, each about one thing, with what must come of it worked out by hand.

Flows in: nothing. Flows out: cases. It must not import the program under test. Facts: the contract.
"""

from datetime import UTC, date, datetime
from typing import Any

from described import Copy, Hazard, Held, Medium, Place, Studio, Targets
from hand import FILES, SLOW, A, B, C, Case, D, copy, gone, media, only, picture, shoot


def two_of_three() -> Case:
    """Three drives with the same pictures; any two may go, three may not."""
    copies = tuple(copy(name, *FILES) for name in "xyz")
    studio = Studio(media=media(*"xyz"), shoots=(shoot(*FILES),), copies=copies)
    scenarios = (
        only("one", Hazard(effect="gone", each="medium")),
        only("two", Hazard(effect="gone", hits={"medium": ["x", "z"]})),
        only("all", Hazard(effect="gone")),
    )
    hand: dict[Any, tuple[int, int, int]] = {("one", name): (3, 0, 0) for name in "xyz"} | {
        ("two", None): (3, 0, 0),
        ("all", None): (0, 0, 3),
    }
    return Case(studio, scenarios, hand)


def every_form() -> Case:
    """The same pictures as a folder and in every kind of archive: each alone brings them back."""
    forms = {"folder": "folder", "zip": ".zip", "sevenzip": ".7z", "tar": ".tar", "targz": ".tar.gz"}
    copies = tuple(copy(name, *FILES, form=form) for name, form in forms.items())
    studio = Studio(media=media(*forms), shoots=(shoot(*FILES),), copies=copies)
    alone = [
        only(f"only-{name}", Hazard(effect="gone", hits={"medium": [other for other in forms if other != name]}))
        for name in forms
    ]
    some = only(
        "some", Hazard(effect="deleted", files=("*.DNG",), hits={"form": "archive"}), *gone(medium="folder").hazards
    )
    encrypted = only("encrypted", Hazard(effect="encrypted", hits={"form": "archive"}), *gone(medium="folder").hazards)
    members = only("members", Hazard(effect="encrypted", files=("deliver/**",), hits={"form": ["archive", "folder"]}))
    hand: dict[Any, tuple[int, int, int]] = {(s.name, None): (3, 0, 0) for s in alone}
    hand |= {("some", None): (1, 0, 2), ("encrypted", None): (0, 0, 3), ("members", None): (2, 0, 1)}
    return Case(studio, (*alone, some, encrypted, members), hand)


def mirrors() -> Case:
    """A deletion on the computer reaches its mirror and the mirror's mirror, not the one that keeps versions."""
    chain = (
        Medium(id="computer", kind="computer"),
        Medium(id="nas", kind="network-storage", mirrors="computer"),
        Medium(id="far", kind="cloud", place="far", mirrors="nas"),
        Medium(id="versions", kind="cloud", place="far", mirrors="computer", keeps_versions="30 days"),
        Medium(id="after", kind="ssd", mirrors="versions"),
    )
    copies = tuple(copy(m.id, *FILES, says=True) for m in chain[:3])
    saved = (copy("versions", FILES[0]), copy("after", FILES[1]))
    studio = Studio(media=chain, shoots=(shoot(*FILES),), copies=(*copies, *saved))
    hits = {"medium": "computer"}
    scenarios = (
        only("deleted", Hazard(effect="deleted", hits=hits)),
        only("encrypted", Hazard(effect="encrypted", hits=hits)),
        only("altered", Hazard(effect="altered", offsets=(7, 4999), hits=hits)),
        only("truncated", Hazard(effect="truncated", keep="70%", hits=hits)),
        # The mirror is hit directly and through what it mirrors: the same draw, not twice.
        only("both", Hazard(effect="altered", offsets=(7,), hits={"medium": ["computer", "nas"]})),
        only("gone", Hazard(effect="gone", hits=hits)),
        only("refused", Hazard(effect="refused", hits=hits)),
        only("unreadable", Hazard(effect="unreadable", sectors=(0,), hits=hits)),
        only("stale", Hazard(effect="stale", before=datetime(2020, 1, 1, tzinfo=UTC), hits=hits)),
        only("middle", Hazard(effect="deleted", hits={"medium": "nas"})),
    )
    hand: dict[Any, tuple[int, int, int]] = {
        (name, None): (2, 0, 1) for name in ("deleted", "encrypted", "altered", "truncated", "both")
    }
    hand |= {(name, None): (3, 0, 0) for name in ("gone", "refused", "unreadable", "stale", "middle")}
    return Case(studio, scenarios, hand)


def shared_kinds(kind: str) -> Case:
    """Where the lists share a digest kind, pictures are found under any name."""
    renamed = tuple((f"2026/{number}.bin", data) for number, (_, data) in enumerate(FILES))
    studio = Studio(
        media=media(*"xy"),
        shoots=(shoot(*FILES, promised_in=(kind,)),),
        copies=(copy("x", *renamed, says=True, says_in=(kind,)), copy("y", *renamed, says=True, says_in=("md5", kind))),
    )
    both = only("both", Hazard(effect="deleted", files=("0.bin",)))
    if kind == "xxh32":
        # No identity by itself; with md5 beside it in the other list it is still the only kind that is shared.
        return Case(studio, (gone(medium="x"), SLOW), {("gone", None): (0, 0, 3), ("slow", None): (0, 0, 3)})
    return Case(studio, (gone(medium="x"), both), {("gone", None): (3, 0, 0), ("both", None): (2, 0, 1)})


def other_kinds(kind: str) -> Case:
    """Where they share none, names find the pictures: other folder, other case, other composition."""
    files = (("a/Mu\u0308we.dng", A), ("b/tern.JPG", B), ("b/gull.jpg", C))
    stored = (("X/M\u00dcWE.DNG", A), ("Y/Z/Tern.jpg", B), ("renamed.jpg", C))
    studio = Studio(
        media=media("x"),
        shoots=(shoot(*files, promised_in=("sha256" if kind == "md5" else "md5",)),),
        copies=(copy("x", *stored, says=True, says_in=(kind,)),),
    )
    return Case(studio, (SLOW,), {("slow", None): (2, 0, 1)})


def camera_names_twice() -> Case:
    """The camera counted past 9999: the same name twice with other bytes, in folders that were renamed."""
    files = (("day1/AAAA0001.dng", A), ("day2/AAAA0001.dng", B), ("day3/AAAA0001.dng", C))
    stored = (("100/aaaa0001.dng", C), ("101/aaaa0001.dng", A), ("102/aaaa0001.dng", B))
    copies = (
        copy("bare", *stored),
        copy("md5", *stored, says=True, says_in=("md5",)),
        copy("zip", *stored, form=".zip"),
        copy("two", ("AAAA0001.dng", B)),
    )
    studio = Studio(media=media("bare", "md5", "zip", "two"), shoots=(shoot(*files),), copies=copies)
    names = ["bare", "md5", "zip", "two"]
    alone = [only(f"only-{n}", Hazard(effect="gone", hits={"medium": [o for o in names if o != n]})) for n in names]
    some = only("some", Hazard(effect="altered", files=("101/*",), offsets=(9,), hits={"medium": ["bare", "md5"]}))
    hand: dict[Any, tuple[int, int, int]] = {(s.name, None): (3, 0, 0) for s in alone[:3]} | {
        ("only-two", None): (1, 0, 2),
        ("some", None): (3, 0, 0),
    }
    return Case(studio, (*alone, some), hand)


def renamed_without_a_list() -> Case:
    """On a copy without a list, files under names that nobody promised are read and found by what is in them."""
    stored = (("export/1.jpg", A), ("export/2.jpg", B), ("export/unrelated.jpg", D))
    copies = (copy("folder", *stored), copy("zip", *stored, form=".zip"), copy("sevenzip", *stored, form=".7z"))
    studio = Studio(media=media("folder", "zip", "sevenzip"), shoots=(shoot(*FILES),), copies=copies)
    two = only("two", Hazard(effect="gone", hits={"medium": ["folder", "zip"]}))
    rot = only("rot", Hazard(effect="altered", offsets=(0,), hits={"form": "folder"}), *gone(form="archive").hazards)
    return Case(
        studio, (SLOW, two, rot), {("slow", None): (2, 0, 1), ("two", None): (2, 0, 1), ("rot", None): (0, 0, 3)}
    )


def moved_and_absolute() -> Case:
    """A list whose files have moved to other folders, and one that names files by their whole path."""
    stored = (("new/place/AAAA0001.dng", A), ("AAAA0002.dng", B), ("c/one.jpg", C))
    absolute = tuple((f"/Volumes/Somewhere/{path}", data) for path, data in stored)
    copies = (copy("moved", *stored, says=FILES), copy("absolute", *stored, says=absolute))
    composed = copy("composed", ("Mu\u0308we.jpg", D), says=(("M\u00fcwe.jpg", D),))
    studio = Studio(
        media=media("moved", "absolute", "composed"),
        shoots=(shoot(*FILES, ("deliver/M\u00fcwe.jpg", D)),),
        copies=(*copies, composed),
    )
    scenarios = (
        SLOW,
        only("a", Hazard(effect="gone", hits={"medium": "absolute"})),
        only("m", *gone(medium="moved").hazards),
    )
    return Case(studio, scenarios, {(name, None): (4, 0, 0) for name in ("slow", "a", "m")})


def byte_effects() -> Case:
    """Each byte effect on a folder: what lies beyond a file's end does it no harm."""
    files = (("a.dng", A), ("b.dng", B + C), ("c.jpg", C[:100]), ("empty.txt", b""))
    studio = Studio(media=media(*"xy"), shoots=(shoot(*files),), copies=(copy("x", *files), copy("y", files[2])))
    hits = {"medium": "x"}
    scenarios = (
        only("beyond", Hazard(effect="altered", offsets=(5000, 9999), hits=hits)),  # a has 5000, b has 10000 bytes
        only("inside", Hazard(effect="altered", offsets=(99, 4999), hits=hits)),
        only("small", Hazard(effect="altered", offsets=(4999,), files=("a.*",), hits=hits)),
        only("sector-0", Hazard(effect="unreadable", sectors=(0,), hits=hits)),
        only("sector-1", Hazard(effect="unreadable", sectors=(1,), hits=hits)),
        only("sector-2", Hazard(effect="unreadable", sectors=(2,), files=("*.dng",), hits=hits)),
        only("sector-512", Hazard(effect="unreadable", sectors=(10,), sector_size=512, hits=hits)),
        only("keep-bytes", Hazard(effect="truncated", keep=5000, hits=hits)),
        only("keep-share", Hazard(effect="truncated", keep="50%", files=("a.dng", "c.*"), hits=hits)),
        only("keep-none", Hazard(effect="truncated", keep=0, hits=hits)),
        only("encrypted", Hazard(effect="encrypted", files=("*.dng",), hits=hits)),
        only(
            "two",
            Hazard(effect="truncated", keep=4096, hits=hits),
            Hazard(effect="unreadable", sectors=(1,), hits=hits),
        ),
    )
    lost = {"beyond": 1, "inside": 2, "small": 1, "sector-0": 2, "sector-1": 2, "sector-2": 1, "sector-512": 1}
    lost |= {"keep-bytes": 1, "keep-share": 1, "keep-none": 2, "encrypted": 2, "two": 2}
    return Case(studio, scenarios, {(name, None): (4 - number, 0, number) for name, number in lost.items()})


def stale() -> Case:
    """Only what existed before that moment is there: by the file's own time, in folders and in archives."""
    old, new = datetime(2026, 8, 1, tzinfo=UTC), datetime(2026, 10, 1, tzinfo=UTC)
    stored = (Held("a.dng", A, old), Held("b.dng", B, new))
    forms = {"folder": "folder", "zip": ".zip", "sevenzip": ".7z", "tar": ".tar", "targz": ".tar.gz"}
    files = (("a.dng", A), ("b.dng", B))
    copies = tuple(Copy(id=name, on=name, form=form, holds=stored) for name, form in forms.items())
    studio = Studio(media=media(*forms), shoots=(shoot(*files),), copies=copies)
    cut = datetime(2026, 9, 1, tzinfo=UTC)
    scenarios = [
        only(
            f"only-{name}",
            Hazard(effect="stale", before=cut),
            Hazard(effect="gone", hits={"medium": [other for other in forms if other != name]}),
        )
        for name in forms
    ]
    early = only("early", Hazard(effect="stale", before=old))
    return Case(
        studio, (*scenarios, early), {(s.name, None): (1, 0, 1) for s in scenarios} | {("early", None): (0, 0, 2)}
    )


def selectors() -> Case:
    """Every key of a selector, and the defaults behind attached, carried and offsite."""
    kept = (
        Medium(id="tab", kind="tablet", place="bag"),
        Medium(id="card", kind="card", place="bag"),
        Medium(id="nas", kind="network-storage", place="home", attached=False),
        Medium(id="box", kind="cloud", place="far", account="acc"),
        Medium(id="disk", kind="hard-disk", place="bank", attached=True),
    )
    files = tuple((f"p{number}.jpg", picture(number)) for number in range(5))
    copies = tuple(copy(m.id, file) for m, file in zip(kept, files, strict=True))
    studio = Studio(
        media=kept,
        shoots=(shoot(*files),),
        copies=copies,
        places=(Place(id="bag", carried=True), Place(id="bank", offsite=True)),
    )
    hits: dict[str, tuple[dict[str, Any], int]] = {
        "kinds": ({"kind": ["tablet", "cloud"]}, 2),
        "attached": ({"attached": True}, 2),
        "not-attached": ({"attached": False}, 3),
        "carried": ({"carried": True}, 2),
        "offsite": ({"offsite": True}, 2),
        "at-home": ({"offsite": False, "carried": False}, 1),
        "account": ({"account": "acc"}, 1),
        "copies": ({"copy": ["tab", "disk"]}, 2),
        "both": ({"copy": ["tab", "disk"], "place": "bag"}, 1),
        "form": ({"form": "folder", "kind": "card"}, 1),
    }
    scenarios = [only(name, Hazard(effect="gone", hits=what)) for name, (what, _) in hits.items()]
    turns = [
        only(f"each-{each}", Hazard(effect="refused", each=each)) for each in ("medium", "place", "account", "copy")
    ]
    nothing = (
        only("no-tape", Hazard(effect="gone", hits={"kind": "tape"})),
        only("no-link", Hazard(effect="expired", hits={"form": "link"})),
    )
    hand: dict[Any, tuple[int, int, int]] = {
        (name, None): (5 - number, 0, number) for name, (_, number) in hits.items()
    }
    hand |= {("each-place", "bag"): (3, 0, 2), ("each-account", "acc"): (4, 0, 1), ("each-copy", "disk"): (4, 0, 1)}
    return Case(studio, (*scenarios, *turns, *nothing), hand)


def two_on_one() -> Case:
    """Two copies on one medium: a hazard on a copy leaves the other, a hazard on the medium takes both."""
    kept = (Medium(id="m", place="bag"), Medium(id="n", place="far"))
    copies = (copy("m", FILES[0], on="m"), copy("m-2", *FILES, on="m", form=".zip"), copy("n", FILES[1], on="n"))
    studio = Studio(media=kept, shoots=(shoot(*FILES, targets=Targets(further_failures=0)),), copies=copies)
    scenarios = (
        only("copy", Hazard(effect="gone", each="copy")),
        only("medium", Hazard(effect="gone", each="medium")),
        only("archive", Hazard(effect="gone", hits={"form": "archive"})),
    )
    hand: dict[Any, tuple[int, int, int]]
    hand = {
        ("copy", "m"): (3, 0, 0),
        ("copy", "m-2"): (2, 0, 1),
        ("medium", "m"): (1, 0, 2),
        ("archive", None): (2, 0, 1),
    }
    return Case(studio, scenarios, hand)


def classes_and_weights() -> Case:
    """The score is a weighted mean over the classes present, rounded down: weights 1, 2.5 and 1."""
    files = (("x/a.DNG", A), ("x/b.dng", B), ("x/c.dng", C), ("deliver/q/d.jpg", D), ("notes.txt", A + B))
    studio = Studio(
        media=media(*"xy"),
        shoots=(shoot(*files),),
        copies=(copy("x", *files), copy("y", files[0], files[1], files[4])),
        classes=(("originals", ("*.dng",)), ("edits", ("*.xmp",)), ("deliverables", ("deliver/**",))),
        weights={"deliverables": 2.5, "edits": 9},
    )
    return Case(studio, (gone(medium="x"),), {("gone", None): (3, 0, 2)})


def rotten() -> Case:
    """The first copy is rotten on the drive itself: the drill goes on to the next, a restore by hand believes it."""
    bad = (FILES[0], (FILES[1][0], D), (FILES[2][0], FILES[2][1][:2000]))
    copies = (copy("x", *bad), copy("y", *FILES), copy("z", *bad[1:], says=FILES[1:]))
    studio = Studio(media=media(*"xyz"), shoots=(shoot(*FILES),), copies=copies)
    alone = only("alone", Hazard(effect="gone", hits={"medium": "y"}))
    return Case(studio, (SLOW, alone), {("slow", None): (3, 0, 0), ("alone", None): (1, 0, 2)})


def several_shoots() -> Case:
    """One drive holds parts of several shoots; targets differ; an old loss is no recent one."""
    recent = shoot(
        ("one.jpg", A), ("two.jpg", B), id="recent", date=date(2026, 11, 24), targets=Targets(lose_at_most_h=48)
    )
    old = shoot(
        ("three.jpg", C),
        ("two-again.jpg", B),
        id="old",
        date=date(2024, 2, 29),
        targets=Targets(lose_at_most_h=48, further_failures=1),
    )
    plain = shoot(("four.jpg", D), id="plain")
    copies = (
        copy("x", ("one.jpg", A), ("three.jpg", C), ("four.jpg", D)),
        copy("y", ("k/two.jpg", B), ("k/four.jpg", D), says=True),
        copy("z", ("deep/er/four.jpg", D), form=".7z"),
    )
    studio = Studio(media=media(*"xyz"), shoots=(recent, old, plain), copies=copies)
    each = only("each", Hazard(effect="gone", each="medium"))
    return Case(studio, (each,), {("each", "x"): (1, 0, 1), ("each", "y"): (1, 0, 1), ("each", "z"): (2, 0, 0)})


def many_weakest() -> Case:
    """More than twenty smallest sets of failures: twenty are listed. 3 × 3 × 3 = 27 here."""
    kept = tuple(Medium(id=f"m{number}", place=f"p{number}", account=f"a{number}") for number in range(3))
    copies = tuple(copy(m.id, FILES[0]) for m in kept)
    studio = Studio(media=kept, shoots=(shoot(FILES[0]),), copies=copies)
    return Case(studio, (SLOW, gone(medium="m0")), {("slow", None): (1, 0, 0)})
