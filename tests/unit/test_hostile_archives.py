"""Archives that were made to exhaust whoever reads them: bounded zeros, bounded reading, bounded memory.

No source for the bounds; the archives are made here by hand after the formats' own descriptions.
"""

import random
import tarfile

import pytest
from bad_disk import BadDisk, Salvaged
from gather import Gather
from written import PACKERS, tar_of

from drill.copies import archive_view
from drill.copies.raw import Waiting
from drill.model import Entry, Store, Trouble
from drill.salvage import tarred
from drill.structure import tarred as structure_tar

TAR_KINDS = (".tar", *PACKERS)


class Few(Salvaged):
    """A collector that is not there for a flood."""

    def data(self, chunk: bytes | bytearray | memoryview) -> None:
        super().data(chunk)
        assert sum(map(len, self.running())) < 50_000_000

    def running(self) -> list[bytearray]:
        return [self._now[1]] if self._now is not None else []


class Counted(BadDisk):
    """A disk that counts how often it is asked."""

    asked = 0

    def readinto(self, buffer: bytearray, /) -> int:  # type: ignore[override]
        self.asked += 1
        return super().readinto(buffer)


def packed(kind: str, tar: bytes) -> bytes:
    return PACKERS[kind](tar) if kind in PACKERS else tar


def view_gather(content: bytes, kind: str, gather: Gather) -> list[Entry]:
    view = archive_view(Store(lambda: [Entry("archive", len(content))], lambda _: BadDisk(content)), kind, None)
    entries = list(view.entries())
    view.deliver(entries, gather)
    return entries


# --- tars -----------------------------------------------------------------------------------------------------------


def sparse_header(name: str, size: int) -> bytes:
    """Return an old GNU sparse header of a file that is one hole (GNU tar's manual, "Storing Sparse Files")."""
    info = tarfile.TarInfo(name)
    info.type = tarfile.GNUTYPE_SPARSE
    head = bytearray(info.tobuf(tarfile.GNU_FORMAT))
    head[483:495] = b"\x80" + size.to_bytes(11, "big")
    head[148:156] = b" " * 8
    head[148:156] = b"%06o\0 " % sum(head)
    return bytes(head)


@pytest.mark.parametrize("kind", TAR_KINDS)
def test_a_sparse_file_of_2_to_the_40_zeros_is_refused(kind: str) -> None:
    content = packed(kind, sparse_header("reed.dng", 1 << 40) + tar_of({"heron.dng": b"h" * 600}))
    plain, salvaged = Few(), Few()
    entries = view_gather(content, kind, plain)
    assert [(e.path, e.size) for e in entries] == [("reed.dng", None), ("heron.dng", 600)]
    tarred.deliver_members(kind, BadDisk(content), len(content), Waiting(entries), salvaged)
    for got in (plain, salvaged):
        assert got.troubles() == {"reed.dng": Trouble.UNSUPPORTED} and got.good() == {"heron.dng": b"h" * 600}
    assert len(structure_tar.anatomy_of(kind, BadDisk(content), len(content), kept=False).members) == 2


def test_many_sparse_files_have_one_bound_together() -> None:
    content = b"".join(sparse_header(f"{n}.dng", 300 << 20) for n in range(9)) + bytes(1024)
    entries = tarred.list_members(".tar", BadDisk(content), len(content))
    assert [e.size for e in entries].count(None) == 6


def test_a_header_that_is_real_zeros_costs_only_its_name() -> None:
    files = {f"{n}.dng": bytes([n + 1]) * 9000 for n in range(4)}
    content = bytearray(tar_of(files))
    entries = tarred.list_members(".tar", BadDisk(bytes(content)), len(content))
    content[entries[2].index - 512 : entries[2].index] = bytes(512)
    got = Salvaged()
    tarred.deliver_members(".tar", BadDisk(bytes(content)), len(content), Waiting(entries), got)
    assert got.whole(files) == set(files) and set(got.troubles()) == {"2.dng"}


@pytest.mark.parametrize("size", [60 << 20, 0])
def test_forged_pax_headers_do_not_have_the_archive_read_again_and_again(size: int) -> None:
    pax = tarfile.TarInfo("x")
    pax.type, pax.size = tarfile.XHDTYPE, size
    content = pax.tobuf(tarfile.USTAR_FORMAT) * 1200
    disk = Counted(content)
    gather = Gather()
    with pytest.raises(Exception, match="no readable tar header"):
        tarred.list_members(".tar", disk, len(content))
    assert disk.bytes_read < 40 << 20 and not gather.got
    assert disk.asked < 60_000


def test_what_only_looks_like_gzip_members_is_looked_at_so_often_and_no_more() -> None:
    content = PACKERS[".tar.gz"](tar_of({"reed.dng": b"r" * 600})) [:40] + b"\x1f\x8b\x08\0\0\0\0\0\0\3\7" * 20_000
    disk = Counted(content)
    with pytest.raises(Exception, match="no readable tar header"):
        tarred.list_members(".tar.gz", disk, len(content))
    assert disk.asked < 20_000


def test_a_gzip_member_behind_a_lost_one_is_found() -> None:
    files = {f"{n}.dng": bytes([n + 1]) * 600 + random.Random(n).randbytes(9000) for n in range(4)}
    tar = tar_of(files)
    entries = tarred.list_members(".tar", BadDisk(tar), len(tar))
    for cut in (entries[2].index - 512, entries[2].index + 700):
        content = PACKERS[".tar.gz"](tar[:cut]) + PACKERS[".tar.gz"](tar[cut:])
        got = Salvaged()
        tarred.deliver_members(".tar.gz", BadDisk(content, {1}), len(content), Waiting(entries), got)
        assert "3.dng" in got.whole(files)
