"""Benchmark: how much damage a look inside notices, and how fast it is.

Run: python tests/bench/bench_soundness.py [FOLDER of photographs] [--each 20] [--seed 1]

Seeded, on every JPEG of the folder (default: the machine's wallpapers) and on pictures made of them: one changed bit,
or one sector of 4096 bytes zeroed, or the last sector cut off; each kind of file, N times. Prints the share noticed.
"""

import argparse
import io
import random
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy
import pillow_heif
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent.parent / "shared"))
import raws
import sound_files

from drill.soundness import Check, Outcome, checking, pictures
from drill.soundness.kinds import Kind
from drill.soundness.source import Opener

SECTOR = 4096


def flipped(content: bytes, rng: random.Random) -> bytes:
    hurt = bytearray(content)
    hurt[rng.randrange(len(hurt))] ^= 1 << rng.randrange(8)
    return bytes(hurt)


def zeroed(content: bytes, rng: random.Random) -> bytes:
    start = rng.randrange(max(1, len(content) // SECTOR)) * SECTOR
    return content[:start] + bytes(len(content[start : start + SECTOR])) + content[start + SECTOR :]


def cut(content: bytes, rng: random.Random) -> bytes:
    return content[: max(1, len(content) - SECTOR)]


def made_of(photographs: list[Path]) -> Iterator[tuple[str, bytes]]:
    """Give files of every kind: the photographs themselves, and what is made of their pixels."""
    for number, path in enumerate(photographs):
        yield f"R{number:04}.jpg", path.read_bytes()
        with Image.open(path) as picture:
            small = picture.convert("RGB").resize((800, 600))
        for kind, ending, options in (
            *(("PNG", "png", {}), ("TIFF", "tif", {}), ("TIFF", "lzw.tif", {"compression": "tiff_lzw"})),
            *(("WEBP", "webp", {"quality": 85}), ("JPEG", "progressive.jpg", {"progressive": True, "quality": 90})),
        ):
            out = io.BytesIO()
            small.save(out, kind, **options)
            yield f"R{number:04}.{ending}", out.getvalue()
        out = io.BytesIO()
        pillow_heif.from_pillow(small).save(out, quality=80)
        yield f"R{number:04}.heic", out.getvalue()
        rows = (numpy.asarray(small.convert("L").resize((400, 300)), dtype=int) * 60).tolist()
        noise = random.Random(number)
        rows = [[value + noise.randrange(64) for value in row] for row in rows]
        yield f"R{number:04}.plain.dng", raws.dng(rows, packed=False)
        yield f"R{number:04}.packed.dng", raws.dng(rows, packed=True)
    for name in ("R0008.xmp", "reed.lrcat", "heron.zip", "heron.7z", "heron.tar", "heron.tar.gz"):
        yield f"R9999.{name.partition('.')[2]}", sound_files.sound()[name]


def share(look: Check, name: str, content: bytes, each: int, rng: random.Random) -> dict[str, list[bool]]:
    found: dict[str, list[bool]] = {}
    for hurt in (flipped, zeroed, cut):
        for _ in range(1 if hurt is cut else each):
            bytes_now = hurt(content, rng)
            if bytes_now == content:
                continue
            found.setdefault(hurt.__name__, []).append(look(name, bytes_now).outcome is Outcome.DAMAGED)
            if name.endswith(".jpg"):
                found.setdefault(f"{hurt.__name__} lenient", []).append(_lenient(bytes_now))
    return found


def _lenient(content: bytes) -> bool:
    """What Pillow alone notices."""
    kept, pictures._simplejpeg = pictures._simplejpeg, lambda: None
    try:
        return pictures.look(Opener(content), Kind.JPEG).outcome is Outcome.DAMAGED
    finally:
        pictures._simplejpeg = kept


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", nargs="?", type=Path, default=Path("/usr/share/backgrounds"))
    parser.add_argument("--each", type=int, default=20)
    parser.add_argument("--most", type=int, default=15)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    photographs = sorted(p for p in asked.folder.rglob("*") if p.suffix.lower() in (".jpg", ".jpeg"))[: asked.most]
    noticed: dict[tuple[str, str], list[bool]] = {}
    speeds: dict[str, list[float]] = {}
    with checking() as look:
        for name, content in made_of(photographs):
            kind = name.partition(".")[2]
            started = time.perf_counter()
            assert look(name, content).outcome is Outcome.OPENS, name
            speeds.setdefault(kind, []).append(len(content) / 1e6 / (time.perf_counter() - started))
            for hurt, some in share(look, name, content, asked.each, rng).items():
                noticed.setdefault((kind, hurt), []).extend(some)
    for (kind, hurt), some in sorted(noticed.items()):
        print(f"{kind:18} {hurt:16} {sum(some):5} of {len(some):5}  {100 * sum(some) / len(some):5.1f} %")
    for kind, rates in speeds.items():
        print(f"{kind:18} {sorted(rates)[len(rates) // 2]:7.1f} MB/s")


if __name__ == "__main__":
    main()
