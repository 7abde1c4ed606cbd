"""Salvage of zips and tars: never a wrong member without a word, never fewer than the plain reader, never more by more
damage; what is foretold bounds what is lost; nothing that parses these formats ends in anything but a clear error.
"""

import random
import tarfile
import zipfile
from collections.abc import Callable
from contextlib import suppress

import pytest
from bad_disk import BadDisk, Salvaged, foretold
from gather import Gather
from hypothesis import given, settings
from hypothesis import strategies as st
from written import PACKERS, tar_of, zip_of

from drill.copies import archive_view
from drill.copies.raw import Waiting
from drill.errors import DrillError
from drill.model import Entry, Store, View
from drill.salvage import tarred, zipped
from drill.structure import anatomy

SECTOR = 512  # small, so that small archives have many


def _zip(method: int, *, streamed: bool = False) -> Callable[[dict[str, bytes]], bytes]:
    return lambda files: zip_of(files, method, streamed=streamed)


def _tar(kind: str, form: int = tarfile.PAX_FORMAT) -> Callable[[dict[str, bytes]], bytes]:
    return lambda files: PACKERS[kind](tar_of(files, form)) if kind in PACKERS else tar_of(files, form)


def _in_parts(kind: str) -> Callable[[dict[str, bytes]], bytes]:
    def make(files: dict[str, bytes]) -> bytes:
        plain = tar_of(files)
        return b"".join(PACKERS[kind](plain[at : at + 9000]) for at in range(0, len(plain), 9000))

    return make


FORMS: dict[str, tuple[str, Callable[[dict[str, bytes]], bytes]]] = {
    "stored": (".zip", _zip(zipfile.ZIP_STORED)),
    "deflated": (".zip", _zip(zipfile.ZIP_DEFLATED)),
    "bzip2": (".zip", _zip(zipfile.ZIP_BZIP2)),
    "streamed": (".zip", _zip(zipfile.ZIP_DEFLATED, streamed=True)),
    "streamed, stored": (".zip", _zip(zipfile.ZIP_STORED, streamed=True)),
    "ustar": (".tar", _tar(".tar", tarfile.USTAR_FORMAT)),
    "gnu": (".tar", _tar(".tar", tarfile.GNU_FORMAT)),
    "pax": (".tar", _tar(".tar")),
    "gzip": (".tar.gz", _tar(".tar.gz")),
    "xz": (".tar.xz", _tar(".tar.xz")),
    "xz streams": (".tar.xz", _in_parts(".tar.xz")),
    "zstd": (".tar.zst", _tar(".tar.zst")),
    "zstd frames": (".tar.zst", _in_parts(".tar.zst")),
}


@st.composite
def shoots(draw: st.DrawFn) -> dict[str, bytes]:
    """Return some files: raws that do not pack, text that does, empty ones. None has long runs of zeros."""
    rng = random.Random(draw(st.integers(0, 1 << 30)))
    files = {}
    for number in range(draw(st.integers(1, 7))):
        name = (
            draw(st.sampled_from(("kiln/R%d.dng", "R%d é.jpg", "a-rather-long-folder-name/" * 5 + "%d.xmp"))) % number
        )
        size = draw(st.one_of(st.integers(0, 20), st.integers(0, 12_000)))
        files[name] = rng.randbytes(size) if draw(st.booleans()) else bytes(rng.choices(b"heron reed", k=size))
    return files


class Case:
    """One archive under damage."""

    def __init__(self, form: str, files: dict[str, bytes]) -> None:
        self.kind, make = FORMS[form]
        if form == "ustar":
            files = {name.replace("é", "e"): content for name, content in files.items()}
        self.files, self.content = files, make(files)
        self.entries = list(self.view(self.content).entries())

    def store(self, content: bytes, bad: frozenset[int]) -> Store:
        return Store(lambda: [Entry("archive", len(content))], lambda _: BadDisk(content, bad, SECTOR))

    def view(self, content: bytes, bad: frozenset[int] = frozenset()) -> View:
        return archive_view(self.store(content, bad), self.kind, None)

    def plain(self, content: bytes, bad: frozenset[int]) -> set[str]:
        gather = Gather()
        self.view(content, bad).deliver(self.entries, gather)
        return {path for path, data in gather.good().items() if self.files[path] == data}

    def salvaged(self, content: bytes, bad: frozenset[int]) -> Salvaged:
        collector, waiting, raw = Salvaged(), Waiting(self.entries), BadDisk(content, bad, SECTOR)
        if self.kind == ".zip":
            zipped.deliver_members(raw, len(content), None, waiting, collector)
        else:
            tarred.deliver_members(self.kind, raw, len(content), waiting, collector)
        assert len(waiting.rest()) + len(collector.got) == len(self.entries)
        return collector


def sectors(data: st.DataObject, content: bytes) -> frozenset[int]:
    last = (len(content) - 1) // SECTOR
    return frozenset(data.draw(st.sets(st.integers(0, last), min_size=1, max_size=4)))


@pytest.mark.parametrize("form", FORMS)
@given(files=shoots(), data=st.data())
@settings(max_examples=settings().max_examples // 3)
def test_sectors_that_cannot_be_read(form: str, files: dict[str, bytes], data: st.DataObject) -> None:
    case = Case(form, files)
    bad = sectors(data, case.content)
    more = bad | sectors(data, case.content)
    got, less = case.salvaged(case.content, bad), case.salvaged(case.content, more)
    assert not got.wrong(case.files) and not less.wrong(case.files)
    assert case.plain(case.content, bad) <= got.whole(case.files)
    assert less.whole(case.files) <= got.whole(case.files)


@pytest.mark.parametrize("form", FORMS)
@given(files=shoots(), data=st.data())
@settings(max_examples=settings().max_examples // 3)
def test_what_is_foretold_of_a_sector_bounds_what_is_lost(
    form: str, files: dict[str, bytes], data: st.DataObject
) -> None:
    case = Case(form, files)
    sector = data.draw(st.integers(0, (len(case.content) - 1) // SECTOR))
    got = case.salvaged(case.content, frozenset((sector,)))
    lost = set(case.files) - got.whole(case.files)
    structure = anatomy(case.store(case.content, frozenset()), case.kind, None)
    least, most, stops = foretold(structure, sector, SECTOR)
    assert {p for p in least if not _has_zeros(case.files[p])} <= lost <= most
    assert least <= stops


def _has_zeros(content: bytes) -> bool:
    return b"\0" in content


@pytest.mark.parametrize("form", FORMS)
@given(files=shoots(), data=st.data())
@settings(max_examples=settings().max_examples // 2)
def test_whatever_bytes_are_changed_or_cut_off_no_parser_falls_over(
    form: str, files: dict[str, bytes], data: st.DataObject
) -> None:
    case = Case(form, files)
    damaged = bytearray(case.content)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        patch = data.draw(st.one_of(st.binary(min_size=1, max_size=8), st.just(b"\xff" * 8), st.just(bytes(64))))
        damaged[at : at + len(patch)] = patch[: len(damaged) - at]
    content = bytes(damaged[: data.draw(st.one_of(st.just(len(damaged)), st.integers(0, len(damaged))))])
    got = case.salvaged(content, frozenset())
    assert all(e.size is None or len(came) <= e.size for e, (came, _) in got.got.items())
    assert case.plain(content, frozenset()) <= got.whole(case.files)
    for ask in (
        lambda: anatomy(case.store(content, frozenset()), case.kind, None),
        lambda: (
            zipped.list_members(BadDisk(content), len(content), None)
            if case.kind == ".zip"
            else tarred.list_members(case.kind, BadDisk(content), len(content))
        ),
    ):
        with suppress(DrillError):
            ask()
    if case.kind == ".zip":
        assert not got.wrong(case.files)
