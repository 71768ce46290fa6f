"""A deck's printed sheet, photographed against the light by the virtual photographer: how far it is off is read."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw

from server.cli import main
from server.commands.read import _lines
from server.core.sighting import SheetSight, Sight, off_of, sheets_csv
from tests.photographer import Conditions, drift_at, faces, photograph

DRIFT = (0.5, -0.7, 0.15, 1.001, 0.999)
HOW = Conditions(drift=DRIFT, megapixels=3.5, turn=23.0, tilt=12.0, tilt_way=40.0, exposed=99.0, seed=5)
# (method, options, how the back comes behind the front: two sheets lie as after a turn about the upright edge)
SHEETS = {
    "long edge, portrait": ("duplex", ["--flip", "long-edge", "--arrangement", "portrait"], "long-edge"),
    "short edge, portrait": ("duplex", ["--flip", "short-edge", "--arrangement", "portrait"], "short-edge"),
    "long edge, landscape": ("duplex", ["--flip", "long-edge", "--arrangement", "landscape"], "long-edge"),
    "short edge, landscape": ("duplex", ["--flip", "short-edge", "--arrangement", "landscape"], "short-edge"),
    "two sheets, portrait": ("two-sheet", ["--arrangement", "portrait"], "long-edge"),
    "two sheets, landscape": ("two-sheet", ["--arrangement", "landscape"], "long-edge"),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve cards with blobs, lines and a dark ground, as art has them."""
    made = tmp_path_factory.mktemp("tides")
    rng = np.random.default_rng(3)
    for side, ground in (("fronts", (40, 46, 70)), ("backs", (225, 205, 160))):
        (made / side).mkdir()
        for number in range(4):
            picture = Image.new("RGB", (300, 414), ground)
            draw = ImageDraw.Draw(picture)
            for _ in range(60):
                x, y, r = (int(rng.integers(*span)) for span in ((0, 300), (0, 414), (2, 14)))
                draw.ellipse((x - r, y - r, x + r, y + r), fill=tuple(int(one) for one in rng.integers(0, 255, 3)))
            picture.save(made / side / f"tide_{number}_x3.png")
    return made


def run(*arguments: object) -> int:
    return main([str(argument) for argument in arguments])


def built(folder: Path, out: Path, method: str, *options: object) -> dict[str, Any]:
    assert run("build", folder, "--card", "38x56", "--method", method, "--out", out / "deck.pdf",
               "--plan", out / "plan.json", *options) == 0
    plan: dict[str, Any] = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    return plan


def read(out: Path, flip: str, how: Conditions, capsys: pytest.CaptureFixture[str], *options: object,
         turned: bool = False) -> tuple[int, dict[str, Any]]:
    front, back = faces(out / "deck.pdf", flip)
    (out / "window.jpg").write_bytes(photograph(front, back[::-1, ::-1] if turned else back, how).jpeg)
    capsys.readouterr()
    code = run("read", out / "window.jpg", "--json", *options)
    sheet, = json.loads(capsys.readouterr().out)["sheets"]
    return code, sheet


def errors(sheet: dict[str, Any], plan: dict[str, Any], drift: tuple[float, float, float, float, float]) -> np.ndarray:
    at = {one["station"]: one["through_front"] for one in plan["pages"][0]["marks"] if one["kind"] == "camera"}
    size = plan["paper"]["width"], plan["paper"]["height"]
    read = [one for one in sheet["stations"] if one["read"]]
    true = drift_at(drift, size, np.array([at[one["station"]] for one in read]))
    return np.array([(one["dx_mm"], one["dy_mm"]) for one in read]) - true


@pytest.mark.parametrize("case", SHEETS)
def test_a_printed_sheet_tells_how_far_it_is_off(case: str, folder: Path, tmp_path: Path,
                                                 capsys: pytest.CaptureFixture[str]) -> None:
    method, options, flip = SHEETS[case]
    plan = built(folder, tmp_path, method, "--paper", "a5", *options)
    assert plan["arrangement"] in options
    code, sheet = read(tmp_path, flip, HOW, capsys, "--deck", tmp_path / "plan.json")
    assert code == 0 and sheet["kind"] == "deck sheet" and not sheet["problems"]
    marks = [one for one in plan["pages"][0]["marks"] if one["kind"] == "camera"]
    assert len(sheet["stations"]) == len(marks) >= 2 and all(one["read"] for one in sheet["stations"])
    assert np.hypot(*errors(sheet, plan, DRIFT).T).max() < 0.05
    assert (sheet["off"]["dx_mm"], sheet["off"]["dy_mm"]) == pytest.approx(DRIFT[:2], abs=0.05)
    assert sheet["off"]["rotation_deg"] == pytest.approx(DRIFT[2], abs=0.03)
    if case == "long edge, portrait":
        code, sheet = read(tmp_path, flip, HOW, capsys, turned=True)
        assert code == 1 and [one["code"] for one in sheet["problems"]] == ["wrong-flip"]


def test_without_the_plan_and_what_a_correction_leaves(folder: Path, tmp_path: Path,
                                                       capsys: pytest.CaptureFixture[str]) -> None:
    """The back's mark is drawn through the correction as the art is: what is read is what is left over of the drift."""
    rows = "".join(f"1,{station},1.2,-0.9\n" for station in range(1, 6))
    (tmp_path / "r.csv").write_text(f"sheet,station,dx_mm,dy_mm\n{rows}", encoding="utf-8")
    assert run("fit", tmp_path / "r.csv", "--paper", "a5", "--out", tmp_path / "p.json") == 0
    plan = built(folder, tmp_path, "duplex", "--paper", "a5", "--printer", tmp_path / "p.json")
    how = replace(HOW, drift=(1.5, -1.0, 0.0, 1.0, 1.0))
    code, sheet = read(tmp_path, "long-edge", how, capsys, "--picture", tmp_path / "seen.png")
    assert code == 0 and sheet["kind"] == "deck sheet"
    assert np.hypot(*errors(sheet, plan, (0.3, -0.1, 0.0, 1.0, 1.0)).T).max() < 0.05
    seen = cv2.imread(str(tmp_path / "seen.png"))
    assert seen is not None and (seen == (120, 110, 20)).all(axis=2).sum() > 200  # rings drawn round what was read
    assert run("read", tmp_path / "window.jpg", "--out", tmp_path / "x.csv") == 2  # no test sheet: nothing to fit
    said = " ".join(capsys.readouterr().out.split())
    assert "4 of 4 marks read" in said and "mm right and" in said and "mm high" in said
    # With a corner covered a turned sheet is still told at the middle between its marks, not at the mean of three.
    mark = next(one for one in plan["pages"][0]["marks"] if one["kind"] == "camera")
    how = replace(how, drift=(1.5, -1.0, 0.4, 1.0, 1.0), finger=(*mark["through_front"], 6.0))
    _, sheet = read(tmp_path, "long-edge", how, capsys)
    assert sum(one["read"] for one in sheet["stations"]) == 3
    assert (sheet["off"]["dx_mm"], sheet["off"]["dy_mm"]) == pytest.approx((0.3, -0.1), abs=0.05)


def test_its_numbers_in_words_and_never_as_a_test_sheets() -> None:
    sights = tuple(Sight(number, at, 0.3, -0.1 + off, 0.01) for number, at, off in
                   ((1, (10.0, 10.0), 0.0), (2, (110.0, 10.0), 0.1), (4, (10.0, 210.0), 0.0)))
    sheet = SheetSight("a.jpg", sights, (), "deck sheet", off_of(sights, (60.0, 110.0)))
    assert sheets_csv([sheet]) == "sheet,station,dx_mm,dy_mm\n"
    said = " ".join(" ".join(_lines([sheet], True)).split())
    assert "deck sheet, 3 of 3 marks read" in said and "the back lands" in said and "the middle of the sheet" in said
    assert "told at the middle between its marks" in " ".join(" ".join(_lines([sheet], False)).split())
    two, one = off_of(sights[:2], (60.0, 10.0)), off_of(sights[:1], (60.0, 110.0))
    assert two and (two.dx_mm, two.dy_mm, two.scale) == (pytest.approx(0.3), pytest.approx(-0.05), None)
    assert two.rotation_deg == pytest.approx(math.degrees(0.001), rel=0.01)  # right end lower: clockwise
    assert one and one.rotation_deg is None and off_of((), (60.0, 110.0)) is None


@pytest.mark.parametrize(("options", "note"), [
    (["--no-camera-marks"], False), (["--back-flood", "#102030"], True), (["--card", "141x203", "--paper", "a5"], True),
    (["--method", "vertical-fold"], False),
])
def test_a_sheet_without_marks_says_so(folder: Path, tmp_path: Path, options: list[str], note: bool,
                                       capsys: pytest.CaptureFixture[str]) -> None:
    plan = built(folder, tmp_path, "duplex", "--margin", "0", *options)
    assert not [one for page in plan["pages"] for one in page["marks"] if one["kind"] == "camera"]
    assert ("marks that a photograph is read by" in " ".join(capsys.readouterr().out.split())) == note
    assert run("read", tmp_path / "plan.json", "--deck", tmp_path / "plan.json") == 2
    assert "no marks for a photograph" in capsys.readouterr().err
