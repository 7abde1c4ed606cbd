"""Files counted by mask: one shoot by hand, and what scenarios take of it."""

from array import array

from drill.masks import Count, Left, Toll, counted, named, planes, tolls, weakest

HOLDS = [b"\1\1\1\0\0", b"\0\1\1\0\1", b"\2\0\7\0\0"]  # any byte but 0 is a yes
SIZES = array("q", (10, 20, 40, 80, -1))


def test_files_and_bytes_by_mask() -> None:
    laid = planes(HOLDS)
    assert counted(laid, SIZES, slice(0, 5)) == {
        0b101: Count(1, 10),
        0b011: Count(1, 20),
        0b111: Count(1, 40),
        0b000: Count(1, 80),
        0b010: Count(1, 0),
    }
    assert counted(laid, SIZES, slice(4, 5)) == {0b010: Count(1, 0)}
    assert counted(laid, SIZES, slice(2, 2)) == {}
    assert counted((), SIZES, slice(0, 5)) == {0: Count(5, 150)}


def test_more_copies_than_a_byte_has_bits() -> None:
    holds = [bytes([copy in (0, 7, 8, 20), 0]) for copy in range(21)]
    found = counted(planes(holds), SIZES, slice(0, 2))
    assert found == {1 | 1 << 7 | 1 << 8 | 1 << 20: Count(1, 10), 0: Count(1, 20)}
    assert named(1 | 1 << 8, [f"c{n}" for n in range(21)]) == ("c0", "c8")


def test_what_is_lost_and_what_is_in_doubt() -> None:
    held = {0b01: Count(3, 30), 0b11: Count(2, 20), 0: Count(1, 1)}
    everything, first_gone, first_damaged, none = Left(0b11), Left(0b10), Left(0b10, 0b01), Left(0)
    (found,) = tolls([held], [everything, first_gone, first_damaged, none])
    assert found == {
        0: Toll(Count(1, 1), Count(0, 0)),
        1: Toll(Count(4, 31), Count(0, 0)),
        2: Toll(Count(1, 1), Count(3, 30)),
        3: Toll(Count(6, 51), Count(0, 0)),
    }


def test_a_file_on_more_of_the_same_copies_is_not_weaker() -> None:
    assert weakest([0b111, 0b011, 0b100, 0b110, 0b011]) == (0b011, 0b100)
    assert weakest([0b1, 0]) == (0,)
    assert weakest([]) == ()
