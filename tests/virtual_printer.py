"""A printer, a window and a pair of eyes, in pixels: knows paper, not the code under test.

Pages come from pdfium. A pass of the printer lays a page on one side of the paper with an error of its own, as a
picture that is shifted, turned and scaled on that side. The light shows the back through the paper: a side that was
reached by turning the sheet over its long edge (like a book's page) is seen mirrored left to right from the other side;
one that was reached over the short edge (like a calendar's page), mirrored top to bottom. It knows no more of flips.

Eyes find blobs of ink by their size, and read a vernier as a person does. What they know of the test sheet is what is
seen on it: discs 2.4 mm across in rings of fourteen dots, arms whose main lines lie 1 to 7 mm to one side of the arm's
middle, the back's lines around it, the small ruler's ticks 6.2 to 8.2 mm to the other side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
from PIL import Image
from scipy import ndimage

MM = 25.4
_FROM_MM = 6.5  # arms begin beyond the ring


@dataclass(frozen=True)
class Error:
    """Of one pass: right and down in mm, clockwise in degrees, scale; as that side of the paper is looked at."""

    right: float = 0.0
    down: float = 0.0
    turn: float = 0.0
    scale: float = 1.0

    def plus(self, right: float, down: float, turn: float) -> Error:
        return Error(self.right + right, self.down + down, self.turn + turn, self.scale)


@dataclass(frozen=True)
class Sheet:
    """A printed sheet as the light shows it from the front: the ink of each side, 0 to 1."""

    front: np.ndarray
    back: np.ndarray
    ppi: float


def pages(pdf: Path, ppi: float) -> list[np.ndarray]:
    """The ink of every page on a grid of exactly ``ppi``."""
    document = pdfium.PdfDocument(pdf)
    inks = []
    for page in document:
        width, height = (round(side / 72 * ppi) for side in page.get_size())
        drawn = page.render(scale=2 * ppi / 72, grayscale=True).to_pil().resize((width, height), Image.Resampling.BOX)
        inks.append(1.0 - np.asarray(drawn, dtype=np.float32) / 255.0)
    document.close()
    return inks


def lay(ink: np.ndarray, error: Error, ppi: float) -> np.ndarray:
    """One pass: the page as it lies on its side of the paper, about the paper's middle."""
    height, width = ink.shape
    cx, cy = width / 2, height / 2
    cos, sin = math.cos(math.radians(error.turn)) / error.scale, math.sin(math.radians(error.turn)) / error.scale
    tx, ty = cx + error.right / MM * ppi, cy + error.down / MM * ppi
    # Pillow asks where in the page each point of the paper comes from.
    back = (cos, sin, cx - cos * tx - sin * ty, -sin, cos, cy + sin * tx - cos * ty)
    picture = Image.fromarray(ink).transform((width, height), Image.Transform.AFFINE, back, Image.Resampling.BILINEAR)
    return np.asarray(picture)


def print_sheet(front: np.ndarray, back: np.ndarray, flip: str, first: Error, second: Error, ppi: float) -> Sheet:
    """Both passes, and the sheet held to the light."""
    through = {"long-edge": np.fliplr, "short-edge": np.flipud}[flip]
    return Sheet(lay(front, first, ppi), through(lay(back, second, ppi)), ppi)


def blobs(ink: np.ndarray, ppi: float, width: tuple[float, float], height: tuple[float, float],
          area: tuple[float, float]) -> np.ndarray:
    """Middles, in pixels, of connected ink whose box and area, in mm, lie within bounds; rows of (x, y)."""
    labels, _ = ndimage.label(ink > 0.25, structure=np.ones((3, 3)))
    px, found = ppi / MM, []
    for number, (rows, columns) in enumerate(ndimage.find_objects(labels), 1):
        tall, wide = (rows.stop - rows.start) / px, (columns.stop - columns.start) / px
        if not (width[0] <= wide <= width[1] and height[0] <= tall <= height[1]):
            continue
        part = ink[rows, columns] * (labels[rows, columns] == number)
        if area[0] <= part.sum() / px**2 <= area[1]:
            y, x = ndimage.center_of_mass(part)
            found.append((x + columns.start + 0.5, y + rows.start + 0.5))
    return np.array(found).reshape(-1, 2)


def stations(sheet: Sheet) -> list[tuple[np.ndarray, np.ndarray]]:
    """(the front's middle, the back's disc) of every station in pixels, in reading order of the front."""
    discs = blobs(sheet.back, sheet.ppi, (2.2, 2.8), (2.2, 2.8), (4.0, 5.0))
    dots = blobs(sheet.front, sheet.ppi, (1.0, 2.1), (1.0, 2.1), (0.95, 2.8))
    numbers = blobs(sheet.back, sheet.ppi, (6.45, 6.9), (6.45, 6.9), (1.0, 8.0))
    mark, = blobs(sheet.back, sheet.ppi, (6.07, 6.4), (6.07, 6.4), (1.0, 5.0))
    assert mark[1] < sheet.back.shape[0] / 4, "the ring shows in the lower box: the wrong flip"
    found = []
    for disc in discs:
        assert (np.hypot(*(numbers - disc - np.array([15.0, 16.0]) * sheet.ppi / MM).T) < 10).any(), \
            "no number below it to the right"
        near = dots[np.argsort(np.hypot(*(dots - disc).T))[:14]]
        middle = near.mean(axis=0)
        assert np.allclose(np.hypot(*(near - middle).T) / sheet.ppi * MM, 6.0, atol=0.15), "no ring of dots there"
        found.append((middle, disc))
    rows = sheet.front.shape[0] / 6
    return sorted(found, key=lambda pair: (round(pair[0][1] / rows), pair[0][0]))


def by_middles(sheet: Sheet) -> list[tuple[float, float, float, float]]:
    """(x, y, right, low) in mm of every station, measured at its middle, to a hundredth."""
    k = MM / sheet.ppi
    return [(*(front * k), *np.round((ring - front) * k, 2)) for front, ring in stations(sheet)]


def by_vernier(sheet: Sheet) -> list[tuple[float, float]]:
    """(right, low) in mm of every station, read from its arms to a tenth."""
    return [(_axis(sheet, front, ring, 0), _axis(sheet, front, ring, 1)) for front, ring in stations(sheet)]


def _axis(sheet: Sheet, front: np.ndarray, ring: np.ndarray, axis: int) -> float:
    """The arm whose pointer has moved outwards gives the number and the sign."""
    signs = (1, -1) if (ring - front)[axis] >= 0 else (-1, 1)
    for sign in signs:
        value = _arm(sheet, front, ring, axis, sign)
        if value is not None:
            return sign * value
    raise AssertionError("no arm can be read")


def _arm(sheet: Sheet, front: np.ndarray, ring: np.ndarray, axis: int, sign: int) -> float | None:
    out = np.array([sign, 0.0]) if axis == 0 else np.array([0.0, sign])
    side = np.array([-out[1], out[0]])  # clockwise of outwards, y being down
    aside = (ring - front) @ side / sheet.ppi * MM  # how far the back's lines have wandered along themselves
    main = _peaks(sheet.front, front, out, side, (-6.8, -4.5), sheet.ppi)
    ticks = _peaks(sheet.front, front, out, side, (7.5, 8.1), sheet.ppi)[:5]
    lines = _peaks(sheet.back, front, out, side, (aside - 3.0, aside + 2.0), sheet.ppi)
    assert len(main) == 14 and len(lines) == 10 and len(ticks) == 5, "lines can't be told apart"
    moved = lines[0] - ticks[0]
    if moved < -0.06:
        return None
    meets = [min(abs(line - other) for other in main) for line in lines]
    tenth = int(np.argmin(meets)) / 10
    readings: list[float] = [whole + tenth for whole in range(5)]
    nearest: float = min(readings, key=lambda value: abs(value - moved))
    return round(nearest, 1)


def _peaks(ink: np.ndarray, start: np.ndarray, out: np.ndarray, side: np.ndarray, band: tuple[float, float],
           ppi: float) -> list[float]:
    """Where lines cross a band along an arm, in mm outwards from ``start``."""
    step = 0.02
    along, across = np.arange(_FROM_MM, 22.0, step), np.linspace(*band, 12)
    u, v = np.meshgrid(along, across)
    xs = start[0] + (u * out[0] + v * side[0]) / MM * ppi - 0.5
    ys = start[1] + (u * out[1] + v * side[1]) / MM * ppi - 0.5
    profile = ndimage.map_coordinates(ink, [ys, xs], order=1).mean(axis=0)
    labels, count = ndimage.label(profile > 0.35 * profile.max())
    middles = ndimage.center_of_mass(profile, labels, range(1, count + 1))
    return [_FROM_MM + middle * step for middle, in middles]


def misfits(sheet: Sheet, disc_mm: float) -> np.ndarray:
    """How far each disc of that diameter on the back lies from its front's, in mm."""
    box, area = (disc_mm - 0.4, disc_mm + 0.4), (0.7 * disc_mm**2, 0.9 * disc_mm**2)
    fronts, backs = (blobs(ink, sheet.ppi, box, box, area) for ink in (sheet.front, sheet.back))
    assert len(fronts) == len(backs) > 0, f"{len(fronts)} discs on the front, {len(backs)} on the back"
    gaps = np.hypot(*(fronts[:, None, :] - backs[None, :, :]).transpose(2, 0, 1)) / sheet.ppi * MM
    assert (gaps < 8).any(axis=1).all(), "a front has no back near it"
    return gaps.min(axis=1)
