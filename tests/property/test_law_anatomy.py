"""Law: of any bytes the structure of an archive is refused with a reason, or told without gaps and overlaps."""

import io
import tarfile
import zipfile
from functools import cache

import py7zr
import pytest
import zstandard
from hypothesis import given, settings
from hypothesis import strategies as st

from drill.errors import CannotRead
from drill.extents import Anatomy
from drill.model import Entry, Store
from drill.radius import measure
from drill.streams import InMemory
from drill.structure import anatomy

FILES = {f"reed/R{n}.dng": bytes((n * n + k * k // 3) % 256 for k in range(700 * n)) for n in range(6)}
KINDS = (".7z", ".zip", ".tar", ".tar.gz", ".tar.xz", ".tar.zst")


@cache
def archive(kind: str) -> bytes:
    out = io.BytesIO()
    if kind == ".7z":
        with py7zr.SevenZipFile(out, "w") as packed:
            for name, content in FILES.items():
                packed.writestr(content, name)
    elif kind == ".zip":
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as zipped:
            for name, content in FILES.items():
                zipped.writestr(name, content)
    else:
        with tarfile.open(fileobj=out, mode={".tar.gz": "w:gz", ".tar.xz": "w:xz"}.get(kind, "w")) as tar:
            for name, content in FILES.items():
                info = tarfile.TarInfo(name)
                info.size = len(content)
                tar.addfile(info, io.BytesIO(content))
    return zstandard.compress(out.getvalue()) if kind == ".tar.zst" else out.getvalue()


def told(content: bytes, kind: str) -> Anatomy | None:
    entry = Entry(f"reed{kind}", len(content))
    try:
        return anatomy(Store(files=lambda: [entry], open=lambda _: InMemory(content)), kind, None)
    except CannotRead as error:
        assert str(error)
        return None


def check(found: Anatomy, size: int) -> None:
    at, members = 0, len(found.members)
    assert found.size == size
    for extent in found.extents:
        assert extent.start == at < extent.end
        at = extent.end
        assert 0 <= extent.stops <= members
        for start, end in (extent.least, extent.most):
            assert 0 <= start <= end <= members
        assert set(range(*extent.least)) <= set(range(*extent.most))
    assert at == size
    measure(found, archive="reed", sector_size=512)


@pytest.mark.parametrize("kind", KINDS)
def test_an_archive_in_good_health_is_told_with_all_its_files(kind: str) -> None:
    content = archive(kind)
    found = told(content, kind)
    assert found is not None
    check(found, len(content))
    assert {(entry.path, entry.size) for entry in found.members} == {(name, len(data)) for name, data in FILES.items()}
    assert found.stream_size == sum(map(len, FILES.values()))


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
@settings(max_examples=60)
def test_what_is_told_of_any_bytes_has_neither_gaps_nor_overlaps(kind: str, data: st.DataObject) -> None:
    content = bytearray(archive(kind))
    for _ in range(data.draw(st.integers(0, 4))):
        at = data.draw(
            st.one_of(st.integers(0, len(content) - 1), st.integers(max(0, len(content) - 300), len(content) - 1))
        )
        content[at] = data.draw(st.integers(0, 255))
    if data.draw(st.booleans()):
        del content[data.draw(st.integers(0, len(content))) :]
    found = told(bytes(content), kind)
    if found is not None:
        check(found, len(content))
