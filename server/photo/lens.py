"""How a whole sheet lies in a picture: one perspective and one barrel for all rings, then each ring's own frame.

The barrel is the first term of the usual radial model about the picture's middle; a ring lies on one circle, so by
itself it can't tell a bent lens from a shift of its middle (about 0.01 mm at 3 %), and all rings together can.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_MOST_BENT = 0.08
_FEW_RINGS = 4  # with fewer the barrel stays 0


@dataclass(frozen=True, slots=True)
class Lens:
    """Sheet mm to picture pixels and back; ``bent`` is the barrel at the picture's corner, as a share."""

    homography: Array
    bent: float
    middle: Array
    radius: float

    def to_picture(self, points: Array) -> Array:
        plain = carried(self.homography, points)
        return straight(plain, self.middle, self.radius, self.bent, back=True)

    def to_sheet(self, pixels: Array) -> Array:
        return carried(_turned(self.homography), straight(pixels, self.middle, self.radius, self.bent))

    def px_per_mm(self, points: Array) -> float:
        """The least scale at these places."""
        step = np.array([[0.5, 0.0], [0.0, 0.5]])
        scales = [np.linalg.norm(self.to_picture(points + one) - self.to_picture(points - one), axis=1) for one in step]
        return float(np.min(scales))


def carried(matrix: Array, points: Array) -> Array:
    """Points (n, 2) through a 3 x 3 homography."""
    found = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    result: Array = found[:, :2] / found[:, 2:]
    return result


def _turned(matrix: Array) -> Array:
    found: Array = np.asarray(np.linalg.pinv(matrix), np.float64)
    return found


def straight(pixels: Array, middle: Array, radius: float, bent: float, back: bool = False) -> Array:
    """Pixels as a lens without barrel has them; ``back`` bends straight ones."""
    way = (pixels - middle) / radius
    squared = (way**2).sum(axis=1, keepdims=True)
    if not back:
        result: Array = middle + way * radius * (1 + bent * squared)
        return result
    scale = np.ones_like(squared)
    for _ in range(8):
        scale = 1 / (1 + bent * squared * scale**2)
    bent_way: Array = middle + way * radius * scale
    return bent_way


def fit_lens(sheet: Array, pixels: Array, rings: int, size: tuple[int, int]) -> tuple[Lens, float]:
    """The lens that carries ``sheet`` (n, 2) mm to ``pixels``, and what is left, in mm, as a root mean square.

    ``size`` is the picture's (width, height).
    """
    middle, radius = np.array(size) / 2 - 0.5, float(np.hypot(*size)) / 2

    def left(bent: float) -> tuple[float, Array]:
        flat = straight(pixels, middle, radius, bent)
        found, _ = cv2.findHomography(flat, sheet, 0)
        if found is None:
            return np.inf, np.eye(3)
        return float(np.sqrt(((carried(found, flat) - sheet) ** 2).sum(axis=1).mean())), found

    bent = 0.0
    if rings >= _FEW_RINGS:
        for reach in (0.03, 0.01):  # the square of what is left is nearly a parabola
            below, here, above = (left(bent + step)[0] ** 2 for step in (-reach, 0.0, reach))
            bend = below - 2 * here + above
            if bend <= 0:
                break
            bent = float(np.clip(bent + reach * np.clip(0.5 * (below - above) / bend, -3, 3), -_MOST_BENT, _MOST_BENT))
    off, found = left(bent)
    return Lens(_turned(found), bent, middle, radius), off


def local_frame(seen: Array, meant: Array) -> tuple[Array, Array, float]:
    """The affine map (2 x 3) that carries what was seen of a ring to where it is meant to be, both mm; which points
    it holds; and the spread of one point about it, mm along one axis."""
    held = np.ones(len(seen), bool)
    for _ in range(2):
        given = np.column_stack([seen[held], np.ones(held.sum())])
        solved = np.linalg.lstsq(given, meant[held], rcond=None)[0].T
        off = np.linalg.norm(np.column_stack([seen, np.ones(len(seen))]) @ solved.T - meant, axis=1)
        limit = max(0.05, 3.5 * float(np.median(off)))
        still = off <= limit
        if still.sum() < 9 or (still == held).all():
            break
        held = still
    spare = max(1, 2 * int(held.sum()) - 6)
    return solved, held, float(np.sqrt((off[held] ** 2).sum() / spare))
