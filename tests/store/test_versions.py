"""Versions: a name for what a deck was, kept whatever becomes of its revisions, and taken along by backups."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from server.errors import BadValue, NotThere
from server.store import Store
from server.store.backup import backup, restore
from server.store.database import now_text
from server.store.deck_state import DeckFile, DeckState
from server.store.store import clean
from tests.store.conftest import keep
from tests.store.test_cleaning import age


def deck_with(store: Store, *contents: bytes) -> str:
    blobs = [keep(store, content) for content in contents]
    files = tuple(DeckFile(f"fronts/{number}.png", blob.key, blob.bytes, 1) for number, blob in enumerate(blobs))
    return store.decks.create(DeckState("Harbour", files), "me", blobs).id


def test_a_version_outlives_the_revision_it_was_kept_from(store: Store) -> None:
    deck_id = deck_with(store, b"one", b"two")
    state = store.decks.get(deck_id).state
    kept = store.versions.keep(deck_id, " 0.3,  Tuesday group ", state, 2, "me")
    assert (kept.name, kept.cards, kept.removed) == ("0.3, Tuesday group", 2, None)
    store.decks.change(deck_id, lambda now: replace(now, files=()), who="me")
    with store.database.write() as connection:  # as after 300 changes
        connection.execute("DELETE FROM revisions WHERE number = 1")
        connection.execute("DELETE FROM deck_files")
    age(store)
    assert clean(store).blobs == 0
    assert store.versions.state(deck_id, kept.id) == state
    assert all(store.blobs.holds(file.key) for file in state.files)


def test_the_deck_is_that_version_until_something_of_it_changes(store: Store) -> None:
    deck_id = deck_with(store, b"one", b"two")
    state = store.decks.get(deck_id).state
    store.versions.keep(deck_id, "0.3", state, 2, "me")

    def named(now: DeckState) -> str:
        return store.versions.named_as(deck_id, now)

    assert named(state) == named(replace(state, files=state.files[::-1])) == "0.3"
    assert named(replace(state, settings=state.settings.changed({"paper": "letter"}))) == "0.3"  # the paper at hand
    assert named(replace(state, settings=state.settings.changed({"bleed_mm": 2}))) == ""
    assert named(replace(state, files=state.files[:1])) == ""
    # An older Lampfold kept it without a mark; from then on its files needn't be read again, however many there are.
    with store.database.write() as connection:
        connection.execute("UPDATE versions SET mark = ''")
    assert named(state) == "0.3"
    with store.database.write() as connection:
        connection.execute("DELETE FROM version_files")
    assert named(state) == "0.3"


def test_a_name_is_given_once_and_comes_free_again(store: Store) -> None:
    deck_id, other = deck_with(store, b"one"), deck_with(store, b"two")
    state = store.decks.get(deck_id).state
    kept = store.versions.keep(deck_id, "0.3", state, 1, "me")
    later = store.versions.keep(deck_id, "0.4", state, 1, "me")
    assert [one.name for one in store.versions.all(deck_id)] == ["0.4", "0.3"]
    with pytest.raises(BadValue, match="already"):
        store.versions.keep(deck_id, "0.3", state, 1, "me")
    with pytest.raises(BadValue, match="already"):
        store.versions.change(deck_id, later.id, "0.3")
    assert store.versions.change(deck_id, kept.id, removed=True).removed
    assert store.versions.change(deck_id, later.id, "0.3").name == "0.3"
    with pytest.raises(BadValue, match="already"):
        store.versions.change(deck_id, kept.id, removed=False)
    assert store.versions.change(deck_id, kept.id, "0.2", removed=False).removed is None
    with pytest.raises(NotThere):
        store.versions.get(other, kept.id)


def test_a_removed_version_lets_its_art_go_after_a_while(store: Store) -> None:
    deck_id = deck_with(store, b"one")
    state = store.decks.get(deck_id).state
    kept = store.versions.keep(deck_id, "0.3", state, 1, "me")
    store.pictures.put({state.files[0].key: ("digest", b"small"), "unknown": ("digest", b"small")})
    assert store.pictures.get_many([state.files[0].key, "unknown"]) == {state.files[0].key: ("digest", b"small")}
    with store.database.write() as connection:
        connection.execute("DELETE FROM deck_files")
        connection.execute("UPDATE versions SET removed_at = ?", (now_text(timedelta(days=29)),))
    age(store)
    assert clean(store).blobs == 0
    with store.database.write() as connection:
        connection.execute("UPDATE versions SET removed_at = ?", (now_text(timedelta(days=31)),))
    assert clean(store).blobs == 1
    assert store.pictures.get_many([state.files[0].key]) == {}
    with pytest.raises(NotThere):
        store.versions.get(deck_id, kept.id)


def test_backups_take_versions_along(store: Store, tmp_path: Path) -> None:
    deck_id = deck_with(store, b"one", b"two")
    state = store.decks.get(deck_id).state
    kept = store.versions.keep(deck_id, "0.3", state, 2, "me")
    store.decks.change(deck_id, lambda now: now.without_file("fronts/1.png"), who="me")
    backup(store, tmp_path / "all.zip")
    other = Store.open(tmp_path / "other")
    try:
        restore(other, tmp_path / "all.zip")
        assert other.versions.all(deck_id) == (kept,)
        assert other.versions.state(deck_id, kept.id) == state
        assert all(other.blobs.holds(file.key) for file in state.files)
        assert restore(other, tmp_path / "all.zip").decks == 0
        assert other.versions.all(deck_id) == (kept,)
        with other.database.write() as connection:  # as on a machine that has the deck, and never had the version
            connection.execute("DELETE FROM versions")
        restore(other, tmp_path / "all.zip")
        assert other.versions.state(deck_id, kept.id) == state
    finally:
        other.close()
