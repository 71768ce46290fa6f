"""The SQLite database: WAL, synced on every commit, foreign keys on, one writer at a time."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import threading
from collections.abc import Iterator
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta
from pathlib import Path
from queue import Empty, LifoQueue

from server.errors import NoRoom, StoreTrouble
from server.store.migrations import MIGRATIONS

# The mark of the change under way, "" for one without: what is written then is known by it (``done``).
CHANGE: ContextVar[str] = ContextVar("change", default="")
_BUSY_MS = 10_000  # `restore` may write from another process while a server runs


def now_text(ago: timedelta = timedelta()) -> str:
    """This moment, or ``ago`` before it, as ISO 8601 in UTC; text order is time order."""
    return (datetime.now(UTC) - ago).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def trouble(error: sqlite3.Error, path: Path) -> StoreTrouble:
    """What a person is told when SQLite gives up, by its primary result code (SQLite's "Result and Error Codes")."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return NoRoom(f"{path}: the disk is full.", "Free some space; what was saved before is kept.")
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
        return StoreTrouble(f"{path}: can't be written to.", "Mend the folder's rights; what was saved before is kept.")
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return StoreTrouble(
            f"{path}: the database is broken ({error}).",
            "Move it away and bring back a backup with `lampfold restore`; the art beside it is left as it is.")
    return StoreTrouble(f"{path}: the database can't be used ({error}).", "Try again; what was saved before is kept.")


class Database:
    """Connections to one database file. ``write`` is one transaction under one lock; ``read`` is a snapshot."""

    def __init__(self, path: Path) -> None:
        """Open ``path``, made and brought to the newest form where needed. Raises StoreTrouble."""
        self.path = path
        self._lock = threading.RLock()
        self._idle: LifoQueue[sqlite3.Connection] = LifoQueue()
        self._all: list[sqlite3.Connection] = []
        self._closed = False
        try:
            self._writer = self._connect()
            self._migrate()
        except sqlite3.Error as error:
            self.close()
            raise trouble(error, path) from error
        if os.name != "nt":
            path.chmod(0o600)

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self.path, isolation_level=None, check_same_thread=False, timeout=_BUSY_MS / 1000)
        self._all.append(connection)
        connection.row_factory = sqlite3.Row
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", f"busy_timeout = {_BUSY_MS}",
                       "trusted_schema = OFF"):
            connection.execute(f"PRAGMA {pragma}").fetchall()
        return connection

    def _migrate(self) -> None:
        version = int(self._writer.execute("PRAGMA user_version").fetchone()[0])
        if version > len(MIGRATIONS):
            raise StoreTrouble(f"{self.path}: was written by a newer Lampfold (form {version}).",
                               "Install the newer version, or choose another folder with --data.")
        if 0 < version < len(MIGRATIONS):
            self.copy_to(self.path.with_name(f"{self.path.name}.before-{version + 1}"))
        for number, script in enumerate(MIGRATIONS[version:], version + 1):
            # executescript commits whatever is open before it starts, so the transaction is part of the script.
            self._writer.executescript(f"BEGIN IMMEDIATE; {script}; PRAGMA user_version = {number}; COMMIT;")

    @contextlib.contextmanager
    def write(self) -> Iterator[sqlite3.Connection]:
        """One transaction: kept whole, and on disk when the block has ended, or not at all. Raises StoreTrouble."""
        with self._lock:
            try:
                self._writer.execute("BEGIN IMMEDIATE")
                try:
                    yield self._writer
                    if mark := CHANGE.get():
                        self._writer.execute("INSERT OR IGNORE INTO done VALUES (?, ?, NULL)", (mark, now_text()))
                except BaseException:
                    with contextlib.suppress(sqlite3.Error):
                        self._writer.execute("ROLLBACK")
                    raise
                self._commit()
            except sqlite3.Error as error:
                raise trouble(error, self.path) from error

    def _commit(self) -> None:
        try:
            self._writer.execute("COMMIT")
        except sqlite3.Error:
            # A COMMIT that fails for want of space leaves the transaction open.
            with contextlib.suppress(sqlite3.Error):
                self._writer.execute("ROLLBACK")
            raise

    @contextlib.contextmanager
    def read(self) -> Iterator[sqlite3.Connection]:
        """One consistent snapshot; readers never wait for the writer. Raises StoreTrouble."""
        try:
            connection = self._idle.get_nowait()
        except Empty:
            with self._lock:
                if self._closed:
                    raise StoreTrouble(f"{self.path}: is closed.", "Start Lampfold again.") from None
                connection = self._connect()
        try:
            connection.execute("BEGIN")
            try:
                yield connection
            finally:
                connection.execute("ROLLBACK")
        except sqlite3.Error as error:
            raise trouble(error, self.path) from error
        finally:
            self._idle.put(connection)

    def copy_to(self, path: Path) -> None:
        """A whole copy of the database, consistent although others write meanwhile. Replaces ``path``."""
        unfinished = path.with_name(path.name + ".part")
        unfinished.unlink(missing_ok=True)
        source = sqlite3.connect(self.path, timeout=_BUSY_MS / 1000)
        target = sqlite3.connect(unfinished)
        try:
            source.backup(target)
        finally:
            target.close()
            source.close()
        unfinished.replace(path)

    def close(self) -> None:
        with self._lock:
            self._closed = True
            for connection in self._all:
                connection.close()
            self._all.clear()
