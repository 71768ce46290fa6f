"""The database's form, in numbered steps. A step that has been released is never changed; a new one is added."""

from __future__ import annotations

_FIRST = """
CREATE TABLE decks (
    id TEXT PRIMARY KEY,
    version INTEGER NOT NULL,      -- grows with every change, undo and redo: what a later save is compared with
    head INTEGER NOT NULL,         -- the revision that is shown
    created TEXT NOT NULL,
    updated TEXT NOT NULL,
    deleted_at TEXT                -- in the bin since then
);
CREATE TABLE revisions (
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    kind TEXT NOT NULL,
    who TEXT NOT NULL,
    made TEXT NOT NULL,
    state TEXT NOT NULL,           -- JSON: name, files, overrides, settings
    PRIMARY KEY (deck_id, number)
);
CREATE TABLE blobs (
    key TEXT PRIMARY KEY,          -- SHA-256 of the bytes, in hex
    bytes INTEGER NOT NULL,
    added TEXT NOT NULL
);
CREATE TABLE deck_blobs (          -- every blob that any revision of a deck points to
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    key TEXT NOT NULL REFERENCES blobs(key),
    PRIMARY KEY (deck_id, key)
) WITHOUT ROWID;
CREATE INDEX deck_blobs_by_key ON deck_blobs(key);
CREATE TABLE art (
    key TEXT PRIMARY KEY REFERENCES blobs(key) ON DELETE CASCADE,
    record TEXT NOT NULL           -- JSON: what the reader found, or the problem
);
CREATE TABLE printers (
    id TEXT PRIMARY KEY,
    head INTEGER NOT NULL,
    updated TEXT NOT NULL,
    deleted_at TEXT
);
CREATE TABLE printer_revisions (
    printer_id TEXT NOT NULL REFERENCES printers(id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    made TEXT NOT NULL,
    name TEXT NOT NULL,
    profile TEXT NOT NULL,
    PRIMARY KEY (printer_id, number)
);
CREATE TABLE sessions (
    mark TEXT PRIMARY KEY,         -- SHA-256 of the cookie: the database alone lets no one in
    public_id TEXT NOT NULL UNIQUE,
    role TEXT NOT NULL,
    name TEXT NOT NULL,
    address TEXT NOT NULL,
    deck_id TEXT,
    link_id TEXT,
    started TEXT NOT NULL,
    seen TEXT NOT NULL,
    ended TEXT
);
CREATE TABLE links (
    id TEXT PRIMARY KEY,
    mark TEXT NOT NULL UNIQUE,
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    made TEXT NOT NULL,
    ended TEXT
);
"""

MIGRATIONS: tuple[str, ...] = (_FIRST,)
