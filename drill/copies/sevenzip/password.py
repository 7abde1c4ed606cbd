"""Whether a password is the one that a 7z archive was encrypted with: 7z keeps no check of the password itself.

Flows in: the archive's bytes, its Layout, a password. Flows out: Unreadable, or nothing. Must not know: receivers.
"""

from py7zr.exceptions import UnsupportedCompressionMethodError

from drill.copies.raw import BrokenOff, Steady, Unreadable
from drill.copies.sevenzip.layout import AES, COPY, Block, Layout
from drill.copies.sevenzip.unpack import Differs, Run
from drill.errors import DrillError
from drill.model import Trouble

_PROBED_BLOCKS, _PROBED_BYTES = 3, 64 * 1024 * 1024


def refuse_wrong_password(source: Steady, layout: Layout, password: str | None) -> None:
    """Raise Unreadable when the members cannot be decrypted."""
    locked = [block for block in layout.blocks if AES in block.methods and block.members and block.streams == 1]
    if not locked:
        return
    if password is None:
        if len(locked) == len([block for block in layout.blocks if block.members]):
            raise Unreadable(Trouble.REFUSED, "it is encrypted and no password is given")
        return
    smallest = sorted(locked, key=lambda block: block.members[0].size)[:_PROBED_BLOCKS]
    if all(_password_fits(source, block) is False for block in smallest):
        raise Unreadable(Trouble.REFUSED, "the password is wrong, or the archive is damaged")


def _password_fits(source: Steady, block: Block) -> bool | None:
    """Decode the beginning of a block; None when that tells nothing.

    Where the data are also compressed, bytes from a wrong key make no sense to the decompressor; where they are only
    stored, the check values alone tell, and one that is right is enough.
    """
    stored = all(method in (AES, COPY) for method in block.methods)
    try:
        run = Run(source, block)
        for member in block.members:
            if not member.size or member.crc is None:
                continue
            if stored and run.given + member.size > _PROBED_BYTES:
                return None
            try:
                for _ in run.bytes_of(member):
                    if run.given > _PROBED_BYTES:
                        return True
            except Differs:
                if stored:
                    continue
            return True
    except (OSError, DrillError, MemoryError, UnsupportedCompressionMethodError) as error:
        return False if isinstance(error, BrokenOff) else None
    except Exception:
        return False
    return False
