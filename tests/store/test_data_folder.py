"""The data folder: rights, lock, room, limits, names."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from server.errors import BadValue, NoRoom, StoreTrouble
from server.store import Store
from server.store.limits import Limits, bytes_text, read_limits
from server.store.names import clean_name, clean_path, file_stem


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps rights in access lists")
def test_the_folder_is_its_owners_alone(store: Store) -> None:
    assert store.folder.root.stat().st_mode & 0o777 == 0o700
    assert store.folder.database.stat().st_mode & 0o777 == 0o600


def test_a_second_store_on_the_same_folder_says_so(store: Store) -> None:
    with pytest.raises(StoreTrouble, match="another Lampfold is using it"):
        Store.open(store.folder.root)


def test_another_process_is_kept_out_too_and_let_in_afterwards(tmp_path: Path) -> None:
    program = ("import sys; from pathlib import Path; from server.store import Store\n"
               "Store.open(Path(sys.argv[1])).close()")
    store = Store.open(tmp_path)
    taken = subprocess.run([sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, check=False)
    store.close()
    free = subprocess.run([sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, check=False)
    assert "another Lampfold" in taken.stderr
    assert (free.returncode, free.stderr) == (0, "")


def test_room_is_kept_free(store: Store) -> None:
    free = shutil.disk_usage(store.folder.root).free
    store.folder.check_room(1, 0, "a.png")
    with pytest.raises(NoRoom, match=r"a\.png"):
        store.folder.check_room(free + 10**12, 0, "a.png")


def test_limits_come_from_the_file_and_the_environment_in_this_order(tmp_path: Path) -> None:
    (tmp_path / "limits.json").write_text(json.dumps({"file_bytes": 1000, "decks": 7}), encoding="utf-8")
    limits = read_limits(tmp_path, {"LAMPFOLD_FILE_BYTES": "2000", "LAMPFOLD_HOME": "ignored"})
    assert (limits.file_bytes, limits.decks, limits.pdf_pages) == (2000, 7, Limits().pdf_pages)


@pytest.mark.parametrize("text", ['{"file_bytes": 0}', '{"file_bytes": "many"}', '{"bytes": 1}', "[1]", "{",
                                  '{"decks": true}'])
def test_a_limit_that_makes_no_sense_is_named(tmp_path: Path, text: str) -> None:
    (tmp_path / "limits.json").write_text(text, encoding="utf-8")
    with pytest.raises(BadValue, match=r"limits\.json"):
        read_limits(tmp_path, {})


# Bytes in decimal units: IEC 80000-13.
@pytest.mark.parametrize(("count", "text"), [(0, "0 bytes"), (999, "999 bytes"), (1000, "1 kB"), (1_500_000, "1.5 MB"),
                                            (2_000_000_000, "2 GB"), (5_000_000_000_000, "5000 GB")])
def test_bytes_for_people(count: int, text: str) -> None:
    assert bytes_text(count) == text


@pytest.mark.parametrize("path", ["fronts/knight_x3.png", "a.pdf", "fronts/deep/er/ü.png", "fronts/.hidden", "deck.csv",
                                  "fronts/<img src=x onerror=alert(1)>.png"])
def test_paths_that_name_a_file_are_kept(path: str) -> None:
    assert clean_path(path) == path


# OWASP, Path Traversal: climbing, absolute, drive and backslash forms, and control characters.
@pytest.mark.parametrize("path", ["", "/etc/passwd", "../x", "fronts/../../x", "a//b", "./a", "a/.", "C:\\x", "c:/x",
                                  "..\\x", "a\\..\\..\\b", "a\x00.png", "a\n.png", "x" * 1001, "a/" + "x" * 256,
                                  "fronts/gnp\u202e.exe"])
def test_paths_that_climb_or_hide_are_refused(path: str) -> None:
    with pytest.raises(BadValue, match="path"):
        clean_path(path)


def test_both_spellings_of_a_letter_are_one_file() -> None:
    # Unicode Standard Annex 15: U+00FC and U+0075 U+0308 are canonically equivalent.
    assert clean_path("fronts/u\u0308.png") == clean_path("fronts/\u00fc.png") == "fronts/\u00fc.png"


@pytest.mark.parametrize(("given", "name"), [("  The  Lamp ", "The Lamp"), ("Bö\tse", "Bö se")])
def test_names_are_one_line(given: str, name: str) -> None:
    assert clean_name(given) == name


@pytest.mark.parametrize("given", ["", "   ", "x" * 121, "a\x07b"])
def test_names_that_are_none_are_refused(given: str) -> None:
    with pytest.raises(BadValue, match="name"):
        clean_name(given)


@pytest.mark.parametrize(("name", "stem"), [("Harbour lamps", "Harbour-lamps"), ("Éclat/../x", "Eclat-x"),
                                            ("灯台", "deck"), ('a"b\r\nc', "a-b-c")])
def test_download_names_suit_every_system(name: str, stem: str) -> None:
    assert file_stem(name) == stem


def test_what_a_killed_server_was_unpacking_is_cleared(store: Store) -> None:
    left = store.folder.incoming / "tmpzip"
    left.mkdir()
    (left / "0").write_bytes(b"half")
    os.utime(left, (0, 0))
    store.folder.clear_incoming()
    assert not left.exists()
