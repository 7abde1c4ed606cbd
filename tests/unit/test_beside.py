"""Large members come as small ones do, while another thread reads, unpacks and checks the next piece."""

import io
import random
import threading
import time
import zipfile
from collections.abc import Callable, Iterator

import py7zr
import pytest
from bad_disk import BadDisk
from gather import Gather

from drill.copies import archive_view
from drill.copies.beside import Beside, is_large
from drill.copies.raw import explain
from drill.model import Entry, Store, Trouble, View

RANDOM = random.Random(5)
SIZES = {"1.dng": 2_600_001, "2.xmp": 900, "3.dng": 1 << 20, "4.dng": (1 << 20) - 1, "5.dng": 1_700_000}
FILES = {name: RANDOM.randbytes(size) for name, size in SIZES.items()}
LARGE = Entry("kiln.dng", 1 << 20)


class Slow(Gather):
    """Takes its time with every piece, as a disk does, and sees that the piece is still the same afterwards."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        before = bytes(chunk)
        time.sleep(0.01)
        assert chunk == before
        super().data(chunk)


class Full(Gather):
    """Fails with the first piece of a large file."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        raise ZeroDivisionError


def seven() -> bytes:
    out = io.BytesIO()
    with py7zr.SevenZipFile(out, "w", filters=[{"id": py7zr.FILTER_COPY}]) as archive:
        for name, content in FILES.items():
            archive.writestr(content, name)
    return out.getvalue()


def zipped(method: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in FILES.items():
            archive.writestr(zipfile.ZipInfo(name), content, method)
    return out.getvalue()


STORED: dict[str, Callable[[], bytes]] = {".7z": seven, ".zip": lambda: zipped(zipfile.ZIP_STORED)}
every_stored = pytest.mark.parametrize("kind", STORED)


def view_of(content: bytes, kind: str, *, bad: tuple[int, ...] = ()) -> View:
    store = Store(lambda: [Entry("archive", len(content))], lambda entry: BadDisk(content, frozenset(bad), 4096))
    return archive_view(store, kind, None)


def delivered(view: View) -> Gather:
    slow = Slow()
    view.deliver(view.entries(), slow)
    assert not others()
    return slow


def others() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name.startswith("beside")]


@pytest.mark.parametrize("kind", [*STORED, "deflated"])
def test_a_piece_stays_while_it_is_written(kind: str) -> None:
    view = view_of(STORED[kind](), kind) if kind in STORED else view_of(zipped(zipfile.ZIP_DEFLATED), ".zip")
    assert delivered(view).good() == FILES


@every_stored
def test_every_piece_is_checked(kind: str) -> None:
    content = STORED[kind]()
    for name, at in (("1.dng", 2_600_000), ("3.dng", 1 << 19), ("2.xmp", 7)):
        altered = bytearray(content)
        altered[content.index(FILES[name]) + at] ^= 0x20
        gather = delivered(view_of(bytes(altered), kind))
        assert gather.troubles() == {name: Trouble.CHECK_VALUE}
        assert gather.good() == {other: data for other, data in FILES.items() if other != name}


@every_stored
def test_all_good_bytes_before_a_bad_sector_come(kind: str) -> None:
    content = STORED[kind]()
    begin = content.index(FILES["3.dng"])
    sector = (begin + 700_000) // 4096
    gather = delivered(view_of(content, kind, bad=(sector,)))
    after = [] if kind == ".7z" else ["4.dng", "5.dng"]  # one block there
    assert list(gather.good()) == ["1.dng", "2.xmp", *after]
    (part,) = [data for e, (data, _) in gather.got.items() if e.path == "3.dng"]
    assert FILES["3.dng"].startswith(part)
    assert len(part) == sector * 4096 - begin


@every_stored
def test_what_the_receiver_raises_ends_it_and_leaves_no_thread(kind: str) -> None:
    view = view_of(STORED[kind](), kind)
    with pytest.raises(ZeroDivisionError):
        view.deliver(view.entries(), Full())
    assert not others()


def test_nothing_is_made_after_sending_has_ended() -> None:
    made: list[int] = []

    def pieces() -> Iterator[bytes]:
        for number in range(100):
            time.sleep(0.01)
            made.append(number)
            yield bytes(300_000)

    with Beside() as beside:
        source = pieces()
        problem = beside.send(LARGE, Gather(), source, why=explain)
        assert problem is not None and "has more than the 1048576 bytes" in problem.detail
        count = len(made)
        assert 4 <= count <= 5  # one ahead
        time.sleep(0.05)
        assert len(made) == count
        next(source)  # whoever made it goes on where it was
        assert made == list(range(count + 1))
        with pytest.raises(ZeroDivisionError):
            beside.send(LARGE, Full(), source, why=explain)
        count = len(made)
        time.sleep(0.05)
        assert len(made) == count


def test_small_files_take_no_other_thread() -> None:
    seen: list[str] = []

    def pieces() -> Iterator[bytes]:
        seen.append(threading.current_thread().name)
        yield b"small"

    with Beside() as beside:
        assert beside.send(Entry("reed.xmp", 5), Gather(), pieces(), why=explain) is None
        assert not others()
        beside.send(LARGE, Gather(), pieces(), why=explain)
        beside.send(Entry("of unknown size", None), Gather(), pieces(), why=explain)
    assert seen[0] == threading.current_thread().name
    assert all(name.startswith("beside") for name in seen[1:])
    assert is_large(Entry("of unknown size", None))
