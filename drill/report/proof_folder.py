"""The folder of a proof: letter, record and seal, made aside and put in its place as a whole.

Flows in: the record of a proof, a key, where. Flows out: a folder, or nothing. Must not know: copies, the ledger. The
caller has made sure of where it may write. Errors: Unfinished.
"""

import os
import shutil
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from drill.errors import Mistake, Mistakes, Unfinished
from drill.proofrecord import Proof, dump
from drill.report.files import swap_in, swap_in_bytes
from drill.report.letter_page import letter_page
from drill.report.letter_pdf import MOST_ROWS, letter_pdf
from drill.report.letter_short import Titles
from drill.report.letter_words import Letter, Seals, letter_of
from drill.seal import Sealed, fingerprint, grouped, seal
from drill.seal.sealing import root_of

PDF, PAGE, RECORD = "letter.pdf", "letter.html", "record.json"


def write_proof(out: Path, proof: Proof, key: Ed25519PrivateKey, *, titles: Titles) -> Sealed:
    """Write the folder of a proof, which has checksums; `out` is not there yet, or an empty folder.

    Errors: Mistakes where a name cannot be in a list; Unfinished, and then `out` is as it was.
    """
    digests = [(one.name, one.sha256) for one in proof.checksums]
    try:
        seals = Seals(grouped(fingerprint(key)), root_of(digests))
    except ValueError as error:
        raise Mistakes([Mistake("deliverables", "", f"cannot be listed: {error}", "rename that file")]) from None

    def write(most_rows: int) -> Letter:
        return letter_of(proof, seals, titles=titles, most_rows=most_rows)

    aside = out.with_name(f".drill-{os.getpid()}.part")
    try:
        aside.mkdir()
        try:
            swap_in_bytes(aside / PDF, letter_pdf(write, issued=proof.issued))
            swap_in(aside / PAGE, letter_page(write(MOST_ROWS)))
            swap_in(aside / RECORD, dump(proof))
            sealed = seal(aside, digests=digests, key=key)
            if out.is_dir():  # an empty one; Windows renames over none
                out.rmdir()
            aside.rename(out)
        finally:
            shutil.rmtree(aside, ignore_errors=True)
    except OSError as error:
        raise Unfinished(f"{out} cannot be written: {error.strerror or error}") from error
    return sealed
