"""Real pictures, and pictures broken on purpose by others: what opens, what is damaged, and that nothing crashes.

Sources: photographs of the Debian package lomiri-wallpapers-16.04; the test pictures in Pillow's source package, whose
own tests say of each name below that it is broken, or of a variant that it does not know.
"""

from pathlib import Path

import pytest
from collections_found import PICTURE_ENDINGS, odd_pictures, walk, wallpapers

from drill.copies import FileBytes
from drill.soundness import Outcome, checking

pytestmark = pytest.mark.deep  # real photographs decoded; test_soundness.py is quick

BROKEN = (
    *("truncated_jpeg.jpg", "truncated_image.png", "truncated_end_chunk.png", "broken.png", "broken_data_stream.png"),
    *("libtiff_segfault.tif", "seek_too_large.tif", "zero_width.gif", "not_enough_data.jp2", "shortfile.bmp"),
)
UNKNOWN_HERE = ("unknown_compression_method.png", "hopper_unknown_pixel_mode.tif", "decompression_bomb.gif")


@pytest.mark.outside
def test_real_photographs_open_and_cut_short_they_are_damaged(tmp_path: Path) -> None:
    with checking() as look:
        for path in walk(wallpapers(tmp_path)):
            content = path.read_bytes()
            assert look(path.name, content).outcome is Outcome.OPENS, path
            assert look(path.name, content[: len(content) // 2]).outcome is Outcome.DAMAGED, path


@pytest.mark.outside
def test_pictures_broken_on_purpose(tmp_path: Path) -> None:
    found = {}
    with checking() as look:
        for path in walk(odd_pictures(tmp_path)):
            if path.suffix.lower() in PICTURE_ENDINGS:
                found[path.name] = look(path.name, lambda path=path: FileBytes(path))  # type: ignore[misc]
    assert not [name for name, one in found.items() if "crashed" in one.detail or "judged" in one.detail]
    broken = {name: found[name].outcome for name in BROKEN if name in found}
    unknown = {name: found[name].outcome for name in UNKNOWN_HERE if name in found}
    assert len(broken) > 5 and set(broken.values()) == {Outcome.DAMAGED}, broken
    assert unknown and set(unknown.values()) == {Outcome.CANNOT_CHECK}, unknown
    outcomes = [one.outcome for one in found.values()]
    assert outcomes.count(Outcome.OPENS) > 0.85 * len(outcomes)
