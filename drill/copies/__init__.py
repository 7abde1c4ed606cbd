"""Copies: what is in a folder, an archive or behind a link, as read-only stores and views.

Flows in: paths, URLs, passwords. Flows out: Stores and Views (see `drill.model`), CannotReach, CannotRead, Problems.
Must not know: manifests, faults, what is promised. No verb here writes, save `fetch_link` into its caller's scratch.
"""

from drill.copies.address import link_expiry, link_url, plain_url, shown_url
from drill.copies.archive import ARCHIVES, archive_format, archive_view, list_archive, lists_all
from drill.copies.folder import (
    FolderOpener,
    FolderStore,
    Unlisted,
    file_store,
    folder_store,
    plain_view,
    reach,
    without_detours,
)
from drill.copies.link import fetch_link, link_store, open_link, probe_link
from drill.copies.raw import BLOCK, BrokenOff, FileBytes, Unreadable, forget, pump
from drill.copies.session import LinkPolicy, LinkSession

__all__ = [
    "ARCHIVES",
    "BLOCK",
    "BrokenOff",
    "FileBytes",
    "FolderOpener",
    "FolderStore",
    "LinkPolicy",
    "LinkSession",
    "Unlisted",
    "Unreadable",
    "archive_format",
    "archive_view",
    "fetch_link",
    "file_store",
    "folder_store",
    "forget",
    "link_expiry",
    "link_store",
    "link_url",
    "list_archive",
    "lists_all",
    "open_link",
    "plain_url",
    "plain_view",
    "probe_link",
    "pump",
    "reach",
    "shown_url",
    "without_detours",
]
