"""7z archives: list the members, deliver some of them, go on after damage where the format allows it.

Flows in: a raw stream of the archive's bytes, a password, what is wanted. Flows out: Entries; begin, data and end
calls. Must not know: where the stream comes from.
"""

from drill.copies.sevenzip.deliver import deliver_members, list_members

__all__ = ["deliver_members", "list_members"]
