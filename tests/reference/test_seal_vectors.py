"""The seal's mathematics against published vectors: RFC 8032 (Ed25519), RFC 9162 (Merkle trees)."""

import hashlib
from collections.abc import Sequence

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from drill.seal import merkle_root

# RFC 8032, section 7.1: TEST 1, 2, 3 and SHA(abc), as secret key, public key, message, signature.
ED25519 = (
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        b"",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        b"\x72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        b"\xaf\x82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
        "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
    (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        hashlib.sha512(b"abc").digest(),
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b589"
        "09351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
    ),
)

# The reference implementation of RFC 6962 and RFC 9162 (transparency-dev/merkle, testonly/constants.go): the leaves,
# and the roots of the first one, two, … eight of them.
LEAVES = [bytes.fromhex(text) for text in (
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f",
)]  # fmt: skip
ROOTS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_the_library_signs_as_rfc_8032_says(secret: str, public: str, message: bytes, signature: str) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw).hex() == public
    assert key.sign(message).hex() == signature
    key.public_key().verify(bytes.fromhex(signature), message)


@pytest.mark.parametrize("count", range(1, 9))
def test_roots_of_the_reference_implementation(count: int) -> None:
    assert merkle_root(LEAVES[:count]).hex() == ROOTS[count - 1]


def test_the_root_of_nothing_is_the_digest_of_nothing() -> None:
    # RFC 9162, section 2.1.1: MTH({}) = HASH(); FIPS 180-4 gives SHA-256 of no bytes.
    assert merkle_root([]).hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def _as_written(entries: Sequence[bytes]) -> bytes:
    """RFC 9162, section 2.1.1, word for word: split at the largest power of two below the number of entries."""
    if len(entries) == 1:
        return hashlib.sha256(b"\x00" + entries[0]).digest()
    k = 1
    while k * 2 < len(entries):
        k *= 2
    return hashlib.sha256(b"\x01" + _as_written(entries[:k]) + _as_written(entries[k:])).digest()


def test_roots_are_the_recursive_definitions() -> None:
    entries = [f"{n:03}  reed-{n}.jpg".encode() for n in range(140)]
    for count in range(1, len(entries) + 1):
        assert merkle_root(entries[:count]) == _as_written(entries[:count])
