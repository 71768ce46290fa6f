"""The back's mark in each ring: a disc of known size, found by its darkness and measured; and which way it points."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from server.core.camera_marks import DISC_MM, POINTER_AT_MM, POINTER_MM, pointer
from server.core.plan import Flip
from server.photo.discs import Discs, fit_discs, sampled
from server.photo.lens import Array, Lens

REACH_MM = 4.05  # the disc's middle may lie so far off: further out it is under the front's dots
_PATCH_MM, _STEP_MM = 6.5, 0.2
_WINDOW_MM = 1.9
CLEAR_MM = 0.4  # what is nearer to another mark's edge is that mark's blur
_LEAST_DARK, _LEAST_SHARE = 0.06, 0.15  # of the light, and of the front's dots: a shape alone is no evidence
_RADII = (0.85, 1.65)
_MOST_EDGE = 0.55
_SIGNS: tuple[tuple[Flip, int], ...] = (("long-edge", 1), ("long-edge", -1), ("short-edge", 1), ("short-edge", -1))


@dataclass(frozen=True, slots=True)
class Back:
    """A ring's back mark, through the front, mm on the sheet; not ``seen``, the rest says nothing.

    ``ways`` is how dark it is beside the disc where it would point if made for each flip and turned rightly or not.
    """

    seen: bool
    middle: tuple[float, float]
    sigma: float
    darkness: float
    ways: tuple[float, float, float, float]


def find_backs(grey: NDArray[np.uint8], lens: Lens, centres: Array, scale: float, fronts: Discs,
               count: int, size: float = 1.0) -> list[Back]:
    """The back's mark of every ring, measured in the plane of the sheet; in units of marks of that ``size``, of which
    paper and lens blur more where they are small."""
    begun, contrast = search(grey, lens, centres, fronts, count)
    radii = np.full(len(centres), DISC_MM)
    dots, reach = fronts.middle.reshape(len(centres), count, 2), fronts.radius.reshape(len(centres), count) + CLEAR_MM
    # All four places where it may point are left out, though it points to one: what is left stays symmetric.
    ways = begun[:, None] + np.array([np.array(pointer(flip)) * sign for flip, sign in _SIGNS])[None]
    dots = np.concatenate([dots, ways], axis=1)
    reach = np.concatenate([reach, np.full((len(centres), 4), POINTER_MM + CLEAR_MM)], axis=1)
    fitted = fit_discs(grey, lens.to_picture, begun, radii, _WINDOW_MM, scale, hidden=near(dots, reach),
                       most_edge=0.6 / size**0.5)
    ink = np.array([np.median(fronts.darkness[at * count:(at + 1) * count]) for at in range(len(centres))])
    away = np.linalg.norm(fitted.middle - centres, axis=1)
    seen = (fitted.darkness > np.maximum(_LEAST_DARK, _LEAST_SHARE * ink)) & (contrast > 0.5 * _LEAST_DARK)
    seen &= (fitted.radius > _RADII[0]) & (fitted.radius < _RADII[1]) & (away < REACH_MM)
    seen &= fitted.edge < _MOST_EDGE / size**0.5
    seen &= np.linalg.norm(fitted.middle - begun, axis=1) < 0.6
    ways = _beside(grey, lens, fitted.middle, fitted.light)
    return [Back(bool(seen[at]), (float(fitted.middle[at, 0]), float(fitted.middle[at, 1])), float(fitted.sigma[at]),
                 float(fitted.darkness[at]), (ways[at][0], ways[at][1], ways[at][2], ways[at][3]))
            for at in range(len(centres))]


def flip_seen(backs: Sequence[Back], least: float = 0.1) -> tuple[Flip | None, bool]:
    """Which flip the back was made for, and whether it was turned so; None where its pointers aren't clear: darker than
    ``least`` of the discs."""
    votes = np.sum([back.ways for back in backs if back.seen], axis=0)
    order = np.argsort(-votes)
    typical = sum(back.darkness for back in backs if back.seen)
    if votes[order[0]] < least * typical or votes[order[0]] < 1.6 * votes[order[1]]:
        return None, True
    flip, sign = _SIGNS[int(order[0])]
    return flip, sign > 0


def near(middles: Array, reach: Array) -> Callable[[Array], NDArray[np.bool_]]:
    """Which of some places (n, p, 2) lie within ``reach`` (n, k) of any of ``middles`` (n, k, 2)."""
    def tell(places: Array) -> NDArray[np.bool_]:
        found = np.zeros(places.shape[:2], bool)
        for at in range(middles.shape[1]):
            across, down = places[..., 0] - middles[:, at, None, 0], places[..., 1] - middles[:, at, None, 1]
            found |= across * across + down * down < reach[:, at, None] ** 2
        return found

    return tell


def search(grey: NDArray[np.uint8], lens: Lens, centres: Array, fronts: Discs, count: int) -> tuple[Array, Array]:
    """Where a disc's darkness stands out most within reach of each centre, and by how much of the light; the front's
    own dots, ``count`` for each, are covered first."""
    axis = np.arange(-_PATCH_MM, _PATCH_MM + _STEP_MM / 2, _STEP_MM)
    grid = np.stack(np.meshgrid(axis, axis), axis=-1)
    patches = sampled(grey, lens.to_picture, centres[:, None, None] + grid[None])
    span = round(2.1 / _STEP_MM)
    away = np.hypot(*np.mgrid[-span:span + 1, -span:span + 1]) * _STEP_MM
    inner, outer = (away < 0.85 * DISC_MM).astype(np.float32), ((away > 1.4) & (away < 2.1)).astype(np.float32)
    within = np.linalg.norm(grid, axis=-1) <= REACH_MM
    begun, contrast = np.empty_like(centres), np.empty(len(centres))
    flat = (centres[:, None, None] + grid[None]).reshape(len(centres), -1, 2)
    covered = near(fronts.middle.reshape(len(centres), count, 2),
                   fronts.radius.reshape(len(centres), count) + CLEAR_MM)(flat).reshape(patches.shape)
    for at, patch in enumerate(patches):
        patch = np.where(covered[at], np.percentile(patch[~covered[at]], 60), patch).astype(np.float32)
        light = cv2.filter2D(patch, -1, outer / outer.sum())
        darker = np.where(within, (light - cv2.filter2D(patch, -1, inner / inner.sum())) / (light + 8.0), -1.0)
        row, column = np.unravel_index(int(np.argmax(darker)), darker.shape)
        begun[at] = centres[at] + grid[row, column]
        contrast[at] = darker[row, column]
    return begun, contrast


def _beside(grey: NDArray[np.uint8], lens: Lens, middles: Array, light: Array) -> list[Array]:
    """How much darker it is in the four places where a mark may point than in the places between, per ring."""
    spot = np.array([(u, v) for u in (-0.25, 0.0, 0.25) for v in (-0.25, 0.0, 0.25)])
    half = POINTER_AT_MM / np.sqrt(2)
    between = np.array([(half, half), (half, -half), (-half, half), (-half, -half)])
    ways = np.array([np.array(pointer(flip)) * sign for flip, sign in _SIGNS])
    places = middles[:, None, None] + np.concatenate([ways, between])[None, :, None] + spot[None, None]
    level = sampled(grey, lens.to_picture, places).mean(axis=-1)
    plain = np.median(level[:, 4:], axis=1)
    return list(np.maximum(0.0, (plain[:, None] - level[:, :4]) / (light[:, None] + 8.0)))
