"""The other process, in which pictures are decoded: a decoder that crashes ends this one, and not the run.

Flows in, on standard input, for each file: its kind in KIND_BYTES, padded with blanks, its size in SIZE_BYTES,
big-endian, and its bytes. Flows out, on standard output: one line of JSON, outcome and detail. It ends with its input.
Must not know: whose files these are; it reads none and writes none.
"""

import json
import os
import sys
from contextlib import suppress
from importlib import import_module

from drill.soundness import camera, pictures
from drill.soundness.apart import KIND_BYTES, SIZE_BYTES
from drill.soundness.kinds import Kind
from drill.soundness.outcome import Soundness, cannot_check
from drill.soundness.source import Opener


def main() -> None:
    """Answer until the input ends."""
    _crash_quietly()
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what a decoder prints is no answer
    questions = sys.stdin.buffer
    while kind := questions.read(KIND_BYTES).decode().strip():
        content = questions.read(int.from_bytes(questions.read(SIZE_BYTES), "big"))
        found = _judge(Kind(kind), content)
        answers.write(json.dumps([found.outcome.value, " ".join(found.detail.split())]).encode() + b"\n")
        answers.flush()


def _crash_quietly() -> None:
    """No core file, and on Windows no window that waits for a click."""
    with suppress(ImportError, AttributeError, OSError, ValueError):
        resource = import_module("resource")
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with suppress(ImportError, AttributeError, OSError):
        import_module("ctypes").windll.kernel32.SetErrorMode(0x0001 | 0x0002)


def _judge(kind: Kind, content: bytes) -> Soundness:
    try:
        match kind:
            case Kind.RAW:
                return camera.look_at_raw(content)
            case Kind.HEIF:
                return camera.look_at_heif(content)
        return pictures.look(Opener(content), kind)
    except MemoryError:
        return cannot_check("asks for more memory than there is")
    except ImportError as error:
        return cannot_check(f"its decoder cannot be started ({error})")
    except Exception as error:  # a judge that stumbles has judged nothing
        return cannot_check(f"could not be judged ({type(error).__name__})")


if __name__ == "__main__":
    main()
