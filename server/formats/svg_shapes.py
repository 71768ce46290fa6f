"""An SVG's basic shapes as paths, and what room a path takes (SVG 2, chapters 9 and 10)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from server.core.geometry import Affine, Point, Rect, bounds
from server.formats.svg_tree import CantDraw, Node
from server.formats.svg_values import Path, Step, length, numbers, path_data

# How far a control point of a quarter circle lies out; the curve is off by 0.03 % of the radius at most.
_KAPPA = 0.5522847498

SHAPES = frozenset({"rect", "circle", "ellipse", "line", "polyline", "polygon", "path"})
ATTRIBUTES: dict[str, frozenset[str]] = {
    "rect": frozenset(["x", "y", "width", "height", "rx", "ry"]), "circle": frozenset(["cx", "cy", "r"]),
    "ellipse": frozenset(["cx", "cy", "rx", "ry"]), "line": frozenset(["x1", "y1", "x2", "y2"]),
    "polyline": frozenset(("points",)), "polygon": frozenset(("points",)), "path": frozenset(("d",)),
}


class Units:
    """Lengths of one element, as of its view (width and height, for percentages) and its font's size."""

    def __init__(self, view: tuple[float, float], em: float) -> None:
        self.view = view
        self.em = em

    def across(self, text: str) -> float:
        return length(text, self.view[0], self.em)

    def down(self, text: str) -> float:
        return length(text, self.view[1], self.em)

    def any(self, text: str) -> float:
        """A length of no direction: by the diagonal (SVG 2, 8.9)."""
        return length(text, math.hypot(*self.view) / math.sqrt(2), self.em)


def path_of(node: Node, units: Units) -> Path:
    """A shape's outline in user units, empty where it draws nothing. Raises CantDraw."""
    match node.tag:
        case "path":
            return path_data(node.get("d"))
        case "rect":
            return _rect(node, units)
        case "circle":
            radius = units.any(node.get("r") or "0")
            return ellipse(units.across(node.get("cx") or "0"), units.down(node.get("cy") or "0"), radius, radius)
        case "ellipse":
            rx, ry = node.get("rx") or "auto", node.get("ry") or "auto"
            across = None if rx == "auto" else units.across(rx)
            down = None if ry == "auto" else units.down(ry)
            return ellipse(units.across(node.get("cx") or "0"), units.down(node.get("cy") or "0"),
                           across if across is not None else down or 0.0, down if down is not None else across or 0.0)
        case "line":
            return [("M", (units.across(node.get("x1") or "0"), units.down(node.get("y1") or "0"))),
                    ("L", (units.across(node.get("x2") or "0"), units.down(node.get("y2") or "0")))]
    values = numbers(node.get("points"))
    if len(values) % 2:
        raise CantDraw(f"a <{node.tag}> with an odd number of coordinates")
    points = list(zip(values[::2], values[1::2], strict=True))
    steps: Path = [("L" if at else "M", point) for at, point in enumerate(points)]
    return [*steps, ("Z",)] if node.tag == "polygon" and steps else steps


def box_path(rect: Rect) -> Path:
    first, *rest = rect.corners
    return [("M", first), *(("L", corner) for corner in rest), ("Z",)]


def ellipse(cx: float, cy: float, rx: float, ry: float) -> Path:
    """Clockwise from its right, as SVG 2, 10.3 has it, so that dashes begin there."""
    if rx <= 0 or ry <= 0:
        return []
    x, y = rx * _KAPPA, ry * _KAPPA
    return [("M", (cx + rx, cy)),
            ("C", (cx + rx, cy + y), (cx + x, cy + ry), (cx, cy + ry)),
            ("C", (cx - x, cy + ry), (cx - rx, cy + y), (cx - rx, cy)),
            ("C", (cx - rx, cy - y), (cx - x, cy - ry), (cx, cy - ry)),
            ("C", (cx + x, cy - ry), (cx + rx, cy - y), (cx + rx, cy)), ("Z",)]


def _rect(node: Node, units: Units) -> Path:
    x, y = units.across(node.get("x") or "0"), units.down(node.get("y") or "0")
    width, height = (0.0 if text in ("", "auto") else measure(text)
                     for text, measure in ((node.get("width"), units.across), (node.get("height"), units.down)))
    if width <= 0 or height <= 0:
        return []
    across, down = node.get("rx") or "auto", node.get("ry") or "auto"
    rx = None if across == "auto" else units.across(across)
    ry = None if down == "auto" else units.down(down)
    rx, ry = (rx if rx is not None else ry or 0.0), (ry if ry is not None else rx or 0.0)
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    if rx <= 0 or ry <= 0:
        return box_path(Rect(x, y, width, height))
    right, bottom, kx, ky = x + width, y + height, rx * (1 - _KAPPA), ry * (1 - _KAPPA)
    return [("M", (x + rx, y)), ("L", (right - rx, y)),
            ("C", (right - kx, y), (right, y + ky), (right, y + ry)), ("L", (right, bottom - ry)),
            ("C", (right, bottom - ky), (right - kx, bottom), (right - rx, bottom)), ("L", (x + rx, bottom)),
            ("C", (x + kx, bottom), (x, bottom - ky), (x, bottom - ry)), ("L", (x, y + ry)),
            ("C", (x, y + ky), (x + kx, y), (x + rx, y)), ("Z",)]


def moved(path: Iterable[Step], by: Affine) -> Path:
    return [(step[0], *map(by, step[1:])) for step in path]


def room(path: Path) -> Rect | None:
    """The smallest upright rectangle around what ``path`` encloses; None for none."""
    points = list(_extremes(path))
    return bounds(points) if points else None


def _extremes(path: Path) -> Iterator[Point]:
    at = start = (0.0, 0.0)
    for step in path:
        if step[0] == "Z":
            at = start
            continue
        end = step[1:][-1]
        yield end
        if step[0] == "M":
            start = end
        elif step[0] == "C":
            yield from _turning_points(at, *step[1:])
        at = end


def _turning_points(*points: Point) -> Iterator[Point]:
    """Where a cubic curve turns back, across or down: the roots of its derivative."""
    for axis in (0, 1):
        p0, p1, p2, p3 = (point[axis] for point in points)
        if min(p0, p3) <= p1 <= max(p0, p3) and min(p0, p3) <= p2 <= max(p0, p3):
            continue
        a, b, c = -p0 + 3 * p1 - 3 * p2 + p3, 2 * (p0 - 2 * p1 + p2), p1 - p0
        if abs(a) < 1e-12:
            roots = [-c / b] if abs(b) > 1e-12 else []
        else:
            under = b * b - 4 * a * c
            roots = [(-b + sign * math.sqrt(under)) / (2 * a) for sign in (1, -1)] if under >= 0 else []
        for t in roots:
            if 0 < t < 1:
                s = 1 - t
                weights = s * s * s, 3 * s * s * t, 3 * s * t * t, t * t * t
                x, y = (sum(weight * point[one] for weight, point in zip(weights, points, strict=True))
                        for one in (0, 1))
                yield x, y
