"""Law: what is put in the ledger is what is got, whatever the names, times and contents; of no other file, ever."""

from dataclasses import replace
from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from drill.ledger import Ledger, Root, unchanged
from drill.model import Digest, Entry, Problem, Seen, Taken, Trouble

NOW = datetime(2025, 11, 24, 20, 0, tzinfo=UTC)
TEXT = st.text(st.characters(exclude_categories=()), max_size=12)  # lone surrogates too, as names of files have them
SIZES = st.integers(0, 2**63 - 1)
TIMES = st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29), timezones=st.timezones())
DIGESTS = st.dictionaries(
    st.sampled_from(["md5", "sha256", "blake2b-160", "xxh128"]), st.binary(min_size=4, max_size=64)
)
ROOTS = st.builds(Root, TEXT, TEXT.filter(str.isprintable), st.booleans(), SIZES, TIMES)
ENTRIES = st.builds(Entry, TEXT, SIZES, TIMES, st.integers(0, 2**31))
READINGS = st.builds(
    Seen,
    st.none(),
    DIGESTS.map(lambda found: tuple(Digest(kind, value.hex()) for kind, value in found.items())),
    st.binary(max_size=128),
    st.none() | st.builds(Taken, st.datetimes(), TEXT),
    st.booleans(),
    st.none() | st.booleans(),
)
RANGES = st.lists(st.tuples(SIZES, SIZES), max_size=4)


INDEXES = st.integers(0, 3) | st.integers(2**63 - 2, 2**63 + 1)  # a damaged zip may give a member's place as anything


@given(root=ROOTS, files=st.dictionaries(st.tuples(TEXT, INDEXES), st.tuples(ENTRIES, READINGS), max_size=6))
def test_what_is_put_is_what_is_got(root: Root, files: dict[tuple[str, int], tuple[Entry, Seen]]) -> None:
    put = {
        key: (Entry(key[0], entry.size, entry.modified, key[1]), Seen(entry.size or 0, *_rest(seen)))
        for key, (entry, seen) in files.items()
    }
    with Ledger.open(None) as ledger:
        for entry, seen in put.values():
            ledger.put(root, entry, seen)
        beyond = [put.pop(key) for key in list(put) if key[1] >= 2**63]
        assert all(ledger.get(root, entry) is None for entry, _ in beyond)
        assert not ledger.get_many(root, [entry for entry, _ in beyond])
        assert {key: ledger.get(root, entry) for key, (entry, _) in put.items()} == {
            k: seen for k, (_, seen) in put.items()
        }
        found = ledger.evidence(root)
        assert found.keys() == put.keys()
        for key, (entry, seen) in put.items():
            assert ledger.get(root, entry) == seen
            assert found[key].digests == seen.digests and found[key].problem is None
            assert unchanged(found[key], root, entry)
            assert [other for other in put if unchanged(found[key], root, put[other][0])] == [key]


@given(root=ROOTS, entry=ENTRIES, index=st.integers(2**63, 2**64 - 1), trouble=st.sampled_from(Trouble))
def test_a_problem_of_no_possible_place_holds_back_no_other(
    root: Root, entry: Entry, index: int, trouble: Trouble
) -> None:
    with Ledger.open(None) as ledger:
        ledger.put_problem(root, replace(entry, index=index), Problem(trouble, "x"))
        ledger.put_problem(root, entry, Problem(trouble, "y"))
        assert [one.problem for one in ledger.evidence(root).values()] == [Problem(trouble, "y")]


@given(root=ROOTS, entry=ENTRIES, trouble=st.sampled_from(Trouble), detail=TEXT, ranges=RANGES)
def test_a_problem_is_what_it_was(
    root: Root, entry: Entry, trouble: Trouble, detail: str, ranges: list[tuple[int, int]]
) -> None:
    with Ledger.open(None) as ledger:
        ledger.put_problem(root, entry, Problem(trouble, detail), ranges=ranges)
        found = ledger.evidence(root)[entry.path, entry.index]
        assert (found.problem, found.ranges) == (Problem(trouble, detail), tuple(ranges))
        assert unchanged(found, root, entry)
        assert ledger.get(root, entry) is None


def _rest(seen: Seen) -> tuple[object, ...]:
    return seen.digests, seen.parts, seen.taken, seen.captured, seen.whole
