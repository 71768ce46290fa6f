"""The database: transactions, migrations, trouble, and a process that is killed in the middle."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from functools import partial
from pathlib import Path

import pytest

from server.errors import NoRoom, StoreTrouble
from server.store import Store, database
from server.store.database import Database
from server.store.deck_state import DeckState
from server.store.migrations import MIGRATIONS


def test_a_transaction_is_kept_whole_or_not_at_all(store: Store) -> None:
    with pytest.raises(RuntimeError), store.database.write() as connection:
        connection.execute("INSERT INTO blobs VALUES ('k', 1, 'now')")
        raise RuntimeError
    with store.database.read() as connection:
        assert connection.execute("SELECT count(*) FROM blobs").fetchone()[0] == 0


def test_a_reader_sees_one_moment(store: Store) -> None:
    with store.database.read() as reader:
        before = reader.execute("SELECT count(*) FROM decks").fetchone()[0]
        store.decks.create(DeckState("A"), "me")
        assert reader.execute("SELECT count(*) FROM decks").fetchone()[0] == before
    assert len(store.decks.all()) == before + 1


def test_many_writers_lose_nothing(store: Store) -> None:
    deck = store.decks.create(DeckState("A"), "me")

    def override(label: str, state: DeckState) -> DeckState:
        return state.with_override(label, {"copies": 1})

    def add(who: str) -> None:
        for number in range(20):
            store.decks.change(deck.id, partial(override, f"{who}{number}"), who=who)

    threads = [threading.Thread(target=add, args=(who,)) for who in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    row = store.decks.get(deck.id)
    assert (len(row.state.overrides), row.version) == (80, 81)


def test_an_older_database_is_copied_before_it_is_changed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "lampfold.db"
    Database(path).close()
    monkeypatch.setattr(database, "MIGRATIONS", (*MIGRATIONS, "CREATE TABLE later (id TEXT)"))
    newer = Database(path)
    with newer.read() as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS) + 1
        assert connection.execute("SELECT count(*) FROM later").fetchone()[0] == 0
    newer.close()
    copy = sqlite3.connect(tmp_path / f"lampfold.db.before-{len(MIGRATIONS) + 1}")
    assert copy.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS)
    assert copy.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    copy.close()


def test_a_migration_that_fails_leaves_the_old_form(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "lampfold.db"
    Database(path).close()
    monkeypatch.setattr(database, "MIGRATIONS", (*MIGRATIONS, "CREATE TABLE later (id TEXT); CREATE TABLE decks (x)"))
    with pytest.raises(StoreTrouble):
        Database(path)
    monkeypatch.setattr(database, "MIGRATIONS", MIGRATIONS)
    old = Database(path)
    with old.read() as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS)
        assert connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'later'").fetchone()[0] == 0
    old.close()


def test_a_database_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "lampfold.db"
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 999")
    connection.close()
    with pytest.raises(StoreTrouble, match="newer Lampfold"):
        Database(path)


def test_a_broken_database_is_told_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "lampfold.db"
    path.write_bytes(b"this is no database at all, but somebody's only copy of it" * 100)
    before = path.read_bytes()
    with pytest.raises(StoreTrouble, match=r"broken.*restore"):
        Database(path)
    assert path.read_bytes() == before


def test_a_full_database_is_told_by_its_code(tmp_path: Path) -> None:
    full = Database(tmp_path / "lampfold.db")
    with full.write() as connection:
        connection.execute("PRAGMA max_page_count = 1")  # SQLite raises it to what is there already
    with pytest.raises(NoRoom, match="disk is full"), full.write() as connection:
        connection.execute("INSERT INTO decks VALUES (?, 1, '', '', '', NULL)", ("x" * 1_000_000,))
    full.close()


def test_a_database_that_may_only_be_read_is_told_by_its_code(tmp_path: Path) -> None:
    path = tmp_path / "lampfold.db"
    shut = Database(path)
    with shut.write() as connection:
        connection.execute("CREATE TABLE words (word TEXT)")
    shut._writer.execute("PRAGMA query_only = ON")
    with pytest.raises(StoreTrouble, match="can't be written to"), shut.write() as connection:
        connection.execute("INSERT INTO words VALUES ('full malformed')")
    shut.close()


@pytest.mark.parametrize("words", ["database or disk is full", "malformed", "readonly"])
def test_words_in_an_error_say_nothing(tmp_path: Path, words: str) -> None:
    """A value or a table's name may hold any of them."""
    error = database.trouble(sqlite3.OperationalError(f"no such column: {words}"), tmp_path)
    assert not isinstance(error, NoRoom)
    assert "can't be used" in error.message


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="rights don't bind the administrator")
def test_a_read_only_folder_is_told(tmp_path: Path) -> None:
    folder = tmp_path / "shut"
    folder.mkdir(mode=0o500)
    with pytest.raises(StoreTrouble, match="can't be used"):
        Store.open(folder)


_WRITER = """
import sys
from pathlib import Path
from server.store import Store
from server.store.deck_state import DeckState
store = Store.open(Path(sys.argv[1]))
deck = store.decks.create(DeckState("A"), "me")
for number in range(10_000):
    store.decks.change(deck.id, lambda state: state.with_override(f"f{number}", {"copies": 1}), who="me")
    print(deck.id, number, flush=True)
"""


@pytest.mark.parametrize("after", [1, 7, 20])
def test_every_change_that_was_answered_outlives_a_kill(tmp_path: Path, after: int) -> None:
    """The process is ended by SIGKILL (TerminateProcess on Windows) while it writes; SQLite's own check is asked."""
    writer = subprocess.Popen([sys.executable, "-c", _WRITER, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert writer.stdout is not None
    lines = [writer.stdout.readline() for _ in range(after)]
    writer.kill()
    lines += writer.stdout.read().splitlines(keepends=True)
    writer.wait()
    writer.stdout.close()
    whole = [line.split() for line in lines if line.endswith("\n")]
    store = Store.open(tmp_path)
    overrides = store.decks.get(whole[0][0]).state.overrides
    assert {f"f{number}" for _, number in whole} <= set(overrides)
    with store.database.read() as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    store.close()
