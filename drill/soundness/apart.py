"""Decoders of pictures may crash or never end: asked in a process of their own, with a limit of time.

Flows in: opened files. Flows out: Soundness. Must not know: how a picture is decoded (`child` does). One process
serves many files, one at a time, since starting it takes longer than decoding; after a crash or a limit reached another
is started for the next file. It is started in the temporary folder, so nothing it might drop lies beside a picture.
"""

import json
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

import drill
from drill.model import Problem, Trouble
from drill.soundness.kinds import Kind
from drill.soundness.outcome import Outcome, Soundness, cannot_check
from drill.soundness.source import Opener
from drill.units import say_span

_NEEDS = {Kind.RAW: ("rawpy", "raw"), Kind.HEIF: ("pillow_heif", "heic")}
KIND_BYTES, SIZE_BYTES = 16, 8  # how a question begins
_MOST_BYTES = 10**9
_BLOCK = 1024 * 1024
_LEAVE_S = 5.0
# -P: a folder named drill, or a rawpy.py, where the command was started must not be taken for the program's own.
COMMAND = (sys.executable or "python", "-P", "-m", "drill.soundness.child")


class Apart:
    """The other process: started with the first file, ended by `close`. May be asked from several threads."""

    def __init__(self, limit_s: float, command: Sequence[str] = COMMAND) -> None:
        self._limit_s, self._command = limit_s, tuple(command)
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None

    def look(self, file: Opener, size: int, kind: Kind) -> Soundness:
        """Have a picture decoded. Errors: OSError and DrillError of reading it."""
        package, extra = _NEEDS.get(kind, ("PIL", ""))
        if find_spec(package) is None:
            return cannot_check(f"looking into it needs {package}: pip install 'restore-drill[{extra}]'")
        if size > _MOST_BYTES:
            return cannot_check("is too large to decode here")
        with self._lock:
            return self._ask(file, size, kind)

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._end()

    def _ask(self, file: Opener, size: int, kind: Kind) -> Soundness:
        try:
            process = self._process = self._process or self._start()
        except OSError as error:
            return cannot_check(f"its decoder cannot be started ({error.strerror or type(error).__name__})")
        late = threading.Event()
        timer = threading.Timer(self._limit_s, _stop, (process, late))
        timer.start()
        try:
            answer = _exchange(process, file, size, kind)
        except BaseException:  # the file could not be read to its end: what was sent of it is no question
            self._kill()
            raise
        finally:
            timer.cancel()
        if answer is None:
            self._kill()
            took = f"took longer than {say_span(self._limit_s)}" if late.is_set() else "crashed over it"
            return cannot_check(f"its decoder {took}; it may be damaged")
        return answer

    def _start(self) -> subprocess.Popen[bytes]:
        paths = [str(Path(drill.__file__).parent.parent), os.environ.get("PYTHONPATH", "")]
        return subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=tempfile.gettempdir(),
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )

    def _kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._end()

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        for pipe in (process.stdin, process.stdout):
            try:
                if pipe is not None:
                    pipe.close()
            except OSError:  # bytes that nobody will read any more
                continue
        try:
            process.wait(_LEAVE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _stop(process: subprocess.Popen[bytes], late: threading.Event) -> None:
    late.set()
    process.kill()


def _exchange(process: subprocess.Popen[bytes], file: Opener, size: int, kind: Kind) -> Soundness | None:
    """Send one file and return the answer; None where the process is no more."""
    assert process.stdin is not None and process.stdout is not None
    with file.buffered() as stream:
        sent = 0
        chunk = kind.value.encode().ljust(KIND_BYTES) + size.to_bytes(SIZE_BYTES, "big")
        while chunk:
            try:
                process.stdin.write(chunk)
                process.stdin.flush()
            except OSError:
                return None
            chunk = stream.read(min(_BLOCK, size - sent))
            sent += len(chunk)
    if sent < size:
        file.troubles.append(Problem(Trouble.DAMAGED, f"ends after {sent} of {size} bytes"))
        return None
    try:
        outcome, detail = json.loads(process.stdout.readline())
        return Soundness(Outcome(outcome), detail)
    except (OSError, ValueError, TypeError):
        return None
