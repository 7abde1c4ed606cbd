"""Copies: what is in a folder, an archive or behind a link, as read-only stores and views.

Flows in: paths, URLs, passwords. Flows out: Stores and Views (see `drill.model`), CannotReach, CannotRead, Problems.
Must not know: manifests, faults, what is promised. No verb here writes, save `fetch_link` into its caller's scratch.
"""

from drill.copies.archive import ARCHIVES, archive_format, archive_view
from drill.copies.folder import file_store, folder_store, plain_view, reach
from drill.copies.raw import BLOCK, BrokenOff, FileBytes, Unreadable, pump

__all__ = [
    "ARCHIVES",
    "BLOCK",
    "BrokenOff",
    "FileBytes",
    "Unreadable",
    "archive_format",
    "archive_view",
    "file_store",
    "folder_store",
    "plain_view",
    "pump",
    "reach",
]
