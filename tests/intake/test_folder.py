"""Folders on disk: what is read, what is ignored, what is named."""

from __future__ import annotations

import os
import sys
import unicodedata
from pathlib import Path
from typing import Any

import pytest

from server.core.art import Problem
from server.errors import BadValue, NotThere, TooMuch
from server.intake import folder as folder_module
from server.intake.decode_check import broken_art, files_of, without
from server.intake.folder import FolderDeck, read_folder
from tests.formats.artwork import encoded, pdf, picture, write

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="needs what only POSIX file systems have")


def filled(folder: Path, *paths: str) -> Path:
    """A deck folder with a distinct PNG at each path."""
    for number, path in enumerate(paths):
        write(folder, path, encoded("PNG", picture(63 + number, 88 + number)))
    return folder


def problem(found: FolderDeck, file: str) -> Problem:
    (only,) = [problem for problem in found.deck.problems if problem.file == file]
    return only


def test_a_deck_takes_the_folders_name_and_finds_its_files_again(tmp_path: Path) -> None:
    root = filled(tmp_path / "Harbour", "fronts/2.png", "fronts/10.png", "backs/b.png")
    found = read_folder(root)
    assert found.deck.name == "Harbour"
    assert [card.name for card in found.deck.cards] == ["2", "10"]
    assert [found.source(card.front).read_bytes() for card in found.deck.cards] == [
        (root / "fronts/2.png").read_bytes(), (root / "fronts/10.png").read_bytes()]
    assert not found.deck.problems


def test_pages_come_from_their_file(tmp_path: Path) -> None:
    path = write(tmp_path, "fronts/cards.pdf", pdf(2))
    found = read_folder(tmp_path)
    assert [found.source(card.front) for card in found.deck.cards] == [path.resolve()] * 2


def test_art_of_another_deck_is_not_looked_for(tmp_path: Path) -> None:
    one = read_folder(filled(tmp_path / "one", "fronts/1.png"))
    two = read_folder(filled(tmp_path / "two", "fronts/2.png"))
    with pytest.raises(NotThere, match=r"fronts/1\.png"):
        two.source(one.deck.cards[0].front)


def test_equal_files_are_one_picture_and_unequal_ones_never(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write(tmp_path, f"fronts/{name}.png", encoded("PNG"))
    first = bytearray(encoded("TIFF", picture()))
    other = bytearray(first)
    other[-1] ^= 1  # the last byte of the picture, so both have one size
    write(tmp_path, "fronts/d.tif", bytes(first))
    write(tmp_path, "fronts/e.tif", bytes(other))
    keys = {card.name: card.front.key for card in read_folder(tmp_path).deck.cards}
    assert keys["a"] == keys["b"]
    assert len({keys["a"], keys["d"], keys["e"]}) == 3


def test_what_systems_and_programs_leave_behind_is_ignored_by_name(tmp_path: Path) -> None:
    filled(tmp_path, "fronts/1.png", "backs/1.png")
    left = [".DS_Store", "fronts/Thumbs.db", "desktop.ini", "fronts/._1.png", "readme.txt", "fronts/notes.md", "1.png~",
            "~$deck.xlsx", "fronts/deck.csv", "plan.json", "data.bin"]
    for path in left:
        write(tmp_path, path, b"not art")
    write(tmp_path, "fronts/empty.txt", b"")
    write(tmp_path, "art/lamp.psd", b"8BPS and so on")
    write(tmp_path, "art/lamp.svg", b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><set/></svg>")
    write(tmp_path, ".git/objects/1.png", encoded("PNG"))
    write(tmp_path, "__MACOSX/fronts/._1.png", b"fork")
    found = read_folder(tmp_path)
    assert {problem.file for problem in found.ignored} == {
        *left, "fronts/empty.txt", "art/lamp.psd", "art/lamp.svg", ".git/", "__MACOSX/"}
    assert all(problem.severity == "note" and problem.message for problem in found.ignored)
    assert set(found.deck.problems) == set(found.ignored)


def test_what_was_meant_as_art_is_never_just_ignored(tmp_path: Path) -> None:
    filled(tmp_path, "fronts/1.png", "backs/1.png")
    for path, data in (("fronts/2.png", b""), ("fronts/3.jpg", b"text"), ("fronts/4.gif", encoded("GIF")),
                       ("backs/5.svg", b"<svg/>"), ("fronts/6", b"what is it"), ("7.png", b"text")):
        write(tmp_path, path, data)
    found = read_folder(tmp_path)
    codes = {problem.file: (problem.severity, problem.code) for problem in found.deck.problems}
    assert codes == {"fronts/2.png": ("error", "empty-file"), "fronts/3.jpg": ("error", "not-art"),
                     "fronts/4.gif": ("error", "unsupported"), "backs/5.svg": ("error", "damaged"),
                     "fronts/6": ("error", "not-art"), "7.png": ("error", "not-art")}
    assert all(problem.fix for problem in found.deck.problems)
    assert problem(found, "fronts/2.png").message == "Is empty."


def test_content_wins_over_the_ending(tmp_path: Path) -> None:
    write(tmp_path, "fronts/lamp.txt", encoded("PNG"))
    write(tmp_path, "fronts/buoy", encoded("JPEG"))
    assert [card.front.kind for card in read_folder(tmp_path).deck.cards] == ["jpeg", "png"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_a_deck_list_is_followed_with_or_without_a_byte_order_mark(tmp_path: Path, encoding: str) -> None:
    filled(tmp_path, "fronts/1.png", "fronts/2.png")
    (tmp_path / "Deck.CSV").write_text("front;name\r\n2;Möwe\r\n", encoding=encoding, newline="")
    found = read_folder(tmp_path)
    assert [(card.name, card.front.file) for card in found.deck.cards] == [("Möwe", "fronts/2.png")]
    assert problem(found, "fronts/1.png").code == "ignored"


def test_a_deck_list_that_is_no_utf8_is_named_and_names_decide(tmp_path: Path) -> None:
    filled(tmp_path, "fronts/1.png")
    for data in ("front\nMöwe\n".encode("utf-16"), "front\nMöwe\n".encode("latin-1"), b"front\n" + b"x\n" * 600_000):
        write(tmp_path, "deck.csv", data)
        found = read_folder(tmp_path)
        assert len(found.deck.cards) == 1
        assert problem(found, "deck.csv").severity == "error"


def test_a_broken_back_does_not_make_another_one_the_only_one(tmp_path: Path) -> None:
    filled(tmp_path, "fronts/1.png", "fronts/2.png", "backs/1.png")
    write(tmp_path, "backs/2.png", encoded("PNG")[:-20])
    found = read_folder(tmp_path)
    assert [card.back and card.back.file for card in found.deck.cards] == ["backs/1.png", None]


def test_missing_folders_and_files_in_their_place_are_refused(tmp_path: Path) -> None:
    with pytest.raises(NotThere, match="isn't there"):
        read_folder(tmp_path / "nothing")
    with pytest.raises(BadValue, match="is a file, not a folder"):
        read_folder(write(tmp_path, "file.png", encoded("PNG")))


def test_an_empty_folder_is_a_deck_without_cards(tmp_path: Path) -> None:
    assert read_folder(tmp_path).deck.cards == ()


def test_too_many_files_are_a_mistake(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_module, "MAX_FILES", 3)
    read_folder(filled(tmp_path, "fronts/1.png", "fronts/2.png", "fronts/3.png"))
    with pytest.raises(TooMuch, match="more than 3 files"):
        read_folder(filled(tmp_path, "fronts/4.png"))


def test_a_folder_too_deep_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_module, "MAX_FOLDER_DEPTH", 2)
    found = read_folder(filled(tmp_path, "fronts/a/1.png", "fronts/a/b/2.png"))
    assert problem(found, "fronts/a/b/").code == "too-deep"
    assert len(found.deck.cards) == 1


@posix_only
class TestLinks:
    def test_a_link_inside_the_folder_is_the_file_it_leads_to(self, tmp_path: Path) -> None:
        root = filled(tmp_path / "deck", "fronts/1.png")
        (root / "fronts" / "2.png").symlink_to("1.png")
        one, two = read_folder(root).deck.cards
        assert one.front.key == two.front.key

    def test_links_out_and_loops_are_named_and_not_followed(self, tmp_path: Path) -> None:
        secret = write(tmp_path, "outside/secret.png", encoded("PNG"))
        root = filled(tmp_path / "deck", "fronts/1.png", "backs/1.png")
        (root / "fronts" / "out.png").symlink_to(secret)
        (root / "fronts" / "outdir").symlink_to(secret.parent)
        (root / "fronts" / "loop").symlink_to(root / "fronts")
        (root / "fronts" / "self.png").symlink_to("self.png")
        (root / "fronts" / "gone.png").symlink_to("nowhere.png")
        found = read_folder(root)
        assert len(found.deck.cards) == 1
        links = {problem.file for problem in found.deck.problems if problem.code == "link"}
        assert links == {f"fronts/{name}" for name in ("out.png", "outdir", "loop", "self.png", "gone.png")}

    def test_the_folder_itself_may_be_a_link(self, tmp_path: Path) -> None:
        filled(tmp_path / "deck", "fronts/1.png")
        (tmp_path / "link").symlink_to("deck")
        assert len(read_folder(tmp_path / "link").deck.cards) == 1

    def test_pipes_are_named_and_never_opened(self, tmp_path: Path) -> None:
        filled(tmp_path, "fronts/1.png")
        os.mkfifo(tmp_path / "fronts" / "pipe.png")
        assert problem(read_folder(tmp_path), "fronts/pipe.png").code == "not-a-file"

    @pytest.mark.skipif(sys.platform == "darwin", reason="macOS takes no such names")
    def test_a_name_that_is_no_text_is_named_as_far_as_can_be(self, tmp_path: Path) -> None:
        filled(tmp_path, "fronts/1.png")
        bad = os.fsencode(tmp_path / "fronts") + b"/\xff\xfe.png"
        Path(os.fsdecode(bad)).write_bytes(encoded("PNG"))
        found = read_folder(tmp_path)
        assert problem(found, r"fronts/\udcff\udcfe.png").code == "bad-name"
        assert len(found.deck.cards) == 1

    @pytest.mark.skipif(sys.platform == "darwin", reason="macOS knows one spelling only")
    def test_both_spellings_of_a_name_pair(self, tmp_path: Path) -> None:
        for form, path in (("NFD", "fronts/Möwe.png"), ("NFC", "backs/Möwe.png"), ("NFC", "backs/b.png")):
            filled(tmp_path, unicodedata.normalize(form, path))  # type: ignore[arg-type]
        (card,) = read_folder(tmp_path).deck.cards
        assert card.back
        assert card.name == "Möwe"


def test_a_file_that_may_not_be_read_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    filled(tmp_path, "fronts/1.png", "fronts/2.png")
    whole = Path.open

    def refusing(path: Path, *given: Any, **named: Any) -> Any:
        if path.name == "2.png":
            raise PermissionError(13, "Permission denied")
        return whole(path, *given, **named)

    monkeypatch.setattr(Path, "open", refusing)
    found = read_folder(tmp_path)
    assert problem(found, "fronts/2.png").code == "not-readable"
    assert len(found.deck.cards) == 1


def corrupt(data: bytes) -> bytes:
    """A PNG whose header and chunks are whole and whose pixels are not."""
    at = data.index(b"IDAT") + 10
    return data[:at] + bytes(byte ^ 0xFF for byte in data[at:at + 40]) + data[at + 40:]


def test_decoding_finds_what_headers_hide(tmp_path: Path) -> None:
    filled(tmp_path, "fronts/1.png", "fronts/2.png", "fronts/3.png", "backs/1.png", "backs/2.png", "backs/3.png")
    for path in ("fronts/2.png", "backs/3.png"):
        write(tmp_path, path, corrupt((tmp_path / path).read_bytes()))
    found = read_folder(tmp_path)
    broken = broken_art(found.deck, found.source)
    assert set(broken) == {"fronts/2.png", "backs/3.png"}
    deck = without(found.deck, broken)
    assert [(card.name, card.back and card.back.file) for card in deck.cards] == [("1", "backs/1.png"), ("3", None)]
    assert {(problem.code, problem.file) for problem in deck.problems} == {
        ("damaged", "fronts/2.png"), ("damaged", "backs/3.png"), ("ignored", "backs/2.png"),
        ("broken-back", "fronts/3.png")}
    assert files_of(deck) == ("fronts/1.png", "backs/1.png", "fronts/3.png")
    assert without(deck, broken_art(deck, found.source)) is deck
