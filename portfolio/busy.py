"""When the database is too busy to answer: nothing is wrong, and the same request may be sent again."""

from __future__ import annotations

import sqlite3

from django.db import OperationalError

#: Seconds after which to ask again; about as long as the saving of a large load keeps others waiting.
RETRY_AFTER = 5
MESSAGE = "The records are busy just now, and nothing of this request was saved. Send it again in a moment."

#: SQLite's primary result codes (sqlite.org/rescode.html): another connection, or another statement of this
#: one, holds the lock.
_SQLITE = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
#: PostgreSQL's codes (its manual, appendix A): serialization failure, deadlock, too many connections, lock
#: not available, cancelled by a timeout.
_POSTGRESQL = frozenset({"40001", "40P01", "53300", "55P03", "57014"})


def is_busy(error: BaseException | None) -> bool:
    """Whether the error says only that others were at the same records for too long."""
    if not isinstance(error, OperationalError):
        return False
    cause = error.__cause__
    # The low byte of an extended result code is the primary one.
    code = getattr(cause, "sqlite_errorcode", None)
    return (code is not None and code & 0xFF in _SQLITE) or getattr(cause, "sqlstate", None) in _POSTGRESQL
