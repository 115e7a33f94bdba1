"""Why a backup is not made or not restored."""

from __future__ import annotations


class BackupRefused(Exception):
    """The message says why, and what to do; nothing was changed."""
