"""Releases in the store: what older databases say of them, and people's own files, which backups take along."""

from __future__ import annotations

from pathlib import Path

import pytest

from server.store import Store, database
from server.store.backup import backup, restore
from server.store.database import Database
from server.store.deck_state import DeckState
from server.store.migrations import MIGRATIONS
from server.store.releases import Extra, Releases
from server.store.store import clean
from tests.store.conftest import keep
from tests.store.test_cleaning import age


def test_an_older_release_finds_its_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "lampfold.db"
    monkeypatch.setattr(database, "MIGRATIONS", MIGRATIONS[:4])
    old = Database(path)
    with old.write() as connection:
        connection.execute("INSERT INTO decks VALUES ('d', 1, 1, '', '', NULL)")
        connection.execute("INSERT INTO versions VALUES ('v', 'd', '0.3 B', 'me', '', 1, '{}', NULL)")
        for number, version in (("r1", "0.3 b"), ("r2", "gone")):
            connection.execute("INSERT INTO releases VALUES (?, 'd', ?, '', 'x.zip', 1, '[]')", (number, version))
    old.close()
    monkeypatch.setattr(database, "MIGRATIONS", MIGRATIONS)
    newer = Database(path)
    rows = Releases(newer, None).all("d")  # type: ignore[arg-type]  # no pack is looked for
    assert {row.id: row.versions for row in rows} == {"r1": {"d": "v"}, "r2": {"d": ""}}
    newer.close()


def test_own_files_outlive_cleaning_and_travel_in_a_backup_and_releases_stay(store: Store, tmp_path: Path) -> None:
    deck_id = store.decks.create(DeckState("Harbour"), "me").id
    blob = keep(store, b"Turn a card.")
    store.releases.put_extra(deck_id, Extra("rules.txt", blob.key, blob.bytes), most=1)
    store.folder.releases.mkdir(exist_ok=True)
    (tmp_path / "pack.zip").write_bytes(b"PK")
    store.releases.keep("r", {deck_id: ""}, "0.3", tmp_path / "pack.zip", "x.zip", [])
    backup(store, tmp_path / "keep.zip")
    age(store)
    clean(store)
    assert store.blobs.holds(blob.key)
    other = Store.open(tmp_path / "other", store.limits)
    restore(other, tmp_path / "keep.zip")  # which refuses a database whose rows point to nothing
    assert other.releases.extras(deck_id) == store.releases.extras(deck_id) != ()
    assert other.blobs.path(blob.key).read_bytes() == b"Turn a card." and other.releases.all(deck_id) == ()
    other.close()
