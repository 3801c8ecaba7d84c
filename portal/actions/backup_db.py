"""The database of a backup: a snapshot while the site runs, and putting one back.

SQLite by its backup API, PostgreSQL by pg_dump and psql. What the snapshot holds is asked of the
snapshot itself, so that the files copied afterwards are those that its rows name.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, connections, transaction

Ask = Callable[[str], list[tuple[Any, ...]]]
DATABASE = {"sqlite": "database.sqlite3", "postgresql": "database.dump"}


class DatabaseRefused(Exception):
    """It cannot be dumped or put back; the sentence says why."""


@contextlib.contextmanager
def snapshot(to: Path) -> Iterator[Ask]:
    """Write the database to `to`; the context asks what is in that snapshot."""
    with (_sqlite if connection.vendor == "sqlite" else _postgres)(to) as ask:
        yield ask


def put_back(dump: Path) -> None:
    """Replace all that is in the database. It is there as a whole or as before."""
    connections.close_all()
    (_put_back_sqlite if connection.vendor == "sqlite" else _put_back_postgres)(dump)
    connections.close_all()


def sweep_out() -> None:
    """SQLite leaves what was deleted legible in its file until that is written anew."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("VACUUM")
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


# --- SQLite -----------------------------------------------------------------------------------


def _live() -> sqlite3.Connection:
    Path(connection.settings_dict["NAME"]).parent.mkdir(parents=True, exist_ok=True)
    return sqlite3.connect(connection.settings_dict["NAME"], timeout=30)


@contextlib.contextmanager
def _sqlite(to: Path) -> Iterator[Ask]:
    with contextlib.closing(sqlite3.connect(to)) as copy:
        with contextlib.closing(_live()) as live:
            live.backup(copy)
        # Without a write-ahead log, so that reading it later leaves no files beside it.
        copy.execute("PRAGMA journal_mode=DELETE")
        yield lambda sql: copy.execute(sql).fetchall()


def _put_back_sqlite(dump: Path) -> None:
    """Through SQLite's own locks: processes that have the file open see the new content."""
    source = sqlite3.connect(f"file:{dump}?mode=ro&immutable=1", uri=True)
    with contextlib.closing(source), contextlib.closing(_live()) as live:
        source.backup(live)


# --- PostgreSQL -------------------------------------------------------------------------------


def _program(name: str) -> str:
    """Its path; Debian keeps the newest of several versions out of PATH."""
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=_version)
    path = str(found[-1]) if found else shutil.which(name)
    if path is None:
        raise DatabaseRefused(
            f"{name} is not installed. Install postgresql-client, then try again."
        )
    return path


def _version(program: Path) -> float:
    version = program.parent.parent.name
    return float(version) if version.replace(".", "", 1).isdigit() else 0.0


def _run(words: list[str]) -> None:
    """With the database's name and password in the environment, where no list of processes
    shows them."""
    done = subprocess.run(words, env=os.environ | _where(), capture_output=True, text=True)
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["it did not say why"])[-1]
        raise DatabaseRefused(f"{Path(words[0]).name} failed: {last}")


def _where() -> dict[str, str]:
    told = connection.settings_dict
    names = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGPASSWORD": "PASSWORD"}
    where = {name: str(told[key]) for name, key in names.items() if told.get(key)}
    options = {
        name: told["OPTIONS"][name]
        for name in ("sslmode", "sslrootcert", "service")
        if name in told.get("OPTIONS", {})
    }
    return (
        where
        | {"PGDATABASE": str(told["NAME"])}
        | {f"PG{name.upper()}": str(value) for name, value in options.items()}
    )


@contextlib.contextmanager
def _postgres(to: Path) -> Iterator[Ask]:
    """pg_dump reads the very snapshot in which this transaction goes on asking."""
    with transaction.atomic(durable=True), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        cursor.execute("SELECT pg_export_snapshot()")
        (name,) = cursor.fetchone()
        words = ["--format=custom", "--no-owner", "--no-privileges", f"--snapshot={name}"]
        _run([_program("pg_dump"), *words, "--file", str(to)])

        def ask(sql: str) -> list[tuple[Any, ...]]:
            cursor.execute(sql)
            return cursor.fetchall()

        yield ask


def _put_back_postgres(dump: Path) -> None:
    """One transaction: what is there goes and the backup comes, or neither."""
    Path(settings.WORK_DIR).mkdir(parents=True, exist_ok=True)
    folder = Path(settings.WORK_DIR) / f"restore-{os.getpid()}"
    folder.mkdir(mode=0o700)
    try:
        _run(
            [
                _program("pg_restore"),
                "--no-owner",
                "--no-privileges",
                "--file",
                str(folder / "come.sql"),
                str(dump),
            ]
        )
        names = [connection.ops.quote_name(name) for name in connection.introspection.table_names()]
        (folder / "go.sql").write_text(
            "".join(f"DROP TABLE IF EXISTS {name} CASCADE;\n" for name in names)
        )
        connection.close()
        _run(
            [
                _program("psql"),
                "--no-psqlrc",
                "--quiet",
                "--single-transaction",
                "--set",
                "ON_ERROR_STOP=1",
                "--file",
                str(folder / "go.sql"),
                "--file",
                str(folder / "come.sql"),
            ]
        )
    finally:
        shutil.rmtree(folder, ignore_errors=True)
