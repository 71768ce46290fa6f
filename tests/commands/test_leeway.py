"""``lampfold leeway`` as it is run: its text, its JSON and its exit code, on backs drawn here at known places."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from server.cli import main

PX_MM = 10.0  # 254 ppi, so that every whole number of tenths of a millimetre is a whole pixel
BLUE, GOLD = (20, 40, 120), (230, 180, 40)


def back(path: Path, motif: tuple[float, float, float, float], *, bleed: float = 0.0,
         ground: tuple[int, int, int] = BLUE) -> None:
    """A back of 63 x 88 mm whose motif is (left, top, right, bottom) mm inside the cut edges."""
    size = round((63 + 2 * bleed) * PX_MM), round((88 + 2 * bleed) * PX_MM)
    image = Image.new("RGB", size, ground)
    left, top, right, bottom = (round((side + bleed) * PX_MM) for side in motif)
    ImageDraw.Draw(image).rectangle((left, top, size[0] - right - 1, size[1] - bottom - 1), fill=GOLD)
    image.save(path)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three fronts, three backs: of trim size, with bleed and white; the first and third card share one back."""
    for name in ("fronts", "backs"):
        (tmp_path / name).mkdir()
    for number, name in enumerate(("buoy", "crane", "dory", "eddy")):
        Image.new("RGB", (630, 880), (40 * number, 90, 90)).save(tmp_path / "fronts" / f"{name}.png")
    back(tmp_path / "backs" / "buoy.png", (4, 5, 6, 7))
    back(tmp_path / "backs" / "crane.png", (10, 10, 10, 10), bleed=3.0)
    back(tmp_path / "backs" / "dory.png", (4, 5, 6, 7))
    back(tmp_path / "backs" / "eddy.png", (2, 2, 2, 2), ground=(255, 255, 255))
    return tmp_path


def run_json(capsys: pytest.CaptureFixture[str], *argv: str) -> dict[str, dict[str, object]]:
    assert main(["leeway", *argv, "--json"]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    return {one["file"]: one for one in json.loads(out.out)}


def test_json_for_each_distinct_back(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = run_json(capsys, str(folder), "--card", "63x88", "--bleed", "3")
    assert list(found) == ["backs/buoy.png", "backs/crane.png", "backs/eddy.png"]  # dory's is the same picture
    assert found["backs/buoy.png"] == {
        "file": "backs/buoy.png",
        "paper_shows_mm": {"left": 3.0, "right": 3.0, "top": 3.0, "bottom": 3.0},
        "art_cut_mm": {"left": 4.0, "right": 6.0, "top": 5.0, "bottom": 7.0},
        "uneven_mm": {"left": 0.667, "right": 2.667, "top": 1.0, "bottom": 3.0},
        "leeway_mm": 0.667,
    }
    assert found["backs/crane.png"]["art_cut_mm"] == dict.fromkeys(("left", "right", "top", "bottom"), 10.0)
    assert found["backs/eddy.png"]["paper_shows_mm"] == dict.fromkeys(("left", "right", "top", "bottom"))


def test_less_bleed_shows_paper_sooner(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = run_json(capsys, str(folder), "--bleed", "0.02in")
    assert found["backs/buoy.png"]["paper_shows_mm"] == dict.fromkeys(("left", "right", "top", "bottom"), 0.508)


def test_edges_none_leaves_no_leeway(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = run_json(capsys, str(folder), "--edges", "none")
    assert found["backs/buoy.png"]["leeway_mm"] == 0.0
    assert found["backs/eddy.png"]["leeway_mm"] == 0.667


def test_text_names_what_shows_first(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["leeway", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "3 distinct backs" in said
    assert "backs/crane.png: Moved 3 mm to the left, unprinted paper shows." in said
    assert "backs/eddy.png: Moved 0.67 mm to the left, the border looks uneven." in said


def test_a_back_that_breaks_off_is_named_and_the_rest_go_on(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its last chunk's checksum is wrong: the header reads well, the decoder stops."""
    path = folder / "backs" / "crane.png"
    whole = bytearray(path.read_bytes())
    at = whole.index(b"IDAT") + 12
    whole[at:at + 40] = bytes(40)
    path.write_bytes(whole)
    assert main(["leeway", str(folder), "--json"]) == 1
    out = capsys.readouterr()
    assert [one["file"] for one in json.loads(out.out)] == ["backs/buoy.png", "backs/eddy.png"]
    assert out.err.startswith("lampfold: backs/crane.png: ") and out.err.count("\n") == 1


def test_a_deck_without_backs_cannot_be_measured(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path in (folder / "backs").iterdir():
        path.unlink()
    assert main(["leeway", str(folder)]) == 2
    assert "no card has a back. Put backs into backs/." in capsys.readouterr().err


def test_a_card_folded_by_itself_can_only_miss_its_fold(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Heads meet at the crease, where the border of 5 mm alone changes: to 3.5 mm, half of the 7 mm below, or to 14 mm,
    twice them. The motif is met after 5 mm; the front beyond the crease shows at once."""
    found = run_json(capsys, str(folder), "--card", "63x88", "--method", "card-fold")["backs/buoy.png"]
    nothing = {"left": None, "right": None, "top": None, "bottom": None}
    assert found == {
        "file": "backs/buoy.png", "paper_shows_mm": nothing, "art_cut_mm": nothing | {"top": 5.0},
        "uneven_mm": nothing | {"top": 1.5, "bottom": 9.0}, "neighbour_shows_mm": nothing | {"bottom": 0.0},
        "leeway_mm": 0.0}
    assert main(["leeway", str(folder), "--method", "fronts-only"]) == 2
    assert "prints no backs" in capsys.readouterr().err


def test_no_back_is_missed_where_none_is_printed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path in (folder / "backs").iterdir():
        path.unlink()
    for method, missed in (("duplex", True), ("fronts-only", False)):
        main(["check", str(folder), "--method", method])
        assert ("no back" in capsys.readouterr().out) == missed
