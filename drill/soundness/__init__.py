"""Opens, but unproven: what a full decoding says of a file without a digest.

Flows in: a name and bytes. Flows out: Soundness: opens, damaged, cannot_check, unreadable. Must not know: promises,
ledgers, what the answer is for. Nothing is written but a database's copy in scratch, and that is removed.

What it is worth is little, so "opens" stands below "verified" and is never a proof. A cut end is always noticed, other
damage by the share below (tests/bench/bench_soundness.py --each 12: 15 real photographs and what was made of them,
seeded; libjpeg-turbo by simplejpeg 1.9, Pillow 13, libheif 1.23, LibRaw 0.22):

                                   one changed bit   one sector of 4096 bytes zeroed
    JPEG, strict (extra "jpeg")         28 %              95 %
    JPEG, by Pillow alone                1 %               1 %  (progressive: 2 %, 6 %)
    PNG, 7z, tar.gz                    100 %             100 %  (they have check values; zip nearly so)
    TIFF, not packed; plain DNG          0 %               0 %
    TIFF, LZW                           14 %             100 %
    DNG, lossless JPEG of 14 bits        9 %              22 %
    WebP                                25 %              14 %
    HEIF                                 1 %               1 %
"""

from drill.soundness.check import LIMIT_S, Check, check, checking
from drill.soundness.outcome import Outcome, Soundness
from drill.soundness.source import Source

__all__ = ["LIMIT_S", "Check", "Outcome", "Soundness", "Source", "check", "checking"]
