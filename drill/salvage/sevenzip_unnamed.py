"""Blocks of a 7z archive whose headers are lost: LZMA2 says itself where it ends, and blocks follow one another.

Flows in: the archive's bytes with zeros where they cannot be read. Flows out: Entries with made-up names, and their
bytes. Must not know: what they are: only a digest can tell. A block of one file is that file; of several, all of them
in a row. Nothing of what was packed or encrypted otherwise can be found in this way.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from drill.copies.sevenzip.chunks import HEAD, chunk_at
from drill.copies.sevenzip.layout import START_HEADER
from drill.model import Entry
from drill.salvage.lzma2 import MOST_KEPT, Surgery
from drill.salvage.lzma2_map import ChunkMap, map_chunks
from drill.salvage.patched import Around
from drill.salvage.sevenzip_blocks import Salvaged, Window, holes_in


@dataclass(frozen=True, slots=True)
class Unnamed:
    """A block without a name: its entry, where it begins, how many packed bytes it has."""

    entry: Entry
    start: int
    packed: int


def unnamed_blocks(around: Around, size: int) -> Iterator[Unnamed]:
    """Yield the blocks that follow one another from the archive's beginning on, the last perhaps cut off."""
    at, number = START_HEADER, 0
    while at < size and _begins(around, at):
        chunks = _chunks(around, at, size - at)
        unpacked = chunks.size
        if not chunks.ended:
            if number or not unpacked:  # the headers' remains, most likely
                return
            number += 1
            yield Unnamed(Entry(f"block-{number:04}", unpacked, None, -number), at, chunks.end)
            return
        number += 1
        yield Unnamed(Entry(f"block-{number:04}", unpacked, None, -number), at, chunks.end + 1)
        at += chunks.end + 1


def salvaged_block(around: Around, block: Unnamed) -> Salvaged:
    """Return an unnamed block's bytes."""
    stream, holes = Window(around, block.start, block.packed), holes_in(around, block.start)
    chunks = _chunks(around, block.start, block.packed)
    dictionary = min(chunks.size, 2 * MOST_KEPT)  # how large it was is lost with the header
    surgery = Surgery(stream, chunks, holes, dictionary=dictionary)
    return Salvaged(surgery.chunks(), lambda: surgery.doubts)


def _chunks(around: Around, start: int, packed: int) -> ChunkMap:
    return map_chunks(Window(around, start, packed), packed, holes_in(around, start), unpacked=None)


def _begins(around: Around, at: int) -> bool:
    """Say whether an LZMA2 stream may begin here: its first chunk has an empty dictionary."""
    around.seek(at)
    head = around.read(HEAD + 1)
    if holes_in(around, at)(0, HEAD):
        return True
    chunk = chunk_at(head)
    return chunk is not None and chunk.resets_dictionary and (chunk.stored or head[HEAD:] in (b"", b"\0"))
