"""The promise: which reading of a file is promised, why, whether that is judged, and under which path; rule by rule."""

import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

from drill import naming
from drill.intake.contents import Content, Slot
from drill.intake.promise import Chosen, Claims, Promise, choose, contested, make_promise, other_slots
from drill.intake.shoots import Group
from drill.intake.wares import Claimed, Ware
from drill.model import Digest, Entry, Seen

NOON = datetime(2026, 9, 12, 12, tzinfo=UTC)
COPIES = ("a", "b", "c", "d")


def ware(place: str, content: str, *, size: int = 9000, modified: datetime | None = None) -> Ware:
    """A file "copy:folder/name"; a copy "a+zip" is on the medium "a"."""
    copy, _, path = place.partition(":")
    *folders, name = path.split("/")
    digests = (Digest("sha256", f"2{content}"), Digest("xxh128", content))
    delivery = any(naming.is_delivery(folder) for folder in folders)
    entry, seen = Entry(path, size, modified), Seen(size, digests)
    return Ware(copy, copy.partition("+")[0], entry, tuple(folders), name, naming.nature(name), seen, delivery)


def reading(*wares: Ware, lists: Sequence[str] = ()) -> Content:
    one = wares[0]
    claims = [Claimed(name, one.copy, one.entry.path, one.entry.path, (one.seen.digests[0],)) for name in lists]
    return Content(list(wares), claims)


def chosen(*contents: Content, opens: Mapping[Ware, bool | None] | None = None, rank: str = "abcd") -> Chosen:
    return choose(Slot(list(contents)), rank=list(rank), digest="xxh128", opens=opens or {})


def promised(one: Chosen) -> str:
    return dict(one.digests)["xxh128"]


# --- which reading -----------------------------------------------------------------------------------------------


def test_one_reading_is_promised_and_nothing_is_said() -> None:
    one = chosen(reading(ware("a:x.jpg", "right"), ware("b:x.jpg", "right")))
    assert (promised(one), one.why, one.judged) == ("right", "", False)
    assert {digest.kind for digest in one.digests} == {"xxh128"}


def test_a_list_decides_against_any_majority_and_its_digest_is_promised_too() -> None:
    right = reading(ware("a:x.jpg", "right"), lists=["a: SHA256SUMS"])
    one = chosen(right, reading(ware("b:x.jpg", "wrong"), ware("c:x.jpg", "wrong")))
    assert (promised(one), one.why, one.judged) == ("right", "a: SHA256SUMS lists it", False)
    assert {digest.kind for digest in one.digests} == {"xxh128", "sha256"}


def test_of_two_listed_readings_the_one_on_more_media_is_promised() -> None:
    first = reading(ware("a:x.jpg", "first"), lists=["a: SHA256SUMS"])
    second = reading(ware("b:x.jpg", "second"), ware("c:x.jpg", "second"), lists=["b: SHA256SUMS"])
    assert promised(chosen(first, second)) == "second"
    even = reading(ware("b:x.jpg", "second"), lists=["b: SHA256SUMS"])
    assert chosen(first, even, reading(ware("c:x.jpg", "third"), ware("d:x.jpg", "third"))).judged


def test_what_a_list_states_is_promised_where_no_copy_has_it() -> None:
    slot = Slot([reading(ware("a:x.jpg", "wrong"))])
    slot.unmet.append(Claimed("a: SHA256SUMS", "a", "x.jpg", "x.jpg", (Digest("sha256", "stated"),)))
    one = choose(slot, rank=COPIES, digest="xxh128", opens={})
    assert (one.content, one.digests, one.judged) == (None, (Digest("sha256", "stated"),), False)


def test_the_reading_on_most_media_is_promised_and_archives_beside_their_folder_do_not_count_twice() -> None:
    right = reading(ware("a:x.jpg", "right"), ware("b:x.jpg", "right"))
    wrong = reading(ware("c:x.jpg", "wrong"), ware("c+zip:x.jpg", "wrong"), ware("c+tar:x.jpg", "wrong"))
    one = choose(Slot([wrong, right]), rank=["a", "b", "c", "c+zip", "c+tar"], digest="xxh128", opens={})
    assert (promised(one), one.why, one.judged) == ("right", "2 of 3 media have this reading", False)


def test_among_equals_the_one_that_opens_is_promised_and_marked_as_judged() -> None:
    bad, good = ware("a:x.jpg", "bad"), ware("b:x.jpg", "good")
    one = chosen(reading(bad), reading(good), opens={bad: False, good: True})
    assert (promised(one), one.why, one.judged) == ("good", "it opens and the other does not", True)
    one = chosen(reading(bad), reading(good), opens={bad: None, good: True})
    assert (promised(one), one.why, one.judged) == ("good", "it opens", True)


def test_of_several_that_open_the_base_copy_decides_not_their_order() -> None:
    wares = [ware(f"{copy}:x.jpg", copy) for copy in COPIES]
    opens = {wares[0]: False, wares[1]: True, wares[2]: True, wares[3]: None}
    one = chosen(*(reading(one) for one in wares), opens=opens, rank="adcb")
    assert (promised(one), one.why, one.judged) == ("c", "c has most of the shoot", True)


def test_of_equal_raws_the_longer_one_is_promised_and_of_equal_length_the_base_copys() -> None:
    short, long = reading(ware("a:x.dng", "short", size=5)), reading(ware("b:x.dng", "long", size=6))
    one = chosen(short, long)
    assert (promised(one), one.why, one.judged) == ("long", "it is the longer one", True)
    one = chosen(short, long, reading(ware("c:x.dng", "other", size=6)), rank="acbd")
    assert (promised(one), one.why) == ("other", "c has most of the shoot")
    jpegs = reading(ware("a:x.jpg", "short", size=5)), reading(ware("b:x.jpg", "long", size=6))
    assert promised(chosen(*jpegs)) == "short"  # a longer JPEG may as well be the export


def test_of_equal_sidecars_the_newer_one_is_promised_by_more_than_a_card_can_tell() -> None:
    def newer(seconds: float, name: str = "x.xmp") -> Chosen:
        later = NOON + timedelta(seconds=seconds)
        old, new = ware(f"a:{name}", "old", modified=NOON), ware(f"b:{name}", "new", modified=later)
        return chosen(reading(old), reading(new))

    assert (promised(newer(3)), newer(3).why, newer(3).judged) == ("new", "it is the newer one", True)
    assert (promised(newer(2)), newer(2).why) == ("old", "a has most of the shoot")
    assert promised(newer(3600, "x.jpg")) == "old"  # a picture's file time says nothing


def test_only_what_nothing_else_settles_is_looked_into() -> None:
    a, b, c = (ware(f"{copy}:x.jpg", copy) for copy in "abc")
    assert contested(Slot([reading(a), reading(b)])) == [a, b]
    assert contested(Slot([reading(a)])) == []
    assert contested(Slot([reading(a, c), reading(b)])) == []
    assert contested(Slot([reading(a, lists=["l"]), reading(b)])) == []
    assert contested(Slot([reading(a, lists=["l"]), reading(b, lists=["l"]), reading(c)])) == [a, b]


# --- a whole promise ---------------------------------------------------------------------------------------------


def promise(*slots: Slot, others: Sequence[Ware] = (), used: Sequence[str] = ()) -> Promise:
    wares = [w for slot in slots for w in slot.wares] + list(others)
    return make_promise(
        Group(slots=list(slots), others=list(others)),
        folder_of=dict.fromkeys(wares, ("heron",)),
        claims=Claims([]),
        order=COPIES,
        digest="xxh128",
        opens={},
        used=used,
    )


def pictures(*wares: Ware) -> list[Slot]:
    return [Slot([reading(one)]) for one in wares]


def test_paths_are_those_of_the_copy_that_has_most_then_of_the_next() -> None:
    both = Slot([reading(ware("a:heron/1.jpg", "1"), ware("b:heron/raw/REED0001.JPG", "1"))])
    found = promise(
        both, *pictures(ware("b:heron/raw/REED0002.JPG", "2"), ware("a:heron/3.jpg", "3"), ware("b:heron/4.jpg", "4"))
    )
    assert [line.path for line in found.lines] == ["3.jpg", "4.jpg", "raw/REED0001.JPG", "raw/REED0002.JPG"]
    assert (found.base, found.copies) == ("b", {"a": 2, "b": 3})
    assert found.why == "b, which has most: 3 of 4"


def test_a_path_that_is_taken_is_told_apart_by_its_copy() -> None:
    found = promise(*pictures(ware("a:heron/1.jpg", "1"), ware("b:heron/1.JPG", "2")), used=["REED.dng"])
    assert [line.path for line in found.lines] == ["1.jpg", "b/1.JPG"]
    found = promise(*pictures(ware("a:heron/1.jpg", "1")), used=["1.JPG"])
    assert [line.path for line in found.lines] == ["a/1.jpg"]


def test_no_file_is_promised_where_another_has_a_folder() -> None:
    found = promise(
        *pictures(
            ware("a:heron/x.jpg", "1"),
            ware("b:heron/x.jpg/2.jpg", "2"),
            ware("a:heron/y/3.jpg", "3"),
            ware("b:heron/y", "4"),
        )
    )
    assert [line.path for line in found.lines] == ["b/x.jpg/2.jpg", "b/y", "x.jpg", "y/3.jpg"]


def test_a_name_that_no_promise_may_hold_is_said() -> None:
    found = promise(*pictures(ware("a:heron/C:1.jpg", "1"), ware("a:heron/2.jpg", "2")))
    assert ([line.path for line in found.lines], found.unsafe) == (["2.jpg"], ("a: heron/C:1.jpg",))


def test_readings_that_differ_are_said_with_who_has_which() -> None:
    slot = Slot(
        [
            reading(ware("a:heron/1.jpg", "wrong")),
            reading(ware("b:heron/1.jpg", "right"), ware("c:heron/1.jpg", "right")),
        ]
    )
    (said,) = promise(slot).disagreements
    assert (said.path, said.readings, said.judged) == ("1.jpg", (("b", "c"), ("a",)), False)


# --- what is no picture ------------------------------------------------------------------------------------------


def rows(*wares: Ware, claims: Sequence[Claimed] = ()) -> list[set[str]]:
    found = [{f"{w.copy}:{w.entry.path}" for w in slot.wares} for slot in other_slots(wares, Claims(claims))]
    return sorted(found, key=sorted)


def test_equal_sidecars_of_two_pictures_are_two_files() -> None:
    assert len(rows(ware("a:h/1.xmp", "same"), ware("a:h/2.xmp", "same"))) == 2
    assert len(rows(ware("a:h/1.xmp", "same"), ware("a:k/1.xmp", "same"))) == 2


def test_sidecars_of_one_name_meet_by_bytes_first_and_by_folder_second() -> None:
    a = [ware("a:card1/1.xmp", "one"), ware("a:card2/1.xmp", "two")]
    b = [ware("b:x/1.xmp", "two"), ware("b:card1/1.XMP", "one, edited")]
    assert rows(*a, *b) == [{"a:card1/1.xmp", "b:card1/1.XMP"}, {"a:card2/1.xmp", "b:x/1.xmp"}]


def test_a_list_names_a_sidecar_by_its_bytes_or_its_place() -> None:
    right, wrong = ware("a:h/1.xmp", "right"), ware("b:h/1.xmp", "wrong")
    (slot,) = other_slots([right, wrong], Claims([Claimed("l", "b", "1.xmp", "h/1.xmp", right.seen.digests)]))
    assert promised(choose(slot, rank=COPIES, digest="xxh128", opens={})) == "right"
    (slot,) = other_slots([wrong], Claims([Claimed("l", "b", "1.xmp", "h/1.xmp", right.seen.digests)]))
    assert choose(slot, rank=COPIES, digest="xxh128", opens={}).digests == right.seen.digests


def test_very_many_files_of_one_name_are_matched_in_a_moment() -> None:
    wares = [ware(f"{copy}:{n}/index.html", "same" if n % 2 else f"{copy}{n}") for copy in "abc" for n in range(4000)]
    start_s = time.perf_counter()
    found = other_slots(wares, Claims([]))
    assert time.perf_counter() - start_s < 10  # a quadratic step takes minutes
    assert len(found) == 4000
    assert all(len({w.folders for w in slot.wares}) == 1 for slot in found)
