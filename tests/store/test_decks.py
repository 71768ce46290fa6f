"""Decks: revisions, undo and redo, saves that cross, and the bin."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from server.core.settings import DeckSettings
from server.errors import BadValue, Conflict, NotThere, TooMuch
from server.store import Store
from server.store.database import now_text
from server.store.deck_state import DeckFile, DeckState, read_state
from server.store.decks import UPLOAD, Decks
from tests.store.conftest import keep


def rename(name: str):
    return lambda state: replace(state, name=name)


def test_a_new_deck_is_found_again_with_its_state(store: Store) -> None:
    made = store.decks.create(DeckState("Harbour"), "me")
    found = store.decks.get(made.id)
    assert found == made
    assert (found.state.name, found.version, found.can_undo, found.can_redo) == ("Harbour", 1, False, False)


def test_every_change_adds_one_to_the_version_and_the_same_state_adds_none(store: Store) -> None:
    deck = store.decks.create(DeckState("Harbour"), "me")
    changed = store.decks.change(deck.id, rename("Quay"), who="me")
    assert (changed.version, changed.state.name, changed.can_undo) == (2, "Quay", True)
    assert store.decks.change(deck.id, rename("Quay"), who="me").version == 2


def test_undo_walks_back_step_by_step_and_redo_forward(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")
    for name in "BC":
        store.decks.change(deck.id, rename(name), who="me")
    names = [store.decks.undo(deck.id).state.name for _ in range(3)]
    assert names == ["B", "A", "A"]
    assert not store.decks.get(deck.id).can_undo
    assert [store.decks.redo(deck.id).state.name for _ in range(3)] == ["B", "C", "C"]
    assert not store.decks.get(deck.id).can_redo


def test_undo_moves_the_version_on_so_that_an_old_save_is_told(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")
    read = store.decks.change(deck.id, rename("B"), who="me").version
    store.decks.undo(deck.id)
    with pytest.raises(Conflict, match="changed meanwhile"):
        store.decks.change(deck.id, rename("C"), who="you", expected=read)
    assert store.decks.get(deck.id).state.name == "A"


def test_a_change_after_undo_leaves_no_redo(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")
    store.decks.change(deck.id, rename("B"), who="me")
    store.decks.undo(deck.id)
    changed = store.decks.change(deck.id, rename("C"), who="me")
    assert not changed.can_redo
    assert store.decks.undo(deck.id).state.name == "A"


def test_a_change_that_fails_leaves_everything_as_it_was(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")

    def fail(state: DeckState) -> DeckState:
        raise BadValue("name: no.")

    with pytest.raises(BadValue):
        store.decks.change(deck.id, fail, who="me")
    assert store.decks.get(deck.id) == deck
    assert store.decks.change(deck.id, rename("B"), who="me").version == 2


def with_file(file: DeckFile) -> Callable[[DeckState], DeckState]:
    return lambda state: state.with_files((file,))


def test_files_of_one_drop_are_one_step_to_undo(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")
    for number in range(5):
        blob = keep(store, b"card %d" % number)
        file = DeckFile(f"fronts/{number}.png", blob.key, blob.bytes, 1)
        row = store.decks.change(deck.id, with_file(file), who="me", kind=UPLOAD,
                                 blobs=[blob])
    assert (row.version, len(row.state.files)) == (6, 5)
    assert store.decks.undo(deck.id).state.files == ()
    assert len(store.decks.redo(deck.id).state.files) == 5


def test_uploads_by_two_people_are_two_steps(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")
    for who in ("me", "you"):
        blob = keep(store, who.encode())
        file = DeckFile(f"fronts/{who}.png", blob.key, blob.bytes, 1)
        store.decks.change(deck.id, with_file(file), who=who, kind=UPLOAD, blobs=[blob])
    assert [file.path for file in store.decks.undo(deck.id).state.files] == ["fronts/me.png"]


def test_a_deck_in_the_bin_is_not_found_until_it_is_restored(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")
    assert store.decks.remove(deck.id).deleted is not None
    with pytest.raises(NotThere, match="in the bin"):
        store.decks.get(deck.id)
    with pytest.raises(NotThere):
        store.decks.change(deck.id, rename("B"), who="me")
    assert store.decks.restore(deck.id).deleted is None
    assert store.decks.get(deck.id).state.name == "A"


def test_the_bin_is_emptied_by_age_alone(store: Store) -> None:
    old, new, kept = (store.decks.create(DeckState(name), "me").id for name in "ABC")
    for deck_id in (old, new):
        store.decks.remove(deck_id)
    with store.database.write() as connection:
        connection.execute("UPDATE decks SET deleted_at = ? WHERE id = ?", (now_text(timedelta(days=31)), old))
    assert store.decks.empty_bin() == 1
    assert {row.id for row in store.decks.all()} == {new, kept}


def test_the_limit_of_decks_is_told(store: Store) -> None:
    few = Decks(store.database, most=1)
    few.create(DeckState("A"), "me")
    with pytest.raises(TooMuch, match="1 are kept here already"):
        few.create(DeckState("B"), "me")


def test_a_state_is_read_back_as_it_was_written() -> None:
    state = DeckState("Ünder «lamp»", (DeckFile("fronts/a.png", "0" * 64, 12, 1_700_000_000_000),),
                      {"fronts/a.png": {"copies": 3, "back": ""}}, DeckSettings().changed({"paper": "letter"}))
    assert read_state(state.to_json(), state.files) == state


def test_a_setting_that_is_no_longer_taken_falls_back_to_its_default() -> None:
    text = DeckState("A", settings=DeckSettings().changed({"paper": "a3"})).to_json()
    aged = text.replace('"bleed_mm":3.0', '"bleed_mm":3000.0').replace('"flip"', '"tumble"')
    state = read_state(aged, ())
    assert (state.settings.paper, state.settings.bleed_mm, state.settings.flip) == ("a3", 3.0, "long-edge")


@pytest.mark.parametrize("values", [{"copies": -1}, {"copies": 1000}, {"copies": True}, {"copies": "3"}, {"colour": 1}])
def test_an_override_that_makes_no_sense_is_refused(values: dict[str, object]) -> None:
    with pytest.raises(BadValue):
        DeckState("A").with_override("fronts/a.png", values)


def test_overrides_merge_and_none_takes_one_away() -> None:
    state = DeckState("A").with_override("f", {"copies": 2, "name": "Keeper"}).with_override("f", {"name": None})
    assert dict(state.overrides) == {"f": {"copies": 2}}
    assert state.with_override("f", {"copies": None}).overrides == {}
