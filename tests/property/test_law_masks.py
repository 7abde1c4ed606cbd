"""Law: counting by mask is counting file by file, and what leaves more, or holds more, never loses more."""

from array import array

from hypothesis import given
from hypothesis import strategies as st

from drill.masks import Count, Left, Toll, counted, planes, tolls, weakest

NONE = Toll(Count(0, 0), Count(0, 0))


@st.composite
def studios(draw: st.DrawFn) -> tuple[list[bytearray], "array[int]", list[slice]]:
    copies, files = draw(st.integers(0, 18)), draw(st.integers(1, 12))
    holds = [bytearray(draw(st.lists(st.booleans(), min_size=files, max_size=files))) for _ in range(copies)]
    sizes = array("q", draw(st.lists(st.integers(-1, 9), min_size=files, max_size=files)))
    cut = draw(st.integers(0, files))
    return holds, sizes, [slice(0, cut), slice(cut, files)]


def lefts(copies: int) -> st.SearchStrategy[list[Left]]:
    bits = st.integers(0, (1 << copies) - 1)
    return st.lists(st.builds(Left, bits, bits), max_size=4)


def by_file(holds: list[bytearray], sizes: "array[int]", span: slice, left: Left) -> Toll:
    lost, doubtful = [], []
    for file in range(span.start, span.stop):
        on = [copy for copy, held in enumerate(holds) if held[file]]
        if not any(left.whole >> copy & 1 for copy in on):
            (doubtful if any(left.damaged >> copy & 1 for copy in on) else lost).append(max(0, sizes[file]))
    return Toll(Count(len(lost), sum(lost)), Count(len(doubtful), sum(doubtful)))


@given(st.data())
def test_by_mask_and_file_by_file(data: st.DataObject) -> None:
    holds, sizes, spans = data.draw(studios())
    left = data.draw(lefts(len(holds)))
    laid = planes(holds)
    found = tolls([counted(laid, sizes, span) for span in spans], left)
    for span, taken in zip(spans, found, strict=True):
        assert [taken.get(n, NONE) for n in range(len(left))] == [by_file(holds, sizes, span, one) for one in left]


@given(st.data())
def test_more_that_is_left_never_loses_more(data: st.DataObject) -> None:
    holds, sizes, spans = data.draw(studios())
    (one, *_) = data.draw(lefts(len(holds)).filter(bool))
    more = data.draw(st.integers(0, (1 << len(holds)) - 1))
    laid = planes(holds)
    for taken in tolls([counted(laid, sizes, span) for span in spans], [one, Left(one.whole | more, one.damaged)]):
        worse, better = taken.get(0, NONE), taken.get(1, NONE)
        assert better.lost.files <= worse.lost.files
        assert better.lost.files + better.doubtful.files <= worse.lost.files + worse.doubtful.files


@given(st.lists(st.integers(0, 255), max_size=12), st.integers(0, 255))
def test_the_weakest_masks_decide_whether_anything_is_lost(masks: list[int], left: int) -> None:
    assert any(not mask & left for mask in masks) == any(not mask & left for mask in weakest(masks))
