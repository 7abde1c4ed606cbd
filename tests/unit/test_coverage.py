"""Coverage: identity is content; names are a hint. Vectors for names: UAX #15, as in the references."""

from drill.coverage import Claim, ListIndex, ListingIndex, listed_size, same_content, strays
from drill.model import Digest, Entry, Listed, Promised


def promised(path: str, *digests: tuple[str, str], size: int | None = None) -> Promised:
    return Promised(path, tuple(Digest(*d) for d in digests), size, "originals")


def listed(path: str, *digests: tuple[str, str]) -> Listed:
    return Listed(path, tuple(Digest(*d) for d in digests))


def paths(claims: list[Claim]) -> list[str]:
    return [claim.path for claim in claims]


def test_a_shared_digest_kind_decides_whatever_the_names() -> None:
    index = ListIndex([listed("X/renamed.dng", ("sha256", "aa")), listed("raw/a.dng", ("sha256", "bb"))], None)
    assert paths(index.claims(promised("raw/a.dng", ("sha256", "aa")))) == ["X/renamed.dng"]


def test_without_a_shared_kind_the_last_part_of_the_name_decides() -> None:
    index = ListIndex([listed("X/A.DNG", ("md5", "11")), listed("X/b.dng", ("md5", "22"))], None)
    assert paths(index.claims(promised("raw/a.dng", ("sha256", "aa")))) == ["X/A.DNG"]


def test_names_match_in_any_normal_form() -> None:
    index = ListingIndex([Entry("X/Nun\u0303ez.dng", 5)])
    assert paths(index.claims(promised("raw/Nu\u00f1ez.DNG", ("sha256", "aa")))) == ["X/Nun\u0303ez.dng"]


def test_sizes_that_are_known_on_both_sides_must_agree() -> None:
    index = ListingIndex([Entry("X/a.dng", 5)])
    assert not index.claims(promised("a.dng", ("sha256", "aa"), size=6))
    assert index.claims(promised("a.dng", ("sha256", "aa"), size=5))


def test_the_longest_shared_ending_is_tried_first_then_byte_order() -> None:
    index = ListingIndex([Entry(p, 1) for p in ("z/A.dng", "b/day2/A.dng", "x/day1/A.dng", "a/A.dng")])
    found = paths(index.claims(promised("raw/day1/A.dng", ("sha256", "aa"))))
    assert found == ["x/day1/A.dng", "a/A.dng", "b/day2/A.dng", "z/A.dng"]


def test_xxh32_alone_is_no_identity() -> None:
    file = promised("raw/a.dng", ("xxh32", "0a0b0c0d"))
    other = [Digest("xxh32", "0a0b0c0d")]
    assert same_content(file, other, path="x/b.dng", size=None) is False
    assert same_content(file, other, path="x/A.DNG", size=None) is True
    sized = promised("raw/a.dng", ("xxh32", "0a0b0c0d"), size=7)
    assert same_content(sized, other, path="x/b.dng", size=7) is True
    both = promised("raw/a.dng", ("xxh32", "0a0b0c0d"), ("md5", "11"))
    assert same_content(both, [*other, Digest("md5", "11")], path="x/b.dng", size=None) is True


def test_one_disagreeing_digest_is_enough_to_differ() -> None:
    file = promised("a", ("md5", "11"), ("sha256", "aa"))
    assert same_content(file, [Digest("md5", "11"), Digest("sha256", "bb")], path="a", size=None) is False
    assert same_content(file, [Digest("sha1", "11")], path="a", size=None) is None


def test_a_listed_name_is_found_in_another_form_or_by_its_ending() -> None:
    entries = [Entry("shoot/raw/a.dng", 1), Entry("other/raw/a.dng", 1), Entry("Nu\u00f1ez.dng", 1)]
    index = ListIndex(
        [listed("/Volumes/Card/shoot/raw/a.dng", ("md5", "11")), listed("Nun\u0303ez.DNG", ("md5", "22"))], entries
    )
    assert paths(index.claims(promised("p", ("md5", "11"))))[0] == "shoot/raw/a.dng"
    assert paths(index.claims(promised("p", ("md5", "22")))) == ["Nu\u00f1ez.dng"]


def test_a_listed_name_that_is_not_there_is_a_claim_without_a_file() -> None:
    found = ListIndex([listed("a.dng", ("md5", "11"))], [Entry("b.dng", 1)]).claims(promised("p", ("md5", "11")))
    assert found == [Claim("a.dng", None)]


def test_what_was_learned_by_reading_is_a_claim_that_no_person_would_make() -> None:
    index = ListingIndex([Entry("x/b.dng", 1)])
    file = promised("a.dng", ("sha256", "aa"))
    assert not index.claims(file)
    index.learn(Entry("x/b.dng", 1), (Digest("sha256", "aa"),))
    assert index.claims(file) == [Claim("x/b.dng", Entry("x/b.dng", 1), by_hand=False)]


def test_strays_are_what_no_promised_name_matches() -> None:
    promise = [promised("raw/a.dng", ("md5", "11"), size=5)]
    entries = [Entry("X/A.DNG", 9), Entry("X/b.dng", 5), Entry("X/c.dng", 6)]
    # A's name matches and its size does not: a size may be a hint that is wrong, so its content is looked at.
    assert [entry.path for entry in strays(entries, promise)] == ["X/A.DNG", "X/b.dng", "X/c.dng"]
    assert len(strays(entries, [promised("raw/a.dng", ("md5", "11"))])) == 2


def test_a_size_counts_where_the_listings_agree() -> None:
    one, other = Claim("a", Entry("a", 5)), Claim("b", Entry("b", 6))
    assert listed_size({"x": [one], "y": [one]}) == 5
    assert listed_size({"x": [one], "y": [other]}) is None
    assert listed_size({"x": [Claim("a", None)]}) is None


def test_many_equal_files_are_not_all_candidates_of_each_other() -> None:
    """A thousand equal sidecars: the likeliest few are asked, the one of the same folder and name first."""
    same = [Digest("md5", "11")]
    names = [f"day{n % 7}/E{n:04d}.xmp" for n in range(1000)]
    with_list = ListIndex([Listed(name, tuple(same)) for name in names], [Entry(f"DRIVE/{n}", 4) for n in names])
    without = ListingIndex([Entry(f"DRIVE/{name}", 4) for name in names])
    for name in names:
        without.learn(Entry(f"DRIVE/{name}", 4), tuple(same))
    for name in ("day3/E0500.xmp", "day5/E0999.xmp", "day0/E0000.xmp"):
        for index in (with_list, without):
            claims = index.claims(promised(name, ("md5", "11")))
            assert len(claims) <= 60
            assert claims[0].path == f"DRIVE/{name}"
