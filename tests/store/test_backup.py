"""Backup and restore: everything there and back, nothing overwritten, nothing taken that isn't whole."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from server.cli import main
from server.errors import BadValue
from server.store import Store
from server.store.backup import backup, restore
from server.store.deck_state import DeckFile, DeckState
from server.store.decks import DeckRow
from tests.store.conftest import keep


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(tmp_path / "other")
    yield opened
    opened.close()


def fill(store: Store, name: str = "Harbour") -> DeckRow:
    """A deck with two files and a change of name, and a printer with two revisions."""
    blobs = [keep(store, f"{name} {number}".encode()) for number in range(2)]
    files = tuple(DeckFile(f"fronts/{number}.png", blob.key, blob.bytes, 1) for number, blob in enumerate(blobs))
    deck = store.decks.create(DeckState(name, files), "me", blobs)
    printer = store.printers.put("Study", {"paper": "a4"})
    store.printers.put("Study", {"paper": "a4", "readings": [1]}, printer.id)
    return store.decks.change(deck.id, lambda state: replace(state, name=f"{name} two"), who="me")


def test_everything_comes_back_with_its_undo(store: Store, other: Store, tmp_path: Path) -> None:
    deck = fill(store)
    saved = backup(store, tmp_path / "all.zip")
    back = restore(other, tmp_path / "all.zip")
    assert (saved.decks, saved.printers, saved.blobs) == (back.decks, back.printers, back.blobs) == (1, 1, 2)
    assert other.decks.get(deck.id) == deck
    assert other.decks.undo(deck.id).state.name == "Harbour"
    assert [(row.name, dict(row.profile), row.revision) for row in other.printers.all()] == [
        ("Study", {"paper": "a4", "readings": [1]}, 2)]
    for file in deck.state.files:
        assert other.blobs.path(file.key).read_bytes() == store.blobs.path(file.key).read_bytes()
    assert other.art.get(deck.state.files[0].key) == store.art.get(deck.state.files[0].key)


def test_restoring_twice_adds_nothing(store: Store, other: Store, tmp_path: Path) -> None:
    fill(store)
    backup(store, tmp_path / "all.zip")
    restore(other, tmp_path / "all.zip")
    again = restore(other, tmp_path / "all.zip")
    assert (again.decks, again.printers, again.blobs) == (0, 0, 0)
    assert len(other.decks.all()) == len(other.printers.all()) == 1


def test_a_deck_that_has_moved_on_is_left_alone(store: Store, tmp_path: Path) -> None:
    deck = fill(store)
    backup(store, tmp_path / "all.zip")
    newer = store.decks.change(deck.id, lambda state: replace(state, name="Newer"), who="me")
    assert restore(store, tmp_path / "all.zip").decks == 0
    assert store.decks.get(deck.id) == newer


def test_a_deck_that_differs_is_added_beside(store: Store, tmp_path: Path) -> None:
    deck = fill(store)
    backup(store, tmp_path / "all.zip")
    store.decks.undo(deck.id)
    other_way = store.decks.change(deck.id, lambda state: replace(state, name="Another way"), who="me")
    assert restore(store, tmp_path / "all.zip").decks == 1
    assert store.decks.get(deck.id) == other_way
    assert sorted(row.state.name for row in store.decks.all()) == ["Another way", "Harbour two"]


def test_a_backup_lets_no_one_in(store: Store, tmp_path: Path) -> None:
    with store.database.write() as connection:
        connection.execute("INSERT INTO sessions VALUES ('markofthecookie', 'p', 'host', 'n', 'a', NULL, NULL, 's', "
                           "'s', NULL)")
    backup(store, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        assert archive.testzip() is None
        assert b"markofthecookie" not in archive.read("lampfold.db")


def test_a_backup_is_whole_or_not_there(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(store)
    (tmp_path / "all.zip").write_bytes(b"yesterday's")
    monkeypatch.setattr(zipfile.ZipFile, "write", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left")))
    with pytest.raises(OSError, match="disk is full"):
        backup(store, tmp_path / "all.zip")
    assert (tmp_path / "all.zip").read_bytes() == b"yesterday's"
    assert [path.name for path in tmp_path.glob("*.part")] == []


@pytest.mark.parametrize("spoil", ["not a zip", "no database", "another format", "blob missing", "blob changed",
                                   "database cut"])
def test_what_is_no_whole_backup_is_refused_and_changes_nothing(store: Store, other: Store, tmp_path: Path,
                                                                spoil: str) -> None:
    fill(store)
    backup(store, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    blob = next(name for name in parts if name.startswith("blobs/"))
    changes: dict[str, dict[str, bytes | None]] = {
        "no database": {"lampfold.db": None}, "another format": {"backup.json": b"[]"}, "blob missing": {blob: None},
        "blob changed": {blob: b"somebody else's"}, "database cut": {"lampfold.db": parts["lampfold.db"][:5000]}}
    bad = tmp_path / "bad.zip"
    if spoil == "not a zip":
        bad.write_bytes(b"PK\x03\x04 no")
    else:
        with zipfile.ZipFile(bad, "w") as archive:
            for name, content in {**parts, **changes[spoil]}.items():
                if content is not None:
                    archive.writestr(name, content)
    with pytest.raises(BadValue, match=r"bad\.zip: is no backup"):
        restore(other, bad)
    assert other.decks.all() == ()
    assert list(other.folder.incoming.iterdir()) == []


def test_the_commands_work_while_a_server_has_the_folder(store: Store, tmp_path: Path,
                                                         capsys: pytest.CaptureFixture[str]) -> None:
    deck = fill(store)  # ``store`` holds the folder's lock
    data, out = str(store.folder.root), str(tmp_path / "all.zip")
    assert main(["backup", out, "--data", data]) == 0
    assert "1 decks, 1 printers, 2 pieces of art" in capsys.readouterr().out
    with store.database.write() as connection:
        connection.execute("DELETE FROM decks")
    assert main(["restore", out, "--data", data]) == 0
    assert store.decks.get(deck.id).state == deck.state


def test_nothing_to_back_up_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["backup", str(tmp_path / "all.zip"), "--data", str(tmp_path / "none")]) == 2
    assert "nothing is kept here" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_a_restore_of_everything_into_an_empty_folder(store: Store, tmp_path: Path) -> None:
    deck = fill(store)
    backup(store, tmp_path / "all.zip")
    shutil.rmtree(tmp_path / "new", ignore_errors=True)
    assert main(["restore", str(tmp_path / "all.zip"), "--data", str(tmp_path / "new")]) == 0
    opened = Store.open(tmp_path / "new")
    assert opened.decks.get(deck.id) == deck
    opened.close()
