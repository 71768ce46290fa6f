"""Drift, the repeatable error with which a printer lands the back relative to the front; and one sheet's own motion.

All of it is in the front's own frame, seen through the paper: millimetres, x right, y down, a positive angle clockwise.
The drift is the map D that carries a point that was meant to lie behind the front to where it does land.

A sheet's motion and what it leaves are the sums that the F-tests of the fit and of the slips are made from. Points and
offsets are complex numbers, x + iy, in mm. Each sheet is allowed a shift, a turn and a scale of its own, so that
wander can pass neither for drift nor for a slip; what is left may have one cause shared by all sheets, b conj(z).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.core.geometry import Affine, Point, Rect
from server.core.units import mm_text

Spot = tuple[complex, complex]  # where, and how far off
READING_MM = 0.03  # rounding to 0.1 mm alone: 0.1 / sqrt(12); nobody reads the vernier better


@dataclass(frozen=True, slots=True)
class Motion:
    """off = shift + turn (z - mean), by least squares over ``count`` spots with ``parameters`` real unknowns.

    ``rss``: sum of squares left, in mm2. ``size`` and ``cross``: sums of |m|^2 and conj(m) times what is left, m being
    the part of conj(z) that the motion can't take; ``spread``: the sum of |z - mean|^2.
    """

    count: int
    parameters: int
    mean: complex
    shift: complex
    turn: complex
    lean: complex
    rss: float
    size: float
    cross: complex
    spread: float

    @classmethod
    def of(cls, spots: Sequence[Spot]) -> Motion:
        count = len(spots)
        mean = sum((place for place, _ in spots), 0j) / count
        shift = sum((off for _, off in spots), 0j) / count
        spread = math.fsum(abs(place - mean) ** 2 for place, _ in spots)
        if spread < 1e-9:
            rss = math.fsum(abs(off - shift) ** 2 for _, off in spots)
            return cls(count, 2, mean, shift, 0j, 0j, rss, 0.0, 0j, 0.0)
        turn = sum(((place - mean).conjugate() * off for place, off in spots), 0j) / spread
        lean = sum(((place - mean).conjugate() ** 2 for place, _ in spots), 0j) / spread
        rss, size, cross = 0.0, 0.0, 0j
        for place, off in spots:
            left = off - shift - turn * (place - mean)
            mirrored = (place - mean).conjugate() - lean * (place - mean)
            rss += abs(left) ** 2
            size += abs(mirrored) ** 2
            cross += mirrored.conjugate() * left
        return cls(count, 4, mean, shift, turn, lean, rss, size, cross, spread)

    def at(self, place: complex, b: complex = 0j) -> complex:
        """How far off this sheet is at ``place``, with ``b`` shared by all sheets."""
        z = place - self.mean
        return self.shift + self.turn * z + b * (z.conjugate() - self.lean * z)


@dataclass(frozen=True, slots=True)
class Pooled:
    """All sheets together: ``plain`` is the sum of squares without b, ``rss`` with it; ``dof`` real ones without b."""

    plain: float
    size: float
    cross: complex
    spread: float
    dof: int

    @classmethod
    def of(cls, motions: Iterable[Motion]) -> Pooled:
        plain, size, cross, spread, dof = 0.0, 0.0, 0j, 0.0, 0
        for one in motions:
            plain, size, cross, spread = plain + one.rss, size + one.size, cross + one.cross, spread + one.spread
            dof += 2 * one.count - one.parameters
        return cls(plain, size, cross, spread, dof)

    def swapped(self, old: Motion, new: Motion) -> Pooled:
        """The same with one sheet's motion in place of another."""
        return Pooled(self.plain - old.rss + new.rss, self.size - old.size + new.size,
                      self.cross - old.cross + new.cross, self.spread - old.spread + new.spread,
                      self.dof + 2 * (new.count - old.count) - new.parameters + old.parameters)

    @property
    def b(self) -> complex:
        return self.cross / self.size if self.size > 1e-9 else 0j

    @property
    def rss(self) -> float:
        return max(0.0, self.plain - abs(self.cross) ** 2 / self.size) if self.size > 1e-9 else self.plain


def chance_of(less: float, more: float, dof_left: int) -> float:
    """The chance that two more parameters bring the sum of squares from ``more`` down to ``less`` without cause.

    With two numerator degrees of freedom, P(F > f) = (1 + 2 f / v)^(-v / 2), and 1 + 2 f / v = more / less.
    """
    return float((less / more) ** (dof_left / 2)) if more > 0 else 1.0


@dataclass(frozen=True, slots=True)
class Drift:
    """D as a matrix, and the paper's centre, at which ``dx_mm`` and ``dy_mm`` are told."""

    matrix: Affine
    centre: Point

    @classmethod
    def of(cls, centre: Point, dx_mm: float = 0.0, dy_mm: float = 0.0, rotation_deg: float = 0.0,
           scale_x: float = 1.0, scale_y: float = 1.0, squareness_deg: float = 0.0) -> Drift:
        """The drift with those numbers; ``centre`` lands at ``centre + (dx_mm, dy_mm)``."""
        across = math.radians(rotation_deg - squareness_deg / 2)
        down = math.radians(rotation_deg + squareness_deg / 2)
        a, b = scale_x * math.cos(across), scale_x * math.sin(across)
        c, d = -scale_y * math.sin(down), scale_y * math.cos(down)
        x, y = centre
        return cls(Affine(a, b, c, d, x + dx_mm - a * x - c * y, y + dy_mm - b * x - d * y), centre)

    @property
    def dx_mm(self) -> float:
        """Above zero: the back lands to the right, at the centre."""
        return self.matrix(self.centre)[0] - self.centre[0]

    @property
    def dy_mm(self) -> float:
        """Above zero: the back lands low, at the centre."""
        return self.matrix(self.centre)[1] - self.centre[1]

    @property
    def _axes_deg(self) -> tuple[float, float]:
        """How far the x axis and the y axis are turned, clockwise."""
        m = self.matrix
        return math.degrees(math.atan2(m.b, m.a)), math.degrees(math.atan2(-m.c, m.d))

    @property
    def rotation_deg(self) -> float:
        """Clockwise; the mean turn of both axes, so that squareness is shared between them."""
        across, down = self._axes_deg
        return across + _half_turn(down - across) / 2

    @property
    def squareness_deg(self) -> float:
        """How much further the y axis is turned than the x axis; 0 keeps right angles right."""
        across, down = self._axes_deg
        return _half_turn(down - across)

    @property
    def scale_x(self) -> float:
        return math.hypot(self.matrix.a, self.matrix.b)

    @property
    def scale_y(self) -> float:
        return math.hypot(self.matrix.c, self.matrix.d)

    def at(self, point: Point) -> tuple[float, float]:
        """How far (right, low) the back lands from ``point``, in mm."""
        x, y = self.matrix(point)
        return x - point[0], y - point[1]

    def greatest_mm(self, page: Rect) -> float:
        """The longest way that any point of ``page`` is off; an affine map's is at a corner."""
        return max(math.hypot(*self.at(corner)) for corner in page.corners)

    def then(self, left: Drift) -> Drift:
        """The whole drift of a printer that still shows ``left`` once this drift is corrected.

        A corrected back meant for p is drawn for D^-1 p. It lands at W D^-1 p, W being the whole drift, and that is
        what is read as ``left``: L = W D^-1, so W = L D.
        """
        return Drift(left.matrix.after(self.matrix), self.centre)

    def says(self) -> str:
        """In words: ``lands 1.2 mm right and 0.8 mm low, turned 0.12° clockwise``."""
        parts = [_along(self.dx_mm, "right", "left"), _along(self.dy_mm, "low", "high")]
        text = " and ".join(part for part in parts if part) or "where it should"
        extra = []
        if abs(self.rotation_deg) >= 0.005:
            way = "clockwise" if self.rotation_deg > 0 else "anticlockwise"
            extra.append(f"turned {abs(self.rotation_deg):.2f}° {way}")
        for scale, name in ((self.scale_x, "across"), (self.scale_y, "down")):
            if abs(scale - 1) >= 0.00005:
                extra.append(f"{abs(scale - 1) * 100:.2f} % {'larger' if scale > 1 else 'smaller'} {name}")
        if abs(self.squareness_deg) >= 0.005:
            extra.append(f"{abs(self.squareness_deg):.2f}° out of square")
        return ", ".join([f"lands {text}", *extra])


def _along(value: float, ahead: str, behind: str) -> str:
    text = mm_text(abs(value))
    return "" if text == "0" else f"{text} mm {ahead if value > 0 else behind}"


def _half_turn(degrees: float) -> float:
    """The same angle within -180 to 180."""
    return (degrees + 180.0) % 360.0 - 180.0
