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
    state TEXT NOT NULL,           -- JSON: name, overrides, settings and more; until form 2 files
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

# Until here a revision's JSON held all its files. A file that stood in revisions without a gap becomes one row; the
# difference between a revision's place and a file's place in its own list is the same along such a run.
_FILES_IN_ROWS = """
CREATE TABLE deck_files (
    id INTEGER PRIMARY KEY,
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    path TEXT NOT NULL,
    key TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    since INTEGER NOT NULL,        -- the first revision that has it
    gone INTEGER                   -- the first that hasn't; null where the latest one has it
);
INSERT INTO deck_files (deck_id, path, key, bytes, modified, since, gone)
WITH places AS (
    SELECT deck_id, number, state, row_number() OVER (PARTITION BY deck_id ORDER BY number) AS place FROM revisions
), every AS (
    SELECT p.deck_id, p.number, p.place, f.key AS spot, json_extract(f.value, '$.path') AS path,
        json_extract(f.value, '$.key') AS blob, json_extract(f.value, '$.bytes') AS size,
        json_extract(f.value, '$.modified') AS changed
    FROM places p, json_each(p.state, '$.files') AS f
), numbered AS (
    SELECT *, place - row_number() OVER (PARTITION BY deck_id, path, blob, size, changed ORDER BY place) AS run
    FROM every
), runs AS (
    SELECT deck_id, path, blob, size, changed, min(number) AS first, max(place) AS last, max(spot) AS spot
    FROM numbered GROUP BY deck_id, path, blob, size, changed, run
)
SELECT r.deck_id, r.path, r.blob, r.size, r.changed, r.first,
    (SELECT p.number FROM places p WHERE p.deck_id = r.deck_id AND p.place = r.last + 1)
FROM runs r ORDER BY r.deck_id, r.last, r.spot;
UPDATE revisions SET state = json_remove(state, '$.files');
CREATE INDEX deck_files_by_path ON deck_files(deck_id, path);
CREATE INDEX deck_files_by_key ON deck_files(deck_id, key);
"""

# A version has a copy of its own, because revisions are forgotten: the oldest of many, and those after an undo.
_VERSIONS = """
CREATE TABLE versions (
    id TEXT PRIMARY KEY,
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    name TEXT NOT NULL,
    who TEXT NOT NULL,
    made TEXT NOT NULL,
    cards INTEGER NOT NULL,        -- to print, copies counted
    state TEXT NOT NULL,           -- as a revision's
    removed_at TEXT                -- taken off the list since then
);
CREATE INDEX versions_by_deck ON versions(deck_id);
CREATE TABLE version_files (
    version_id TEXT NOT NULL REFERENCES versions(id) ON DELETE CASCADE,
    place INTEGER NOT NULL,
    path TEXT NOT NULL,
    key TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    PRIMARY KEY (version_id, place)
) WITHOUT ROWID;
CREATE INDEX version_files_by_key ON version_files(key);
CREATE TABLE pictures (
    key TEXT PRIMARY KEY,          -- an art's key: a blob's, or with a page of it
    blob TEXT NOT NULL REFERENCES blobs(key) ON DELETE CASCADE,
    digest TEXT NOT NULL,          -- of its pixels: the same for the same picture in another file
    small BLOB NOT NULL            -- a small copy as WebP
);
CREATE INDEX pictures_by_blob ON pictures(blob);
"""

_RELEASES = """
CREATE TABLE releases (
    id TEXT PRIMARY KEY,           -- its pack lies in releases/ under this name
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    version TEXT NOT NULL,         -- the name that it was released under
    made TEXT NOT NULL,
    name TEXT NOT NULL,            -- what the pack is saved as
    bytes INTEGER NOT NULL,
    files TEXT NOT NULL            -- JSON: the members that the manifest lists
);
CREATE INDEX releases_by_deck ON releases(deck_id);
"""

# A release may hold several decks, and knows of each which version it is: what is compared, and printed anew, later.
_RELEASED_DECKS = """
CREATE TABLE release_decks (
    release_id TEXT NOT NULL REFERENCES releases(id) ON DELETE CASCADE,
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    version_id TEXT NOT NULL,      -- "" where it isn't known
    PRIMARY KEY (release_id, deck_id)
) WITHOUT ROWID;
CREATE INDEX release_decks_by_deck ON release_decks(deck_id);
INSERT INTO release_decks SELECT r.id, r.deck_id, coalesce((SELECT v.id FROM versions v WHERE v.deck_id = r.deck_id
    AND v.name = r.version COLLATE NOCASE ORDER BY v.removed_at IS NOT NULL, v.made DESC LIMIT 1), '') FROM releases r;
CREATE TABLE extras (              -- files of people's own for a deck's releases: rules, licence, credits
    deck_id TEXT NOT NULL REFERENCES decks(id) ON DELETE CASCADE,
    name TEXT NOT NULL,
    key TEXT NOT NULL REFERENCES blobs(key),
    bytes INTEGER NOT NULL,
    PRIMARY KEY (deck_id, name)
) WITHOUT ROWID;
CREATE INDEX extras_by_key ON extras(key);
"""

# A playtester's own printer is seen by that session alone, and goes with it.
_OWN_PRINTERS = """
ALTER TABLE printers ADD COLUMN owner TEXT NOT NULL DEFAULT '';
"""

_DONE = """
CREATE TABLE done (                -- changes that pages may send again, their answers lost
    mark TEXT PRIMARY KEY,         -- SHA-256 of who sent it, where to, and the page's own mark
    made TEXT NOT NULL,
    answer BLOB                    -- null until it is known, and where it isn't kept
) WITHOUT ROWID;
CREATE INDEX done_by_time ON done(made);
"""

# What a deck's limit counts: a PDF of many pages is as many cards.
_PAGES = """
ALTER TABLE deck_files ADD COLUMN pages INTEGER NOT NULL DEFAULT 1;
UPDATE deck_files SET pages = max(1, coalesce(
    (SELECT json_array_length(a.record, '$.arts') FROM art a WHERE a.key = deck_files.key), 1));
"""

# A version is known again by a mark of all that is in it, however many there are.
_MARKS = """
ALTER TABLE versions ADD COLUMN mark TEXT NOT NULL DEFAULT '';
"""

MIGRATIONS: tuple[str, ...] = (_FIRST, _FILES_IN_ROWS, _VERSIONS, _RELEASES, _RELEASED_DECKS,
                               _OWN_PRINTERS, _DONE, _PAGES, _MARKS)
