"""Outlines as PDF path operators, in mm; y points down. Curves are cubic Bezier splines (ISO 32000-1, 8.5.2.2)."""

from __future__ import annotations

import math
from collections.abc import Sequence

Point = tuple[float, float]
# How far a quarter circle's control points lie from its ends: 4/3 (sqrt 2 - 1), exact to 0.03 % of the radius.
_QUARTER = 4 / 3 * (math.sqrt(2) - 1)


def number(value: float) -> str:
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _at(*points: Point) -> str:
    return " ".join(f"{number(x)} {number(y)}" for x, y in points)


def polygon(*points: Point) -> str:
    return open_line(*points) + "\nh"


def open_line(*points: Point) -> str:
    return "\n".join([f"{_at(points[0])} m", *(f"{_at(point)} l" for point in points[1:])])


def rect(x: float, y: float, width: float, height: float) -> str:
    return f"{_at((x, y))} {number(width)} {number(height)} re"


def rounded(x: float, y: float, width: float, height: float, radius: float) -> str:
    r, q = radius, radius * (1 - _QUARTER)
    right, bottom = x + width, y + height
    return "\n".join([
        f"{_at((x + r, y))} m", f"{_at((right - r, y))} l", f"{_at((right - q, y), (right, y + q), (right, y + r))} c",
        f"{_at((right, bottom - r))} l", f"{_at((right, bottom - q), (right - q, bottom), (right - r, bottom))} c",
        f"{_at((x + r, bottom))} l", f"{_at((x + q, bottom), (x, bottom - q), (x, bottom - r))} c",
        f"{_at((x, y + r))} l", f"{_at((x, y + q), (x + q, y), (x + r, y))} c", "h"])


def ellipse(x: float, y: float, across: float, down: float) -> str:
    """Centre and the two radii."""
    qx, qy = across * _QUARTER, down * _QUARTER
    return "\n".join([
        f"{_at((x + across, y))} m",
        f"{_at((x + across, y + qy), (x + qx, y + down), (x, y + down))} c",
        f"{_at((x - qx, y + down), (x - across, y + qy), (x - across, y))} c",
        f"{_at((x - across, y - qy), (x - qx, y - down), (x, y - down))} c",
        f"{_at((x + qx, y - down), (x + across, y - qy), (x + across, y))} c", "h"])


def circle(x: float, y: float, radius: float) -> str:
    return ellipse(x, y, radius, radius)


def smooth(points: Sequence[Point], closed: bool = False) -> str:
    """A line through all points without corners (Catmull-Rom, as cubic Bezier segments)."""
    count = len(points)

    def point(index: int) -> Point:
        return points[index % count] if closed else points[min(max(index, 0), count - 1)]

    ops = [f"{_at(points[0])} m"]
    for index in range(count if closed else count - 1):
        before, start, end, after = (point(index + step) for step in (-1, 0, 1, 2))
        first = start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6
        second = end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6
        ops.append(f"{_at(first, second, end)} c")
    return "\n".join([*ops, "h"] if closed else ops)


def sides(*lines: Sequence[Point]) -> str:
    """A closed outline of smooth sides that meet in corners: each side starts where the one before it ends."""
    first, *others = (smooth(line) for line in lines)
    return "\n".join([first, *(side.split("\n", 1)[1] for side in others), "h"])


def under(points: Sequence[Point], bottom: float) -> str:
    """Everything between a smooth line and the level ``bottom``."""
    return "\n".join([smooth(points), f"{_at((points[-1][0], bottom))} l", f"{_at((points[0][0], bottom))} l", "h"])


def wave(left: float, right: float, level: float, height: float, length: float, phase: float = 0.0) -> list[Point]:
    """Points of a sine from left to right, eight to a wave."""
    steps = max(2, math.ceil((right - left) / length * 8))
    xs = [left + (right - left) * step / steps for step in range(steps + 1)]
    return [(x, level + height / 2 * math.sin(2 * math.pi * (x / length + phase))) for x in xs]


def wedge(x: float, y: float, heading: float, spread: float, reach: float) -> str:
    """A beam: from a point, ``heading`` in degrees clockwise from the right, ``spread`` degrees wide."""
    first, second = (math.radians(heading + side * spread / 2) for side in (-1, 1))
    return polygon((x, y), (x + reach * math.cos(first), y + reach * math.sin(first)),
                   (x + reach * math.cos(second), y + reach * math.sin(second)))


def star(x: float, y: float, points: int, outer: float, inner: float, heading: float = -90.0) -> str:
    corners = []
    for step in range(points * 2):
        angle = math.radians(heading + 180 * step / points)
        radius = outer if step % 2 == 0 else inner
        corners.append((x + radius * math.cos(angle), y + radius * math.sin(angle)))
    return polygon(*corners)


def regular(x: float, y: float, sides: int, radius: float, heading: float = -90.0) -> str:
    angles = [math.radians(heading + 360 * step / sides) for step in range(sides)]
    return polygon(*((x + radius * math.cos(angle), y + radius * math.sin(angle)) for angle in angles))
