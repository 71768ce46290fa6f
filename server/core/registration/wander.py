"""Wander: what is left from sheet to sheet once drift is taken out, and how much of it one may promise away.

**The statement.** "19 sheets of 20 land within r mm of where they should, with 95 % confidence", at that place of the
sheet where the scatter is greatest.

**How r is found.** Each sheet's own deviation from the pooled drift is a shift, and where its stations allow, a turn
and scale; at a place p that is a vector with standard deviations sx and sy over n sheets (n - 1 degrees of freedom).
Then r = k(n) sqrt(sx^2 + sy^2) with k the two-sided tolerance factor for one axis (``tolerance.py``).

**Why that is true in two dimensions.** Where all scatter lies along one line, the statement is just the one-axis
definition of k, exact. Where it has two dimensions, both things that could break it get milder for the same total
variance: the distance's 95 % point falls (from 1.96 to 1.73 times the root of the total), and s is better known (up to
2 (n - 1) degrees of freedom). For normal quadratic forms of given trace, tails on both sides are heaviest when all
weight is on one axis (Szekely and Bakirov, Probab. Theory Relat. Fields 126, 2003, from memory, for the tails in use
here); the tests confirm it by simulation. So the promise errs to the safe side, and needs no guess about the axes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from server.core.geometry import Point
from server.core.registration.motion import Motion
from server.core.registration.readings import Reading
from server.core.registration.tolerance import tolerance_factor
from server.core.units import mm_text

SHARE = 0.95
CONFIDENCE = 0.95
ENOUGH_SHEETS = 5


@dataclass(frozen=True, slots=True)
class Wander:
    """The scatter of ``sheets`` sheets. Lengths in mm, None where one sheet can't tell.

    ``sx_mm`` and ``sy_mm`` are standard deviations at ``at``, the worst place; ``radius_mm`` is the promise's r.
    """

    sheets: int
    sx_mm: float | None = None
    sy_mm: float | None = None
    radius_mm: float | None = None
    at: Point | None = None
    share: float = SHARE
    confidence: float = CONFIDENCE

    def says(self) -> str:
        """The statement in words, or why there is none."""
        if self.radius_mm is None:
            how = "Nobody has measured how" if self.sheets == 0 else "One sheet can't show how"
            return (f"{how} far sheets differ from each other. Print and read {ENOUGH_SHEETS} or more "
                    "to learn the wander.")
        text = (f"{round(self.share * 20)} sheets of 20 land within {_up(self.radius_mm)} mm "
                f"({round(self.confidence * 100)} % confidence, from {self.sheets} sheets).")
        if self.sheets >= ENOUGH_SHEETS:
            return text
        factor = tolerance_factor(self.sheets, self.share, self.confidence)
        return (f"{text} So few sheets know their own scatter badly, and the bound is {factor:.1f} times it: "
                f"read {ENOUGH_SHEETS} or more for one of {tolerance_factor(ENOUGH_SHEETS):.1f} times or less.")


NEVER_MEASURED = Wander(0)


def measure_wander(left: Sequence[tuple[Reading, Point]]) -> Wander:
    """Wander from what the pooled fit leaves of each reading, (dx, dy) in mm; two sheets or more."""
    sheets: dict[str, list[tuple[complex, complex]]] = {}
    for reading, (dx, dy) in left:
        sheets.setdefault(reading.sheet, []).append((complex(*reading.point), complex(dx, dy)))
    count = len(sheets)
    if count < 2:
        return Wander(count)
    places = sorted({reading.point for reading, _ in left})
    motions = [Motion.of(spots) for spots in sheets.values()]
    wide = max(one.spread / one.count for one in motions)
    worst: tuple[float, float, float, Point] | None = None
    for place in places:
        moved = [_moved(one, complex(*place), wide) for one in motions]
        sx, sy = _deviation([one.real for one in moved]), _deviation([one.imag for one in moved])
        if worst is None or sx * sx + sy * sy > worst[0]:
            worst = (sx * sx + sy * sy, sx, sy, place)
    assert worst is not None  # two sheets hold at least one place
    total, sx, sy, place = worst
    return Wander(count, sx, sy, tolerance_factor(count, SHARE, CONFIDENCE) * math.sqrt(total), place)


def _moved(sheet: Motion, place: complex, wide: float) -> complex:
    """How far one sheet is off at ``place``; its shift alone where its few stations say little of its turn."""
    knows_turn = sheet.count >= 3 and sheet.spread / sheet.count >= wide / 4
    return sheet.at(place) if knows_turn else sheet.shift


def _deviation(values: Sequence[float]) -> float:
    """The sample standard deviation, n - 1."""
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def _up(value_mm: float) -> str:
    """Rounded up to a hundredth: a bound that is rounded down is none."""
    return mm_text(math.ceil(value_mm * 100 - 1e-9) / 100)
