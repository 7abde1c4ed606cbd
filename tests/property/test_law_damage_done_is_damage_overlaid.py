"""Law: damage really done to the copies and the same damage as an overlay bring back the same files; afterwards every
file is the very one it was. What is done to the bytes is written apart from the overlay, so neither can do nothing.
"""

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import NOW, verified

from drill.testing import drilled, laid_out, really
from drill.testing.strategies import damage, worlds
from drill.testing.world import World

pytestmark = pytest.mark.deep  # test_testing.py is quick

Facts = dict[str, tuple[int, int, int, bytes]]


def census(root: Path) -> Facts:
    """Return for every file its number on the disk, size, time and bytes."""
    files = [(path, path.stat()) for path in root.rglob("*") if path.is_file()]
    return {
        str(path.relative_to(root)): (about.st_ino if os.name == "posix" else 0, about.st_size, about.st_mtime_ns, data)
        for path, about in files
        for data in [path.read_bytes()]
    }


@settings(max_examples=50)
@given(world=worlds(), data=st.data())
def test_done_and_overlaid_bring_back_the_same(world: World, data: st.DataObject) -> None:
    can_be_done = damage(world).filter(lambda mishap: mishap.hazard.effect != "unreadable")
    mishaps = data.draw(st.lists(can_be_done, min_size=1, max_size=2))
    with laid_out(world) as studio:
        before = census(studio.folder / "media")
        overlaid = verified(drilled(studio, *mishaps, now=NOW))
        with really(studio, *mishaps):
            assert census(studio.folder / "media") != before
            done = drilled(studio, now=NOW)
        assert verified(done) == overlaid
        assert census(studio.folder / "media") == before
