"""Opens, but unproven: what a full decoding says of a file without a digest.

Flows in: a name and bytes. Flows out: Soundness: opens, damaged, cannot_check, unreadable. Must not know: promises,
ledgers, what the answer is for. Nothing is written but a database's copy in scratch, and that is removed.

What it is worth is little, so "opens" stands below "verified" and is never a proof. TO BE MEASURED
"""

from drill.soundness.check import LIMIT_S, Check, check, checking
from drill.soundness.outcome import Outcome, Soundness
from drill.soundness.source import Source

__all__ = ["LIMIT_S", "Check", "Outcome", "Soundness", "Source", "check", "checking"]
