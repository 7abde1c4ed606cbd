"""Zips and tars as Python's own writers make them, in memory."""

import gzip
import io
import lzma
import tarfile
import zipfile
from collections.abc import Callable

import zstandard


class _Pipe(io.RawIOBase):
    """Where a program writes that cannot go back: sizes come after the bytes then."""

    def __init__(self) -> None:
        super().__init__()
        self.content = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, data: bytes, /) -> int:  # type: ignore[override]
        self.content += data
        return len(data)


def zip_of(files: dict[str, bytes], method: int = zipfile.ZIP_STORED, *, streamed: bool = False) -> bytes:
    """Return a zip with a folder and the files; `streamed`: their sizes stand behind their bytes."""
    out = _Pipe() if streamed else io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        archive.mkdir("kiln")
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue() if isinstance(out, io.BytesIO) else bytes(out.content)


def tar_of(files: dict[str, bytes], form: int = tarfile.PAX_FORMAT) -> bytes:
    """Return a tar with a folder and the files."""
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=form) as archive:
        folder = tarfile.TarInfo("kiln")
        folder.type = tarfile.DIRTYPE
        archive.addfile(folder)
        for name, content in files.items():
            info = tarfile.TarInfo(name)
            info.size = len(content)
            archive.addfile(info, io.BytesIO(content))
    return out.getvalue()


PACKERS: dict[str, Callable[[bytes], bytes]] = {
    ".tar.gz": lambda plain: gzip.compress(plain, mtime=0),
    ".tar.xz": lzma.compress,
    ".tar.zst": zstandard.ZstdCompressor(write_checksum=True).compress,
}
