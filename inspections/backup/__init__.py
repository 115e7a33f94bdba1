"""Everything in one file: out of a database on one engine, into an empty one on another."""

from inspections.backup.refusals import BackupRefused
from inspections.backup.restoring import restore
from inspections.backup.saving import backup

__all__ = ["BackupRefused", "backup", "restore"]
