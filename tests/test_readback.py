"""Every placement of every method read back from the PDF by pdfium, and turned or folded as paper is.

Each card is looked for by its colour on the whole page, read coarsely, and its edges are then read at 1200 ppi in two
bands through its middle: pdfium paints a picture over every pixel that it touches, which at fewer takes up the
tolerance.

Nothing of our geometry is used here: pages are pixels, turning a sheet is a mirrored picture (section 2 of the design:
what lies at the left of a back lies at the right behind its front), folding is a mirrored half. The plan file is what
is being tested; each card's edges in the picture must be where it says, within 0.05 mm.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from PIL import Image, ImageDraw

from server.cli import main

COARSE = 100 / 25.4  # pixels to the mm
FINE = 1200 / 25.4
TOLERANCE_MM = 0.05
CARDS = 5
# One flat colour for each card and side, far apart from one another and from paper and patches.
FRONTS = [(40, 90, 90), (90, 40, 90), (90, 90, 40), (20, 60, 100), (120, 120, 180)]
BACKS = [(20, 120, 60), (120, 20, 60), (60, 20, 120), (110, 150, 30), (150, 110, 110)]
# Patches near the card's own corners: top-left, top-right, bottom-right, bottom-left.
PATCHES = [(255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 0)]
PATCH_AT = [(0.2, 0.15), (0.8, 0.15), (0.8, 0.85), (0.2, 0.85)]


def draw_card(path: Path, colour: tuple[int, int, int]) -> None:
    """630 x 880 px: a 63 x 88 mm card at ten pixels to the millimetre."""
    picture = Image.new("RGB", (630, 880), colour)
    draw = ImageDraw.Draw(picture)
    for (x, y), patch in zip(PATCH_AT, PATCHES, strict=True):
        draw.rectangle((630 * x - 60, 880 * y - 60, 630 * x + 60, 880 * y + 60), fill=patch)
    picture.save(path)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    deck = tmp_path_factory.mktemp("readback") / "deck"
    for side, colours in (("fronts", FRONTS), ("backs", BACKS)):
        (deck / side).mkdir(parents=True)
        for number, colour in enumerate(colours):
            draw_card(deck / side / f"card{number}.png", colour)
    return deck


Box = tuple[float, float, float, float]  # left, top, right, bottom in mm on the page
Colour = tuple[int, int, int]


@dataclass
class Built:
    plan: dict
    pages: list[np.ndarray]
    widths: list[float]
    heights: list[float]
    pdf: Path
    found: dict[tuple[int, Colour], Box] = field(default_factory=dict)

    def box(self, number: int, colour: Colour) -> Box:
        """Where on a page the field of that colour lies, wherever the plan says that it should."""
        if (number, colour) not in self.found:
            self.found[number, colour] = fine_box(self, number, colour)
        return self.found[number, colour]

    def around(self, number: int, box: Box) -> np.ndarray:
        """The pixels of a box of a page, at 1200 ppi."""
        with pypdfium2.PdfDocument(self.pdf) as document:
            page = document[number]
            width, height = page.get_size()
            point = 72 / 25.4
            crop = (box[0] * point, height - box[3] * point, width - box[2] * point, box[1] * point)
            return np.asarray(page.render(scale=FINE * 25.4 / 72, crop=crop).to_pil().convert("RGB"))


def build(folder: Path, out: Path, *options: str) -> Built:
    pdf, plan = out / "deck.pdf", out / "plan.json"
    assert main(["build", str(folder), "--edges", "none", "--cut-lines", "none", "--out", str(pdf), "--plan", str(plan),
                 *options]) == 0
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [np.asarray(page.render(scale=COARSE * 25.4 / 72).to_pil().convert("RGB")) for page in document]
        sizes = [page.get_size() for page in document]
    return Built(json.loads(plan.read_text(encoding="utf-8")), pages, [width * 25.4 / 72 for width, _ in sizes],
                 [height * 25.4 / 72 for _, height in sizes], pdf)


def near(pixels: np.ndarray, colour: Colour) -> np.ndarray:
    return np.all([np.abs(pixels[..., part].astype(np.int16) - value) <= 12 for part, value in enumerate(colour)],
                  axis=0)


def spans(there: np.ndarray, least: float) -> tuple[int, int, int, int]:
    """First and past-the-last column and row in which more than ``least`` pixels are set."""
    columns, rows = np.nonzero(there.sum(axis=0) > least)[0], np.nonzero(there.sum(axis=1) > least)[0]
    return columns[0], rows[0], columns[-1] + 1, rows[-1] + 1


def fine_box(built: Built, number: int, colour: Colour) -> Box:
    """The field of that colour: found on the coarse page, where a row or column counts from two centimetres of it on
    (soft edges between two colours may pass through a third), then its edges in a level and an upright band through
    its middle, each reaching 2 mm beyond it."""
    left, top, right, bottom = (edge / COARSE for edge in spans(near(built.pages[number], colour), 20 * COARSE))
    x, y = (left + right) / 2, (top + bottom) / 2
    level = band(built, number, (left - 2, y - 2, right + 2, y + 2), colour)
    upright = band(built, number, (x - 2, top - 2, x + 2, bottom + 2), colour)
    return level[0], upright[1], level[2], upright[3]


def check_edges(built: Built, number: int, placement: dict, colour: Colour) -> None:
    """The card's edges are where the plan says, to 0.05 mm."""
    trim = placement["trim"]
    wanted = trim["x"], trim["y"], trim["x"] + trim["width"], trim["y"] + trim["height"]
    assert built.box(number, colour) == pytest.approx(wanted, abs=TOLERANCE_MM)


def band(built: Built, number: int, box: Box, colour: Colour) -> Box:
    """Where the colour fills most of a band, in mm on the page."""
    # Whole pixels of 1200 ppi, so that the crop itself rounds nothing.
    left, top = (math.floor(edge * FINE) / FINE for edge in box[:2])
    right, bottom = (math.ceil(edge * FINE) / FINE for edge in box[2:])
    found = spans(near(built.around(number, (left, top, right, bottom)), colour), 3 * FINE)
    return left + found[0] / FINE, top + found[1] / FINE, left + found[2] / FINE, top + found[3] / FINE


def check_corners(page: np.ndarray, corners: list[list[float]]) -> None:
    """The patches lie at the card's own corners as the plan names them."""
    top_left, top_right, _, bottom_left = (np.array(corner) for corner in corners)
    for (x, y), patch in zip(PATCH_AT, PATCHES, strict=True):
        column, row = (top_left + x * (top_right - top_left) + y * (bottom_left - top_left)) * COARSE
        assert near(page[int(row), int(column)], patch), (patch, page[int(row), int(column)])


def check_page(built: Built, number: int) -> None:
    page, said = built.pages[number], built.plan["pages"][number]
    for placement in said["placements"]:
        colours = FRONTS if placement["side"] == "front" else BACKS
        check_edges(built, number, placement, colours[placement["card"]])
        check_corners(page, placement["corners"])


def mirrored(built: Built, number: int, box: Box, upright: bool, twice_mm: float | None = None) -> Box:
    """The box turned over about an upright or a level line: the page's own middle, or where ``twice_mm`` is double."""
    left, top, right, bottom = box
    if upright:
        twice_mm = built.widths[number] if twice_mm is None else twice_mm
        return twice_mm - right, top, twice_mm - left, bottom
    twice_mm = built.heights[number] if twice_mm is None else twice_mm
    return left, twice_mm - bottom, right, twice_mm - top


def check_behind(built: Built, upright: bool | None) -> None:
    """The back page, turned over about the page's upright or level middle (None: not at all), lies behind the front.

    Its edges meet the front's, and turned like a page of a book every card stands upright: what is at the back's
    own top left lies behind the front's top right.
    """
    front, back = built.pages
    behind = back if upright is None else back[:, ::-1] if upright else back[::-1]
    for colour, back_colour in zip(FRONTS, BACKS, strict=True):
        box, lies = built.box(0, colour), built.box(1, back_colour)
        if upright is not None:
            lies = mirrored(built, 1, lies, upright)
        assert lies == pytest.approx(box, abs=2 * TOLERANCE_MM)
        left, top, right, bottom = (round(edge * COARSE) for edge in box)
        own, seen = front[top:bottom, left:right], behind[top:bottom, left:right]
        for patch, twin in zip(PATCHES, (PATCHES[1], PATCHES[0], PATCHES[3], PATCHES[2]), strict=True):
            rows, columns = np.nonzero(near(own, patch))
            assert near(seen[int(rows.mean()), int(columns.mean())], twin)


def arranged(arrangement: str) -> tuple[str, ...]:
    return "--arrangement", arrangement


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
def test_duplex(folder: Path, tmp_path: Path, flip: str, arrangement: str, paper: str) -> None:
    """A portrait page turned on its long edge swaps left and right; on its short edge, top and bottom."""
    gutter = "0" if paper == "a4" else "4"
    built = build(folder, tmp_path, "--method", "duplex", "--flip", flip, "--paper", paper, "--gutter", gutter,
                  *arranged(arrangement))
    assert len(built.pages) == 2 and all(page.shape[0] > page.shape[1] for page in built.pages)
    check_page(built, 0)
    check_page(built, 1)
    check_behind(built, upright=flip == "long-edge")


@pytest.mark.parametrize("core", ["0", "2"])
@pytest.mark.parametrize(("method", "arrangement"), [
    ("vertical-fold", "portrait"), ("vertical-fold", "landscape"),
    ("side-fold", "portrait"), ("side-fold", "landscape"),
])
def test_folds(folder: Path, tmp_path: Path, method: str, arrangement: str, core: str) -> None:
    """Folding on the creases, the spine between them taken up by the core, mirrors one half onto the other."""
    built = build(folder, tmp_path, "--method", method, "--core", core, *arranged(arrangement))
    for number, page in enumerate(built.pages):
        check_page(built, number)
        creases = built.plan["pages"][number]["creases"]
        assert len(creases) == (1 if core == "0" else 2)
        upright = creases[0]["start"][0] == creases[0]["end"][0]
        middle = np.mean([crease["start"][0 if upright else 1] for crease in creases])
        check_fold(built, number, page, 2 * middle, upright)


def check_fold(built: Built, number: int, page: np.ndarray, twice_mm: float, upright: bool) -> None:
    """Each back, mirrored about the middle of the spine, has its edges on its front's and stands upright behind it."""
    for placement in built.plan["pages"][number]["placements"]:
        if placement["side"] == "front":
            check_card_fold(built, number, page, placement["card"], twice_mm, upright)


def check_card_fold(built: Built, number: int, page: np.ndarray, card: int, twice_mm: float, upright: bool) -> None:
    """The same for one card."""
    box = built.box(number, FRONTS[card])
    lies = mirrored(built, number, built.box(number, BACKS[card]), upright, twice_mm)
    assert lies == pytest.approx(box, abs=2 * TOLERANCE_MM)
    left, top, right, bottom = (round(edge * COARSE) for edge in box)
    twice = twice_mm * COARSE
    own = page[top:bottom, left:right]
    for patch, twin in zip(PATCHES, (PATCHES[1], PATCHES[0], PATCHES[3], PATCHES[2]), strict=True):
        rows, columns = np.nonzero(near(own, patch))
        row, column = top + int(rows.mean()), left + int(columns.mean())
        there = page[row, round(twice) - column] if upright else page[round(twice) - row, column]
        assert near(there, twin)


@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_two_sheets(folder: Path, tmp_path: Path, arrangement: str) -> None:
    """Two sheets back to back, both heads up: left and right swap, as by a page that is turned."""
    built = build(folder, tmp_path, "--method", "two-sheet", *arranged(arrangement))
    check_page(built, 0)
    check_page(built, 1)
    check_behind(built, upright=True)
    for said in built.plan["pages"]:
        (hinge,) = said["hinge_strips"]
        assert min(hinge["width"], hinge["height"]) >= 10
        for placement in said["placements"]:
            trim = placement["trim"]
            apart_x = max(trim["x"] - hinge["x"] - hinge["width"], hinge["x"] - trim["x"] - trim["width"])
            apart_y = max(trim["y"] - hinge["y"] - hinge["height"], hinge["y"] - trim["y"] - trim["height"])
            assert max(apart_x, apart_y) >= 0


def test_an_ink_that_is_moved_by_a_tenth_is_noticed(folder: Path, tmp_path: Path) -> None:
    """The check can fail: a plan that says 0.1 mm beside the truth is refused."""
    built = build(folder, tmp_path)
    built.plan["pages"][0]["placements"][0]["trim"]["x"] += 0.1
    with pytest.raises(AssertionError):
        check_page(built, 0)


def test_a_back_that_is_not_mirrored_is_noticed(folder: Path, tmp_path: Path) -> None:
    built = build(folder, tmp_path)
    with pytest.raises(AssertionError):
        check_behind(built, upright=None)
    with pytest.raises(AssertionError):
        check_behind(built, upright=False)
