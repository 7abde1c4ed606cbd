"""Published digests of known messages, fed whole, byte by byte and in odd pieces."""

import pytest

from drill.digests import Digester

_448_BITS = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"
_LETTERS = b"abcdefghijklmnopqrstuvwxyz"
_MILLION = b"a" * 10**6

# Source: the tests of GNU coreutils (tests/cksum/md5sum.pl, sha1sum.pl, sha256sum.pl, sha512sum.pl). That they are
# those of RFC 1321 (appendix A.5) and FIPS 180-2 is from memory.
_COREUTILS = [
    ("md5", b"", "d41d8cd98f00b204e9800998ecf8427e"),
    ("md5", b"a", "0cc175b9c0f1b6a831c399e269772661"),
    ("md5", b"abc", "900150983cd24fb0d6963f7d28e17f72"),
    ("md5", b"message digest", "f96b697d7cb7938d525a2f31aaf161d0"),
    ("md5", _LETTERS, "c3fcd3d76192e4007dfb496cca67e13b"),
    ("md5", _LETTERS.upper() + _LETTERS + b"0123456789", "d174ab98d277d9f5a5611c2c9f419d9f"),
    ("md5", b"1234567890" * 8, "57edf4a22be3c955ac49da2e2107b67a"),
    ("md5", b"9t", "006999e6df389641adf1fa3a74801d9d"),  # begins with 00
    ("sha1", b"", "da39a3ee5e6b4b0d3255bfef95601890afd80709"),
    ("sha1", b"abc", "a9993e364706816aba3e25717850c26c9cd0d89d"),
    ("sha1", _448_BITS, "84983e441c3bd26ebaae4aa1f95129e5e54670f1"),
    ("sha1", _MILLION, "34aa973cd4c4daa4f61eeb2bdbad27316534016f"),
    ("sha256", b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    ("sha256", b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    ("sha256", _448_BITS, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"),
    ("sha256", _MILLION, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    (
        "sha512",
        b"",
        "cf83e1357eefb8bdf1542850d66d8007d620e4050b5715dc83f4a921d36ce9ce"
        "47d0d13c5d85f2b0ff8318d2877eec2f63b931bd47417a81a538327af927da3e",
    ),
    (
        "sha512",
        b"abc",
        "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
        "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
    ),
    (
        "sha512",
        _MILLION,
        "e718483d0ce769644e2e42c7bc15b4638e1f98b13b2044285632a803afa973eb"
        "de0ff244877ea60a4cb0432ce577c31beb009c5c2c49aa2e4eadb217ad8cc09b",
    ),
]

# Source: the test suite of python-xxhash (tests/test_xxh64.py, test_xxh3_64.py, test_xxh3_128.py), seed 0.
_XXHASH_TEXT = [
    ("xxh64", b"a", f"{15154266338359012955:016x}"),
    ("xxh3", b"a", f"{16629034431890738719:016x}"),
    ("xxh128", b"a", f"{225219434562328483135862406050043285023:032x}"),
]

# Source: seen printed by b2sum of GNU coreutils 9.1 and xxhsum 0.8.1 for the content "abc".
_SEEN = [
    ("blake2b-256", b"abc", "bddd813c634239723171ef3fee98579b94964e3bb1cb3e427262c8c068d52319"),
    ("xxh32", b"abc", "32d153ff"),
    ("xxh64", b"abc", "44bc2cf5ad770999"),
    ("xxh3", b"abc", "78af5f94892f3950"),
    ("xxh128", b"abc", "06b05ab6733a618578af5f94892f3950"),
    (
        "blake2b",
        b"abc",
        "ba80a53f981c4d0d6a2797b69f12f6e94c212f14685ac4b74b12bb6fdbffa2d1"
        "7d87c5392aab792dc252d5de4533cc9518d38aa8dbf1925ab92386edd4009923",
    ),
]


def _sanity_buffer(size: int) -> bytes:
    # Source: xxHash, cli/xsum_sanity_check.c: a generator of 64 bits, its top byte taken.
    state, made = 2654435761, bytearray()
    for _ in range(size):
        made.append(state >> 56)
        state = state * 11400714785074694797 % 2**64
    return bytes(made)


# Source: xxHash, cli/xsum_sanity_check.c, seed 0: length of the buffer, digest in canonical form.
_SANITY = {
    "xxh64": {
        0: "ef46db3751d8e999",
        1: "e934a84adb052768",
        4: "9136a0dca57457ee",
        14: "8282dcc4994e35c8",
        32: "18b216492bb44b70",
        33: "55c8dc3e578f5b59",
        64: "ef558f8acac2b5cd",
        222: "b641ae8cb691c174",
        256: "5e3f5bf94d574981",
        4096: "ab77f4af85f4e70b",
    },
    "xxh3": {
        0: "2d06800538d394c2",
        1: "c44bdff4074eecdb",
        6: "27b56a84cd2d7325",
        12: "a713daf0dfbb77e7",
        24: "a3fe70bf9d3510eb",
        48: "397da259ecba1f11",
        195: "cd94217ee362ec3a",
        403: "cdeb804d65c6dea4",
        512: "617e49599013cb6b",
        2048: "dd59e2c3a5f038e0",
        2240: "6e73a90539cf2948",
        2367: "cb37aeb9e5d361ed",
    },
    "xxh128": {
        0: "99aa06d3014798d86001c324468d497f",
        1: "a6cd5e9392000f6ac44bdff4074eecdb",
        6: "082afe0b8162d12a3e7039bdda43cfc6",
        12: "6e3efd8fc7802b18061a192713f69ad9",
        24: "0ce966e4678d37611e7044d28b1b901d",
        48: "a002ac4e5478227ef942219aed80f67b",
        222: "337e09641b948717f1aebd597cec6b3a",
        403: "1b6de21e332dd73dcdeb804d65c6dea4",
        512: "18d2d110dcc9bca1617e49599013cb6b",
        2048: "f736557fd47073a5dd59e2c3a5f038e0",
        2240: "ccb134fbfa7ce49d6e73a90539cf2948",
        2367: "e89c0f6ff369b427cb37aeb9e5d361ed",
    },
}
_BUFFERS = [(kind, _sanity_buffer(size), expected) for kind, rows in _SANITY.items() for size, expected in rows.items()]


def _digest(kind: str, message: bytes, piece: int) -> str:
    digester = Digester([kind])
    reused = bytearray(piece)  # the caller's buffer is reused between calls, as a file reader's is
    for start in range(0, len(message), piece):
        part = message[start : start + piece]
        reused[: len(part)] = part
        digester.update(memoryview(reused)[: len(part)])
    assert digester.size == len(message)
    return digester.digests()[0].hex


@pytest.mark.parametrize("piece", [1, 7, 61, 4099])
@pytest.mark.parametrize(("kind", "message", "expected"), [*_COREUTILS, *_XXHASH_TEXT, *_SEEN, *_BUFFERS])
def test_published_digests_hold_in_pieces_of_any_size(kind: str, message: bytes, expected: str, piece: int) -> None:
    if len(message) > 10**5 and piece < 61:
        piece = 9973  # a million single bytes show no more and take long
    assert _digest(kind, message, piece) == expected


def test_the_sanity_buffer_begins_as_published() -> None:
    # Source: computed from the generator that xxHash publishes; guards the vectors above.
    assert _sanity_buffer(16).hex() == "0052929bb732a3242d00af950eecb893"
