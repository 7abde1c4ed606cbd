"""Kin: which readings are of one picture, rule by rule, and what never is. Bytes are digested as a reading does it."""

import random
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from itertools import pairwise

import xxhash

from drill import naming
from drill.intake.contents import Slot, contents_of
from drill.intake.kin import picture_slots
from drill.intake.likeness import pairs_by_parts, telling_parts
from drill.intake.wares import Claimed, Ware, is_hollow
from drill.model import Digest, Entry, Seen, Taken

NINE = Taken(datetime(2026, 9, 12, 9), "Reed One")
TEN = Taken(datetime(2026, 9, 12, 10), "Reed One")
BYTES: dict[Ware, bytes] = {}


def noise(number: int, size: int = 8192) -> bytes:
    return random.Random(number).randbytes(size)


def seen(content: bytes, taken: Taken | None = None) -> Seen:
    ends = [len(content) * n // 16 for n in range(17)]
    parts = [xxhash.xxh3_64_digest(content[a:b]) for a, b in pairwise(ends)]
    digest = Digest("xxh128", xxhash.xxh128_hexdigest(content))
    return Seen(len(content), (digest,), b"".join(parts) if len(content) >= 4096 else b"", taken)


def ware(place: str, content: bytes, taken: Taken | None = None) -> Ware:
    """A file "copy:folder/name"; each copy is a medium of its own, but for what follows a plus sign."""
    copy, _, path = place.partition(":")
    *folders, name = path.split("/")
    delivery = any(naming.is_delivery(folder) for folder in folders)
    entry = Entry(path, len(content))
    medium = copy.partition("+")[0]
    made = Ware(copy, medium, entry, tuple(folders), name, naming.nature(name), seen(content, taken), delivery)
    BYTES[made] = content
    return made


def heads(wares: Sequence[Ware]) -> Mapping[Ware, bytes]:
    return {one: BYTES[one][: 64 * 1024] for one in wares}


def slots(*wares: Ware, claimed: Sequence[Claimed] = ()) -> list[Slot]:
    return picture_slots(wares, claimed, heads=heads)[0]


def together(*wares: Ware, claimed: Sequence[Claimed] = ()) -> list[set[str]]:
    """Return which files are one picture, by their places."""
    found = [{f"{w.copy}:{w.entry.path}" for w in slot.wares} for slot in slots(*wares, claimed=claimed)]
    return sorted(found, key=sorted)


def one(*wares: Ware, claimed: Sequence[Claimed] = ()) -> bool:
    return len(together(*wares, claimed=claimed)) == 1


def claim(place: str, content: bytes, *, name: str = "SHA256SUMS") -> Claimed:
    copy, _, path = place.partition(":")
    return Claimed(f"{copy}: {name}", copy, path, path, seen(content).digests)


def patched(content: bytes, at: int, new: bytes) -> bytes:
    return content[:at] + new + content[at + len(new) :]


# --- 1. bytes ----------------------------------------------------------------------------------------------------


def test_equal_bytes_are_one_reading_whatever_the_names() -> None:
    a, b = ware("a:heron/REED0001.JPG", noise(1), NINE), ware("b:x/holiday.jpeg", noise(1), NINE)
    assert one(a, b)
    assert len(slots(a, b)[0].contents) == 1


def test_a_bad_sector_under_another_name_is_the_same_picture() -> None:
    assert one(ware("a:heron/REED0001.JPG", noise(1)), ware("b:x/1.jpg", patched(noise(1), 3000, bytes(512))))


def test_half_of_the_sixteenths_is_the_border() -> None:
    half = patched(noise(1), 0, noise(2, 8 * 512))
    less = patched(noise(1), 0, noise(2, 9 * 512))
    assert one(ware("a:heron/1.jpg", noise(1)), ware("b:heron/2.jpg", half))
    assert not one(ware("a:heron/1.jpg", noise(1)), ware("b:heron/2.jpg", less))


def test_a_file_whose_rest_was_never_written_is_the_same_picture() -> None:
    filled = noise(1)[: 3 * 512] + bytes(13 * 512)
    assert one(ware("a:heron/1.jpg", noise(1)), ware("b:heron/2.jpg", filled))


def test_pictures_on_one_background_are_two() -> None:
    white = b"\xff" * 8192
    vase, bowl = patched(white, 5 * 512, noise(1, 2048)), patched(white, 5 * 512, noise(2, 2048))
    assert not one(ware("a:studio/vase.tif", vase), ware("b:studio/bowl.tif", bowl))
    assert one(ware("a:studio/vase.tif", vase), ware("b:studio/v.tif", patched(vase, 6 * 512, b"?")))


def test_a_sixteenth_that_very_many_files_share_tells_nothing() -> None:
    head = noise(0, 9 * 512)
    wares = [ware(f"c{n}:heron/{n}.tif", head + noise(n + 1, 7 * 512)) for n in range(80)]
    assert len(slots(*wares)) == 80


def test_more_readings_of_one_size_and_name_than_any_bound_are_all_compared() -> None:
    right = [
        ware(f"a:heron {n}/REED0001.DNG", noise(n), Taken(datetime(2026, 1, 1 + n % 28, n % 24, n % 60)))
        for n in range(300)
    ]
    wrong = [ware(f"b:heron {n}/REED0001.DNG", patched(noise(n), 2000, b"!!"), None) for n in range(300)]
    assert all(len(slot.wares) == 2 for slot in slots(*right, *wrong))


def test_an_edit_beside_its_original_stays_a_file_of_its_own() -> None:
    scan, clean = noise(1), patched(noise(1), 3000, noise(2, 300))
    assert not one(ware("a:heron/scan.tif", scan), ware("a:heron/scan-clean.tif", clean))


def test_a_damaged_third_reading_does_not_join_an_edit_to_its_original() -> None:
    scan, clean = noise(1), patched(noise(1), 3000, noise(2, 300))
    bad = patched(scan, 7000, b"?")
    found = together(ware("a:heron/scan.tif", scan), ware("a:heron/clean.tif", clean), ware("b:heron/scan.tif", bad))
    assert found == [{"a:heron/clean.tif"}, {"a:heron/scan.tif", "b:heron/scan.tif"}]


def test_imported_twice_and_damaged_once_is_one_picture() -> None:
    assert one(ware("a:1/REED0001.JPG", noise(1)), ware("a:2/reed0001.jpg", patched(noise(1), 10, b"?")))


# --- 2. lists ----------------------------------------------------------------------------------------------------


def test_a_list_says_that_a_path_should_hold_the_other() -> None:
    a, b = ware("a:heron/x.jpg", noise(1)), ware("b:heron/y.jpg", noise(2))
    assert not one(a, b)
    assert one(a, b, claimed=[claim("a:heron/x.jpg", noise(2))])


def test_a_list_does_not_join_a_new_picture_that_took_a_listed_name() -> None:
    old, new = ware("b:heron/REED0001.JPG", noise(1), NINE), ware("a:heron/REED0001.JPG", noise(2), TEN)
    assert not one(old, new, claimed=[claim("a:heron/REED0001.JPG", noise(1))])


def test_files_renamed_since_their_list_was_made_are_not_joined() -> None:
    x, y = ware("a:heron/x.jpg", noise(1)), ware("a:heron/y.jpg", noise(2))
    assert not one(x, y, claimed=[claim("a:heron/x.jpg", noise(2)), claim("a:heron/y.jpg", noise(1))])


def test_what_two_lists_claim_and_no_copy_has_is_one_picture() -> None:
    x, y = ware("a:heron/x.jpg", noise(1)), ware("b:heron/y.jpg", noise(2))
    (slot,) = slots(x, y, claimed=[claim("a:heron/x.jpg", noise(3)), claim("b:heron/y.jpg", noise(3))])
    assert {c.list for c in slot.unmet} == {"a: SHA256SUMS", "b: SHA256SUMS"}


def test_a_claim_without_a_file_goes_with_the_same_claim_of_another_list() -> None:
    x = ware("a:heron/x.jpg", noise(1))
    found, left = picture_slots([x], [claim("a:heron/x.jpg", noise(3)), claim("b:heron/y.jpg", noise(3))], heads=heads)
    assert len(found[0].unmet) == 2
    assert not left


def test_a_delivery_listed_with_the_bytes_of_a_picture_stays_a_file_of_its_own() -> None:
    raw, out = ware("a:heron/x.jpg", noise(1)), ware("a:heron/deliver/x.jpg", noise(2))
    assert not one(raw, out, claimed=[claim("a:heron/x.jpg", noise(1)), claim("a:heron/deliver/x.jpg", noise(1))])


# --- 3. names ----------------------------------------------------------------------------------------------------


def test_name_time_and_camera_join_files_of_other_sizes_and_folders() -> None:
    assert one(ware("a:heron/REED0001.JPG", noise(1), NINE), ware("b:x/reed0001.jpg", noise(2, 5000), NINE))


def test_a_name_alone_joins_nothing() -> None:
    assert not one(ware("a:heron/REED0001.JPG", noise(1), NINE), ware("b:heron/REED0001.JPG", noise(2), TEN))
    assert not one(ware("a:heron/REED0001.MOV", noise(1)), ware("b:kiln/REED0001.MOV", noise(2, 5000)))
    assert not one(ware("a:heron/REED0001.JPG", noise(1), NINE), ware("b:heron/REED0001.JPG", noise(2, 5000)))


def test_without_times_name_and_folder_join_but_no_part_of_a_shoot_nor_a_cards_folder() -> None:
    def two(folder: str) -> bool:
        return one(ware(f"a:{folder}/F0001.MOV", noise(1)), ware(f"b:{folder}/F0001.MOV", noise(2, 5000)))

    assert two("heron ridge")
    assert two("2026/heron ridge/video")
    assert not two("DCIM/100REED_")
    assert not two("video")
    assert not one(ware("a:heron/video/F0001.MOV", noise(1)), ware("b:kiln/video/F0001.MOV", noise(2, 5000)))


def test_without_times_name_and_size_join_only_where_some_bytes_are_alike() -> None:
    fixed = noise(2)
    assert not one(ware("a:heron/F0001.RAW", noise(1)), ware("b:kiln/F0001.RAW", fixed))
    assert one(ware("a:heron/F0001.RAW", noise(1)), ware("b:kiln/F0001.RAW", patched(fixed, 0, noise(1)[:512])))


def test_small_files_of_one_name_and_size_are_one_where_one_lost_its_time() -> None:
    assert one(ware("a:heron/REED0001.JPG", noise(1, 900), NINE), ware("b:kiln/REED0001.JPG", noise(2, 900)))


def test_an_export_beside_its_original_keeps_its_name_and_time_and_stays_two() -> None:
    assert not one(
        ware("a:heron/REED0001.JPG", noise(1), NINE), ware("a:heron/insta/REED0001.JPG", noise(2, 5000), NINE)
    )


def test_nobody_exports_under_a_raws_name() -> None:
    assert one(ware("a:heron/REED0001.DNG", noise(1), NINE), ware("a:kiln/REED0001.DNG", noise(2, 5000), NINE))


def test_a_third_reading_that_may_be_either_joins_neither() -> None:
    wares = [
        ware("a:heron/REED0001.JPG", noise(1), NINE),
        ware("a:heron/insta/REED0001.JPG", noise(2, 5000), NINE),
        ware("b:kiln/REED0001.JPG", noise(3, 6000), NINE),
    ]
    assert len(slots(*wares)) == 3


def test_where_places_agree_the_third_is_no_question() -> None:
    wares = [
        ware("a:heron/REED0001.JPG", noise(1), NINE),
        ware("a:heron/edits/REED0001.JPG", noise(2, 5000), NINE),
        ware("b:heron/edits/REED0001.JPG", noise(3, 6000), NINE),
    ]
    assert together(*wares) == [{"a:heron/REED0001.JPG"}, {"a:heron/edits/REED0001.JPG", "b:heron/edits/REED0001.JPG"}]


def test_a_file_without_time_does_not_join_two_pictures_of_two_times() -> None:
    wares = [
        ware("a:heron/REED0001.JPG", noise(1, 900), NINE),
        ware("b:heron/REED0001.JPG", noise(2, 900), TEN),
        ware("c:heron/REED0001.JPG", noise(3, 900)),
    ]
    assert len(slots(*wares)) == 3


def test_web_and_print_sizes_are_two_even_where_each_lies_on_another_copy() -> None:
    web, prints = (
        ware("a:heron/web/REED0001.JPG", noise(1), NINE),
        ware("b:heron/print/REED0001.JPG", noise(2, 5000), NINE),
    )
    assert not one(web, prints)
    assert one(web, ware("b:heron/web/REED0001.JPG", noise(2, 5000), NINE))


def test_a_delivery_with_the_bytes_of_its_picture_is_promised_for_itself() -> None:
    assert not one(ware("a:heron/REED0001.JPG", noise(1), NINE), ware("a:heron/deliver/REED0001.JPG", noise(1), NINE))


def test_a_numbering_that_begins_again_for_years_is_told_apart() -> None:
    days = [Taken(datetime(2015 + n // 300, 1 + n // 28 % 12, 1 + n % 28, n % 24), f"Cam {n % 3}") for n in range(900)]
    right = [ware(f"a:{n}/REED0001.JPG", noise(n, 700), taken) for n, taken in enumerate(days)]
    edited = [ware(f"b:{n}/REED0001.JPG", noise(-n - 1, 800), taken) for n, taken in enumerate(days)]
    found = slots(*right, *edited)
    assert len(found) == 900
    assert all({w.seen.taken for w in slot.wares} == {slot.wares[0].seen.taken} for slot in found)


# --- 4. beginnings -----------------------------------------------------------------------------------------------


def test_a_file_cut_short_is_known_by_its_beginning_under_another_name() -> None:
    assert one(ware("a:heron/REED0001.JPG", noise(1), NINE), ware("b:x/1.jpg", noise(1)[:5000], NINE))
    assert not one(ware("a:heron/REED0001.JPG", noise(1), NINE), ware("b:x/1.jpg", noise(2)[:5000], NINE))


def test_an_import_broken_off_and_made_again_on_one_drive_is_one_picture() -> None:
    assert one(ware("a:heron/REED0001.JPG", noise(1), NINE), ware("a:again/REED0001.JPG", noise(1)[:5000], NINE))


def test_a_film_cut_short_is_known_by_its_name_and_beginning() -> None:
    card, drive = ware("a:DCIM/100REED_/F0001.MOV", noise(1)), ware("b:films/F0001.MOV", noise(1)[:5000])
    assert one(card, drive)
    assert not one(card, ware("b:films/F0001.MOV", noise(2)[:5000]))


def test_a_beginning_that_two_pictures_share_is_neithers() -> None:
    shared = noise(9, 3000)
    burst = [ware(f"a:heron/REED000{n}.DNG", shared + noise(n, 5000 + n), NINE) for n in (1, 2)]
    assert len(slots(*burst, ware("b:x/1.dng", shared, NINE))) == 3


def test_nothing_is_looked_into_where_all_agree() -> None:
    asked: list[Ware] = []

    def remembered(wares: Iterable[Ware]) -> Mapping[Ware, bytes]:
        asked.extend(wares)
        return {}

    burst = [ware(f"{copy}:heron/REED000{n}.DNG", noise(n, 5000 + n), NINE) for copy in "ab" for n in range(5)]
    films = [ware(f"{copy}:{n}/F0001.MOV", noise(10 + n, 5000 + n)) for copy in "ab" for n in range(5)]
    picture_slots([*burst, *films], [], heads=remembered)
    assert not asked


# --- what tells --------------------------------------------------------------------------------------------------


def test_telling_parts_occur_once() -> None:
    content = contents_of([ware("a:heron/1.tif", noise(1, 512) + bytes(6 * 512) + noise(2, 9 * 512))])[0]
    assert {place for place, _ in telling_parts(content)} == {0, *range(7, 16)}
    assert pairs_by_parts([content]) == []


def test_what_was_never_filled_is_no_reading() -> None:
    assert all(
        is_hollow(seen(content)) for content in (b"", bytes(8192), bytes(8191), b"\xff" * 5001, bytes(2_000_000))
    )
    assert not any(is_hollow(seen(content)) for content in (bytes(4095), b"ab" * 4096, bytes(8191) + b"a", noise(1)))
