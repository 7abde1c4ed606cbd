"""Stitching: one right file from several damaged versions of it, accepted only where the promised digests agree.

Flows in: versions (bytes in scratch, with their holes, and which copy each is from), the promised digests. Flows out:
which bytes of which version are right, or None. Must not know: copies, formats, faults. Nothing is written here.

`versions` the values and their bytes; `lockstep` where the versions agree and differ; `likely` which combinations are
tried, the likeliest first; `search` the trying within its bounds. Common practice (merging damaged reads of one disc or
tape by majority); no published source for the order.
"""

from drill.stitching.search import MOST_COMBINATIONS, Bounds, stitch
from drill.stitching.versions import Stitched, Version, as_view

__all__ = ["MOST_COMBINATIONS", "Bounds", "Stitched", "Version", "as_view", "stitch"]
