"""Files of revisions as rows: what a plain list of states would give, whatever is put in, taken out, undone and redone;
and a database from before they had rows."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.store import Store
from server.store.database import Database
from server.store.deck_files import files_at
from server.store.deck_state import DeckFile, DeckState
from server.store.decks import KeptBlob
from server.store.migrations import MIGRATIONS

PATHS = ["fronts/a.png", "fronts/b.png", "backs/a.png"]
KEYS = ["0" * 64, "1" * 64]
FILES = st.builds(DeckFile, st.sampled_from(PATHS), st.sampled_from(KEYS), st.just(5), st.integers(0, 1))
STEPS = st.lists(st.one_of(st.tuples(st.just("put"), FILES, st.sampled_from(["me", "you"])),
                           st.tuples(st.just("set"), st.lists(FILES, max_size=3, unique_by=lambda file: file.path)),
                           st.tuples(st.just("undo")), st.tuples(st.just("redo"))), max_size=14)


def having(files: tuple[DeckFile, ...]) -> Callable[[DeckState], DeckState]:
    return lambda state: replace(state, files=files)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_every_revision_has_its_own_files(store: Store, steps: list[tuple[object, ...]]) -> None:
    decks, deck = store.decks, store.decks.create(DeckState("Harbour"), "me").id
    line: list[tuple[tuple[DeckFile, ...], str]] = [((), "new")]  # the files of each revision, and who sent them
    at = 0
    for step in steps:
        if step[0] == "put":
            file, who = step[1], str(step[2])
            assert isinstance(file, DeckFile)
            decks.put_file(deck, file, KeptBlob(file.key, 5, None), lambda count, size: None, who)
            after = (*(one for one in line[at][0] if one.path != file.path), file)
            if file not in line[at][0]:
                line = [*line[:at + (line[at][1] != who)], (after, who)]
                at = len(line) - 1
        elif step[0] == "set":
            assert isinstance(step[1], list)
            wanted: tuple[DeckFile, ...] = tuple(step[1])
            decks.change(deck, having(wanted), who="me")
            kept = tuple(one for one in line[at][0] if one in wanted)
            if wanted != line[at][0]:
                line = [*line[:at + 1], ((*kept, *(one for one in wanted if one not in kept)), "set")]
                at = len(line) - 1
        else:
            getattr(decks, str(step[0]))(deck)
            at = max(0, at - 1) if step[0] == "undo" else min(len(line) - 1, at + 1)
            continue
        assert set(decks.get(deck).state.files) == set(line[at][0])
    for _ in range(at):
        assert set(decks.get(deck).state.files) == set(line[at][0])
        decks.undo(deck)
        at -= 1
    assert decks.get(deck).state.files == ()


def test_a_file_costs_one_row_however_many_there_are(store: Store) -> None:
    deck = store.decks.create(DeckState("Harbour"), "me").id
    for number in range(40):
        file = DeckFile(f"fronts/{number}.png", f"{number:064}", 5, 0)
        store.decks.put_file(deck, file, KeptBlob(file.key, 5, None), lambda count, size: None, "me")
    with store.database.read() as connection:
        assert connection.execute("SELECT count(*) FROM deck_files").fetchone()[0] == 40
        assert connection.execute("SELECT max(length(state)) FROM revisions").fetchone()[0] < 3000
    assert store.decks.undo(deck).state.files == ()
    assert len(store.decks.redo(deck).state.files) == 40


def test_a_database_from_before_keeps_the_files_of_each_revision(tmp_path: Path) -> None:
    a, b, changed = (DeckFile(path, key * 64, 5, 9) for path, key in (("a.png", "0"), ("b.png", "1"), ("a.png", "2")))
    history = {1: (), 2: (a,), 4: (b, a), 5: (b,), 7: (b, a), 8: (a, b, replace(b, path="c.png")), 9: (changed,)}
    with sqlite3.connect(tmp_path / "lampfold.db") as old:
        old.executescript(MIGRATIONS[0] + "; PRAGMA user_version = 1")
        for deck in ("one", "two"):
            old.execute("INSERT INTO decks VALUES (?, 9, 8, '', '', NULL)", (deck,))
            for number, files in history.items():
                state = {"name": "Old", "files": [asdict(file) for file in files], "overrides": {}, "settings": {}}
                old.execute("INSERT INTO revisions VALUES (?, ?, 'edit', 'me', '', ?)",
                            (deck, number, json.dumps(state)))
    old.close()
    database = Database(tmp_path / "lampfold.db")
    with database.read() as connection:
        for deck in ("one", "two"):
            for number, files in history.items():
                assert set(files_at(connection, deck, number)) == set(files), number
        rows = connection.execute("SELECT * FROM deck_files WHERE deck_id = 'one' AND path = 'a.png'").fetchall()
        assert len(rows) == 3
    database.close()
