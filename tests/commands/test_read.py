"""``lampfold read`` as it is run: text, JSON, CSV for ``fit``, the drawn picture, scans, and what is refused."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from server.cli import main
from server.photo import reading
from tests.photo.conftest import Faces, a4
from tests.photographer import Conditions, drift_at, photograph

__all__ = ["a4"]

HOW = Conditions(drift=(1.3, -0.8, 0.25, 1.002, 0.998), megapixels=3.0, turn=184.0, seed=21)


@pytest.fixture(scope="session")
def shot(a4: Faces, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shot") / "window.jpg"
    path.write_bytes(photograph(*a4, HOW).jpeg)
    return path


def run(*arguments: object) -> int:
    return main([str(argument) for argument in arguments])


def test_from_a_photograph_to_a_printer(shot: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, drawn, printer = tmp_path / "r.csv", tmp_path / "seen.png", tmp_path / "p.json"
    assert run("read", shot, "--out", table, "--picture", drawn) == 0
    assert "9 of 9 stations read" in capsys.readouterr().out
    assert table.read_text(encoding="utf-8").startswith("sheet,station,dx_mm,dy_mm\n1,1,")
    with Image.open(drawn) as picture:
        assert picture.format == "PNG" and max(picture.size) == 1600
        colours = picture.convert("RGB").getcolors(1 << 24)
        assert colours and {(20, 110, 120), (230, 110, 20)} <= {colour for _, colour in colours}
    assert run("fit", table, "--json", "--out", printer) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["dx_mm"], found["dy_mm"]) == pytest.approx((1.3, -0.8), abs=0.05)
    assert found["rotation_deg"] == pytest.approx(0.25, abs=0.02)
    assert (found["scale_x"], found["scale_y"]) == pytest.approx((1.002, 0.998), abs=3e-4) and not found["suspect"]


def test_json_has_every_station(shot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("read", shot, shot, "--json") == 0
    sheets = json.loads(capsys.readouterr().out)["sheets"]
    assert [sheet["photo"] for sheet in sheets] == [str(shot)] * 2 and sheets[0]["problems"] == []
    assert [one["station"] for one in sheets[0]["stations"]] == list(range(1, 10))
    first = sheets[0]["stations"][0]
    assert first["read"] is True and first["why"] is None and 0 < first["sigma_mm"] < 0.05
    dx, dy = drift_at(HOW.drift, (210.0, 297.0), np.array([[31.0, 31.0]]))[0]
    assert (first["dx_mm"], first["dy_mm"]) == pytest.approx((dx, dy), abs=0.05)


def test_two_pictures_of_one_sheet_are_one_sheet(a4: Faces, shot: Path, tmp_path: Path,
                                                 capsys: pytest.CaptureFixture[str]) -> None:
    other = tmp_path / "again.webp"
    half = Image.open(io.BytesIO(photograph(*a4, replace(HOW, finger=(10.0, 30.0, 30.0), seed=22)).jpeg))
    half.save(other, quality=90)
    assert run("read", f"{other}+{shot}", "--json") == 0
    sheet, = json.loads(capsys.readouterr().out)["sheets"]
    assert all(one["read"] for one in sheet["stations"])
    assert run("read", other, "--json") == 0
    alone, = json.loads(capsys.readouterr().out)["sheets"]
    hidden, seen = alone["stations"][0], alone["stations"][1]
    assert not hidden["read"] and hidden["dx_mm"] is None and hidden["why"]
    assert sheet["stations"][1]["sigma_mm"] < seen["sigma_mm"]


def scan(ink: np.ndarray, turn: float, shift: tuple[int, int]) -> Image.Image:
    """A flatbed's scan of one side, 254 pixels an inch, a dark lid behind."""
    rng = np.random.default_rng(round(abs(turn) * 10))
    height, width = ink.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1.0)
    matrix[:, 2] += shift
    size = width + 220, height + 260
    page = cv2.warpAffine((1 - 0.85 * ink).astype(np.float32), matrix, size, borderMode=cv2.BORDER_REPLICATE)
    paper = cv2.warpAffine(np.ones_like(ink, np.float32), matrix, size)
    seen = cv2.GaussianBlur(page * paper + 0.15 * (1 - paper), (0, 0), 0.7)
    return Image.fromarray((np.clip(seen + rng.normal(0, 0.01, seen.shape), 0, 1) * 255).astype(np.uint8))


def test_two_scans_and_a_scanners_pdf(a4: Faces, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    back = cv2.warpAffine(a4[1], np.array([[1.0, 0, 12.0], [0, 1, -7.0]]), a4[1].shape[::-1])  # 1.2 right, 0.7 high
    front, behind = scan(a4[0], 0.4, (90, 110)), scan(np.ascontiguousarray(back[:, ::-1]), -0.3, (60, 140))
    front.save(tmp_path / "f.png")
    behind.rotate(180).save(tmp_path / "b.png")
    front.save(tmp_path / "both.pdf", save_all=True, append_images=[behind], resolution=254, quality=90)
    for given in (("--front", tmp_path / "f.png", "--back", tmp_path / "b.png"), (tmp_path / "both.pdf",)):
        assert run("read", *given, "--json") == 0
        sheet, = json.loads(capsys.readouterr().out)["sheets"]
        read = np.array([(one["dx_mm"], one["dy_mm"]) for one in sheet["stations"]])
        assert len(read) == 9 and np.abs(read - (1.2, -0.7)).max() < 0.12, read


@pytest.mark.parametrize(("content", "says"), [
    (b"\0\0\0\x18ftypheic" + bytes(200), "HEIC"), (b"plain words" * 20, "no picture"),
    (b"\xff\xd8\xff\xe0" + bytes(300), "damaged"),
])
def test_what_is_no_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, says: str) -> None:
    (tmp_path / "IMG_1.jpg").write_bytes(content)
    assert run("read", tmp_path / "IMG_1.jpg") == 2
    said = capsys.readouterr()
    assert says in said.err and "IMG_1.jpg" in said.err and said.out == ""


def test_a_picture_of_something_else(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Image.effect_noise((500, 400), 60).save(tmp_path / "sea.png")
    assert run("read", tmp_path / "sea.png") == 1
    assert "No test sheet is to be seen" in capsys.readouterr().out
    assert run("read", tmp_path / "sea.png", "--out", tmp_path / "r.csv") == 2
    assert not (tmp_path / "r.csv").exists()
    assert run("read") == 2 and run("read", "--front", tmp_path / "sea.png") == 2
    assert run("read", tmp_path / "gone.jpg") == 2 and "gone.jpg can't be read" in capsys.readouterr().err


def test_without_the_extra_it_says_how_to_get_it(shot: Path, monkeypatch: pytest.MonkeyPatch,
                                                 capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(reading, "find_spec", lambda name: None)
    assert run("read", shot) == 2
    assert "pip install '.[photo]'" in capsys.readouterr().err
