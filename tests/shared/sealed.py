"""A sealed folder, with the pictures that its list names beside it.

Flows in: a folder, names of pictures. Flows out: the sealed folder, the pictures' folder, what was sealed. The key
is the same one unless another is given: that of RFC 8032, section 7.1, TEST 1.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from drill.seal import Sealed, seal

KEY = Ed25519PrivateKey.from_private_bytes(
    bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
)
PARTS = {"letter.html": b"<p>All 3 came back.</p>\n", "letter.pdf": b"%PDF-1.7\n\x00\xff", "record.json": b"{}\n"}
NAMES = ("deliver/reed-01.jpg", "deliver/reed-02.jpg", "deliver/second day/reed-03.jpg")


@dataclass(frozen=True, slots=True)
class Laid:
    """A sealed folder and the folder with its pictures."""

    proof: Path
    pictures: Path
    sealed: Sealed


def lay(folder: Path, *, names: Sequence[str] = NAMES, key: Ed25519PrivateKey = KEY) -> Laid:
    """Write pictures and a sealed folder that lists them."""
    proof, pictures = folder / "proof", folder / "pictures"
    proof.mkdir()
    digests = []
    for number, name in enumerate(names):
        content = f"picture {number}".encode()
        (pictures / name).parent.mkdir(parents=True, exist_ok=True)
        (pictures / name).write_bytes(content)
        digests.append((name, sha256(content).hexdigest()))
    for part, content in PARTS.items():
        (proof / part).write_bytes(content)
    return Laid(proof, pictures, seal(proof, digests=digests, key=key))
