"""Radius: from what lies where in an archive to what each of its sectors costs.

Flows in: an Anatomy and the size of a sector. Flows out: stretches of sectors that cost the same, and the record of a
map. Must not know: formats, files, promises. Only runs of sectors are held, never one value a sector.
"""

from drill.radius.advice import unlisted_archive
from drill.radius.measure import measure
from drill.radius.stretches import Stretch, count, stretches

__all__ = ["Stretch", "count", "measure", "stretches", "unlisted_archive"]
