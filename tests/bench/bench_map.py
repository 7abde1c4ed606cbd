"""Benchmark: `drill bad-sector` on archives of 100 GB, in seconds and memory.

Run: python tests/bench/bench_map.py [FOLDER] [--gigabytes 100] [--files 4000] [--rounds 3]

The archives are real ones with their headers where they belong and the pictures' bytes left out as holes: sparse
files, that take a few MB on the drive. 7z as its own program writes it when it only stores (one block for each file,
7zFormat), zip with zip64 records (APPNOTE 4.3), tar (POSIX pax). Prints for each the median and the range of the
seconds that the whole process takes, and its peak memory; (start) is the program's own start.
"""

import argparse
import os
import shutil
import statistics
import struct
import subprocess
import sys
import tarfile
import tempfile
import time
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

GB = 10**9


def number_7z(value: int) -> bytes:
    """Write a number as 7z headers have it (7zFormat, UINT64)."""
    for more in range(8):
        if value < 1 << (7 * (more + 1)):
            first = (0xFF << (8 - more)) & 0xFF | value >> (8 * more)
            return bytes([first]) + (value & ((1 << (8 * more)) - 1)).to_bytes(more, "little")
    return b"\xff" + value.to_bytes(8, "little")


def header_7z(names: list[str], size: int) -> bytes:
    """Return the header of a 7z that stores each file in a block of its own (7zFormat, Header)."""
    count, sizes = number_7z(len(names)), number_7z(size) * len(names)
    pack = b"\x06" + number_7z(0) + count + b"\x09" + sizes + b"\x00"
    folders = b"\x07\x0b" + count + b"\x00" + b"\x01\x01\x00" * len(names) + b"\x0c" + sizes + b"\x00"
    digests = b"\x08\x0a\x01" + struct.pack("<I", zlib.crc32(bytes(size))) * len(names) + b"\x00"
    texts = b"\x00" + b"".join(name.encode("utf-16-le") + b"\x00\x00" for name in names)
    files = b"\x05" + count + b"\x11" + number_7z(len(texts)) + texts + b"\x00"
    return b"\x01\x04" + pack + folders + digests + b"\x00" + files + b"\x00"


def make_7z(path: Path, names: list[str], size: int) -> None:
    header = header_7z(names, size)
    start = struct.pack("<QQI", len(names) * size, len(header), zlib.crc32(header))
    with path.open("wb") as file:
        file.write(b"7z\xbc\xaf\x27\x1c\x00\x04" + struct.pack("<I", zlib.crc32(start)) + start)
        file.seek(32 + len(names) * size)
        file.write(header)


def make_zip(path: Path, names: list[str], size: int) -> None:
    check = zlib.crc32(bytes(size))
    with zipfile.ZipFile(path, "w") as archive:
        file = archive.fp
        assert file is not None
        for name in names:
            info = zipfile.ZipInfo(name)
            info.file_size = info.compress_size = size
            info.CRC, info.header_offset = check, file.tell()
            file.write(info.FileHeader(zip64=False))
            file.seek(size, os.SEEK_CUR)
            archive.filelist.append(info)
            archive.NameToInfo[name] = info
        archive.start_dir = file.tell()
        archive._didModify = True  # the directory is written when it is closed


def make_tar(path: Path, names: list[str], size: int) -> None:
    with path.open("wb") as file:
        for name in names:
            info = tarfile.TarInfo(name)
            info.size = size
            file.write(info.tobuf(tarfile.PAX_FORMAT))
            file.seek(size + -size % 512, os.SEEK_CUR)
        file.write(bytes(1024))


MAKERS: dict[str, Callable[[Path, list[str], int], None]] = {".7z": make_7z, ".zip": make_zip, ".tar": make_tar}


def measure(command: list[str]) -> tuple[float, float]:
    """Run a process; return its seconds and its peak memory in MiB (Linux counts it in KiB)."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    took_s = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{command} ended with {process.returncode}")
    return took_s, usage.ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="where to work; default: a temporary folder")
    parser.add_argument("--gigabytes", type=int, default=100)
    parser.add_argument("--files", type=int, default=4000)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="drill-bench-", dir=options.folder))
    names = [f"2026/heron/H{n:06d}.dng" for n in range(options.files)]
    size = options.gigabytes * GB // options.files
    try:
        for ending, make in MAKERS.items():
            make(folder / f"a{ending}", names, size)
        start = [sys.executable, "-m", "drill"]
        results: dict[str, list[tuple[float, float]]] = {ending: [] for ending in ("(start)", *MAKERS)}
        for _ in range(options.rounds):
            results["(start)"].append(measure([*start, "bad-sector", "--help"]))
            for ending in MAKERS:
                results[ending].append(measure([*start, "bad-sector", os.fspath(folder / f"a{ending}")]))
        for ending, found in results.items():
            times = [one[0] for one in found]
            peak = max(one[1] for one in found)
            on_drive = (folder / f"a{ending}").stat().st_size / GB if ending in MAKERS else 0
            print(
                f"{ending:8} {on_drive:6.1f} GB: median {statistics.median(times):.2f} s "
                f"({min(times):.2f}-{max(times):.2f}), peak {peak:.0f} MiB"
            )
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
