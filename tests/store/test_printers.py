"""Printers are kept with every revision."""

from __future__ import annotations

import pytest

from server.errors import NotThere
from server.store import Store


def test_a_printer_is_kept_changed_and_found(store: Store) -> None:
    made = store.printers.put("Study", {"paper": "a4", "readings": []})
    changed = store.printers.put("Study, tray 2", {"paper": "a4", "readings": [1.5]}, made.id)
    assert (changed.id, changed.revision) == (made.id, 2)
    assert store.printers.get(made.id).profile == {"paper": "a4", "readings": [1.5]}
    assert store.printers.undo(made.id).name == "Study"


def test_deleted_printers_are_listed_apart_and_come_back(store: Store) -> None:
    first, second = store.printers.put("b", {}), store.printers.put("A", {})
    assert [row.name for row in store.printers.all()] == ["A", "b"]
    store.printers.remove(first.id)
    assert [row.id for row in store.printers.all()] == [second.id]
    assert [row.id for row in store.printers.all(deleted=True)] == [first.id]
    assert store.printers.get(first.id).deleted is not None
    assert store.printers.restore(first.id).deleted is None


def test_a_printer_that_is_not_kept_is_named(store: Store) -> None:
    with pytest.raises(NotThere, match="nowhere"):
        store.printers.get("nowhere")
    with pytest.raises(NotThere):
        store.printers.put("x", {}, "nowhere")


def test_of_deleted_printers_the_latest_are_kept(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.store.printers._MOST_BINNED", 2)
    made = [store.printers.put(f"printer {number}", {"readings": [1] * number}).id for number in range(1, 5)]
    for number, one in enumerate(made):
        with store.database.write() as connection:  # each a moment later
            connection.execute("UPDATE printers SET deleted_at = ? WHERE id = ?", (f"2026-01-0{number + 1}", one))
    store.printers.remove(made[3])
    assert {row.id for row in store.printers.all(deleted=True)} == set(made[2:])
    assert store.printers.readings("") == 7 and store.printers.readings(made[3]) == 3
