"""``test-sheet``, ``fit``, ``nudge`` and ``build --printer`` as they are run: text, JSON, files and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image

from server.cli import main
from server.core.gauge_sheet import station_points
from server.core.sizes import paper_named

KEYS = ["dx_mm", "dy_mm", "rotation_deg", "scale_x", "scale_y", "rms_mm", "sheets", "wander_mm", "confidence",
        "suspect"]


def write(path: Path, *rows: str) -> Path:
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    """Five sheets, shifted 1.2 right and 0.8 low, each a little elsewhere."""
    rows = [f"{sheet},{station},{1.2 + off:.1f},{0.8 - off:.1f}"
            for sheet, off in enumerate((-0.2, -0.1, 0.0, 0.1, 0.2), 1) for station in range(1, 6)]
    return write(tmp_path / "readings.csv", "sheet,station,dx_mm,dy_mm", *rows)


def values(capsys, *arguments: object) -> dict:
    capsys.readouterr()
    assert main([str(argument) for argument in arguments]) == 0
    return json.loads(capsys.readouterr().out)


def refused(capsys, *arguments: object) -> str:
    capsys.readouterr()
    assert main([str(argument) for argument in arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    return said.err


def test_fit_as_json(readings, capsys):
    found = values(capsys, "fit", readings, "--json")
    assert list(found) == KEYS
    assert (found["dx_mm"], found["dy_mm"], found["rotation_deg"]) == pytest.approx((1.2, 0.8, 0.0), abs=1e-6)
    assert (found["scale_x"], found["scale_y"], found["sheets"]) == pytest.approx((1.0, 1.0, 5), abs=1e-6)
    assert found["confidence"] == 0.95 and found["suspect"] == []
    # by hand: both axes have the standard deviation 0.1 sqrt(10 / 4); 3.313 is a radius' factor for 5 sheets
    # that were read in steps, and steps of 0.1 leave 0.1 / sqrt(12) unknown (JCGM 100:2008, F.2.2.1)
    assert found["wander_mm"] == pytest.approx(3.313 * (2 * 0.025 + 2 * 0.1**2 / 12) ** 0.5, abs=0.002)


def test_half_a_reading_is_taken(tmp_path, readings, capsys):
    """Read in one axis only, a station still counts: the drift stays what it was, from numpy's least squares."""
    rows = readings.read_text(encoding="utf-8").splitlines()
    rows[3] = ",".join([*rows[3].split(",")[:3], ""])
    rows[9] = ",".join([*rows[9].split(",")[:2], "", rows[9].split(",")[3]])
    found = values(capsys, "fit", write(tmp_path / "half.csv", *rows), "--json")
    unknowns, numbers = [], []
    points = station_points(paper_named("a4"))
    for sheet, station, dx, dy in (row.split(",") for row in rows[1:]):
        x, y = points[int(station)][0] - 105, points[int(station)][1] - 148.5
        number = int(sheet) - 1  # each sheet has a shift of its own; turn and scale are shared here
        for axis, text in ((0, dx), (1, dy)):
            if text:
                own = [0.0] * 10
                own[2 * number + axis] = 1.0
                unknowns.append([*own, *((x, -y) if axis == 0 else (y, x))])
                numbers.append(float(text))
    solved = np.linalg.lstsq(np.array(unknowns), np.array(numbers), rcond=None)[0]
    assert found["dx_mm"] == pytest.approx(np.mean(solved[0:10:2]), abs=0.005)
    assert found["dy_mm"] == pytest.approx(np.mean(solved[1:10:2]), abs=0.005)
    assert found["sheets"] == 5 and found["suspect"] == []


def test_fit_names_a_slip(tmp_path, readings, capsys):
    rows = readings.read_text(encoding="utf-8").splitlines()
    rows[8] = "2,3,-1.1,0.9"
    found = values(capsys, "fit", write(tmp_path / "slip.csv", *rows), "--json")
    suspect, = found["suspect"]
    assert (suspect["sheet"], suspect["station"], suspect["fits_dx_mm"]) == ("2", 3, 1.1)
    assert suspect["why"] == "the sign of dx"
    assert main(["fit", str(tmp_path / "slip.csv")]) == 0
    said = capsys.readouterr().out
    assert "Sheet 2, station 3: -1.1, 0.9 mm does not fit" in said and "(left out)" in said


def test_one_sheet_cannot_know_its_wander(tmp_path, capsys):
    table = write(tmp_path / "one.csv", "sheet,station,dx_mm,dy_mm", "1,1,1,0", "1,2,1,0", "1,4,1,0")
    found = values(capsys, "fit", table, "--json")
    assert found["wander_mm"] is None and found["confidence"] is None and found["sheets"] == 1
    assert main(["fit", str(table)]) == 0
    assert "One sheet can't show" in capsys.readouterr().out


def test_points_anywhere_and_other_paper(tmp_path, capsys):
    table = write(tmp_path / "p.csv", "sheet,x_in,y_in,dx_in,dy_in", "1,1,1,0.04,0", "1,7,1,0.04,0", "1,1,9,0.04,0")
    found = values(capsys, "fit", table, "--paper", "letter", "--json")
    assert (found["dx_mm"], found["dy_mm"]) == pytest.approx((1.016, 0.0), abs=1e-6)


def test_the_plain_way(tmp_path, capsys):
    found = values(capsys, "fit", "--shift", "1.2 right 0.8 low", "--json", "--out", tmp_path / "p.json")
    assert (found["dx_mm"], found["dy_mm"], found["sheets"]) == (1.2, 0.8, 0)
    assert found["rms_mm"] is None and found["wander_mm"] is None
    kept = json.loads((tmp_path / "p.json").read_text(encoding="utf-8"))
    assert kept["name"] == "p" and kept["drift"]["dx_mm"] == 1.2


def test_the_printers_file_holds_what_was_said(tmp_path, readings, capsys):
    out = tmp_path / "office.json"
    values(capsys, "fit", readings, "--json", "--out", out, "--name", "Office", "--feed", "tray 2", "--margin",
           "4,4,4,14", "--ruler", "189.62x269.19")
    kept = json.loads(out.read_text(encoding="utf-8"))
    assert (kept["name"], kept["paper"], kept["flip"], kept["feed"]) == ("Office", "a4", "long-edge", "tray 2")
    assert kept["margins_mm"] == {"left": 4.0, "top": 4.0, "right": 4.0, "bottom": 14.0}
    assert kept["front_scale"] == pytest.approx({"x": 0.998, "y": 0.997})
    assert len(kept["readings"]) == 25 and kept["wander"]["sheets"] == 5


@pytest.mark.parametrize(("arguments", "says"), [
    ((), "give either readings or --shift"), (("{csv}", "--shift", "1,1"), "give either readings or --shift"),
    (("gone.csv",), "gone.csv can't be read"), (("{csv}", "--paper", "a11"), "a11"),
    (("{csv}", "--out", "{csv}"), "would be lost"), (("--shift", "far"), "'far' is no pair"),
    (("--shift", "40,0", "--out", "{tmp}/x.json"), "shift: 40 mm is more than"),
    (("--shift", "40 right"), "shift: 40 mm is more than"),
    (("{csv}", "--out", "{tmp}/x.json", "--margin", "1,2"), "--margin: '1,2'"),
    (("{csv}", "--out", "{tmp}/x.json", "--ruler", "100x100"), "--ruler: 100 × 100 mm"),
])
def test_what_fit_refuses(tmp_path, readings, capsys, arguments, says):
    given = [one.format(csv=readings, tmp=tmp_path) for one in arguments]
    assert says in refused(capsys, "fit", *given)
    assert not (tmp_path / "x.json").exists()


def test_collinear_stations_have_a_way_out(tmp_path, capsys):
    table = write(tmp_path / "line.csv", "sheet,station,dx_mm,dy_mm", "1,1,1,0", "1,3,1,0", "1,5,1,0")
    said = refused(capsys, "fit", table)
    assert "from one line" in said and "plain shift" in said


@pytest.mark.parametrize("paper", ["a4", "letter", "a5", "a3"])
@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
def test_the_test_sheet_is_two_pages_that_ask_for_the_flip(tmp_path, capsys, paper, flip):
    out = tmp_path / "sheet.pdf"
    assert main(["test-sheet", "--paper", paper, "--flip", flip, "--out", str(out)]) == 0
    size = paper_named(paper)
    with pikepdf.open(out) as pdf:
        assert len(pdf.pages) == 2
        for page in pdf.pages:
            # 1 in = 25.4 mm = 72 units
            assert [float(side) for side in page.mediabox[2:]] == pytest.approx(
                [size.width_mm / 25.4 * 72, size.height_mm / 25.4 * 72], abs=0.01)
        preferences = pdf.Root.ViewerPreferences
        assert str(preferences.Duplex) == ("/DuplexFlipLongEdge" if flip == "long-edge" else "/DuplexFlipShortEdge")
        assert str(preferences.PrintScaling) == "/None"
    first = out.read_bytes()
    assert main(["test-sheet", "--paper", paper, "--flip", flip, "--out", str(out)]) == 0
    assert out.read_bytes() == first


def test_a_confirming_sheet_takes_paper_and_flip_from_the_printer(tmp_path, capsys):
    printer, out = tmp_path / "p.json", tmp_path / "c.pdf"
    assert main(["fit", "--shift", "1,0", "--paper", "letter", "--flip", "short-edge", "--out", str(printer)]) == 0
    assert main(["test-sheet", "--printer", str(printer), "--out", str(out)]) == 0
    assert "Letter, flip on the short edge, corrected" in capsys.readouterr().out
    assert "Letter" in refused(capsys, "test-sheet", "--printer", printer, "--paper", "a4", "--out", out)


def test_too_small_paper_names_the_option(tmp_path, capsys):
    assert "--paper: 100 × 150 mm is too small" in refused(capsys, "test-sheet", "--paper", "100x150")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("fronts", "backs"):
        (tmp_path / "deck" / name).mkdir(parents=True)
        Image.new("RGB", (630, 880), (90, 90, 140)).save(tmp_path / "deck" / name / "lamp.png")
    return tmp_path / "deck"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_build_for_a_printer(tmp_path, folder, capsys, paper):
    printer, plan = tmp_path / "office.json", tmp_path / "plan.json"
    assert main(["fit", "--shift", "1.2,0.8", "--paper", paper, "--name", "Office", "--out", str(printer)]) == 0
    found = values(capsys, "build", folder, "--printer", printer, "--out", tmp_path / "d.pdf", "--plan", plan, "--json")
    assert found["paper"] == paper  # the printer's own where the command names none
    made = json.loads(plan.read_text(encoding="utf-8"))
    # Lands 1.2 mm right and 0.8 low through the front, so on its own page the back goes 1.2 mm right and 0.8 up.
    assert made["back_correction"] == pytest.approx([1, 0, 0, 1, 1.2, -0.8], abs=1e-9)
    assert made["front_correction"] == [1, 0, 0, 1, 0, 0]
    assert made["printer_note"].startswith("made for Office, trued up 20")
    assert any(problem["code"] == "made-for" for problem in found["problems"])


def test_build_refuses_a_printer_for_another_flip(tmp_path, folder, capsys):
    printer = tmp_path / "office.json"
    assert main(["fit", "--shift", "1.2,0.8", "--out", str(printer)]) == 0
    said = refused(capsys, "build", folder, "--printer", printer, "--flip", "short-edge", "--out", tmp_path / "d.pdf")
    assert "measured with a flip on the long edge" in said
    broken = write(tmp_path / "broken.json", "{")
    assert "--printer: " in refused(capsys, "build", folder, "--printer", broken, "--out", tmp_path / "d.pdf")
    assert not (tmp_path / "d.pdf").exists()


def test_nudge(tmp_path, folder, capsys):
    printer, made, out = tmp_path / "p.json", tmp_path / "d.pdf", tmp_path / "n.pdf"
    assert main(["fit", "--shift", "1,0", "--out", str(printer)]) == 0
    assert main(["build", str(folder), "--out", str(made)]) == 0
    found = values(capsys, "nudge", made, "--printer", printer, "--out", out, "--json")
    assert found == {"pdf": str(out), "pages": 2, "moved": [2], "warnings": []}
    with pikepdf.open(out) as pdf:
        assert pdf.pages[1].Contents[0].read_bytes().split()[4:5] == [b"2.834645669"]  # 1 mm to the right on its page
    found = values(capsys, "nudge", made, "--printer", printer, "--backs", "1-2", "--out", out, "--json")
    assert found["moved"] == [1, 2]
    assert "no page 3" in refused(capsys, "nudge", made, "--printer", printer, "--backs", "3", "--out", out)
    assert "would be lost" in refused(capsys, "nudge", made, "--printer", printer, "--out", made)
    assert "isn't there" in refused(capsys, "nudge", tmp_path / "no.pdf", "--printer", printer, "--out", out)


def test_stations_are_where_the_readings_are_placed():
    assert station_points(paper_named("a4")) == {
        1: (31.0, 31.0), 2: (179.0, 31.0), 3: (105.0, 148.5), 4: (31.0, 266.0), 5: (179.0, 266.0),
        6: (105.0, 31.0), 7: (31.0, 148.5), 8: (179.0, 148.5), 9: (105.0, 266.0)}
