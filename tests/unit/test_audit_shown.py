"""What files showed, held packed: whatever is put is what is got."""

from datetime import UTC, datetime

from drill.audit.shown import Shown
from drill.digests import at_once
from drill.model import Digest, Problem, Seen, Taken, Trouble

SEEN = Seen(70_000, at_once(["md5", "sha256", "xxh128"])(b"reed"))
PROBLEM = Problem(Trouble.IO, "I/O error at byte 4096")


def test_what_is_put_is_got() -> None:
    shown = Shown()
    put = {
        ("heron/a.dng", 0): SEEN,
        ("heron/a.dng", 3): Seen(0, at_once(["blake2b-256"])(b"")),
        ("b.dng", 0): PROBLEM,
        ("c.dng", 0): Seen(2**40, (Digest("xxh32", "0000000f"),), whole=False),
        ("d.dng", 0): Seen(
            5, SEEN.digests, b"p" * 128, Taken(datetime(2026, 9, 12, tzinfo=UTC), "Kiln 1"), captured=True
        ),
        ("e.dng", 0): Seen(6, ()),
    }
    for key, result in put.items():
        shown[key] = result
    assert dict(shown) == put and len(shown) == len(put)
    assert {key: shown.get(key) for key in put} == put
    assert shown.problems() == [(("b.dng", 0), PROBLEM)]


def test_a_result_takes_the_place_of_another() -> None:
    shown = Shown()
    shown["a.dng", 0] = PROBLEM
    shown["a.dng", 0] = SEEN
    assert shown["a.dng", 0] == SEEN and shown.problems() == [] and ("a.dng", 0) in shown
    del shown["a.dng", 0]
    assert ("a.dng", 0) not in shown and shown.get(("a.dng", 0)) is None and not shown
