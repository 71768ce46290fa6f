"""Backups: one ZIP with a consistent copy of the database and every blob that it refers to.

Nothing in it is compressed: card art is already. Sessions and links stay out, so a backup lets no one in; so
do releases, which can be made again. Restoring adds to what is there and overwrites nothing; both work while a server
is running on the same data folder.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import sqlite3
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server import __version__
from server.errors import BadValue, StoreTrouble
from server.store import Store
from server.store.blobs import Incoming, disk_trouble
from server.store.data_folder import sync_folder
from server.store.database import Database, now_text
from server.store.deck_files import copy_files, files_at
from server.store.releases import copy_extras
from server.store.versions import copy_versions

FORMAT = "lampfold-backup/1"
_CARD, _DATABASE = "backup.json", "lampfold.db"
_BLOB = re.compile(r"blobs/([0-9a-f]{64})")
_PIECE = 1024 * 1024
_TRIES = 3


@dataclass(frozen=True, slots=True)
class Moved:
    """What a backup or a restore took along."""

    decks: int
    printers: int
    blobs: int


def backup(store: Store, out: Path) -> Moved:
    """Write ``out``, whole or not at all. Raises StoreTrouble where it can't be written."""
    unfinished = out.with_name(f".{out.name}.{secrets.token_hex(4)}.part")
    try:
        with tempfile.TemporaryDirectory(dir=store.folder.incoming) as room:
            moved = _write_archive(store, Path(room) / _DATABASE, unfinished)
        with unfinished.open("rb+") as handle:
            os.fsync(handle.fileno())
        unfinished.replace(out)
        sync_folder(out.parent)
    except OSError as error:
        raise disk_trouble(error, str(out)) from error
    finally:
        unfinished.unlink(missing_ok=True)
    return moved


def _write_archive(store: Store, copy: Path, out: Path) -> Moved:
    for left in reversed(range(_TRIES)):
        store.database.copy_to(copy)
        keys, moved = _prepare(copy)
        if left == 0 or all(store.blobs.holds(key) for key in keys):  # a cleaning in between: take a newer copy
            break
    with zipfile.ZipFile(out, "x", zipfile.ZIP_STORED, allowZip64=True) as archive:
        card = {"format": FORMAT, "version": __version__, "made": now_text(), "decks": moved.decks}
        archive.writestr(_CARD, json.dumps(card))
        archive.write(copy, _DATABASE)
        for key in keys:
            archive.write(store.blobs.path(key), f"blobs/{key}")
    return moved


def _prepare(copy: Path) -> tuple[list[str], Moved]:
    """Take secrets and what goes with sessions out of a copied database; (every key that it refers to, its counts)."""
    connection = sqlite3.connect(copy, isolation_level=None)
    try:
        for statement in ("PRAGMA journal_mode = DELETE", "DELETE FROM sessions", "DELETE FROM links",
                          "DELETE FROM releases", "DELETE FROM release_decks", "DELETE FROM done",
                          "DELETE FROM printers WHERE owner != ''",
                          "DELETE FROM printer_revisions WHERE printer_id NOT IN (SELECT id FROM printers)", "VACUUM"):
            connection.execute(statement).fetchall()
        keys = [row[0] for row in connection.execute("SELECT key FROM blobs ORDER BY key")]
        decks = connection.execute("SELECT count(*) FROM decks").fetchone()[0]
        printers = connection.execute("SELECT count(*) FROM printers").fetchone()[0]
    finally:
        connection.close()
    return keys, Moved(decks, printers, len(keys))


def restore(store: Store, source: Path) -> Moved:
    """Add everything of a backup that isn't here. Raises BadValue for what is no backup, StoreTrouble for the disk.

    A deck or printer that is here with another content is added beside it; one that is here just so is left alone.
    Every blob's bytes are checked against its name.
    """
    try:
        with zipfile.ZipFile(source) as archive, tempfile.TemporaryDirectory(dir=store.folder.incoming) as room:
            database = _open_copy(archive, source, Path(room) / _DATABASE)
            try:
                blobs = _restore_blobs(store, archive, database, source)
                return Moved(*_restore_rows(store, database), blobs)
            finally:
                database.close()
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, EOFError) as error:
        raise _no_backup(source, str(error)) from error
    except StoreTrouble:
        raise
    except OSError as error:
        raise disk_trouble(error, str(source)) from error


def _no_backup(source: Path, why: str) -> BadValue:
    return BadValue(f"{source}: is no backup of Lampfold ({why}).", "Give the ZIP that `lampfold backup` wrote.")


def _open_copy(archive: zipfile.ZipFile, source: Path, copy: Path) -> Database:
    names = archive.namelist()
    if _CARD not in names or _DATABASE not in names:
        raise _no_backup(source, "its database is missing")
    try:
        card = json.loads(archive.read(_CARD))
    except ValueError:
        card = None
    if not isinstance(card, dict) or card.get("format") != FORMAT:
        raise _no_backup(source, "another format")
    with archive.open(_DATABASE) as inside, copy.open("xb") as outside:
        while piece := inside.read(_PIECE):
            outside.write(piece)
    try:
        database = Database(copy)
    except StoreTrouble as error:
        raise _no_backup(source, error.message.removeprefix(f"{copy}: ")) from error
    with database.read() as connection:
        sound = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        whole = not connection.execute("PRAGMA foreign_key_check").fetchall()
    if not (sound and whole):
        database.close()
        raise _no_backup(source, "its database is damaged")
    return database


def _restore_blobs(store: Store, archive: zipfile.ZipFile, database: Database, source: Path) -> int:
    """Blobs first, so that the rows that follow refer only to what is on the disk."""
    names, count = set(archive.namelist()), 0
    with database.read() as connection:
        wanted = [row["key"] for row in connection.execute("SELECT key FROM blobs")]
    for key in wanted:
        if not _BLOB.fullmatch(f"blobs/{key}") or f"blobs/{key}" not in names:
            raise _no_backup(source, f"art {str(key)[:12]} is missing")
        with store.blobs.incoming(key) as incoming:
            _copy_blob(archive, key, incoming)
            if incoming.key != key:
                raise _no_backup(source, f"art {key[:12]} is damaged")
            count += not store.blobs.holds(key)
            incoming.keep()
    return count


def _copy_blob(archive: zipfile.ZipFile, key: str, incoming: Incoming) -> None:
    with archive.open(f"blobs/{key}") as inside:
        while piece := inside.read(_PIECE):
            incoming.write(piece)


def _restore_rows(store: Store, database: Database) -> tuple[int, int]:
    """(decks, printers) that were added."""
    with database.read() as old:
        decks = sum(_restore_deck(store, old, row) for row in old.execute("SELECT * FROM decks").fetchall())
        printers = sum(_restore_printer(store, old, row) for row in old.execute("SELECT * FROM printers").fetchall())
    return decks, printers


def _restore_deck(store: Store, old: sqlite3.Connection, deck: sqlite3.Row) -> bool:
    revisions = old.execute("SELECT * FROM revisions WHERE deck_id = ? ORDER BY number", (deck["id"],)).fetchall()
    keys = [row["key"] for row in old.execute("SELECT key FROM deck_blobs WHERE deck_id = ?", (deck["id"],))]
    blobs = [tuple(row) for key in keys for row in old.execute("SELECT * FROM blobs WHERE key = ?", (key,))]
    arts = [tuple(row) for key in keys for row in old.execute("SELECT * FROM art WHERE key = ?", (key,))]
    with store.database.write() as new:
        here = new.execute("SELECT version FROM decks WHERE id = ?", (deck["id"],)).fetchone()
        if here is not None and _same(new, old, deck["id"]):
            _put_blobs(new, deck["id"], keys, blobs, arts)
            copy_extras(old, new, deck["id"], deck["id"])
            return copy_versions(old, new, deck["id"], deck["id"]) > 0
        deck_id = deck["id"] if here is None else secrets.token_hex(8)
        new.execute("INSERT INTO decks VALUES (?, ?, ?, ?, ?, ?)", (deck_id, *tuple(deck)[1:]))
        new.executemany("INSERT INTO revisions VALUES (?, ?, ?, ?, ?, ?)",
                        [(deck_id, *tuple(row)[1:]) for row in revisions])
        copy_files(old, new, deck["id"], deck_id)
        _put_blobs(new, deck_id, keys, blobs, arts)
        copy_versions(old, new, deck["id"], deck_id)
        copy_extras(old, new, deck["id"], deck_id)
    return True


def _put_blobs(new: sqlite3.Connection, deck_id: str, keys: list[str], blobs: list[tuple[Any, ...]],
               arts: list[tuple[Any, ...]]) -> None:
    new.executemany("INSERT OR IGNORE INTO blobs VALUES (?, ?, ?)", blobs)
    new.executemany("INSERT OR IGNORE INTO art VALUES (?, ?)", arts)
    new.executemany("INSERT OR IGNORE INTO deck_blobs VALUES (?, ?)", [(deck_id, key) for key in keys])


def _same(new: sqlite3.Connection, old: sqlite3.Connection, deck_id: str) -> bool:
    """Whether the deck is the same in both, or the one here has moved on from the backup's very state."""
    number, state = old.execute("SELECT r.number, r.state FROM decks d JOIN revisions r ON r.deck_id = d.id "
                                "AND r.number = d.head WHERE d.id = ?", (deck_id,)).fetchone()
    here = new.execute("SELECT state FROM revisions WHERE deck_id = ? AND number = ?", (deck_id, number)).fetchone()
    return (here is not None and here["state"] == state
            and files_at(new, deck_id, number) == files_at(old, deck_id, number))


def _restore_printer(store: Store, old: sqlite3.Connection, printer: sqlite3.Row) -> bool:
    query = "SELECT * FROM printer_revisions WHERE printer_id = ? ORDER BY number"
    revisions = [tuple(row) for row in old.execute(query, (printer["id"],))]
    with store.database.write() as new:
        here = {tuple(row) for row in new.execute(query, (printer["id"],))}
        if here and set(revisions[-1:]) <= here:
            return False
        printer_id = printer["id"] if not here else secrets.token_hex(6)
        new.execute("INSERT INTO printers VALUES (?, ?, ?, ?, ?)", (printer_id, *tuple(printer)[1:]))
        new.executemany("INSERT INTO printer_revisions VALUES (?, ?, ?, ?, ?)",
                        [(printer_id, *row[1:]) for row in revisions])
    return True
