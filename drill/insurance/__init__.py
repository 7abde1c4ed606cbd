"""Insurance: copies of archives' headers, kept beside the ledger, so that a bad sector in them takes nothing away.

Flows in: archives opened in good health, the folder beside the ledger. Flows out: small text files there; the headers
again when an archive needs them. Must not know: promises, scenarios, verdicts. Copies are only read.

`form` is the text and its reader; `keep` when they are kept, and how.
"""

from drill.insurance.keep import KEEPS, Held, headers_folder, insure, is_kept, kept_headers, lost_since, named_by

__all__ = ["KEEPS", "Held", "headers_folder", "insure", "is_kept", "kept_headers", "lost_since", "named_by"]
