"""Two flatbed scans, front and back, read against the paper's own edges, which both scans show.

Nothing else is common to the two: the paper's left edge in the front's scan is its right edge in the back's. So each
scan gets a frame from the edges that both show, one upright and one level at least, and a station's mark is carried
from one frame into the other. Which way the sheet was turned between print and print can't be seen so: the back is
taken to be upright.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from server.core.geometry import ThroughFront
from server.core.plan import Flip
from server.core.sighting import SheetSight, Sight, SightProblem
from server.core.sizes import Paper
from server.photo.discs import Back, Discs, find_backs, flip_seen
from server.photo.lens import Array, Lens
from server.photo.sight import Found, Front, front_of

_STEP = 10.0  # grey levels across three pixels: less is no edge
_AWAY_MM = 4.5  # an edge lies so near to where the print has it, or it is a printed ruler
_EDGE_SIGMA_MM = 0.04  # how straight a mill's or a guillotine's cut is over a sheet: from memory, no standard
_SIDES = ("left", "right", "top", "bottom")

_NO_EDGES = SightProblem("no-edges", "The paper's edges aren't to be seen in both scans.",
                         "Lay a larger dark sheet over the paper and leave a gap at the glass's rim, or take one "
                         "photograph against the light.")


@dataclass(frozen=True, slots=True)
class _Edge:
    """A straight edge as seen: x = a + b y for an upright one, y = a + b x for a level one, in mm."""

    a: float
    b: float


def read_scans(front: NDArray[np.uint8], back: NDArray[np.uint8], name: str, paper: Paper,
               flip: Flip) -> tuple[NDArray[np.uint8], Found]:
    """(the front's scan, what was found) of two scans with the same resolution; never raises for what they show."""
    seen = front_of(front, name, paper)
    if isinstance(seen, Found):
        return front, seen
    middle = np.array([[paper.width_mm / 2, paper.height_mm / 2]])
    scale = seen.lens.px_per_mm(middle)
    fronts = _edges(front, seen.lens, paper)
    best: tuple[int, list[Back], Lens, dict[str, _Edge]] | None = None
    places = np.array([one.at for one in seen.blanks])
    for guess in _ways(back, scale, paper, flip):
        lens = _moved(guess, places, find_backs(back, guess, places, scale, _plain(len(places)), 1))
        edges = _edges(back, lens, paper)
        backs = find_backs(back, lens, places, scale, _plain(len(places)), 1)
        made, right = flip_seen(backs) if any(one.seen for one in backs) else (None, False)
        count = sum(one.seen for one in backs) if made == flip and right else 0
        if best is None or count > best[0]:
            best = count, backs, lens, edges
    if best is None or not best[0]:
        return front, Found(SheetSight(name, (), (SightProblem(
            "no-back", "The second scan shows no back of this test sheet.",
            "Scan both sides with the same resolution, and name the flip that the sheet was made for."),)))
    common = [side for side in _SIDES if side in fronts and side in best[3]]
    if not ({"left", "right"} & set(common) and {"top", "bottom"} & set(common)):
        return front, Found(SheetSight(name, (), (_NO_EDGES,)))
    ours, theirs = _frame(fronts, common, middle[0]), _frame(best[3], common, middle[0])
    return front, _told(seen, best[1], ours, theirs, name)


def _told(seen: Front, backs: Sequence[Back], ours: Array, theirs: Array, name: str) -> Found:
    """Each station by where its front and its back lie in the paper's frame."""
    to_front = np.linalg.inv(np.vstack([ours, [0, 0, 1]])) @ np.vstack([theirs, [0, 0, 1]])
    sights, marks = [], []
    by_place = dict(zip(seen.places, seen.frames, strict=True))
    for blank, back in zip(seen.blanks, backs, strict=True):
        place = blank.station - 1
        if place not in by_place or not back.seen:
            sights.append(replace(blank, why=blank.why or "Its back mark isn't seen in the second scan."))
            continue
        x, y, _ = to_front @ np.array([*back.middle, 1.0])
        dx, dy = by_place[place] @ np.array([x - blank.at[0], y - blank.at[1], 1.0])
        sigma = math.sqrt((2 * back.sigma) ** 2 + _EDGE_SIGMA_MM**2)
        sights.append(Sight(blank.station, blank.at, float(dx), float(dy), sigma))
        marks.append((blank.station, (float(x), float(y))))
    return Found(SheetSight(name, tuple(sights), (), "test sheet"), seen.lens,
                 tuple((place + 1, seen.points[place]) for place in seen.places), tuple(marks))


def _plain(count: int) -> Discs:
    one = np.ones(count)
    return Discs(np.full((count, 2), -1e6), one, one, one, one, one)  # nothing of the front is in the back's scan


def _ways(back: NDArray[np.uint8], scale: float, paper: Paper, flip: Flip) -> list[Lens]:
    """Where the sheet, through the front in mm, may lie in the back's scan: four turns, about the paper's middle."""
    turn = ThroughFront("vertical", paper.width_mm / 2) if flip == "long-edge" \
        else ThroughFront("horizontal", paper.height_mm / 2)
    m = turn.affine
    mirror = np.array([[m.a, m.c, m.e], [m.b, m.d, m.f], [0, 0, 1.0]])
    height, width = back.shape
    lenses = []
    centre = _middle_of(back)
    for quarter in range(4):
        angle = quarter * math.pi / 2
        c, s = round(math.cos(angle)), round(math.sin(angle))
        turned = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]) * [[scale], [scale], [1]]
        to_middle = np.array([[1, 0, -paper.width_mm / 2], [0, 1, -paper.height_mm / 2], [0, 0, 1.0]])
        placed = np.array([[1, 0, centre[0]], [0, 1, centre[1]], [0, 0, 1.0]]) @ turned @ to_middle @ mirror
        lenses.append(Lens(placed, 0.0, np.array([width / 2, height / 2]), math.hypot(width, height) / 2))
    return lenses


def _moved(guess: Lens, places: Array, backs: Sequence[Back]) -> Lens:
    """The guess, moved by what the marks that were found are off by on the whole, so that the others are in reach."""
    off = [np.subtract(back.middle, place) for back, place in zip(backs, places, strict=True) if back.seen]
    if not off:
        return guess
    x, y = np.median(off, axis=0)
    return replace(guess, homography=guess.homography @ np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]]))


def _middle_of(back: NDArray[np.uint8]) -> tuple[float, float]:
    """The paper's middle in a scan, roughly: of its ink's bounds, which the rulers and stations fill evenly."""
    soft = cv2.GaussianBlur(back, (0, 0), 2.0)
    dark = soft < 0.75 * np.percentile(soft, 60)
    count, _, boxes, _ = cv2.connectedComponentsWithStats(dark.astype(np.uint8))
    small = [box for box in boxes[1:count] if box[2] < 0.6 * back.shape[1] and box[3] < 0.6 * back.shape[0]
             and box[4] > 8]
    if not small:
        return back.shape[1] / 2, back.shape[0] / 2
    x0, y0 = min(box[0] for box in small), min(box[1] for box in small)
    x1, y1 = max(box[0] + box[2] for box in small), max(box[1] + box[3] for box in small)
    return (x0 + x1) / 2, (y0 + y1) / 2


def _edges(grey: NDArray[np.uint8], lens: Lens, paper: Paper) -> dict[str, _Edge]:
    """The paper's edges that show, by name as the front has them, in sheet mm."""
    found = {}
    for side in _SIDES:
        upright = side in ("left", "right")
        at = {"left": 0.0, "top": 0.0, "right": paper.width_mm, "bottom": paper.height_mm}[side]
        along = np.linspace(0.06, 0.94, 240) * (paper.height_mm if upright else paper.width_mm)
        across = np.arange(-_AWAY_MM, _AWAY_MM, 0.04)
        inwards = across if side in ("left", "top") else -across
        u, v = np.meshgrid(at + inwards, along)
        places = np.stack([u, v] if upright else [v, u], axis=-1)
        pixels = lens.to_picture(places.reshape(-1, 2)).astype(np.float32).reshape(places.shape)
        values = cv2.remap(grey, pixels[..., 0], pixels[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT,
                           borderValue=0).astype(np.float64)
        held = (pixels >= 1) & (pixels < np.array(grey.shape[::-1]) - 2)
        inside = np.asarray(held.all(axis=2), np.bool_)
        edge = _line(values, inside, across, at, 1.0 if side in ("left", "top") else -1.0, along)
        if edge:
            found[side] = edge
    return found


def _line(values: Array, inside: NDArray[np.bool_], across: Array, at: float, sign: float,
          along: Array) -> _Edge | None:
    """The straight line on which most rows have their first strong step from outside."""
    span = 4
    step = np.abs(values[:, 2 * span:] - values[:, :-2 * span])
    valid = inside[:, 2 * span:] & inside[:, :-2 * span]
    strong = np.where(valid, step, 0) > _STEP
    has = strong.any(axis=1)
    if has.sum() < 0.5 * len(values):
        return None
    first = strong.argmax(axis=1)
    rows = np.nonzero(has)[0]
    spots = []
    for row in rows:
        window = slice(first[row], min(first[row] + 4 * span, step.shape[1]))
        weight = step[row, window] ** 2
        spots.append(float((across[span:-span][window] * weight).sum() / weight.sum()))
    place, where = at + sign * np.array(spots), along[rows]
    held = np.ones(len(place), bool)
    for limit in (1.0, 0.3, 0.12):
        b, a = np.polyfit(where[held], place[held], 1) if limit < 1.0 else (0.0, float(np.median(place)))
        held = np.abs(place - a - b * where) < limit
        if held.sum() < 0.4 * len(values):
            return None
    b, a = np.polyfit(where[held], place[held], 1)
    return _Edge(float(a), float(b))


def _frame(edges: dict[str, _Edge], common: Sequence[str], middle: Array) -> Array:
    """Sheet mm to the paper's frame (2 x 3): the mean turn and place of the edges that both scans show."""
    turns = [-edges[side].b if side in ("left", "right") else edges[side].b for side in common]
    angle = float(np.mean(turns))
    c, s = math.cos(angle), math.sin(angle)
    turned = np.array([[c, s], [-s, c]])
    offsets = []
    for sides, axis in ((("left", "right"), 0), (("top", "bottom"), 1)):
        places = []
        for side in (side for side in sides if side in common):
            along = middle[1 - axis]
            point = np.empty(2)
            point[1 - axis], point[axis] = along, edges[side].a + edges[side].b * along
            places.append(float((turned @ (point - middle))[axis]))
        offsets.append(float(np.mean(places)))
    shift = -np.array(offsets) - turned @ middle
    return np.column_stack([turned, shift])



