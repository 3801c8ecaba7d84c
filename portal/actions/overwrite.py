"""What SQLite leaves legible of deleted rows, and how it is made to leave nothing.

PostgreSQL reuses the room of deleted rows by itself, in time (autovacuum).
"""

from __future__ import annotations

from django.db import connection


def overwrite_what_is_deleted() -> None:
    """From now on in this connection: SQLite leaves deleted rows in its file unless asked."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA secure_delete = ON")


def empty_the_journal() -> None:
    """The journal of SQLite holds pages as they were until it is folded into the database."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
