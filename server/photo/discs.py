"""Where discs lie in a picture, to a small part of a pixel: many at once, by least squares.

Each disc is looked at in a small window of its own, sampled in the sheet's own millimetres so that a circle is a
circle. The model is light that slopes, times one less the disc's darkness behind a soft edge:

    (b0 + b1 u + b2 v) (1 - a / (1 + exp((|p - c| - r) / s)))

with the middle c, radius r, edge s and darkness a free. Spreading ink, blur and sharpening move r and s, not c.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
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
