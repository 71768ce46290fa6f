"""``lampfold box`` from the outside: what it prints, its PDF read back by pdfium, and the box in a deck's PDF."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2
import pytest
from numpy.typing import NDArray

from server import cli
from tests.formats.artwork import encoded, picture, write


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two designs in 30 copies of one card's size, a back, and art that is for the box alone."""
    made = tmp_path / "Tides"
    for number in range(2):
        write(made, f"fronts/{number}_x15.png", encoded("PNG", picture(126, 176 + number)))
    write(made, "backs/back.png", encoded("PNG", picture(126, 176, "L")))
    write(made, "spare/wave.png", encoded("PNG", picture(126, 176)))
    monkeypatch.chdir(tmp_path)
    return made


def page_pixels(path: Path, page: int, scale: float = 2.0) -> tuple[NDArray[np.uint8], float]:
    """A page as pdfium renders it, and pixels to the mm."""
    document = pypdfium2.PdfDocument(path)
    pixels = document[page].render(scale=scale).to_numpy()[:, :, ::-1].copy()
    document.close()
    return pixels, scale * 72 / 25.4


def test_json_says_how_large_and_the_pdf_shows_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["box", str(folder), "--json", "--stock", "10 sheets 3mm", "--clearance", "2", "--out", "box.pdf",
                     "--panel", "front=#1f5f6b", "--panel", "back=spare/wave.png"]) == 0
    said = json.loads(capsys.readouterr().out)
    # Thirty cards of one sheet of 0.3 mm: 9 mm; the clearance is added once to each length.
    assert said["deck_mm"] == pytest.approx([63, 88, 9]) and said["clearance_mm"] == 2
    assert said["inside_mm"] == pytest.approx([65, 90, 11])
    assert set(said["creases"][0]) == {"between", "from_mm", "to_mm", "turn_deg"}
    pixels, per_mm = page_pixels(Path("box.pdf"), 0)
    corners = {panel["name"]: np.array(panel["corners_mm"]) for panel in said["panels"]}
    middle = (corners["front"].mean(axis=0) * per_mm).astype(int)
    assert abs(pixels[middle[1], middle[0]].astype(int) - [0x1f, 0x5f, 0x6b]).max() <= 2
    back = (np.array([corners["back"].min(axis=0), corners["back"].max(axis=0)]) * per_mm).astype(int)
    assert pixels[back[0][1] + 9:back[1][1] - 9, back[0][0] + 9:back[1][0] - 9].std() > 10  # art, not a colour
    for name in ("lid flap", "glue tab"):  # the contour is drawn along every edge that is no crease
        creases = [{tuple(crease["from_mm"]), tuple(crease["to_mm"])} for crease in said["creases"]]
        for start, end in zip(corners[name], np.roll(corners[name], -1, axis=0), strict=True):
            if {tuple(start), tuple(end)} not in creases:
                x, y = ((start + end) / 2 * per_mm).astype(int)
                assert pixels[y - 2:y + 3, x - 2:x + 3].min() < 190, name


def test_sleeves_make_it_larger_and_a_core_thicker(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sizes = []
    for more in ([], ["--sleeved"], ["--method", "side-fold", "--core", "1"]):
        assert cli.main(["box", str(folder), "--json", "--paper", "a3", "--out", "box.pdf", *more]) == 0
        sizes.append(json.loads(capsys.readouterr().out)["deck_mm"])
    assert sizes[1][0] > sizes[0][0] and sizes[1][1] > sizes[0][1] and sizes[1][2] > sizes[0][2] + 30 * 2 * 0.03
    assert sizes[2][2] == pytest.approx(30 * (2 * 0.195 + 1 + 2 * 0.02))  # two papers, the board, glue on both sides


def test_too_large_for_the_paper_names_the_one_that_takes_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["box", str(folder), "--card", "tarot", "--stock", "card-300", "--paper", "a5"]) == 2
    said = capsys.readouterr().err
    assert "mm flat" in said and "A5 prints 138 × 200 mm" in said and "Use Letter or A4, which takes it" in said


@pytest.mark.parametrize(("options", "says"), [
    (["--panel", "roof=#123456"], "--panel: 'roof' is no panel of this box. Use glue tab, back"),
    (["--panel", "front=nowhere.png"], "--panel: 'nowhere.png' is no art of this deck."),
    (["--panel", "front"], "--panel: 'front' names no panel"),
    (["--clearance", "90"], "--clearance: 90 mm is too much. Use 0 to 30 mm."),
])
def test_what_cannot_be_meant_names_its_option(folder: Path, capsys: pytest.CaptureFixture[str], options: list[str],
                                               says: str) -> None:
    assert cli.main(["box", str(folder), *options]) == 2
    assert says in capsys.readouterr().err


def test_the_box_may_be_the_last_page_of_the_deck(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["build", str(folder), "--json", "--out", "deck.pdf", "--box", "lid", "--box-panels",
                     "all=#a33a1e"]) == 0
    said = json.loads(capsys.readouterr().out)
    with pikepdf.open("deck.pdf") as document:
        assert len(document.pages) == said["pages"] == 2 * said["sheets"] + 1
        assert document.check_pdf_syntax() == []
    pixels, _ = page_pixels(Path("deck.pdf"), said["pages"] - 1, 1.0)
    red = (abs(pixels.astype(int) - [0xa3, 0x3a, 0x1e]).max(axis=2) < 3).mean()
    assert red > 0.2
    # Where no page takes it, the sheets are made all the same, and the problem says which paper would.
    assert cli.main(["build", str(folder), "--json", "--paper", "a5", "--card", "tarot", "--out", "deck.pdf",
                     "--box", "tuck"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert [one["code"] for one in said["problems"] if one["code"] == "no-box"] == ["no-box"]
    with pikepdf.open("deck.pdf") as document:
        assert len(document.pages) == said["pages"] == 2 * said["sheets"]
