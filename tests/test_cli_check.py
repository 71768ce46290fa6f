"""``lampfold check`` from the outside: what it says per file, and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from server import cli
from tests.formats.artwork import encoded, oriented, picture, write

DEMO = Path(__file__).resolve().parent.parent / "demo_decks"
SOUND = (815, 1110)  # 69 x 94 mm at 300 ppi: trim with 3 mm of bleed


def check(capsys: pytest.CaptureFixture[str], folder: Path, *options: str) -> tuple[int, dict[str, Any]]:
    code = cli.main(["check", str(folder), "--json", *options])
    out, err = capsys.readouterr()
    assert err == ""
    return code, json.loads(out)


def codes(said: dict[str, object]) -> set[tuple[str, str]]:
    assert isinstance(said["problems"], list)
    return {(problem["file"], problem["code"]) for problem in said["problems"]}


@pytest.fixture
def deck(tmp_path: Path) -> Path:
    folder = tmp_path / "Harbour"
    write(folder, "fronts/1_x3.png", encoded("PNG", picture(*SOUND)))
    write(folder, "fronts/2.jpg", oriented("JPEG", 6, picture(*SOUND[::-1])))
    write(folder, "backs/back.png", encoded("PNG", picture(*SOUND, "L")))
    return folder


def test_a_sound_deck_is_clean(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = check(capsys, deck)
    assert code == 0
    assert list(said) == ["cards", "pairs", "proposals", "bleeds", "problems"]
    assert said["cards"] == 4
    assert codes(said) == {("fronts/1_x3.png", "carries-bleed"), ("fronts/2.jpg", "carries-bleed"),
                           ("backs/back.png", "carries-bleed")}


def test_notes_alone_are_clean(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(deck, "notes.txt", b"x")
    write(deck, "fronts/3.png", encoded("PNG", picture(*SOUND, "RGBA")))
    assert check(capsys, deck)[0] == 0


@pytest.mark.parametrize(("path", "data", "code"), [
    ("fronts/9.png", encoded("PNG", picture(69, 94)), "low-resolution"),
    ("fronts/9.png", encoded("PNG", picture(1100, 1100)), "odd-aspect"),
    ("fronts/9.png", encoded("PNG", picture(*SOUND))[:-30], "truncated"),
    ("backs/9.png", b"", "empty-file"),
    ("cover.png", encoded("PNG", picture(*SOUND)), "stray-art"),
])
def test_each_fault_is_found_and_named_with_the_way_out(
        deck: Path, capsys: pytest.CaptureFixture[str], path: str, data: bytes, code: str) -> None:
    write(deck, path, data)
    exit_code, said = check(capsys, deck)
    assert exit_code == 1
    assert isinstance(said["problems"], list)
    (problem,) = [one for one in said["problems"] if one["code"] == code]
    assert list(problem) == ["file", "severity", "code", "message", "fix"]
    assert problem["file"] == path
    assert problem["fix"]


def test_what_only_decoding_shows_is_found(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = bytearray(encoded("PNG", picture(*SOUND)))
    at = data.index(b"IDAT") + 10
    data[at:at + 40] = bytes(byte ^ 0xFF for byte in data[at:at + 40])
    write(deck, "fronts/9.png", bytes(data))
    code, said = check(capsys, deck)
    assert (code, said["cards"]) == (1, 4)
    assert ("fronts/9.png", "damaged") in codes(said)


def test_the_card_size_decides_what_is_wrong(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = check(capsys, deck, "--card", "tarot")
    assert code == 1
    assert ("fronts/1_x3.png", "odd-aspect") in codes(said)
    assert check(capsys, deck, "--card", "69x94", "--bleed", "0")[0] == 0


def test_no_cards_are_an_error_that_can_be_reported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = check(capsys, tmp_path)
    assert (code, said["cards"], codes(said)) == (1, 0, {("", "no-cards")})


def test_what_cannot_run_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(tmp_path / "gone"), "--json"]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert cli.main(["check", str(tmp_path), "--card", "big"]) == 2


def test_the_text_groups_files_that_share_a_message(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for number in range(20, 30):
        write(deck, f"fronts/{number}.png", encoded("PNG", picture(69 + number, 94 + number)))
    write(deck, "fronts/40.png", b"")
    assert cli.main(["check", str(deck)]) == 1
    out = capsys.readouterr().out
    assert out.startswith("Harbour: 14 cards, 1 error and ")
    assert out.index("Not used") < out.index("Look at these") < out.index("For the record")
    assert "fronts/40.png: Is empty." in out
    assert "3 files: fronts/1_x3.png, backs/back.png, fronts/2.jpg" in out


def test_a_clean_deck_is_told_so(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(deck)]) == 0
    assert capsys.readouterr().out.startswith("Harbour: 4 cards, nothing wrong.\n")


def test_the_demo_deck_of_faults_shows_each_of_them(capsys: pytest.CaptureFixture[str]) -> None:
    code, said = check(capsys, DEMO / "stormwreck")
    assert code == 1
    assert {("fronts/2_barrel_low_resolution.png", "low-resolution"), ("fronts/3_compass_odd_shape.png", "odd-aspect"),
            ("fronts/4_lantern_without_a_back.png", "missing-back"), ("fronts/5_bottle_cut_short.jpg", "truncated"),
            ("fronts/7_chest_cmyk.jpg", "cmyk"), ("fronts/8_wheel_wrong_ending.jpg", "wrong-ending")} <= codes(said)


def test_every_file_of_the_demo_decks_is_used_or_named(capsys: pytest.CaptureFixture[str]) -> None:
    from server.intake.folder import read_folder

    for folder in (path.parent for path in DEMO.glob("*/fronts")):
        named = {file for file, _ in codes(check(capsys, folder)[1])}
        used = set(read_folder(folder).paths)
        files = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
        assert files - {"deck.csv"} <= named | used


def test_what_is_unsure_is_named_with_the_option_that_takes_it(tmp_path: Path,
                                                               capsys: pytest.CaptureFixture[str]) -> None:
    for number, name in enumerate(("hero_1", "hero_2", "orc_1", "orc_2")):
        write(tmp_path, f"{name}.png", encoded("PNG", picture(630 + number, 880)))
    _, before = check(capsys, tmp_path)
    (proposal,) = before["proposals"]
    assert (before["pairs"], proposal["option"], len(proposal["pairs"])) == ([], "--pairs 1-2", 2)
    _, after = check(capsys, tmp_path, *proposal["option"].split())
    assert [(pair["front"], pair["back"], pair["sure"]) for pair in after["pairs"]] == [
        ("hero_1.png", "hero_2.png", False), ("orc_1.png", "orc_2.png", False)]
    assert cli.main(["check", str(tmp_path), "--pairs", "a-b"]) == 2
    assert "--pairs: 'a-b' is no proposal of this folder. Use 1-2." in capsys.readouterr().err
