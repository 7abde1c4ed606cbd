"""Fixtures for pytest: studios to try things on, in a test's own temporary folder.

Flows in: pytest's `tmp_path`. Flows out: StudioFolders, removed after the test. Loading this loads nothing of the rest.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from drill import testing

if TYPE_CHECKING:
    from drill.testing.folder import StudioFolder


@pytest.fixture
def drill_studio(tmp_path: Path) -> "Iterator[StudioFolder]":
    """A studio to try things on: a shoot `heron` of four pictures, whole on a tablet and on a drive at home."""
    with testing.studio_folder(tmp_path) as studio:
        yield studio


@pytest.fixture
def make_drill_studio(tmp_path: Path) -> "Iterator[Callable[..., StudioFolder]]":
    """A maker of studios to try things on; it takes the keywords of `studio_folder`."""
    with ExitStack() as kept:

        def make(**words: Any) -> "StudioFolder":
            return kept.enter_context(testing.studio_folder(tmp_path, **words))

        yield make
