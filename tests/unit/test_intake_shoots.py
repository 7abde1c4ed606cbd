"""Shoots: which folder is one, where loose pictures go, when a shoot was, and what it is called; rule by rule."""

import time
from collections.abc import Collection, Sequence
from datetime import date, datetime, timedelta

import pytest

from drill import naming
from drill.intake.contents import Slot, contents_of
from drill.intake.dates import UNKNOWN, shoot_date
from drill.intake.folders import path_in_shoot, shoot_folders, telling
from drill.intake.ids import shoot_name
from drill.intake.shoots import Group, assemble, place_others
from drill.intake.wares import Ware
from drill.model import Digest, Entry, Seen, Taken

GAP_S = 6 * 3600.0
NINE = datetime(2026, 9, 12, 9)
LONG_AGO = datetime(1999, 1, 1)  # of files, on purpose: no rule may look at it


def ware(place: str, when: datetime | None = None, *, same: str | None = None) -> Ware:
    """A file "copy:folder/name" whose bytes are its own, or those called `same`."""
    copy, _, path = place.partition(":")
    *folders, name = path.split("/")
    taken = None if when is None else Taken(when, "Reed One")
    seen = Seen(9000, (Digest("xxh128", (same or place).encode().hex()),), b"", taken)
    delivery = any(naming.is_delivery(folder) for folder in folders)
    entry = Entry(path, 9000, LONG_AGO.astimezone())
    return Ware(copy, copy, entry, tuple(folders), name, naming.nature(name), seen, delivery)


def after(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


def homes(*wares: Ware, bags: Collection[tuple[str, ...]] = ()) -> dict[str, str | None]:
    """Return for each path of one copy the names down to its shoot's folder."""
    found = shoot_folders(wares, bags=bags, gap_s=GAP_S)
    return {w.entry.path: None if names is None else "/".join(names) for w, names in zip(wares, found, strict=True)}


def groups(*wares: Ware, gap_s: float = GAP_S) -> list[Group]:
    by_copy: dict[str, list[Ware]] = {}
    for one in wares:
        by_copy.setdefault(one.copy, []).append(one)
    folder_of = {}
    for some in by_copy.values():
        folder_of.update(zip(some, shoot_folders(some, bags=(), gap_s=gap_s), strict=True))
    slots = [Slot([content]) for content in contents_of(w for w in wares if w.is_picture)]
    found = assemble(slots, folder_of, gap_s=gap_s)
    place_others([w for w in wares if not w.is_picture], found, folder_of)
    return found


def shoots(*wares: Ware, gap_s: float = GAP_S) -> list[set[str]]:
    """Return the shoots as sets of places."""
    found = [
        {f"{w.copy}:{w.entry.path}" for w in (*(w for slot in group.slots for w in slot.wares), *group.others)}
        for group in groups(*wares, gap_s=gap_s)
    ]
    return sorted(found, key=sorted)


# --- folders -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", ["raw", "02_edits", "deliver", "Day 1", "100REED_", "xmp"])
def test_folders_that_name_a_part_are_looked_through(part: str) -> None:
    assert homes(ware(f"a:heron ridge/{part}/1.jpg"), ware("a:heron ridge/2.jpg")) == {
        f"heron ridge/{part}/1.jpg": "heron ridge",
        "heron ridge/2.jpg": "heron ridge",
    }


def test_a_folder_with_a_date_and_a_name_is_a_shoot_with_all_below_it() -> None:
    found = homes(ware("a:2026/2026-09-12 heron/first light/1.jpg"), ware("a:2026/2026-09-12 heron/dusk/2.jpg"))
    assert set(found.values()) == {"2026/2026-09-12 heron"}


@pytest.mark.parametrize("vague", ["DCIM", "Pictures", "2026", "2026/09", "Camera Uploads", "Photos 2", "backup"])
def test_vague_folders_are_no_shoot_and_what_lies_in_them_is_loose(vague: str) -> None:
    assert homes(ware(f"a:{vague}/1.jpg", NINE), ware(f"a:{vague}/2.jpg", after(1)))[f"{vague}/1.jpg"] is None


def test_files_at_the_top_of_a_medium_are_loose() -> None:
    assert homes(ware("a:1.jpg"))["1.jpg"] is None


def test_a_day_alone_is_a_shoot_where_pictures_lie_in_it() -> None:
    assert homes(ware("a:2026-09-12/1.jpg"))["2026-09-12/1.jpg"] == "2026-09-12"


def test_a_days_folder_with_several_below_it_holds_that_days_shoots() -> None:
    found = homes(ware("a:2026-09-12/heron/1.jpg", NINE), ware("a:2026-09-12/kiln/2.jpg", after(1)))
    assert set(found.values()) == {"2026-09-12/heron", "2026-09-12/kiln"}


def test_a_folder_that_holds_dated_folders_only_holds_shoots() -> None:
    found = homes(ware("a:Ridge Trust/2026-09-12/1.jpg", NINE), ware("a:Ridge Trust/2026-09-13/2.jpg", after(1)))
    assert set(found.values()) == {"Ridge Trust/2026-09-12", "Ridge Trust/2026-09-13"}


def test_a_folder_of_folders_is_a_shoot_where_all_was_taken_in_one_session() -> None:
    near = [ware(f"a:heron/{name}/1.jpg", after(60 * n)) for n, name in enumerate(("ridge", "reeds", "boats"))]
    assert set(homes(*near).values()) == {"heron"}
    far = [ware(f"a:heron/{name}/1.jpg", after(60 * 7 * n)) for n, name in enumerate(("ridge", "reeds", "boats"))]
    assert len(set(homes(*far).values())) == 3
    unknown = [ware(f"a:heron/{name}/1.jpg") for name in ("ridge", "reeds", "boats")]
    assert len(set(homes(*unknown).values())) == 3


def test_a_bag_is_a_shoot_even_where_its_name_is_vague() -> None:
    found = homes(ware("a:backup/data/1.jpg"), ware("a:photos/2.jpg"), bags=[("backup",)])
    assert found == {"backup/data/1.jpg": "backup", "photos/2.jpg": None}


def test_what_is_no_picture_makes_no_shoot_and_lies_in_one() -> None:
    assert homes(ware("a:notes/1.txt"), ware("a:heron/1.jpg"), ware("a:heron/call sheet.pdf")) == {
        "notes/1.txt": None,
        "heron/1.jpg": "heron",
        "heron/call sheet.pdf": "heron",
    }


def test_telling_names_and_paths_within_a_shoot() -> None:
    assert telling(("Pictures", "2026", "heron ridge", "raw", "2")) == ("Pictures", "2026", "heron ridge")
    assert path_in_shoot(("2026", "heron", "raw"), "1.dng", ("2026", "heron")) == "raw/1.dng"
    assert path_in_shoot(("work", "heron", "1", "raw"), "1.dng", ("work", "heron")) == "1/raw/1.dng"
    assert path_in_shoot(("DCIM", "100REED_"), "1.dng", None) == "100REED_/1.dng"


# --- one shoot on several copies ---------------------------------------------------------------------------------


def test_folders_of_other_names_are_one_shoot_where_half_of_the_smaller_is_shared() -> None:
    a = [ware(f"a:heron ridge/{n}.jpg", after(n), same=str(n)) for n in range(6)]
    b = [ware(f"b:ridge trust job/{n}.jpg", after(n), same=str(n)) for n in (0, 1)]
    b += [ware(f"b:ridge trust job/x{n}.jpg", after(n)) for n in (2, 3)]
    assert len(shoots(*a, *b)) == 1
    assert len(shoots(*a, *b, ware("b:ridge trust job/x4.jpg", after(4)))) == 2


def test_folders_of_one_name_are_one_shoot_where_their_days_meet() -> None:
    assert len(shoots(ware("a:Heron/1.jpg", NINE), ware("b:work/heron/2.jpg", after(300)))) == 1
    assert len(shoots(ware("a:Heron/1.jpg", NINE), ware("b:work/heron/2.jpg", after(60 * 24 * 9)))) == 2
    assert len(shoots(ware("a:Heron/1.jpg", NINE), ware("a:work/heron/2.jpg", after(300)))) == 2


def test_a_selection_of_the_years_best_takes_no_picture_out_of_its_shoot() -> None:
    names = ("heron", "kiln", "alder", "reeds")
    shot = [
        ware(f"a:{x}/{n}.jpg", after(60 * 24 * 9 * d + n), same=f"{x}{n}") for d, x in enumerate(names) for n in (1, 2)
    ]
    best = [ware(f"a:portfolio/{x}.jpg", after(60 * 24 * 9 * d + 1), same=f"{x}1") for d, x in enumerate(names)]
    found = shoots(*shot, *best)
    assert len(found) == 4
    assert all(len([place for place in shoot if "portfolio" in place]) == 1 for shoot in found)


def test_a_loose_picture_goes_where_its_other_copies_lie() -> None:
    assert (
        len(shoots(ware("card:DCIM/100REED_/REED0001.JPG", NINE, same="x"), ware("b:heron/1.jpg", NINE, same="x"))) == 1
    )


def test_a_loose_picture_goes_with_what_was_taken_next_to_it_on_its_copy() -> None:
    card = [ware(f"card:DCIM/100REED_/REED000{n}.JPG", after(60 * n), same=str(n)) for n in range(4)]
    heron, kiln = ware("b:heron/0.jpg", after(0), same="0"), ware("b:kiln/3.jpg", after(180), same="3")
    found = shoots(*card, heron, kiln)
    assert {"b:heron/0.jpg", "card:DCIM/100REED_/REED0000.JPG", "card:DCIM/100REED_/REED0001.JPG"} in found
    assert len(found) == 2


# --- gaps --------------------------------------------------------------------------------------------------------


def test_loose_pictures_are_split_where_none_was_taken_for_longer_than_the_gap() -> None:
    loose = [ware(f"a:DCIM/100REED_/REED000{n}.JPG", after(minutes)) for n, minutes in enumerate((0, 360, 721))]
    assert [len(shoot) for shoot in shoots(*loose)] == [2, 1]
    assert [len(shoot) for shoot in shoots(*loose, gap_s=2 * 3600)] == [1, 1, 1]
    assert [len(shoot) for shoot in shoots(*loose, gap_s=7 * 3600)] == [3]


def test_two_cameras_on_one_card_are_split_by_time_together() -> None:
    one = [ware(f"a:DCIM/100REED_/REED000{n}.JPG", after(n)) for n in range(3)]
    other = [ware(f"a:DCIM/101KILN_/KILN000{n}.JPG", after(n + 0.5)) for n in range(3)]
    assert len(shoots(*one, *other)) == 1


# --- without times -----------------------------------------------------------------------------------------------


def test_a_film_on_a_card_goes_with_the_picture_before_it() -> None:
    first = ware("a:DCIM/100REED_/REED0001.JPG", NINE)
    second = ware("a:DCIM/100REED_/REED0003.JPG", after(60 * 24))
    film, last = ware("a:DCIM/100REED_/REED0002.MOV"), ware("a:DCIM/100REED_/REED0004.WAV")
    assert shoots(first, second, film, last) == [
        {"a:DCIM/100REED_/REED0001.JPG", "a:DCIM/100REED_/REED0002.MOV"},
        {"a:DCIM/100REED_/REED0003.JPG", "a:DCIM/100REED_/REED0004.WAV"},
    ]


def test_films_before_the_first_picture_go_with_it_also_where_numbers_run_over() -> None:
    films = [ware("a:DCIM/100REED_/REED9998.MOV"), ware("a:DCIM/100REED_/REED9999.MOV")]
    assert len(shoots(*films, ware("a:DCIM/100REED_/REED9997.JPG", NINE))) == 1
    assert len(shoots(*films, ware("a:DCIM/101REED_/REED0001.JPG", NINE))) == 2  # another folder is another matter


def test_a_film_goes_with_a_neighbour_whose_shoot_is_known_from_another_copy() -> None:
    card = [ware("card:DCIM/100REED_/REED0001.JPG", NINE, same="x"), ware("card:DCIM/100REED_/REED0002.MOV")]
    assert len(shoots(*card, ware("b:heron/1.jpg", NINE, same="x"))) == 1


def test_a_raw_without_time_goes_with_its_jpeg() -> None:
    pair = [ware("a:Pictures/REED0001.JPG", NINE), ware("a:Pictures/REED0001.RAW")]
    assert len(shoots(*pair, ware("a:Pictures/REED0002.JPG", after(60 * 24)))) == 2
    assert {"a:Pictures/REED0001.JPG", "a:Pictures/REED0001.RAW"} in shoots(*pair)


def test_a_name_with_a_day_goes_with_what_was_taken_that_day() -> None:
    found = shoots(
        ware("a:Pictures/1.jpg", NINE),
        ware("a:Pictures/VID_20260912_101112.mp4"),
        ware("a:Pictures/VID_20260913_101112.mp4"),
    )
    assert {"a:Pictures/1.jpg", "a:Pictures/VID_20260912_101112.mp4"} in found
    assert len(found) == 2


def test_what_nothing_tells_of_is_one_group_undated() -> None:
    (group,) = groups(ware("a:Pictures/1.png"), ware("a:Pictures/2.mov"), ware("b:old/3.png"))
    day, origin = shoot_date(group)
    assert (day, origin) == (None, UNKNOWN)
    assert shoot_name(group, "a", day, taken=()) == "undated"


# --- what is no picture ------------------------------------------------------------------------------------------


def test_sidecars_go_with_their_folder_their_picture_or_a_folder_of_that_name() -> None:
    shot = [ware("a:heron/1.dng", NINE), ware("a:Pictures/2.dng", after(60 * 24)), ware("b:kiln/3.dng", after(60 * 72))]
    beside, loose = ware("a:heron/1.xmp"), ware("a:Pictures/2.xmp")
    tree, alone = ware("a:edits/Kiln/3.xmp"), ware("a:xmp/3.dng.xmp")
    found = shoots(*shot, beside, loose, tree, alone)
    assert {"a:heron/1.dng", "a:heron/1.xmp"} in found
    assert {"a:Pictures/2.dng", "a:Pictures/2.xmp"} in found
    assert {"b:kiln/3.dng", "a:edits/Kiln/3.xmp", "a:xmp/3.dng.xmp"} in found


def test_a_sidecar_that_may_be_of_two_shoots_is_in_none() -> None:
    shot = [ware("a:heron/1.dng", NINE), ware("a:kiln/1.dng", after(60 * 24))]
    assert all("a:xmp/1.xmp" not in shoot for shoot in shoots(*shot, ware("a:xmp/1.xmp")))


# --- dates and names ---------------------------------------------------------------------------------------------


def test_the_day_is_that_of_most_pictures_and_of_equals_the_first() -> None:
    days = [after(0), after(1), after(60 * 24), after(60 * 24 + 1), after(60 * 48)]
    (group,) = groups(*(ware(f"a:2026-09-13 heron/{n}.jpg", when) for n, when in enumerate(days)))
    assert shoot_date(group) == (date(2026, 9, 12), "capture times, of 3 days")


def test_a_folder_whose_name_says_another_day_is_told_for_the_clock_may_never_have_been_set() -> None:
    (group,) = groups(ware("a:2020-01-01 heron/1.jpg", NINE))
    assert shoot_date(group) == (date(2026, 9, 12), "capture times, but the folder's name says 2020-01-01")


def test_without_capture_times_the_folder_tells_the_day_then_the_files() -> None:
    (group,) = groups(ware("a:2020-01-02 heron/IMG_20260912_101112.png"))
    assert shoot_date(group) == (date(2020, 1, 2), "the folder's name")
    (group,) = groups(ware("a:heron/IMG_20260912_101112.png"), ware("a:heron/IMG_20260913_101112.png"))
    assert shoot_date(group) == (date(2026, 9, 12), "file names")


def test_file_times_are_never_asked() -> None:
    (group,) = groups(ware("a:heron/1.png"))
    assert group.slots[0].wares[0].entry.modified is not None
    assert shoot_date(group) == (None, UNKNOWN)


def name(*wares: Ware, taken: Sequence[str] = (), base: str = "a") -> str:
    (group,) = groups(*wares)
    return shoot_name(group, base, shoot_date(group)[0], taken=taken)


def test_a_shoot_is_called_as_its_folder_on_the_best_copy() -> None:
    both = ware("a:Café Möwe/1.jpg", NINE, same="x"), ware("b:ridge trust 7/1.jpg", NINE, same="x")
    assert name(*both) == "cafe-mowe"
    assert name(*both, base="b") == "ridge-trust-7"


def test_a_name_that_is_taken_gets_its_day_then_a_number() -> None:
    heron = ware("a:heron/1.jpg", NINE)
    assert name(heron, taken=["heron"]) == "heron-2026-09-12"
    assert name(heron, taken=["heron", "heron-2026-09-12"]) == "heron-2026-09-12-2"
    assert name(ware("a:heron/1.png"), taken=["heron"]) == "heron-2"


def test_loose_pictures_are_called_by_their_day_and_odd_names_are_made_safe() -> None:
    assert name(ware("a:DCIM/1.jpg", NINE)) == "2026-09-12"
    assert name(ware("a:鷺の尾根/1.jpg", NINE)) == "2026-09-12"
    assert name(ware("a:on heron/1.jpg", NINE)) == "shoot-on-heron"
    assert name(ware("a:Con/1.jpg", NINE)) == "shoot-con"


# --- many --------------------------------------------------------------------------------------------------------


def test_ten_thousand_loose_pictures_and_films_are_sorted_in_a_moment() -> None:
    wares = [ware(f"a:DCIM/Camera/IMG_{n}.JPG", after(n)) for n in range(5000)]
    wares += [ware(f"a:DCIM/Camera/IMG_{n}.MOV") for n in range(5000, 10000)]
    wares += [ware("b:heron/1.jpg", after(2500), same="a:DCIM/Camera/IMG_2500.JPG")]
    start_s = time.perf_counter()
    assert len(groups(*wares)) == 1
    assert time.perf_counter() - start_s < 10  # a quadratic step takes minutes
