"""Cleaning: what nothing refers to goes, what anything refers to stays."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import timedelta

from server.store import Store
from server.store.database import now_text
from server.store.deck_state import DeckFile, DeckState
from server.store.decks import KeptBlob
from server.store.store import clean
from tests.store.conftest import keep


def age(store: Store) -> None:
    """Make every blob old enough to go."""
    for key in store.blobs.keys():  # noqa: SIM118 - not a mapping
        os.utime(store.blobs.path(key), (0, 0))


def deck_of(store: Store, blob: KeptBlob, path: str = "fronts/a.png") -> str:
    state = DeckState("A", (DeckFile(path, blob.key, blob.bytes, 1),))
    return store.decks.create(state, "me", [blob]).id


def test_what_any_revision_refers_to_stays(store: Store) -> None:
    blob = keep(store, b"used")
    deck_id = deck_of(store, blob)
    store.decks.change(deck_id, lambda state: state.without_file("fronts/a.png"), who="me")
    age(store)
    assert clean(store).blobs == 0
    assert store.decks.undo(deck_id).state.files[0].key == blob.key
    assert store.blobs.holds(blob.key)


def test_what_lies_in_the_bin_stays_until_the_bin_is_emptied(store: Store) -> None:
    blob = keep(store, b"binned")
    deck_id = deck_of(store, blob)
    store.decks.remove(deck_id)
    age(store)
    assert clean(store).decks == 0
    assert store.blobs.holds(blob.key)
    with store.database.write() as connection:
        connection.execute("UPDATE decks SET deleted_at = ?", (now_text(timedelta(days=31)),))
    cleaned = clean(store)
    assert (cleaned.decks, cleaned.blobs) == (1, 1)
    assert not store.blobs.holds(blob.key)
    assert store.art.get(blob.key) is None


def test_a_blob_of_two_decks_goes_with_the_second(store: Store) -> None:
    blob = keep(store, b"shared")
    first, second = deck_of(store, blob), deck_of(store, blob)
    age(store)
    for deck_id, left in ((first, True), (second, False)):
        with store.database.write() as connection:
            connection.execute("DELETE FROM decks WHERE id = ?", (deck_id,))
        clean(store)
        assert store.blobs.holds(blob.key) is left


def test_a_fresh_blob_stays_because_its_upload_may_still_be_read(store: Store) -> None:
    blob = keep(store, b"on its way")
    assert clean(store).blobs == 0
    age(store)
    assert clean(store).blobs == 1
    assert not store.blobs.holds(blob.key)


def test_what_was_undone_and_overwritten_goes(store: Store) -> None:
    deck_id = store.decks.create(DeckState("A"), "me").id
    blob = keep(store, b"undone")
    file = DeckFile("fronts/a.png", blob.key, blob.bytes, 1)
    store.decks.change(deck_id, lambda state: state.with_files((file,)), who="me", blobs=[blob])
    store.decks.undo(deck_id)
    store.decks.change(deck_id, lambda state: replace(state, name="B"), who="me")
    age(store)
    assert clean(store).blobs == 1


def test_pictures_of_what_is_gone_go_too(store: Store) -> None:
    used = keep(store, b"used")
    deck_of(store, used)
    for key in (used.key, "f" * 64):
        folder = store.folder.thumbs / key[:2]
        folder.mkdir()
        (folder / f"{key}-0-512.webp").touch()
    assert clean(store).pictures == 1
    assert [path.name for path in store.folder.thumbs.rglob("*.webp")] == [f"{used.key}-0-512.webp"]
