"""Where discs lie in a picture, to a small part of a pixel: many at once, by least squares.

Each disc is looked at in a small window of its own, sampled in the sheet's own millimetres so that a circle is a
circle. The model is light that slopes, times one less the disc's darkness behind a soft edge:

    (b0 + b1 u + b2 v) (1 - a / (1 + exp((|p - c| - r) / s)))

with the middle c, radius r, edge s and darkness a free. Spreading ink, blur and sharpening move r and s, not c.

The back's mark in each ring is one: a disc of known size, found by its darkness and measured; and which way it points.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from server.core.camera_marks import DISC_MM, POINTER_AT_MM, POINTER_MM, pointer
from server.core.plan import Flip
from server.photo.lens import Array, Lens

Mapping = Callable[[Array], Array]  # sheet mm, (n, 2), to picture pixels

_STEPS = 6
_PX_STEP = 0.5  # samples as far apart as pixels would weigh some pixels more than others
_CX, _CY, _R, _S, _A, _B0, _BX, _BY = range(8)


@dataclass(frozen=True, slots=True)
class Discs:
    """Fitted discs, one row each: middles in mm, what the residuals say of their uncertainty, shape and darkness."""

    middle: Array  # n x 2
    sigma: Array  # n, of one axis
    radius: Array
    edge: Array
    darkness: Array
    light: Array

    def rows(self, chosen: NDArray[np.bool_] | slice) -> Discs:
        return Discs(self.middle[chosen], self.sigma[chosen], self.radius[chosen], self.edge[chosen],
                     self.darkness[chosen], self.light[chosen])


def sampled(grey: NDArray[np.uint8], mapping: Mapping, places: Array) -> NDArray[np.float32]:
    """Grey values at places in mm, of any shape (..., 2)."""
    pixels = mapping(places.reshape(-1, 2)).reshape(places.shape).astype(np.float32)
    flat = pixels.reshape(len(pixels), -1, 2)
    found: NDArray[np.float32] = cv2.remap(grey, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR,
                                           borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    return found.reshape(places.shape[:-1])


def fit_discs(grey: NDArray[np.uint8], mapping: Mapping, middles: Array, radii: Array, window_mm: float,
              px_per_mm: float, steps: int = _STEPS, fineness: int = 12,
              hidden: Callable[[Array], NDArray[np.bool_]] | None = None, most_edge: float = 0.6) -> Discs:
    """Fit a disc about each of ``middles`` (n, 2).

    ``window_mm`` is how far from the middle is looked, and ``fineness`` how many samples that takes at most;
    ``hidden`` says which places (n, p, 2) belong to something else; ``most_edge`` is the softest edge.
    """
    reach = window_mm
    step = max(_PX_STEP / px_per_mm, reach / fineness)
    axis = np.arange(-reach, reach + step / 2, step)
    offsets = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    offsets = offsets[np.linalg.norm(offsets, axis=1) <= reach]
    places = middles[:, None] + offsets[None]
    values = sampled(grey, mapping, places).astype(np.float64)
    weight = np.ones(values.shape) if hidden is None else (~hidden(places)).astype(np.float64)
    edge = max(0.12, 0.45 / px_per_mm)
    state = _begin(values, offsets, radii, edge)
    damping = np.full(len(state), 1e-3)
    cost, pull, curve = _normal(state, values, weight, offsets)
    for _ in range(steps):
        lifted = curve + damping[:, None, None] * (curve * np.eye(8) + 1e-12 * np.eye(8))
        move = np.linalg.solve(lifted, pull[..., None])[..., 0]
        tried = _bounded(state + move, radii, reach, most_edge)
        new_cost, new_pull, new_curve = _normal(tried, values, weight, offsets)
        better = new_cost <= cost
        state = np.where(better[:, None], tried, state)
        cost = np.where(better, new_cost, cost)
        pull, curve = np.where(better[:, None], new_pull, pull), np.where(better[:, None, None], new_curve, curve)
        damping = np.where(better, damping * 0.2, damping * 8)
    spread = cost / np.maximum(weight.sum(axis=1) - 8, 1)
    around = np.linalg.inv(curve + 1e-9 * np.eye(8))
    # Neighbouring samples share grain, blur and the steps of the compression: fewer of them are independent.
    sigma = np.sqrt(np.abs(spread * (around[:, _CX, _CX] + around[:, _CY, _CY]) / 2))
    sigma *= max(1.0, 1.0 / (step * px_per_mm))  # nor are samples of one pixel
    return Discs(middles + state[:, :2], sigma, state[:, _R], state[:, _S], state[:, _A], state[:, _B0])


def _begin(values: Array, offsets: Array, radii: Array, edge: float) -> Array:
    away = np.linalg.norm(offsets, axis=1)
    state = np.zeros((len(values), 8))
    inside = away[None] < 0.6 * radii[:, None]
    outside = away[None] > 1.25 * radii[:, None]
    dark = (values * inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
    light = np.maximum((values * outside).sum(axis=1) / np.maximum(outside.sum(axis=1), 1), 1.0)
    state[:, _R], state[:, _S], state[:, _B0] = radii, edge, light
    state[:, _A] = np.clip(1 - dark / light, 0.05, 0.98)
    return state


def _bounded(state: Array, radii: Array, reach: float, most_edge: float) -> Array:
    state[:, :2] = np.clip(state[:, :2], -reach / 2, reach / 2)
    state[:, _R] = np.clip(state[:, _R], 0.6 * radii, 1.5 * radii)
    state[:, _S] = np.clip(state[:, _S], 0.01, most_edge)
    state[:, _A] = np.clip(state[:, _A], 0.0, 1.2)
    return state


def _normal(state: Array, values: Array, weight: Array, offsets: Array) -> tuple[Array, Array, Array]:
    """(cost, pull, curvature) of the least squares at ``state``."""
    u, v = offsets[None, :, 0] - state[:, _CX, None], offsets[None, :, 1] - state[:, _CY, None]
    away = np.sqrt(u * u + v * v) + 1e-9
    edge = state[:, _S, None]
    z = np.clip((away - state[:, _R, None]) / edge, -30, 30)
    soft = 1 / (1 + np.exp(z))
    slope = soft * (1 - soft) / edge
    plane = state[:, _B0, None] + state[:, _BX, None] * offsets[None, :, 0] + state[:, _BY, None] * offsets[None, :, 1]
    dark = state[:, _A, None]
    left = values - plane * (1 - dark * soft)
    jacobian = np.empty((*values.shape, 8))
    common = -plane * dark * slope  # of the model, by how far the edge moves outwards
    jacobian[..., _CX] = common * u / away
    jacobian[..., _CY] = common * v / away
    jacobian[..., _R] = common
    jacobian[..., _S] = common * z
    jacobian[..., _A] = -plane * soft
    jacobian[..., _B0] = 1 - dark * soft
    jacobian[..., _BX] = jacobian[..., _B0] * offsets[None, :, 0]
    jacobian[..., _BY] = jacobian[..., _B0] * offsets[None, :, 1]
    turned = (jacobian * weight[..., None]).transpose(0, 2, 1)
    return (weight * left * left).sum(axis=1), np.matmul(turned, left[..., None])[..., 0], np.matmul(turned, jacobian)


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
