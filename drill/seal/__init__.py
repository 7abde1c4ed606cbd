"""The seal: what makes a folder one proof that nobody can change unseen, and the check of one.

    folder of parts, digests of the pictures → list → root of the list → list of all parts → signature
    sealed folder → what is wrong with it, part by part

Flows in: a folder with the parts already written, sha256 digests, the key. Flows out: the seal's own files beside them;
of a sealed folder, faults as values. Must not know: what the parts say, the ledger, terminals.
Only SHA-256 is used: the fast digests of drills find accidents, and do not resist somebody who means to deceive.
Facts: RFC 9162, section 2.1.1 (the root); RFC 8032 (Ed25519); RFC 8410 (how such keys are written); GNU coreutils
manual, "md5sum invocation" (the lists).
"""

from drill.seal.check import Checked, check, read_fingerprint
from drill.seal.keys import KEY_FILE, fingerprint, grouped, keys_folder, signing_key
from drill.seal.opening import Refused, content_of
from drill.seal.pictures import Compared, Fault
from drill.seal.sealing import MOST_PART_BYTES, OWN_PARTS, Sealed, root_of, seal
from drill.seal.tree import merkle_root

__all__ = [
    "KEY_FILE",
    "MOST_PART_BYTES",
    "OWN_PARTS",
    "Checked",
    "Compared",
    "Fault",
    "Refused",
    "Sealed",
    "check",
    "content_of",
    "fingerprint",
    "grouped",
    "keys_folder",
    "merkle_root",
    "read_fingerprint",
    "root_of",
    "seal",
    "signing_key",
]
