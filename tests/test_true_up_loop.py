"""The loop closed: print the test sheet, read it at the light, fit, print the cards, and backs meet their fronts."""

from __future__ import annotations

import json
import math
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path

import numpy as np
import pikepdf
import pytest

import server.cli as cli
import server.core.methods.duplex as duplex
import server.core.registration as registration
from server.cli import main
from server.core.geometry import Affine
from server.core.plan import Flip, SheetPlan
from server.core.registration import correction, fit
from server.drawing import nudge
from tests.virtual_printer import Error, Sheet, by_middles, by_vernier, misfits, pages, print_sheet

PPI = 200.0
DISC_MM = 4.0
SHEETS = 5
WITHIN_MM = 0.15
FIRST = Error(0.4, -0.3, 0.1, 0.998)  # the front's own pass
# (flip, arrangement, the back's pass): shift to 3 mm, turn to half a degree, scale 0.99 to 1.01
CASES = {
    "long edge, portrait": ("long-edge", "portrait", Error(2.1, -1.4, 0.5, 1.003)),
    "short edge, portrait": ("short-edge", "portrait", Error(-1.2, 1.7, -0.3, 0.99)),
    "long edge, landscape": ("long-edge", "landscape", Error(-0.5, 2.0, -0.4, 1.01)),
    "short edge, landscape": ("short-edge", "landscape", Error(3.0, 0.6, 0.2, 0.997)),
}


def discs_pdf(path: Path, size_mm: tuple[float, float], *pages_mm: tuple[tuple[float, float], ...]) -> Path:
    """A PDF by pikepdf with discs of 4 mm around points in mm; vector, since pdfium lays turned pictures roughly."""
    pdf, k = pikepdf.new(), 72 / 25.4
    for spots in pages_mm:
        parts = []
        for x, y in spots:
            u, v, r, h = x * k, (size_mm[1] - y) * k, 2 * k, 2 * k * 0.5522847  # a quarter circle as a Bézier curve
            parts.append(f"{u + r} {v} m {u + r} {v + h} {u + h} {v + r} {u} {v + r} c {u - h} {v + r} {u - r} {v + h} "
                         f"{u - r} {v} c {u - r} {v - h} {u - h} {v - r} {u} {v - r} c {u + h} {v - r} {u + r} {v - h} "
                         f"{u + r} {v} c f")
        page = pdf.add_blank_page(page_size=(size_mm[0] * k, size_mm[1] * k))
        page.Contents = pdf.make_stream("\n".join(parts).encode())
    pdf.save(path)
    return path


@pytest.fixture(scope="module")
def deck(tmp_path_factory) -> Path:
    """Four cards of 44 x 63 mm, each face with a disc in its middle and two more off it.

    Against the light a card's left edge lies behind its own right edge, so the backs' discs are mirrored.
    """
    folder = tmp_path_factory.mktemp("deck")
    spots = ((22.0, 31.5), (10.0, 12.0), (32.0, 50.0))
    for name in ("fronts", "backs"):
        (folder / name).mkdir()
        seen = spots if name == "fronts" else tuple((44.0 - x, y) for x, y in spots)
        for number in range(4):
            discs_pdf(folder / name / f"lamp_{number}.pdf", (44.0, 63.0), seen)
    return folder


def run(*arguments: object) -> None:
    assert main([str(argument) for argument in arguments]) == 0


def wandering(error: Error, rng: np.random.Generator) -> tuple[Error, float]:
    """The pass of one sheet, and how far its own wander moves any point of an A5 sheet."""
    right, down, turn = rng.normal(0, 0.06), rng.normal(0, 0.06), rng.normal(0, 0.02)
    return error.plus(right, down, turn), math.hypot(right, down) + math.radians(abs(turn)) * 128.0


def read_sheets(tmp: Path, flip: str, error: Error, how: str = "vernier", *extra: object) -> Path:
    """Print the test sheet several times, hold each to the light, and write down what is seen."""
    run("test-sheet", "--paper", "a5", "--flip", flip, "--out", tmp / "sheet.pdf", *extra)
    front, back = pages(tmp / "sheet.pdf", PPI)
    rng = np.random.default_rng(7)
    rows = []
    for number in range(1, SHEETS + 1):
        sheet = print_sheet(front, back, flip, FIRST, wandering(error, rng)[0], PPI)
        if how == "vernier":
            rows += [f"{number},{station},{dx:.1f},{dy:.1f}"
                     for station, (dx, dy) in enumerate(by_vernier(sheet), 1)]
        else:
            rows += [f"{number},{x:.2f},{y:.2f},{dx:.2f},{dy:.2f}" for x, y, dx, dy in by_middles(sheet)]
    heading = "sheet,station,dx_mm,dy_mm" if how == "vernier" else "sheet,x_mm,y_mm,dx_mm,dy_mm"
    table = tmp / "readings.csv"
    table.write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
    return table


def fitted(tmp: Path, table: Path, flip: str) -> Path:
    run("fit", table, "--paper", "a5", "--flip", flip, "--out", tmp / "printer.json", "--json")
    return tmp / "printer.json"


def built(tmp: Path, deck: Path, flip: str, arrangement: str, *extra: object) -> list[np.ndarray]:
    run("build", deck, "--card", "44x63", "--paper", "a5", "--flip", flip, "--arrangement", arrangement, "--edges",
        "none", "--bleed", "0", "--out", tmp / "cards.pdf", "--json", *extra)
    return pages(tmp / "cards.pdf", PPI)


def worst(faces: list[np.ndarray], flip: str, error: Error) -> float:
    sheet: Sheet = print_sheet(faces[0], faces[1], flip, FIRST, error, PPI)
    return float(misfits(sheet, DISC_MM).max())


@pytest.fixture(scope="module")
def readings(tmp_path_factory) -> dict[str, Path]:
    """What was read for each case; the printing and reading is done once."""
    found = {}
    for name, (flip, _, error) in CASES.items():
        tmp = tmp_path_factory.mktemp("read")
        found[name] = read_sheets(tmp, flip, error, "middles" if name == "long edge, landscape" else "vernier")
    return found


@pytest.mark.parametrize("case", CASES)
def test_every_back_lands_on_its_front(tmp_path, deck, readings, case, capsys):
    flip, arrangement, error = CASES[case]
    plain = built(tmp_path, deck, flip, arrangement)
    assert worst(plain, flip, error) > 1.5
    printer = fitted(tmp_path, readings[case], flip)
    faces = built(tmp_path, deck, flip, arrangement, "--printer", printer)
    assert worst(faces, flip, error) <= WITHIN_MM
    rng = np.random.default_rng(99)
    for _ in range(2):  # further sheets wander as the printer does
        second, wander = wandering(error, rng)
        assert worst(faces, flip, second) <= WITHIN_MM + wander


def test_signs_are_those_that_the_light_shows(tmp_path, capsys):
    """A pass 1.2 mm to the left of the back's own side lies 1.2 mm to the right through the front; down stays down."""
    table = read_sheets(tmp_path, "long-edge", Error(-1.2 - 0.4, 0.8 - 0.3))
    capsys.readouterr()
    run("fit", table, "--paper", "a5", "--json")
    found = json.loads(capsys.readouterr().out)
    assert (found["dx_mm"], found["dy_mm"]) == pytest.approx((1.2, 0.8), abs=0.1)
    assert found["sheets"] == SHEETS and found["confidence"] == 0.95 and 0 < found["wander_mm"] < 1.0
    assert found["suspect"] == []


def test_a_confirming_sheet_shows_that_the_drift_is_gone(tmp_path, readings, capsys):
    flip, _, error = CASES["short edge, portrait"]
    printer = fitted(tmp_path, readings["short edge, portrait"], flip)
    table = read_sheets(tmp_path, flip, error, "middles", "--printer", printer)
    capsys.readouterr()
    run("fit", table, "--paper", "a5", "--flip", flip, "--json")
    left = json.loads(capsys.readouterr().out)
    assert math.hypot(left["dx_mm"], left["dy_mm"]) < WITHIN_MM
    assert abs(left["rotation_deg"]) < 0.05 and abs(left["scale_x"] - 1) < 0.001


def two_pages(path: Path) -> Path:
    """Two A5 pages by pikepdf; the back's discs are meant to lie behind the front's after a long-edge flip."""
    spots = ((30.0, 30.0), (118.0, 30.0), (74.0, 105.0), (30.0, 180.0), (118.0, 180.0))
    return discs_pdf(path, (148.0, 210.0), spots, tuple((148.0 - x, y) for x, y in spots))


def test_a_file_from_another_library_is_nudged_into_place(tmp_path, readings, capsys):
    flip, _, error = CASES["long edge, portrait"]
    source = two_pages(tmp_path / "other.pdf")
    assert worst(pages(source, PPI), flip, error) > 1.5
    printer = fitted(tmp_path, readings["long edge, portrait"], flip)
    run("nudge", source, "--printer", printer, "--out", tmp_path / "nudged.pdf")
    assert worst(pages(tmp_path / "nudged.pdf", PPI), flip, error) <= WITHIN_MM


def _of(result: Affine, **changes: float) -> Affine:
    return replace(result, **changes)


# Each turns one sign, order or flip in the code. What stands here is (object, name, what takes its place).
MUTANTS = {
    "the drift, not its inverse": (correction, "back_correction", lambda old: lambda drift, through:
        through.affine.after(drift.matrix).after(through.affine)),
    "the front's frame, not the back's": (correction, "back_correction", lambda old: lambda drift, through:
        drift.matrix.inverse()),
    "the other flip's frame": (correction, "back_correction", lambda old: lambda drift, through: old(
        drift, replace(through, axis="horizontal" if through.axis == "vertical" else "vertical"))),
    "the turn's sign": (fit, "similarity", lambda old: lambda points, landed: (
        lambda m: _of(m, b=-m.b, c=-m.c))(old(points, landed))),
    "the scale upside down": (fit, "similarity", lambda old: lambda points, landed: (
        lambda m: _of(m, a=2 - m.a, d=2 - m.d))(old(points, landed))),
    "the sign of dx": (registration, "parse_readings", lambda old: lambda *given: tuple(
        replace(one, dx_mm=-one.dx_mm) for one in old(*given))),
    "the sign of dy": (registration, "parse_readings", lambda old: lambda *given: tuple(
        replace(one, dy_mm=-one.dy_mm) for one in old(*given))),
    "dx and dy changed": (registration, "parse_readings", lambda old: lambda *given: tuple(
        replace(one, dx_mm=one.dy_mm, dy_mm=one.dx_mm) for one in old(*given))),
    "stations from the bottom up": (registration, "parse_readings", lambda old: lambda *given: tuple(
        replace(one, y_mm=210 - one.y_mm) for one in old(*given))),
    "the correction on the front": (SheetPlan, "correction", lambda old: lambda self, face:
        self.front_correction if face.name == "back" else self.back_correction),
    "no correction drawn": (SheetPlan, "correction", lambda old: lambda self, face: Affine()),
    "the plan's flip": (duplex, "turn_of", lambda old: lambda flip, paper:
        old("long-edge" if flip == "short-edge" else "short-edge", paper)),
}


@pytest.mark.parametrize("mutant", MUTANTS)
@pytest.mark.parametrize("case", ["long edge, portrait", "short edge, landscape"])
def test_any_sign_or_flip_turned_breaks_the_loop(tmp_path, deck, readings, monkeypatch, case, mutant, capsys):
    where, name, make = MUTANTS[mutant]
    monkeypatch.setattr(where, name, make(getattr(where, name)))
    flip, arrangement, error = CASES[case]
    try:
        printer = fitted(tmp_path, readings[case], flip)
        faces = built(tmp_path, deck, flip, arrangement, "--printer", printer)
        left = worst(faces, flip, error)
    except AssertionError:  # refused, or no back near its front: noticed as well
        left = math.inf
    assert left > WITHIN_MM


@pytest.mark.parametrize("how", ["not mirrored", "wrong flip"])
def test_a_test_sheet_whose_back_is_turned_wrongly_breaks_the_loop(tmp_path, monkeypatch, how, capsys):
    from server.drawing import gauge_sheet as drawing

    right = duplex.turn_of
    other: dict[str, Flip] = {"long-edge": "short-edge", "short-edge": "long-edge"}

    class Plain:
        axis, affine = "vertical", Affine()

        def __call__(self, point):
            return point

    wrong = (lambda flip, paper: Plain()) if how == "not mirrored" \
        else (lambda flip, paper: right(other[flip], paper))
    monkeypatch.setattr(drawing, "turn_of", wrong)
    flip, _, error = CASES["long edge, portrait"]
    with pytest.raises(AssertionError):
        table = read_sheets(tmp_path, flip, error)
        printer = fitted(tmp_path, table, flip)
        run("nudge", two_pages(tmp_path / "other.pdf"), "--printer", printer, "--out", tmp_path / "nudged.pdf")
        assert worst(pages(tmp_path / "nudged.pdf", PPI), flip, error) <= WITHIN_MM


@pytest.mark.parametrize("mutant", ["inverse left out", "front's frame"])
def test_nudge_with_a_sign_turned_breaks_its_loop(tmp_path, readings, monkeypatch, mutant, capsys):
    wrong = (lambda drift, turn: turn.affine.after(drift.matrix).after(turn.affine)) if mutant == "inverse left out" \
        else (lambda drift, turn: drift.matrix.inverse())
    monkeypatch.setattr(nudge, "back_correction", wrong)
    monkeypatch.setattr(cli, "elsewhere", lambda place: nullcontext())  # a worker wouldn't know of the mutant
    flip, _, error = CASES["long edge, portrait"]
    printer = fitted(tmp_path, readings["long edge, portrait"], flip)
    run("nudge", two_pages(tmp_path / "other.pdf"), "--printer", printer, "--out", tmp_path / "nudged.pdf")
    assert worst(pages(tmp_path / "nudged.pdf", PPI), flip, error) > WITHIN_MM
