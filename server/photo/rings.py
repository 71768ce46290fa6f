"""Find rings of dots in a grey picture, whatever its turn, light and slant, and the word that each spells.

Dots are dark blobs: minima of a difference of two blurs, so that neither uneven light nor neighbours that touch after
blurring hide them. Three neighbours that could be three dots of a regular fourteen-sided figure, seen aslant, foretell
the fourth; each dot found foretells the next one better, around the ring. All such chains are followed at once.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from server.core.camera_marks import DOTS, LARGE_MM, SMALL_MM, ring_points, told_apart

Array = NDArray[np.float64]

# (pixels, blurs in pixels, tiles across): a picture is looked over small first, and larger only where too few rings
# show. Each blur fits dots of about three to four times its size across. The last look is for the small marks of a
# deck's sheet: in tiles, so that the blobs of its art don't crowd out the dots in its waste.
_LOOKS = ((1_100_000, (1.2, 1.9), 1), (2_400_000, (1.5, 2.4), 1), (4_500_000, (1.5, 2.4, 3.8), 1),
          (4_000_000, (1.3, 2.1), 5), (16_000_000, (1.3, 2.1), 5))
_ENOUGH = 4
_LEAST_DARKER = 0.02  # of the light around: a blob that is fainter is grain
_MOST_DOTS = 1000
_NEIGHBOURS = 9
_LEAST_FOUND = 11
_ROUND_MM, _ROUND_ASLANT_MM = 0.16, 0.3  # of a ring's dots about where they should be, as a root mean square


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring in the picture: which word, mirrored or not, and the map from its own mm to the picture's pixels."""

    place: int  # in WORDS
    mirrored: bool
    to_picture: Array  # 3 x 3
    found: int  # dots of 14

    @property
    def centre(self) -> tuple[float, float]:
        x, y, w = self.to_picture[:, 2]
        return float(x / w), float(y / w)

    @property
    def px_per_mm(self) -> float:
        h = self.to_picture / self.to_picture[2, 2]
        slope = h[:2, :2] - np.outer(h[:2, 2], h[2, :2])
        return math.sqrt(abs(float(np.linalg.det(slope))))


def find_rings(grey: NDArray[np.uint8]) -> list[Ring]:
    """Rings with a word of ours, at most one for each place in the picture, in no order.

    Where some are found others may be overlooked: who knows how the sheet lies can look for them.
    """
    rings: list[Ring] = []
    before = 0, 0
    for pixels, blurs, tiles in _LOOKS:
        factor = max(1, math.ceil(math.sqrt(grey.size / pixels) - 0.25))
        if (factor, tiles) == before:
            continue
        before = factor, tiles
        rows, columns = grey.shape[0] // factor, grey.shape[1] // factor
        work = grey if factor == 1 else cv2.resize(grey[:rows * factor, :columns * factor], (columns, rows),
                                                   interpolation=cv2.INTER_AREA)
        # Pixel middles lie at halves in both pictures; OpenCV counts them whole.
        half = (factor - 1) / 2
        up = np.array([[factor, 0, half], [0, factor, half], [0, 0, 1.0]])
        for blur in blurs:
            for dots in _dots(work, blur, tiles):
                for chain in _chains(dots, work.shape, 12.0 * blur):
                    ring = _read(work, chain, up)
                    if ring:
                        _keep(rings, ring)
            if len(rings) >= _ENOUGH:
                return rings
    return rings


def _keep(rings: list[Ring], ring: Ring) -> None:
    for at, other in enumerate(rings):
        if math.dist(ring.centre, other.centre) < 6 * max(ring.px_per_mm, other.px_per_mm):
            if ring.found > other.found:
                rings[at] = ring
            return
    rings.append(ring)


def _dots(work: NDArray[np.uint8], blur: float, tiles: int) -> Iterator[Array]:
    """Middles of dark blobs of about that size, the darkest first, as (x, y) rows: of the whole picture, or of each of
    its tiles, which overlap by more than a ring."""
    soft = cv2.GaussianBlur(work.astype(np.float32), (0, 0), blur)
    around = cv2.blur(soft, (2 * round(2.2 * blur) + 1,) * 2)
    darker = (around - soft) / (around + np.float32(8.0))
    span = 2 * round(1.2 * blur) + 1
    peaks = (darker >= cv2.dilate(darker, np.ones((span, span), np.uint8))) & (darker > _LEAST_DARKER)
    edge = round(2 * blur) + 1
    peaks[:edge] = peaks[-edge:] = False
    peaks[:, :edge] = peaks[:, -edge:] = False
    every = np.column_stack(np.nonzero(peaks))
    size = np.array(work.shape) / tiles
    lap = 50.0 * blur if tiles > 1 else 0.0
    for row in range(tiles):
        for column in range(tiles):
            low = np.array([row, column]) * size
            y, x = every[((every >= low - lap) & (every < low + size + lap)).all(axis=1)].T
            order = np.argsort(-darker[y, x], kind="stable")[:_MOST_DOTS]
            y, x = y[order], x[order]
            yield np.column_stack([x + _vertex(darker, y, x, 0, 1), y + _vertex(darker, y, x, 1, 0)]).astype(np.float64)


def _vertex(values: NDArray[np.float32], y: NDArray[np.intp], x: NDArray[np.intp], down: int, right: int) -> Array:
    """How far the top of a parabola through three neighbours lies from the middle one."""
    before, here, after = values[y - down, x - right], values[y, x], values[y + down, x + right]
    bend = before - 2 * here + after
    found: Array = np.clip(np.where(bend < 0, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0.0), -0.5, 0.5)
    return found


@lru_cache
def _foretelling() -> tuple[Array, ...]:
    """For three known dots on, how the next one follows: weights of an affine fit to a regular figure."""
    corners = np.array(ring_points())
    found = []
    for known in range(3, DOTS):
        given = np.column_stack([corners[:known], np.ones(known)])
        found.append(np.array([*corners[known], 1.0]) @ np.linalg.pinv(given))
    return tuple(found)


@lru_cache
def _aslant() -> Array:
    """What takes fourteen points to what an affine map of the regular figure leaves of them."""
    corners = np.column_stack([np.array(ring_points()), np.ones(DOTS)])
    left: Array = np.eye(DOTS) - corners @ np.linalg.pinv(corners)
    return left


def _chains(dots: Array, shape: tuple[int, ...], reach: float) -> Iterator[tuple[Array, NDArray[np.bool_]]]:
    """(fourteen points clockwise, which of them are dots) of everything that could be a ring."""
    if len(dots) < _LEAST_FOUND:
        return
    lookup, starts = _Lookup(dots, shape), _starts(dots, reach)
    points = dots[starts]  # n x 3 x 2
    seen = np.ones(points.shape[:2], bool)
    spacing = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
    for weights in _foretelling():
        foretold = np.einsum("k,nkd->nd", weights, points)
        near, is_near = lookup(foretold, 0.30 * spacing)
        points = np.concatenate([points, np.where(is_near[:, None], near, foretold)[:, None]], axis=1)
        seen = np.concatenate([seen, is_near[:, None]], axis=1)
        hopeful = (~seen).sum(axis=1) <= DOTS - _LEAST_FOUND
        points, seen, spacing = points[hopeful], seen[hopeful], spacing[hopeful]
    left = np.einsum("jk,nkd->njd", _aslant(), points)
    off = np.sqrt((left**2).sum(axis=2).mean(axis=1)) / (spacing / math.dist(*ring_points()[:2]))
    order = np.lexsort((off, -seen.sum(axis=1)))[:400]
    taken = np.empty((0, 2))
    for at in order[off[order] < _ROUND_ASLANT_MM]:
        centre = points[at].mean(axis=0)
        if not len(taken) or (np.abs(taken - centre).max(axis=1) > spacing[at]).all():
            taken = np.vstack([taken, centre])
            yield points[at], seen[at]


class _Lookup:
    """The dot next to any place, by a grid of cells of two pixels."""

    def __init__(self, dots: Array, shape: tuple[int, ...]) -> None:
        self.dots = dots
        self.cells = np.full((shape[0] // 2 + 9, shape[1] // 2 + 9), -1, np.int32)
        rows, columns = (dots[:, 1] / 2).astype(int) + 4, (dots[:, 0] / 2).astype(int) + 4
        for ring in (3, 2, 1, 0):  # nearer cells are written last
            for down in range(-ring, ring + 1):
                for right in range(-ring, ring + 1):
                    if max(abs(down), abs(right)) == ring:
                        self.cells[rows + down, columns + right] = np.arange(len(dots))

    def __call__(self, places: Array, within: Array) -> tuple[Array, NDArray[np.bool_]]:
        rows = np.clip((places[:, 1] / 2).astype(int) + 4, 0, self.cells.shape[0] - 1)
        columns = np.clip((places[:, 0] / 2).astype(int) + 4, 0, self.cells.shape[1] - 1)
        found = self.cells[rows, columns]
        near = self.dots[found]
        return near, (found >= 0) & (np.linalg.norm(near - places, axis=1) <= within)


def _starts(dots: Array, reach: float) -> NDArray[np.intp]:
    """Three dots each, clockwise, that could be neighbours in a ring; those further apart than ``reach`` are none."""
    spots = dots.astype(np.float32)
    squares = (spots**2).sum(axis=1)
    away = squares[:, None] + squares[None] - 2 * spots @ spots.T
    np.fill_diagonal(away, np.inf)
    here, there = np.nonzero((away < reach**2) & (away > 16.0))
    order = np.lexsort((away[here, there], here))
    here, there = here[order], there[order]
    rank = np.arange(len(here)) - np.searchsorted(here, here)
    near = np.full((len(dots), _NEIGHBOURS), -1)
    near[here[rank < _NEIGHBOURS], rank[rank < _NEIGHBOURS]] = there[rank < _NEIGHBOURS]
    ways = np.where(near[..., None] >= 0, dots[near] - dots[:, None], np.nan)
    length = np.sqrt((ways**2).sum(axis=2))
    product = length[:, :, None] * length[:, None, :]
    cosine = np.einsum("nad,nbd->nab", ways, ways) / product
    cross = (ways[:, :, None, 0] * ways[:, None, :, 1] - ways[:, :, None, 1] * ways[:, None, :, 0]) / product
    ratio = length[:, :, None] / length[:, None, :]
    # A corner of the figure has 154 degrees; clockwise on the page the way in lies to the left of the way out.
    at, into, out = np.nonzero((cosine < -0.74) & (cosine > -0.995) & (cross < 0) & (ratio > 0.7) & (ratio < 1.43))
    return np.column_stack([near[at, into], at, near[at, out]])


def _read(work: NDArray[np.uint8], chain: tuple[Array, NDArray[np.bool_]], up: Array) -> Ring | None:
    """The chain as a ring of ours; None where it isn't round enough or its sizes spell nothing."""
    points, seen = chain
    corners = np.array(ring_points())
    to_work, _ = cv2.findHomography(corners[seen], points[seen], 0)
    if to_work is None:
        return None
    back = _carried(np.linalg.pinv(to_work), points[seen])
    off = math.sqrt(float(((back - corners[seen]) ** 2).sum(axis=1).mean()))
    if not off < _ROUND_MM:
        return None
    sizes = _sizes(work, to_work, seen)
    told = told_apart(sizes) if sizes else None
    if not told:
        return None
    place, turn, mirrored = told
    # The chain began anywhere: what it calls the first dot is dot ``turn``, counted on its own way round.
    angle = 2 * math.pi * turn / DOTS
    c, s = math.cos(angle), math.sin(angle)
    own = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    flip = np.diag([-1.0, 1.0, 1.0]) if mirrored else np.eye(3)
    made = up @ to_work @ own @ flip
    return Ring(place, mirrored, made / made[2, 2], int(seen.sum()))


def _carried(matrix: Array, points: Array) -> Array:
    carried = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    with np.errstate(divide="ignore", invalid="ignore"):
        found: Array = carried[:, :2] / carried[:, 2:]
    return found


@lru_cache
def _darkness() -> tuple[Array, Array, Array]:
    """A grid about a ring (n, 2) in mm, and per dot the shares of it that tell its light and its whole darkness."""
    step, reach = 0.15, 7.6
    axis = np.arange(-reach, reach + step / 2, step)
    grid = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    away = np.linalg.norm(grid[None] - np.array(ring_points())[:, None], axis=2)
    around = (away > 1.35) & (away < 2.4) & (away.min(axis=0) > 1.15)
    return grid, around / around.sum(axis=1, keepdims=True), (away < 1.25) * step**2


def _sizes(work: NDArray[np.uint8], to_work: Array, seen: NDArray[np.bool_]) -> list[bool | None] | None:
    """Large or small of every dot by its whole darkness, None where it is hidden; None where two sizes don't show."""
    grid, around, inside = _darkness()
    places = _carried(to_work, grid).astype(np.float32)
    if not np.isfinite(places).all():
        return None
    patch = cv2.remap(work, places[None, :, 0], places[None, :, 1], cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE)[0].astype(np.float64)
    light = around @ patch
    dark = (light * inside.sum(axis=1) - inside @ patch) / (light + 8.0)
    found = dark[seen]
    low, high = np.percentile(found, 15), np.percentile(found, 85)
    ratio = (SMALL_MM / LARGE_MM) ** 2
    if low < 0.05 or high <= 0.1 or low / high > 0.5 * (1 + ratio):
        return None
    return _split(dark, seen)


def _split(dark: Array, seen: NDArray[np.bool_]) -> list[bool | None] | None:
    """Two sizes told apart at the widest gap; a dot that is near it or far off both counts as hidden."""
    ordered = np.sort(dark[seen])
    gaps = np.diff(ordered)[3:-3]  # words have at least five of each, and a few may be hidden
    if not len(gaps):
        return None
    cut = int(np.argmax(gaps)) + 3
    edge = (ordered[cut] + ordered[cut + 1]) / 2
    small, large = np.median(ordered[:cut + 1]), np.median(ordered[cut + 1:])
    if not 0.25 < small / large < 0.72:
        return None
    unsure = 0.15 * (large - small)
    sizes: list[bool | None] = []
    for value, is_seen in zip(dark, seen, strict=True):
        hidden = not is_seen or abs(value - edge) < unsure or not 0.4 * small < value < 1.8 * large
        sizes.append(None if hidden else bool(value > edge))
    return sizes

