"""Content-addressed files: kept whole or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from server.errors import NoRoom, NotThere, StoreTrouble
from server.store import Store
from server.store.blobs import Incoming
from tests.store.conftest import keep


def test_the_key_is_the_sha_256_of_the_bytes(store: Store) -> None:
    # FIPS 180-2, appendix B.1: the digest of the message "abc".
    blob = keep(store, b"abc")
    assert blob.key == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert store.blobs.path(blob.key).read_bytes() == b"abc"


def test_equal_bytes_are_kept_once(store: Store) -> None:
    first, second = keep(store, b"lamp", "fronts/a.png"), keep(store, b"lamp", "fronts/b.png")
    assert first.key == second.key
    assert list(store.blobs.keys()) == [first.key]
    assert list(store.folder.incoming.iterdir()) == []


def test_what_is_dropped_leaves_nothing(store: Store) -> None:
    with pytest.raises(RuntimeError), store.blobs.incoming("x.png") as incoming:
        incoming.write(b"half of it")
        raise RuntimeError
    assert list(store.folder.incoming.iterdir()) == []
    assert list(store.blobs.keys()) == []


def test_a_restart_clears_what_was_coming_in(tmp_path: Path) -> None:
    store = Store.open(tmp_path)
    for name, age in (("left", 0), ("fresh", None)):
        path = store.folder.incoming / name
        path.write_bytes(b"half of it")
        if age is not None:
            os.utime(path, (age, age))
    store.close()
    again = Store.open(tmp_path)
    assert [path.name for path in again.folder.incoming.iterdir()] == ["fresh"]  # perhaps a restore's, going on
    again.close()


def test_bytes_are_on_the_disk_before_they_have_their_name(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Order of calls for one blob: data synced, then renamed, then the folder synced (as for any atomic replace)."""
    calls: list[str] = []
    note: Callable[[str], Any] = calls.append
    real_sync, real_replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: note("sync") or real_sync(handle))
    monkeypatch.setattr(Path, "replace", lambda self, to: note("rename") or real_replace(self, to))
    keep(store, b"first of its folder")
    assert calls.index("sync") < calls.index("rename")
    if os.name != "nt":
        assert calls[-1] == "sync"


@pytest.mark.parametrize("code", [errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)])
def test_a_full_disk_names_the_file(store: Store, monkeypatch: pytest.MonkeyPatch, code: int) -> None:
    def full(self: Incoming, content: bytes) -> int:
        raise OSError(code, os.strerror(code))

    with store.blobs.incoming("fronts/keeper.png") as incoming:
        incoming._file.close()
        monkeypatch.setattr(incoming, "_file", type("Full", (), {"write": full, "close": lambda self: None})())
        with pytest.raises(NoRoom, match=r"fronts/keeper\.png"):
            incoming.write(b"x")
    assert list(store.folder.incoming.iterdir()) == []


@pytest.mark.parametrize("key", ["", "x", "../../etc/passwd", "a" * 63, "G" * 64, "A" * 64])
def test_what_is_no_key_is_no_path(store: Store, key: str) -> None:
    with pytest.raises(NotThere):
        store.blobs.path(key)


def test_an_old_blob_goes_and_a_fresh_one_stays(store: Store) -> None:
    old, fresh = keep(store, b"old"), keep(store, b"fresh")
    os.utime(store.blobs.path(old.key), (0, 0))
    assert store.blobs.remove_if_old(old.key)
    assert not store.blobs.remove_if_old(fresh.key)
    assert list(store.blobs.keys()) == [fresh.key]


def test_sending_a_blob_again_makes_it_fresh(store: Store) -> None:
    blob = keep(store, b"seen before")
    os.utime(store.blobs.path(blob.key), (0, 0))
    keep(store, b"seen before")
    assert not store.blobs.remove_if_old(blob.key)


def test_the_database_refers_to_known_blobs_only(store: Store) -> None:
    with pytest.raises(StoreTrouble), store.database.write() as connection:
        connection.execute("INSERT INTO deck_blobs VALUES ('no deck', 'no blob')")
    with store.database.read() as connection:
        assert connection.execute("SELECT count(*) FROM deck_blobs").fetchone()[0] == 0


def test_hashing_is_the_standard_librarys(store: Store) -> None:
    content = bytes(range(256)) * 5000
    with store.blobs.incoming("big") as incoming:
        for start in range(0, len(content), 777):
            incoming.write(content[start:start + 777])
        assert incoming.finish() == hashlib.sha256(content).hexdigest()
        assert incoming.size == len(content)
        assert incoming.path.read_bytes() == content


def test_the_database_is_in_wal_and_synced_on_commit(store: Store) -> None:
    with store.database.write() as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL, by SQLite's own table
        assert connection.execute("PRAGMA foreign_keys").fetchone()[0] == 1
    assert isinstance(connection, sqlite3.Connection)
