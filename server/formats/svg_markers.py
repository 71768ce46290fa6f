"""Arrowheads and other marks at the corners of an SVG's lines (SVG 2, 13.7)."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from server.core.geometry import Affine, Point, Rect
from server.formats.svg_canvas import Canvas
from server.formats.svg_css import Style
from server.formats.svg_shapes import Units, box_path
from server.formats.svg_tree import CantDraw, Node
from server.formats.svg_values import Path, fitted, length, view_box

if TYPE_CHECKING:
    from server.formats.svg_draw import Drawing

MARKED = frozenset({"path", "line", "polyline", "polygon"})
_KINDS = ("marker-start", "marker-mid", "marker-end")
_ATTRIBUTES = frozenset(["refX", "refY", "markerWidth", "markerHeight", "markerUnits", "orient", "viewBox",
                         "preserveAspectRatio"])
_MOST_CORNERS = 5_000
_Way = Point | None  # a direction; None where there is none


def has_markers(node: Node, style: Style) -> bool:
    return node.tag in MARKED and any(style[kind] != "none" for kind in _KINDS)


def draw_markers(drawing: Drawing, path: Path, style: Style, canvas: Canvas, view: tuple[float, float],
                 stroke_width: float) -> None:
    """Draw the markers of one path. Raises CantDraw for one that isn't there or isn't known."""
    corners = list(_corners(path))
    if len(corners) > _MOST_CORNERS:
        raise CantDraw(f"markers at more than {_MOST_CORNERS} corners", "too-much-inside")
    last = len(corners) - 1
    for kind, places in zip(_KINDS, (corners[:1], corners[1:last], corners[last:]), strict=True):
        marker = drawing.referred(style[kind], "marker")
        if marker is None:
            continue
        drawing.check(marker, _ATTRIBUTES)
        for at, coming, going in places:
            angle = _angle(marker.get("orient") or "0", coming, going, kind == "marker-start")
            canvas.save()
            canvas.transform(Affine.shift(*at).after(Affine.turn(angle)))
            if marker.get("markerUnits", "strokeWidth") != "userSpaceOnUse":
                canvas.transform(Affine.scaling(stroke_width, stroke_width))
            if canvas.matrix.determinant:
                _marker(drawing, marker, canvas, view)
            canvas.restore()


def _marker(drawing: Drawing, marker: Node, canvas: Canvas, view: tuple[float, float]) -> None:
    own = drawing.cascade.in_place(marker)
    if (own["display"], own["opacity"], own["clip-path"], own["mask"]) != ("inline", "1", "none", "none"):
        raise CantDraw("an opacity, clip or mask on a <marker>")
    units = Units(view, own.em)
    width, height = units.across(marker.get("markerWidth") or "3"), units.down(marker.get("markerHeight") or "3")
    if width <= 0 or height <= 0:
        return
    frame, shown, into = Rect(0, 0, width, height), view_box(marker.get("viewBox")), Affine()
    if shown:
        into = fitted(shown, frame, marker.get("preserveAspectRatio"))
        units = Units((shown.width, shown.height), own.em)
    x, y = into((units.across(marker.get("refX") or "0"), units.down(marker.get("refY") or "0")))
    canvas.transform(Affine.shift(-x, -y))
    if (own["overflow"] or "hidden") not in ("visible", "auto"):
        canvas.clip(box_path(frame))
    drawing.inside(marker, canvas, into, units.view)


def _angle(orient: str, coming: _Way, going: _Way, is_start: bool) -> float:
    """Degrees by which a marker is turned: along the line, between two directions in the middle of them."""
    if orient not in ("auto", "auto-start-reverse"):
        return length(orient.removesuffix("deg"), 0.0)
    ways = [math.atan2(way[1], way[0]) for way in (coming, going) if way]
    if not ways:
        return 0.0
    middle = ways[0]
    if len(ways) == 2:
        middle = ways[0] + math.remainder(ways[1] - ways[0], 2 * math.pi) / 2
    return math.degrees(middle) + (180 if is_start and orient == "auto-start-reverse" else 0)


def _corners(path: Path) -> Iterator[tuple[Point, _Way, _Way]]:
    """Each corner of a path, from which way the line comes there and which way it goes on."""
    parts: list[list[tuple[Point, _Way, _Way]]] = []  # (end, way in at its beginning, way out at its end)
    closed: list[bool] = []
    for step in path:
        if step[0] == "M":
            parts.append([(step[1:][-1], None, None)])
            closed.append(False)
        elif step[0] == "Z":
            start, at = parts[-1][0][0], parts[-1][-1][0]
            parts[-1].append((start, _way(at, start), _way(at, start)))
            closed[-1] = True
        else:
            points = [parts[-1][-1][0], *step[1:]]
            into = next((way for point in points[1:] if (way := _way(points[0], point))), None)
            out = next((way for point in points[-2::-1] if (way := _way(point, points[-1]))), None)
            parts[-1].append((points[-1], into, out))
    for part, is_closed in zip(parts, closed, strict=True):
        for number, (at, _, coming) in enumerate(part):
            going = part[number + 1][1] if number + 1 < len(part) else None
            if is_closed and number in (0, len(part) - 1):
                coming, going = part[-1][2] or part[-2][2], part[1][1]
            yield at, coming, going


def _way(start: Point, end: Point) -> _Way:
    return (end[0] - start[0], end[1] - start[1]) if start != end else None
