"""What restore leaves behind: files of the right bytes, and the system's cache as free as it was."""

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from drill.copies import folder_store, plain_view
from drill.quick import FORGETS, forget_cached, is_at_hand, is_cached
from drill.restore import restore
from drill.verify import examine

CONTENT = os.urandom(3_000_000)


@pytest.fixture
def away(tmp_path: Path) -> Iterator[Path]:
    """A folder on a disk of which the system says what it has in its cache."""
    probe = tmp_path / "probe"
    probe.write_bytes(CONTENT)
    fd = os.open(probe, os.O_RDWR)
    try:
        if not (FORGETS and is_at_hand(fd) and forget_cached(fd)):
            pytest.skip("needs a file system that tells what is in the cache")
    finally:
        os.close(fd)
    yield tmp_path


def test_what_is_judged_leaves_the_cache(away: Path) -> None:
    (away / "copy").mkdir()
    (away / "copy" / "heron.dng").write_bytes(CONTENT)
    view = plain_view(folder_store(away / "copy"))
    cached: list[bool] = []

    def judge(path: Path) -> int:
        cached.append(is_cached(str(path)))  # it was only just written
        return examine(path, ["sha256"]).size

    (away / "scratch").mkdir()
    (entry,) = view.entries()
    with ThreadPoolExecutor(1) as flusher:
        (result,) = restore(view, {entry: away / "scratch" / "1"}, flusher=flusher, judge=judge).values()
    assert result.found == len(CONTENT) and cached == [True]
    assert not is_cached(str(away / "scratch" / "1"))
    assert (away / "scratch" / "1").read_bytes() == CONTENT


def test_a_judge_may_take_the_file_away(tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    for name in ("heron.dng", "reed.dng"):
        (tmp_path / "copy" / name).write_bytes(name.encode())
    view = plain_view(folder_store(tmp_path / "copy"))
    wanted = {entry: tmp_path / f"{number}" for number, entry in enumerate(view.entries())}

    def judge(path: Path) -> bytes:
        content = path.read_bytes()
        if content == b"heron.dng":
            path.unlink()
        else:
            path.rename(tmp_path / "kept")
        return content

    with ThreadPoolExecutor(2) as flusher:
        results = restore(view, wanted, flusher=flusher, judge=judge)
    assert {key[0]: result.found for key, result in results.items()} == {
        "heron.dng": b"heron.dng",
        "reed.dng": b"reed.dng",
    }
    assert (tmp_path / "kept").read_bytes() == b"reed.dng"
    assert sorted(os.listdir(tmp_path)) == ["copy", "kept"]  # noqa: PTH208 - names are what is asked
