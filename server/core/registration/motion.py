"""One sheet's own motion, and what it leaves: the sums that the F-tests of the fit and of the slips are made from.

Points and offsets are complex numbers, x + iy, in mm. Each sheet is allowed a shift, a turn and a scale of its own, so
that wander can pass neither for drift nor for a slip; what is left may have one cause shared by all sheets, b conj(z).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

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
