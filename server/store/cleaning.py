"""Keeping the data folder tidy: the bin's old decks, blobs that nothing refers to, packs and pictures of what is gone.

A blob's row goes before its file, so the database never refers to a file that isn't there. A file goes only when
nothing refers to it and nobody has touched it for an hour: an upload that is just being read keeps its own fresh.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

from server.store import Store
from server.store.database import Database

_LEFT_SECONDS = 24 * 3600.0  # what has lain half-written for a day belongs to nobody


@dataclass(frozen=True, slots=True)
class Cleaned:
    """How much went."""

    decks: int
    blobs: int
    pictures: int


def clean(store: Store) -> Cleaned:
    """One round. Safe while others upload, edit and build."""
    decks = store.decks.empty_bin()
    store.versions.empty_bin()
    store.releases.clean()
    store.printers.forget_guests()
    store.done.clean()
    _forget_old_references(store.database)
    _forget_unused_blobs(store.database)
    with store.database.read() as connection:
        known = {row["key"] for row in connection.execute("SELECT key FROM blobs")}
    blobs = sum(store.blobs.remove_if_old(key) for key in list(store.blobs.keys()) if key not in known)
    store.folder.clear_incoming(_LEFT_SECONDS)
    return Cleaned(decks, blobs, _remove_pictures(store, known))


def _forget_old_references(database: Database) -> None:
    """Drop what only revisions referred to that are no longer kept. One deck at a time, so that nobody waits long."""
    with database.read() as connection:
        decks = [row["id"] for row in connection.execute("SELECT id FROM decks")]
    for deck_id in decks:
        with database.write() as connection:
            connection.execute(
                "DELETE FROM deck_blobs WHERE deck_id = ? AND key NOT IN "
                "(SELECT key FROM deck_files WHERE deck_id = ?) AND key NOT IN (SELECT f.key FROM version_files f "
                "JOIN versions v ON v.id = f.version_id WHERE v.deck_id = ?) AND key NOT IN "
                "(SELECT key FROM extras WHERE deck_id = ?)", (deck_id,) * 4)


def _forget_unused_blobs(database: Database) -> None:
    with database.write() as connection:
        connection.execute("DELETE FROM blobs WHERE NOT EXISTS "
                           "(SELECT 1 FROM deck_blobs WHERE deck_blobs.key = blobs.key)")


def _remove_pictures(store: Store, known: set[str]) -> int:
    """Thumbnails are made again where they are asked for, so losing one costs only time."""
    count = 0
    for path in store.folder.thumbs.rglob("*.webp"):
        if path.name.split("-")[0] not in known:
            with contextlib.suppress(OSError):
                path.unlink()
                count += 1
    return count
