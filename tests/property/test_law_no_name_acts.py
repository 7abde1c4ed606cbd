"""Whatever files, folders, studios and words on a command line are called, a terminal shows it and does nothing.

The commands are run in this process, with standard output and error put aside: a start takes longer than most of them.
"""

import gc
import io
import signal
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hostile import FORGED, NAMES, lay_out
from hypothesis import given, settings
from hypothesis import strategies as st

from drill.cli import SIGNALS, main

ODD = st.one_of(
    st.sampled_from([name for name in NAMES if name]),
    st.text(st.characters(), min_size=1, max_size=12),
    st.text(
        "\x1b\x9b[]31mJ;\x07\n\r\t\x0b\x85\u2028\u202e\u2066\u200b\ufe0f\u0301\udcff<&'\"\\ ", min_size=1, max_size=8
    ),
)


@contextmanager
def _put_aside() -> Iterator[io.BytesIO]:
    """Catch what is written to both streams, and put back what a command changes in its process."""
    caught, streams = io.BytesIO(), (sys.stdout, sys.stderr)
    handlers = {name: signal.getsignal(getattr(signal, name)) for name in SIGNALS if hasattr(signal, name)}
    thresholds = gc.get_threshold()
    sys.stdout = sys.stderr = io.TextIOWrapper(caught, "utf-8", newline="", write_through=True)
    try:
        yield caught
    finally:
        sys.stdout, sys.stderr = streams
        gc.set_threshold(*thresholds)
        for name, handler in handlers.items():
            signal.signal(getattr(signal, name), handler)


def _run(words: list[str]) -> tuple[int, str]:
    with _put_aside() as caught:
        try:
            code = main(words)
        except SystemExit as ended:
            code = int(ended.code or 0)
        return code, caught.getvalue().decode("utf-8")


@settings(max_examples=max(3, settings().max_examples // 12))
@given(st.lists(ODD, min_size=1, max_size=3))
def test_no_name_reaches_a_terminal_as_more_than_letters(names: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for words in lay_out(Path(folder), names):
            code, said = _run(words)
            assert code in (0, 1, 2), said
            lines = said.split("\n")
            assert all(line.isprintable() for line in lines), ascii(said)
            assert not any(line.lstrip(" -+#").startswith(FORGED) for line in lines), ascii(said)
        _written_is_plain(Path(folder))


def _written_is_plain(folder: Path) -> None:
    """What is written for people to read holds no more than letters either."""
    found = [
        path
        for pattern in ("new*/studio.toml", "*/reports/*/drill.*", "*/*STILL-MISSING.txt")
        for path in folder.glob(pattern)
    ]
    assert {path.suffix for path in found} >= {".html", ".json", ".txt"}
    for path in found:
        assert all(line.isprintable() for line in path.read_text(encoding="utf-8").split("\n")), path
