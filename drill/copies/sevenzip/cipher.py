"""The bytes of an encrypted 7z block, decrypted from any place on.

Flows in: a stream of the archive's bytes, a Block whose first method is AES, a password. Flows out: a stream of what
was encrypted. Must not know: what that is. Facts: 7-Zip's 7zAes.cpp: AES-256 in CBC mode without padding beyond the
last 16 bytes; each 16 bytes decrypt with those before them alone, so that one can begin anywhere.
"""

from io import RawIOBase

from Cryptodome.Cipher import AES as CIPHER
from py7zr.exceptions import PasswordRequired, UnsupportedCompressionMethodError

from drill.copies.sevenzip.layout import AES, Block
from drill.copies.sevenzip.unpack import stretched_key
from drill.streams import Placed

GRAIN = 16
"""Bytes that are encrypted together; a damaged one spoils its grain and the one after it."""


class Decrypted(Placed):
    """What an encrypted block holds before it is unpacked, byte 0 being its first.

    Errors: as the archive's own stream has them, when a read meets one; PasswordRequired;
    UnsupportedCompressionMethodError.
    """

    def __init__(self, raw: RawIOBase, block: Block) -> None:
        super().__init__(block.packed)
        if block.folder.password is None:
            raise PasswordRequired(None, "it is encrypted and no password is given")
        self._raw, self._start = raw, block.start
        self._key, self._first = _key(block.properties(AES), block.folder.password)

    def readinto(self, buffer: object, /) -> int:
        view = self.room(buffer)
        wanted = len(view)
        if not wanted:
            return 0
        first = self.place - self.place % GRAIN
        before = max(0, first - GRAIN)
        locked = self._read(before, -(-(self.place + wanted) // GRAIN) * GRAIN)
        start = self._first if first == 0 else locked[:GRAIN]
        locked = locked[first - before :]
        locked = locked[: len(locked) // GRAIN * GRAIN]
        if not locked:
            return 0
        plain = CIPHER.new(self._key, CIPHER.MODE_CBC, start).decrypt(locked)[self.place - first :][:wanted]
        view[: len(plain)] = plain
        self.place += len(plain)
        return len(plain)

    def _read(self, start: int, end: int) -> bytes:
        self._raw.seek(self._start + start)
        got = bytearray()
        while len(got) < end - start:
            chunk = self._raw.read(end - start - len(got))
            if not chunk:
                break
            got += chunk
        return bytes(got)


def _key(properties: bytes, password: str) -> tuple[bytes, bytes]:
    """Return the key and the 16 bytes that stand before the first. Source: 7-Zip, 7zAes.cpp (SetDecoderProperties2)."""
    if len(properties) < 2 or not properties[0] & 0xC0:
        raise UnsupportedCompressionMethodError(None, "AES properties")
    salt_size = (properties[0] >> 7) + (properties[1] >> 4)
    first_size = (properties[0] >> 6 & 1) + (properties[1] & 15)
    salt, first = properties[2 : 2 + salt_size], properties[2 + salt_size :][:first_size]
    rounds = properties[0] & 0x3F
    if rounds > 24:
        raise UnsupportedCompressionMethodError(None, "AES properties")
    key = stretched_key(password.encode("utf-16LE"), rounds, salt, "sha256")
    return key, first.ljust(GRAIN, b"\0")
