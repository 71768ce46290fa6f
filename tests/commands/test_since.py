"""``lampfold build --record`` and ``--since`` from the outside: what is printed and taken out, what is no change."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pikepdf
import pypdfium2
import pytest
from PIL import Image

from server.cli import main
from server.core.methods import METHODS

Say = dict[str, Any]


def card(folder: Path, name: str, tone: int, **how: Any) -> Path:
    """A picture of 126 x 176 px with a pattern of its own."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    image = Image.new("RGB", (126, 176), (tone, 90, 200 - tone))
    image.putpixel((tone % 100, 5), (255, 255, 0))
    image.save(path, **how)
    return path


@pytest.fixture
def old(tmp_path: Path) -> Path:
    for number, name in enumerate(("gull", "buoy_x2", "wren", "keel"), 1):
        card(tmp_path / "old", f"fronts/{name}.png", 30 * number)
    card(tmp_path / "old", "backs/back.png", 190)
    return tmp_path / "old"


@pytest.fixture
def new(tmp_path: Path) -> Path:
    """Gull has one pixel changed, buoy has a copy more, wren is renamed and re-exported, keel is gone, lark is new."""
    folder = tmp_path / "new"
    with Image.open(card(folder, "fronts/gull.png", 30)) as image:
        image.load()
    image.putpixel((60, 80), (0, 0, 0))
    image.save(folder / "fronts/gull.png")
    card(folder, "fronts/buoy_x3.png", 60, compress_level=1)
    card(folder, "fronts/jenny.webp", 90, lossless=True)
    card(folder, "fronts/lark.png", 150)
    card(folder, "backs/back.png", 190)
    return folder


def built(capsys: pytest.CaptureFixture[str], *argv: object) -> Say:
    capsys.readouterr()
    assert main(["build", *map(str, argv), "--json"]) == 0
    said: Say = json.loads(capsys.readouterr().out)
    return said


def names(cards: list[dict[str, Any]]) -> dict[str, int]:
    return {one["name"]: one["copies"] for one in cards}


@pytest.mark.parametrize("by", ["record", "folder"])
def test_only_what_changed_is_printed(old: Path, new: Path, tmp_path: Path, by: str,
                                      capsys: pytest.CaptureFixture[str]) -> None:
    record = tmp_path / "deck.json"
    built(capsys, old, "--record", record, "--version", "0.3", "--out", tmp_path / "old.pdf")
    since = record if by == "record" else old
    said = built(capsys, new, "--since", since, "--out", tmp_path / "new.pdf", "--plan", tmp_path / "plan.json")
    assert names(said["take_out"]) == {"gull": 1, "keel": 1}
    assert names(said["printed"]) == {"gull": 1, "buoy": 1, "lark": 1}
    assert [one["sides"] for one in said["changed"]] == [["front"]]
    plan = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    fronts = [one["name"] for page in plan["pages"] for one in page["placements"] if one["side"] == "front"]
    assert sorted(fronts) == ["buoy", "gull", "lark"]
    with pypdfium2.PdfDocument(tmp_path / "new.pdf") as pdf:
        assert len(pdf) == said["pages"] == 3
        last = pdf[2].get_textpage().get_text_range()
    assert "Take these cards out" in last and "1 × gull" in last and "1 × keel" in last and "lark" not in last


def test_a_record_serves_without_its_folder_and_of_the_whole_deck(
        old: Path, new: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second = tmp_path / "1.json", tmp_path / "2.json"
    built(capsys, old, "--record", first, "--out", tmp_path / "a.pdf")
    built(capsys, new, "--since", first, "--record", second, "--out", tmp_path / "b.pdf")
    said = built(capsys, new, "--since", second, "--out", tmp_path / "c.pdf")
    assert said["take_out"] == said["printed"] == [] and said["pdf"] is None and said["sheets"] == 0
    assert not (tmp_path / "c.pdf").exists()


def test_cards_that_only_leave_are_shown_on_a_page_of_their_own(
        old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = tmp_path / "deck.json"
    built(capsys, old, "--record", record, "--out", tmp_path / "a.pdf")
    (old / "fronts/keel.png").unlink()
    said = built(capsys, old, "--since", record, "--out", tmp_path / "b.pdf")
    assert names(said["take_out"]) == {"keel": 1} and said["printed"] == [] and said["cuts"] == 0
    with pikepdf.open(tmp_path / "b.pdf") as pdf:
        assert len(pdf.pages) == said["pages"] == 1


@pytest.mark.parametrize("method", sorted(METHODS))
def test_every_method_prints_changes(old: Path, new: Path, tmp_path: Path, method: str,
                                     capsys: pytest.CaptureFixture[str]) -> None:
    said = built(capsys, new, "--since", old, "--method", method, "--out", tmp_path / f"{method}.pdf")
    assert said["cards"] == 3


def test_backs_count_where_they_are_printed(old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record, all_of_it = tmp_path / "deck.json", {"gull": 1, "buoy": 2, "wren": 1, "keel": 1}
    by_fronts = ("--method", "fronts-only", "--out", tmp_path / "b.pdf")
    built(capsys, old, "--record", record, "--out", tmp_path / "a.pdf")
    card(old, "backs/back.png", 33)
    assert names(built(capsys, old, "--since", record, *by_fronts)["printed"]) == {}
    assert names(built(capsys, old, "--since", record, "--out", tmp_path / "c.pdf")["printed"]) == all_of_it
    built(capsys, old, "--record", record, *by_fronts)  # these cards have blank backs
    assert names(built(capsys, old, "--since", record, *by_fronts)["printed"]) == {}
    assert names(built(capsys, old, "--since", record, "--out", tmp_path / "d.pdf")["take_out"]) == all_of_it


def test_how_far_a_changed_card_differs_is_told(old: Path, new: Path, tmp_path: Path,
                                                capsys: pytest.CaptureFixture[str]) -> None:
    card(new, "fronts/keel.png", 180)  # red and blue by 60 of 255 each, green as it was
    assert main(["build", str(new), "--since", str(old), "--out", str(tmp_path / "a.pdf")]) == 0
    said = capsys.readouterr().out
    far = re.search(r"gull \(front, by (?:less than 0.01|0.0[0-9]) %\), keel \(front, by ([0-9.]+) %\)", said)
    assert far, said
    assert float(far[1]) == pytest.approx(100 * (60 + 0 + 60) / 3 / 255, abs=0.3)  # WebP of a small picture


@pytest.mark.parametrize("by", ["record", "folder"])
def test_a_broken_picture_is_left_out_of_both(old: Path, tmp_path: Path, by: str,
                                              capsys: pytest.CaptureFixture[str]) -> None:
    """A build leaves a broken card out; so the change sheet neither prints it nor lets the old one stay unsaid."""
    new, record = shutil.copytree(old, tmp_path / "new"), tmp_path / "deck.json"
    for name, harm in (("gull", lambda data: data[:-20] + b"\xff" + data[-19:]), ("wren", lambda data: data[:-30])):
        path = new / f"fronts/{name}.png"
        path.write_bytes(harm(path.read_bytes()))
    card(new, "fronts/lark.png", 150)
    whole = built(capsys, new, "--record", record, "--out", tmp_path / "a.pdf")
    assert whole["cards"] == 4  # two of buoy, keel and lark
    there = built(capsys, new, "--since", old, "--out", tmp_path / "b.pdf")
    assert names(there["take_out"]) == {"gull": 1, "wren": 1} and names(there["printed"]) == {"lark": 1}
    assert {one["file"] for one in there["problems"] if one["severity"] == "error"} == {
        "fronts/gull.png", "fronts/wren.png"}
    back = built(capsys, old, "--since", record if by == "record" else new, "--out", tmp_path / "c.pdf")
    assert names(back["printed"]) == {"gull": 1, "wren": 1} and names(back["take_out"]) == {"lark": 1}


def test_another_card_size_is_another_deck(old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = tmp_path / "deck.json"
    built(capsys, old, "--record", record, "--card", "63x88", "--out", tmp_path / "a.pdf")
    said = built(capsys, old, "--since", record, "--card", "57x88", "--out", tmp_path / "b.pdf")
    assert names(said["take_out"]) == names(said["printed"]) == {"gull": 1, "buoy": 2, "wren": 1, "keel": 1}


@pytest.mark.parametrize("text", ["", "{}", "[]", "null", '{"format": "lampfold-record", "version": 9}',
                                  '{"format": "lampfold-record", "version": 1, "cards": [1]}'])
def test_what_is_no_record_is_named(old: Path, tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    record = tmp_path / "odd.json"
    record.write_text(text, encoding="utf-8")
    assert main(["build", str(old), "--since", str(record), "--out", str(tmp_path / "x.pdf")]) == 2
    assert "odd.json" in capsys.readouterr().err
