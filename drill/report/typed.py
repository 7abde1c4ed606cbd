"""A command line as it is typed in this system's shell.

Flows in: words. Flows out: one line. Must not know: what the command does. It is not made safe for a terminal here.
"""

import os
import shlex
import subprocess
from collections.abc import Sequence


def typed(words: Sequence[str | os.PathLike[str]]) -> str:
    """Return a command line, its words quoted where they need it."""
    plain = [os.fspath(word) for word in words]
    return subprocess.list2cmdline(plain) if os.name == "nt" else shlex.join(plain)
